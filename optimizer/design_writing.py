"""A design as TOML text that reads back to the same numbers."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable

import numpy as np

from models.catalogue import design_names
from models.design import DesignBatch, Diaphragms, Ducts, End, Patch
from models.topology import OUTSIDE, place_letter
from optimizer.design_ends import DISC_TO_HALF


def write_design(
    batch: DesignBatch,
    index: int,
    *,
    label: str | None = None,
    comments: Iterable[str] = (),
    plan: str | None = None,
) -> str:
    """Text of one design of a batch.

    Parameters
    ----------
    batch : DesignBatch
        Designs [record].
    index : int
        Row to write [1].
    label : str or None
        Topology's label; the design's name where none is given [text].
    comments : iterable of str
        Lines to put first [text].
    plan : str or None
        File of the floor plan that the design is read off, beside the design file [text].

    Returns
    -------
    str
        TOML, with chambers named A, B, ... [text].

    Raises
    ------
    ValueError
        A number of the design is not finite.
    """
    lines = [f"# {_plain(comment)}" for comment in comments]
    name = label or design_names(batch.rows(slice(index, index + 1)))[0]
    lines.append(f"topology = {_text(name)}  # graph {batch.topology.graph_id}")
    if plan is not None:
        lines.append(f"plan = {_text(plan)}  # the floor plan that all sizes are read off")
    for chamber in range(batch.topology.chambers):
        lines += ["", f"[chambers.{place_letter(chamber)}]"]
        lines.append(f"sides_mm = {_numbers(batch.sides[index, chamber], 1e-3)}")
        lines += _lining(batch.lining_of(chamber), index)
        leak = batch.leak_of(chamber)
        lines += [] if leak is None else [f"leak_corner_hz = {_number(leak[index], 1.0)}"]
    for places, ends in zip(batch.topology.drivers, batch.driver_ends, strict=True):
        lines += ["", "[[drivers]]", *_ends(batch, index, ("front", "rear"), places, ends)]
    for places, duct in zip(batch.topology.ducts, batch.ducts, strict=True):
        lines += ["", "[[ducts]]", f"name = {_text(duct.name)}"]
        lines += _ends(batch, index, ("from", "to"), places, duct.ends)
        lines += _duct(duct, index)
    for places, diaphragm in zip(batch.topology.diaphragms, batch.diaphragms, strict=True):
        lines += ["", "[[diaphragms]]", f"name = {_text(diaphragm.name)}"]
        lines += _ends(batch, index, ("from", "to"), places, diaphragm.ends)
        lines += _diaphragm(diaphragm, index)
    return "\n".join(lines) + "\n"


def _ends(
    batch: DesignBatch, index: int, keys: tuple[str, str], places: tuple[int, int], ends: tuple[End, End]
) -> list[str]:
    lines = []
    for key, place, end in zip(keys, places, ends, strict=True):
        lines.append(f'{key} = "{"outside" if place == OUTSIDE else place_letter(place)}"')
        if isinstance(end, Patch):
            patch = (
                f'wall = "{end.wall}", at_mm = {_numbers(end.centre[index], 1e-3)}, {_size(end.half[index])}'
            )
        else:
            site = batch.sites[int(end.site[index])]
            patch = f'wall = "{site.wall}", at_mm = {_numbers(site.at, 1e-3)}'
        lines.append(f"{key}_patch = {{ {patch} }}")
    return lines


def _duct(duct: Ducts, index: int) -> list[str]:
    lines = [f'shape = "{duct.shape}"', f"area_cm2 = {_number(duct.area[index], 1e-4)}"]
    if duct.area_end is not None:
        lines.append(f"area_end_cm2 = {_number(duct.area_end[index], 1e-4)}")
        lines.append(f'profile = "{duct.profile}"')
    if duct.shape == "slot" and duct.slot_height is not None:
        lines.append(f"height_mm = {_number(duct.slot_height[index], 1e-3)}")
    lines += [f"length_mm = {_number(duct.length[index], 1e-3)}", f"count = {duct.count}"]
    if duct.bends:
        pairs = (_numbers((float(at[index]), float(by[index])), 1e-3) for at, by in duct.bends)
        lines.append(f"bends_mm = [{', '.join(pairs)}]")
    for key, length in zip(("from_end_mm", "to_end_mm"), duct.end_lengths, strict=True):
        if length is not None:
            lines.append(f"{key} = {_number(length[index], 1e-3)}")
    return [*lines, f"loss_factor = {_number(duct.loss_factor[index], 1.0)}", *_lining(duct.lining, index)]


def _lining(resistivity: np.ndarray | None, index: int) -> list[str]:
    return [] if resistivity is None else [f"lining_pa_s_m2 = {_number(resistivity[index], 1.0)}"]


def _diaphragm(diaphragm: Diaphragms, index: int) -> list[str]:
    return [
        f"area_cm2 = {_number(diaphragm.area[index], 1e-4)}",
        f"mass_g = {_number(diaphragm.mass[index], 1e-3)}",
        f"compliance_mm_n = {_number(diaphragm.compliance[index], 1e-3)}",
        f"qm = {_number(diaphragm.q[index], 1.0)}",
        f"excursion_mm = {_number(diaphragm.excursion_limit[index], 1e-3)}",
    ]


def _size(half: np.ndarray) -> str:
    """Diameter where a disc of some diameter gives exactly this square, otherwise both sides."""
    if half[0] == half[1]:
        diameter = float(half[0]) / DISC_TO_HALF * 1e3
        for near in _neighbours(diameter):
            if near * 1e-3 * DISC_TO_HALF == half[0]:
                return f"diameter_mm = {near!r}"
    return f"size_mm = {_numbers(half, 0.5e-3)}"


def _numbers(values: Iterable[float], unit: float) -> str:
    return "[" + ", ".join(_number(value, unit) for value in values) + "]"


def _number(value: float, unit: float) -> str:
    """Number that the reader's multiplication by the unit turns back into the value."""
    value = float(value)
    if not math.isfinite(value):
        raise ValueError(f"a design with the value {value} cannot be written")
    for near in _neighbours(value / unit):
        if near * unit == value:
            return repr(near)
    return repr(value / unit)


def _neighbours(value: float) -> list[float]:
    """The value rounded to few digits, itself, and the floats next to it."""
    around = [round(value, 6), round(value, 9), value]
    return [*around, math.nextafter(value, -math.inf), math.nextafter(value, math.inf)]


def _plain(text: str) -> str:
    return re.sub(r"[\x00-\x1f\x7f\u2028\u2029]", " ", text)


def _text(text: str) -> str:
    return json.dumps(_plain(text), ensure_ascii=False)
