"""Dimensions of a design at full size, and the panels to cut for it from sheet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from models.design import DesignBatch
from models.driver import Driver
from models.panels import Panel, chamber_panels, plan_panels
from models.plan_reading import read_plan
from models.scaling import enlarged_batch
from models.topology import place_letter
from optimizer.faults import ConfigError
from optimizer.full_size import FullSize
from optimizer.plain import number
from optimizer.plan_file import read_plan_file

PLAN_FILE = "plan.json"
"""Floor plan beside the design file of a built candidate."""

CLOSED_BOXES = (
    "The list takes every chamber as a closed box of its own, its inner sides as in the design, with butt "
    "joints: walls x- and x+ cover the edges of all others, y- and y+ those of z- and z+.",
    "A wall that two chambers share appears once for each, with its cut-outs in both; one sheet will do.",
    "Outer sizes, bracing, and where the chambers lie to each other are left to the builder. Sizes that do "
    "not fit the enlarged envelope are not corrected here.",
)
"""What the list of panels assumes where there is no floor plan."""

FROM_PLAN = (
    "The list follows the floor plan of the built model, laid out anew in the enlarged envelope, with every "
    "wall as thick as the sheet and each room's share of the inside kept.",
    "Floor and lid cover the edges of all walls; outer walls normal to u cover those of the outer walls "
    "normal to v. Inner walls stand between the walls that they meet.",
    "Mouths of ducts run over the full height, so such a panel may be cut as two.",
)
"""What the list of panels assumes where there is a floor plan."""


def full_size_build(sizes: FullSize, design: DesignBatch, path: Path, sheet: float) -> dict[str, Any]:
    """What to build at full size.

    Parameters
    ----------
    sizes : FullSize
        Rules of both sizes [record].
    design : DesignBatch
        A batch of one, at model size [record].
    path : Path
        Its file; a floor plan is sought beside it [path].
    sheet : float
        Thickness of the sheet [m].

    Returns
    -------
    dict
        Dimensions, panels, tubes, what the list assumes, and with a plan the score in sheet [mixed].
    """
    large = enlarged_batch(design, sizes.scale)
    plan_path = path.parent / PLAN_FILE
    result: dict[str, Any] = {"sheet_mm": sheet * 1e3, "dimensions": dimensions(sizes, large)}
    why_no_plan = []
    if plan_path.is_file():
        envelope = replace(sizes.full.envelope, wall=sheet)
        rules = replace(sizes.full, envelope=envelope)
        try:
            plan = read_plan_file(plan_path, rules, sizes.scale)
        except ConfigError as error:
            why_no_plan = [
                f"The floor plan cannot be used with a sheet of {sheet * 1e3:g} mm: "
                + "; ".join(fault.message for fault in error.faults)
            ]
        else:
            drawn = read_plan(plan, rules, diaphragms=large.diaphragms)
            judge = sizes.judges["full"]
            volumes = [float(np.prod(drawn.sides[0, k])) * 1e3 for k in range(drawn.sides.shape[1])]
            return result | {
                "from_plan": True,
                "assumes": list(FROM_PLAN),
                "score_in_sheet_db": number(judge.scores(judge.respond(drawn))[0]),
                "chamber_volumes_l": dict(zip(_letters(drawn), volumes, strict=True)),
                **_panels(plan_panels(plan, sheet)),
                "tubes": [],
            }
    panels = chamber_panels(large, sizes.full.driver, sheet)
    return result | {
        "from_plan": False,
        "assumes": why_no_plan + list(CLOSED_BOXES),
        **_panels(panels),
        "tubes": _tubes(large),
    }


def dimensions(sizes: FullSize, large: DesignBatch) -> dict[str, Any]:
    """Full-size dimensions of a design as plain data.

    Parameters
    ----------
    sizes : FullSize
        Rules of both sizes [record].
    large : DesignBatch
        A batch of one, enlarged [record].

    Returns
    -------
    dict
        Envelope, chambers, ducts, diaphragms and driver, units in the keys [mixed].
    """
    chambers = {
        name: {
            "sides_mm": [float(side) * 1e3 for side in large.sides[0, k]],
            "volume_l": float(np.prod(large.sides[0, k])) * 1e3,
        }
        for k, name in enumerate(_letters(large))
    }
    diaphragms = [
        {
            "name": one.name,
            "area_cm2": float(one.area[0]) * 1e4,
            "mass_g": float(one.mass[0]) * 1e3,
            "compliance_mm_n": float(one.compliance[0]) * 1e3,
            "excursion_mm": float(one.excursion_limit[0]) * 1e3,
        }
        for one in large.diaphragms
    ]
    return {
        "envelope_mm": [float(side) * 1e3 for side in sizes.full.envelope.outer_sides],
        "chambers": chambers,
        "ducts": _tubes(large),
        "diaphragms": diaphragms,
        "driver": driver_record(sizes, sizes.full.driver),
    }


def driver_record(sizes: FullSize, driver: Driver) -> dict[str, Any]:
    """Data of the full-size driver, by the keys of a season's driver table."""
    air = sizes.full.air
    return {
        "name": driver.name,
        "scaled": sizes.scaled_driver,
        "fs_hz": driver.fs,
        "qms": driver.qms,
        "qes": driver.qes,
        "vas_l": driver.vas(air) * 1e3,
        "re_ohm": driver.coil_resistance,
        "sd_cm2": driver.area * 1e4,
        "mms_g": driver.mass * 1e3,
        "cms_mm_n": driver.compliance * 1e3,
        "bl_tm": driver.force_factor,
        "le_mh": driver.coil_inductance * 1e3,
        "displaced_cm3": driver.displaced_volume * 1e6,
        "cutout_mm": driver.cutout * 1e3,
        "frame_mm": driver.frame * 1e3,
        "depth_mm": driver.depth * 1e3,
    }


def _letters(batch: DesignBatch) -> list[str]:
    return [place_letter(k) for k in range(batch.topology.chambers)]


def _tubes(batch: DesignBatch) -> list[dict[str, Any]]:
    result = []
    for duct in batch.ducts:
        entry: dict[str, Any] = {
            "name": duct.name,
            "count": duct.count,
            "shape": duct.shape,
            "area_cm2": float(duct.area[0]) * 1e4,
            "length_mm": float(duct.length[0]) * 1e3,
        }
        for key, area in (("", duct.area), ("_end", duct.area_end)):
            if area is None:
                continue
            one = float(area[0]) / duct.count
            if duct.slot_height is None:
                entry[f"diameter{key}_mm"] = 2.0 * float(np.sqrt(one / np.pi)) * 1e3
            else:
                height = float(duct.slot_height[0])
                entry[f"slot{key}_mm"] = [one / height * 1e3, height * 1e3]
        result.append(entry)
    return result


def _panels(panels: list[Panel]) -> dict[str, Any]:
    records = [
        {
            "name": panel.name,
            "count": panel.count,
            "length_mm": panel.length * 1e3,
            "width_mm": panel.width * 1e3,
            "thickness_mm": panel.thickness * 1e3,
            "cut_outs": [
                {
                    "what": hole.what,
                    "shape": hole.shape,
                    "size_mm": [side * 1e3 for side in hole.size[: 1 if hole.shape == "round" else 2]],
                    "at_mm": [place * 1e3 for place in hole.at],
                }
                for hole in panel.holes
            ],
        }
        for panel in panels
    ]
    return {"panels": records, "sheet_area_m2": sum(p.count * p.length * p.width for p in panels)}
