"""Panels of an enclosure made of sheet: sizes, thickness, count and cut-outs.

Either from a floor plan, whose walls are panels between floor and lid, or, where there is none, from the
chambers alone, each as a box of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from models.arrangement import Cut, leaves_of
from models.design import DesignBatch, Ducts, End, Patch
from models.driver import Driver
from models.envelope import WALLS, in_plane_axes, wall_axis
from models.plan import PlanBatch
from models.plan_checks import mount_name
from models.plan_voids import Gap, gaps
from models.topology import OUTSIDE, place_letter

SAME = 1e-7
"""Sizes nearer than this are equal [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A cut-out of a panel.

    Attributes
    ----------
    what : str
        What it is for [text].
    shape : str
        ``round`` or ``rectangle`` [text].
    size : tuple of two floats
        Along the panel's length and width; twice the diameter where round [m].
    at : tuple of two floats
        Centre from the panel's lowest corner, along its length and width [m].
    """

    what: str
    shape: Literal["round", "rectangle"]
    size: tuple[float, float]
    at: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A rectangular panel, or several equal ones.

    Attributes
    ----------
    name : str
        What it is [text].
    length, width, thickness : float
        Sizes; the length is the longer side [m].
    count : int
        How many of them [1].
    holes : tuple of Hole
        Cut-outs [list].
    """

    name: str
    length: float
    width: float
    thickness: float
    count: int = 1
    holes: tuple[Hole, ...] = ()


def chamber_panels(batch: DesignBatch, driver: Driver, sheet: float) -> list[Panel]:
    """Panels of the first design, each chamber a closed box with butt joints, its inner sides kept.

    Front and back (normal to x) cover the edges of all others, sides (normal to y) those of top and bottom.

    Parameters
    ----------
    batch : DesignBatch
        Designs at their real size [record].
    driver : Driver
        The driver of that size [record].
    sheet : float
        Thickness [m].

    Returns
    -------
    list of Panel
        Chamber after chamber, equal panels as one entry [list].
    """
    holes = _chamber_holes(batch, driver)
    result: list[Panel] = []
    for chamber in range(batch.topology.chambers):
        inner = batch.sides[0, chamber]
        of_chamber: list[Panel] = []
        for wall in WALLS:
            axes = in_plane_axes(wall)
            beyond = [sheet if axis > wall_axis(wall) else 0.0 for axis in axes]
            size = [float(inner[axis]) + 2.0 * more for axis, more in zip(axes, beyond, strict=True)]
            cut = tuple(
                replace(hole, at=(hole.at[0] + beyond[0], hole.at[1] + beyond[1]))
                for hole in holes.get((chamber, wall), [])
            )
            name = f"chamber {place_letter(chamber)}, wall {wall}"
            of_chamber.append(_turned(name, size[0], size[1], sheet, cut))
        result += _merged(of_chamber)
    return result


def plan_panels(plan: PlanBatch, sheet: float) -> list[Panel]:
    """Panels of the first plan: floor and lid, outer walls, inner walls, partitions between lanes.

    Floor and lid cover the edges of all walls; walls normal to u cover those of the walls normal to v.

    Parameters
    ----------
    plan : PlanBatch
        Plans whose walls are of the sheet's thickness [record].
    sheet : float
        Thickness [m].

    Returns
    -------
    list of Panel
        Equal panels without cut-outs as one entry [list].
    """
    outer, height = plan.outer, plan.height
    arrangement = plan.arrangement
    result: list[Panel] = []
    for high, name in ((False, "floor"), (True, "lid")):
        name = f"{name}, face {arrangement.wall_name((2, high))}"
        cut = tuple(_mount_holes(plan, (2, high), (0.0, 0.0)))
        result.append(_turned(name, float(outer[0]), float(outer[1]), sheet, cut))
    for axis in (0, 1):
        for high in (False, True):
            start = 0.0 if axis == 0 else sheet
            wall = _Upright(
                name=f"outer wall, face {arrangement.wall_name((axis, high))}",
                axis=axis,
                at=float(outer[axis]) - sheet if high else 0.0,
                low=start,
                high=float(outer[1 - axis]) - start,
            )
            result.append(_upright(plan, wall, sheet))
    result += [_upright(plan, wall, sheet) for wall in _inner_walls(plan)]
    for i, block in enumerate(arrangement.blocks):
        if block.lanes > 1:
            length = float(plan.run_length(i)[0] - plan.lane_widths[0, i])
            name = f"partition between lanes of duct {i + 1}, open at one end"
            result.append(replace(_turned(name, length, height, sheet, ()), count=block.lanes - 1))
    return _merged(result)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Upright:
    """A wall of a plan: from ``low`` to ``high`` along the other axis, its lower face at ``at`` [m]."""

    name: str
    axis: int
    at: float
    low: float
    high: float


def _inner_walls(plan: PlanBatch) -> list[_Upright]:
    result: list[_Upright] = []
    rects = plan.rects[0]

    def visit(node: int | Cut) -> None:
        if isinstance(node, int):
            return
        mine, below = leaves_of(node), leaves_of(node.low)
        result.append(
            _Upright(
                name=f"inner wall {len(result) + 1}",
                axis=node.axis,
                at=float(rects[below, node.axis, 1].max()),
                low=float(rects[mine, 1 - node.axis, 0].min()),
                high=float(rects[mine, 1 - node.axis, 1].max()),
            )
        )
        visit(node.low)
        visit(node.high)

    visit(plan.arrangement.tree)
    return result


def _upright(plan: PlanBatch, wall: _Upright, sheet: float) -> Panel:
    height = plan.height
    holes = []
    for gap in gaps(plan):
        if gap.axis == wall.axis and _within(gap, wall):
            holes.append(
                Hole(
                    what=f"mouth of duct {gap.duct + 1}, over the full height",
                    shape="rectangle",
                    size=(gap.high - gap.low, height),
                    at=(0.5 * (gap.low + gap.high) - wall.low, 0.5 * height),
                )
            )
    for high in (False, True):
        face_at = wall.at if high else wall.at + sheet
        found = _mount_holes(plan, (wall.axis, high), (wall.low, sheet), face_at)
        holes += [h for h in found if 0.0 < h.at[0] < wall.high - wall.low]
    return _turned(wall.name, wall.high - wall.low, height, sheet, tuple(holes))


def _within(gap: Gap, wall: _Upright) -> bool:
    at = min(gap.near, gap.far)
    return abs(at - wall.at) < SAME and wall.low - SAME < gap.low and gap.high < wall.high + SAME


def _mount_holes(
    plan: PlanBatch, face: tuple[int, bool], corner: tuple[float, float], at: float | None = None
) -> list[Hole]:
    """Cut-outs of drivers and diaphragms on a wall of that axis, seen from a corner of its panel."""
    first, second = (axis for axis in range(3) if axis != face[0])
    result = []
    for i, (mount, disc) in enumerate(zip(plan.arrangement.mounts, plan.discs, strict=True)):
        centre = plan.mounts[0, i]
        if mount.face == face and (at is None or abs(centre[face[0]] - at) < SAME):
            across = float(disc.cutout[0])
            result.append(
                Hole(
                    what=mount_name(plan, i),
                    shape="round",
                    size=(across, across),
                    at=(float(centre[first]) - corner[0], float(centre[second]) - corner[1]),
                )
            )
    return result


def _chamber_holes(batch: DesignBatch, driver: Driver) -> dict[tuple[int, str], list[Hole]]:
    result: dict[tuple[int, str], list[Hole]] = {}

    def note(place: int, end: End, what: str, size: tuple[float, float], shape: str) -> None:
        if place == OUTSIDE or not isinstance(end, Patch):
            return
        x, y = (float(value) for value in end.centre[0])
        kind: Literal["round", "rectangle"] = "round" if shape == "round" else "rectangle"
        result.setdefault((place, end.wall), []).append(Hole(what=what, shape=kind, size=size, at=(x, y)))

    for i, (edge, ends) in enumerate(zip(batch.topology.drivers, batch.driver_ends, strict=True)):
        name = "the driver" if len(batch.driver_ends) == 1 else f"driver {i + 1}"
        for place, end in zip(edge, ends, strict=True):
            note(place, end, name, (driver.cutout, driver.cutout), "round")
    for edge, duct in zip(batch.topology.ducts, batch.ducts, strict=True):
        for side, (place, end) in enumerate(zip(edge, duct.ends, strict=True)):
            words = duct.name if duct.count == 1 else f"{duct.name}, around its {duct.count} tubes"
            note(place, end, words, _mouth(duct, end, side), duct.shape)
    for edge, one in zip(batch.topology.diaphragms, batch.diaphragms, strict=True):
        across = float(2.0 * np.sqrt(one.area[0] / np.pi))
        for place, end in zip(edge, one.ends, strict=True):
            note(place, end, one.name, (across, across), "round")
    return result


def _mouth(duct: Ducts, end: End, side: int) -> tuple[float, float]:
    """Size of a duct's mouth along the axes of its wall; of several tubes, the whole that they make up."""
    if duct.shape == "slot" and isinstance(end, Patch):
        return float(2.0 * end.half[0, 0]), float(2.0 * end.half[0, 1])
    area = duct.area if side == 0 or duct.area_end is None else duct.area_end
    across = float(2.0 * np.sqrt(area[0] / duct.count / np.pi))
    return across, across


def _turned(name: str, length: float, width: float, sheet: float, holes: tuple[Hole, ...]) -> Panel:
    """Panel whose length is its longer side."""
    if width > length:
        length, width = width, length
        holes = tuple(replace(h, size=(h.size[1], h.size[0]), at=(h.at[1], h.at[0])) for h in holes)
    return Panel(name=name, length=length, width=width, thickness=sheet, holes=holes)


def _merged(panels: list[Panel]) -> list[Panel]:
    """Equal panels without cut-outs as one."""
    result: list[Panel] = []
    for panel in panels:
        for place, other in enumerate(result):
            plain = not panel.holes and not other.holes
            if plain and abs(panel.length - other.length) + abs(panel.width - other.width) < SAME:
                name = f"{other.name}; {panel.name.rpartition(', ')[2]}"
                result[place] = replace(other, name=name, count=other.count + panel.count)
                break
        else:
            result.append(panel)
    return result
