"""Air of one plan for a solution in three dimensions: its floor in rectangles, and where air comes and goes.

Pins, bosses, the engraving's pad, rounded edges of mouths and bodies of drivers are left out, as the
network leaves them out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch
from models.plan import PlanBatch
from models.plan_voids import duct_rectangles, gaps

Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A rectangle on the air's rigid boundary, in plan coordinates; a span without width is its normal.

    Attributes
    ----------
    spans : tuple of three pairs of floats
        Low and high along u, v and h [m].
    flow : int
        Index of the network's flow that passes it [1].
    sign : float
        +1 where that flow enters the air, -1 where it leaves [1].
    piston : bool
        Whether the velocity is even across it; otherwise the pressure is, over the whole height [flag].
    """

    spans: tuple[Span, Span, Span]
    flow: int
    sign: float
    piston: bool


def floor_air(plan: PlanBatch) -> np.ndarray:
    """Rectangles of air of rooms, ducts and mouths on the floor, shape (n, 2, 2): axis, low and high [m]."""
    rooms = [i for i, leaf in enumerate(plan.arrangement.leaves) if leaf.kind == "room"]
    found = [plan.rects[0, leaf] for leaf in rooms]
    for duct in range(len(plan.arrangement.blocks)):
        for corners in duct_rectangles(plan, duct):
            found.append(np.stack([corners.min(axis=0), corners.max(axis=0)], axis=1))
    for gap in gaps(plan):
        through = sorted((gap.near, gap.far))
        pair = [through, [gap.low, gap.high]]
        found.append(np.array(pair if gap.axis == 0 else pair[::-1]))
    return np.array(found)


def faces(plan: PlanBatch, batch: DesignBatch, piston_area: float) -> list[Face]:
    """Pistons of drivers and diaphragms as squares of their area, and the mouths outside.

    Parameters
    ----------
    plan : PlanBatch
        The plan, first of its batch [record].
    batch : DesignBatch
        The design read off it, whose flows are numbered as the network's [record].
    piston_area : float
        Effective area of a driver [m2].

    Returns
    -------
    list of Face
        Every place where air comes in or goes out [list].
    """
    wall, height = plan.envelope.wall, plan.height
    areas = [piston_area] * len(batch.driver_ends) + [float(one.area[0]) for one in batch.diaphragms]
    result = []
    for i, (mount, area) in enumerate(zip(plan.arrangement.mounts, areas, strict=True)):
        axis, high = mount.face
        # a driver's flow leaves the room behind it; a diaphragm's enters its second place
        sign = -1.0 if i < len(batch.driver_ends) else 1.0
        for leaf, turn, away in ((mount.leaf, 1.0, 0.0), (mount.other, -1.0, wall if high else -wall)):
            if leaf < 0:
                continue
            centre, half = plan.mounts[0, i].copy(), np.full(3, 0.5 * np.sqrt(area))
            centre[axis] += away
            half[axis] = 0.0
            low, top = centre - half, centre + half
            spans = tuple((float(a), float(b)) for a, b in zip(low, top, strict=True))
            result.append(Face(spans=(spans[0], spans[1], spans[2]), flow=i, sign=sign * turn, piston=True))
    for gap in gaps(plan):
        if gap.leaf < 0:
            along, through = (gap.low, gap.high), (gap.far, gap.far)
            first, second = (through, along) if gap.axis == 0 else (along, through)
            result.append(
                Face(
                    spans=(first, second, (wall, wall + height)),
                    flow=len(areas) + 2 * gap.duct + gap.end,
                    sign=-1.0 if gap.end else 1.0,
                    piston=False,
                )
            )
    return result
