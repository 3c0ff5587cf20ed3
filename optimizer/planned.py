"""Room of a design that was read off a floor plan: the plan is checked, and whether it is the design's."""

from __future__ import annotations

from pathlib import Path

from models.design import DesignBatch, End, Mouth
from models.plan_checks import faults
from models.plan_reading import read_plan
from models.rules import Rules
from models.topology import place_letter
from optimizer.faults import ConfigError, Fault, read_toml
from optimizer.plan_file import load_plan

SAME = 1e-7
"""Largest difference between a design and its plan, of a length [m] or an area [m2]."""


def room_reasons(path: Path, design: DesignBatch, rules: Rules) -> list[str] | None:
    """Why a design file's floor plan cannot be built; None for a design without a plan.

    Parameters
    ----------
    path : Path
        Design file; its key ``plan`` names the plan's file, beside it [path].
    design : DesignBatch
        Content of the design file, a batch of one [record].
    rules : Rules
        The season's rules [record].

    Returns
    -------
    list of str, or None
        Empty where the plan can be built and the design is read off it [text].

    Raises
    ------
    ConfigError
        The plan's file is missing or damaged.
    """
    document = read_toml(path)
    name = document.data.get("plan")
    if name is None:
        return None
    if Path(name).name != name or not (path.parent / name).is_file():
        message = f'"{name}" is not a file beside the design; without this key room is counted by volume'
        raise ConfigError([Fault(document.file, document.line(("plan",)), "plan", message)])
    plan, _ = load_plan(path.parent / name, rules)
    if wrong := faults(plan):
        return [f"the plan {name} cannot be built: {fault}" for fault in wrong]
    arrangement = plan.arrangement
    if arrangement.topology != design.topology:
        return [f"the plan {name} joins other places: {arrangement.topology.graph_id}"]
    mine, its = _measures(design), _measures(read_plan(plan, rules, None, design.diaphragms))
    differing = [what for what, size in mine.items() if not _same(size, its[what])]
    return [f"{what} is not as in the plan {name}" for what in differing]


def _measures(design: DesignBatch) -> dict[str, list[float | str]]:
    """Everything that is drawn on a plan, by part [m], [m2]."""
    found: dict[str, list[float | str]] = {}
    for chamber in range(design.topology.chambers):
        found[f"chamber {place_letter(chamber)}"] = [float(side) for side in design.sides[0, chamber]]
    for i, ends in enumerate(design.driver_ends, start=1):
        found[f"driver {i}"] = [*_place(design, ends[0]), *_place(design, ends[1])]
    for i, duct in enumerate(design.ducts, start=1):
        bends = [float(value[0]) for bend in duct.bends for value in bend]
        tapered = "tapered" if duct.area_end is not None else "uniform"
        sizes = [float(duct.area[0]), float(duct.length[0]), *bends]
        where = [*_place(design, duct.ends[0]), *_place(design, duct.ends[1])]
        found[f"duct {i}"] = [duct.shape, str(duct.count), tapered, *sizes, *where]
    for i, diaphragm in enumerate(design.diaphragms, start=1):
        where = [*_place(design, diaphragm.ends[0]), *_place(design, diaphragm.ends[1])]
        found[f"diaphragm {i}"] = [float(diaphragm.area[0]), *where]
    return found


def _place(design: DesignBatch, end: End) -> list[float | str]:
    if isinstance(end, Mouth):
        site = design.sites[int(end.site[0])]
        return [site.wall, *site.at]
    return [end.wall, *(float(value) for value in (*end.centre[0], *end.half[0]))]


def _same(one: list[float | str], two: list[float | str]) -> bool:
    return len(one) == len(two) and all(
        a == b if isinstance(a, str) or isinstance(b, str) else abs(a - b) < SAME
        for a, b in zip(one, two, strict=True)
    )
