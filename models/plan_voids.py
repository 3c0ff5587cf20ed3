"""Air on the floor of a plan: rectangles of rooms, lanes and mouths, and rounded corners of mouths.

Everything is of one plan, the first of its batch, in plan coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.plan import PlanBatch

ARC_STEPS = 12
"""Chords of a quarter-round."""

OVERLAP = 0.001
"""Length by which mouths reach into what they join, so that solids never share a bare face [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A mouth: the gap that an end of a duct leaves in a wall.

    Attributes
    ----------
    duct, end : int
        Which end of which duct [1].
    axis : int
        Plan axis normal to the wall [1].
    low, high : float
        Reach along the wall [m].
    near, far : float
        Faces of the wall, on the duct's side and on the side that it opens to [m].
    leaf : int
        Leaf that it opens to, -1 for the outside [1].
    sideways : bool
        Whether the duct turns into it [flag].
    """

    duct: int
    end: int
    axis: int
    low: float
    high: float
    near: float
    far: float
    leaf: int
    sideways: bool


def gaps(plan: PlanBatch) -> list[Gap]:
    """All mouths of a plan."""
    wall = plan.envelope.wall
    result = []
    for i, (block, ends) in enumerate(zip(plan.arrangement.blocks, plan.ends, strict=True)):
        for side, (opening, end) in enumerate(zip(block.openings, ends, strict=True)):
            near = float(end.at[0])
            half = 0.5 * float(end.width[0])
            result.append(
                Gap(
                    duct=i,
                    end=side,
                    axis=opening.face[0],
                    low=float(end.centre[0]) - half,
                    high=float(end.centre[0]) + half,
                    near=near,
                    far=near + (wall if opening.face[1] else -wall),
                    leaf=opening.leaf,
                    sideways=opening.sideways,
                )
            )
    return result


def rectangle(u0: float, u1: float, v0: float, v1: float) -> np.ndarray:
    """Corners of a rectangle anticlockwise, shape (4, 2)."""
    return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])


def leaf_rectangle(plan: PlanBatch, leaf: int) -> np.ndarray:
    """Corners of a leaf, shape (4, 2) [m]."""
    (u0, u1), (v0, v1) = plan.rects[0, leaf]
    return rectangle(u0, u1, v0, v1)


def duct_rectangles(plan: PlanBatch, duct: int) -> list[np.ndarray]:
    """Lanes and folds of a duct as overlapping rectangles [m]."""
    block = plan.arrangement.blocks[duct]
    rect = plan.rects[0, plan.arrangement.leaf_of("duct", duct)]
    width, wall = float(plan.lane_widths[0, duct]), plan.envelope.wall
    run, across = rect[block.run], rect[1 - block.run]
    order = range(block.lanes - 1, -1, -1) if block.first_high else range(block.lanes)
    result = []

    def note(r0: float, r1: float, a0: float, a1: float) -> None:
        result.append(rectangle(r0, r1, a0, a1) if block.run == 0 else rectangle(a0, a1, r0, r1))

    lows = [float(across[0] + lane * (width + wall)) for lane in range(block.lanes)]
    for low in lows:
        note(run[0], run[1], low, low + width)
    for step, (lane, following) in enumerate(zip(order, list(order)[1:], strict=False)):
        at_high = block.start_high == bool(step % 2)
        first, last = sorted((lows[lane], lows[following]))
        r0 = run[1] - width if at_high else run[0]
        note(r0, r0 + width, first, last + width)
    return result


def gap_rectangle(gap: Gap) -> np.ndarray:
    """A mouth's gap with a little overlap on both sides, shape (4, 2) [m]."""
    sign = 1.0 if gap.far > gap.near else -1.0
    n0, n1 = sorted((gap.near - sign * OVERLAP, gap.far + sign * OVERLAP))
    if gap.axis == 0:
        return rectangle(n0, n1, gap.low, gap.high)
    return rectangle(gap.low, gap.high, n0, n1)


def roundings(plan: PlanBatch, overlap: float = OVERLAP) -> list[np.ndarray]:
    """What rounding takes off the outer edges of mouths, where the wall beside them bears it.

    The edge becomes a quarter-round of one wall thickness about the far corner of the partition
    beside it, so that the wall is nowhere thinner.

    Parameters
    ----------
    plan : PlanBatch
        A plan that can be built [record].
    overlap : float
        How far the pieces reach beyond the corner that they take off [m].

    Returns
    -------
    list of ndarray, shape (n, 2)
        Anticlockwise polygons [m].
    """
    wall = plan.envelope.wall
    every = gaps(plan)
    result = []
    for gap in every:
        for edge, away in ((gap.low, -1.0), (gap.high, 1.0)):
            if _bears(plan, gap, every, edge, away):
                corner = _quarter(wall, away, 1.0 if gap.far < gap.near else -1.0, overlap)
                at = np.array([edge, gap.far])
                shape = (corner + at)[:, ::-1] if gap.axis == 0 else corner + at
                result.append(_anticlockwise(shape))
    return result


def _bears(plan: PlanBatch, gap: Gap, every: list[Gap], edge: float, away: float) -> bool:
    """Whether there is room for a quarter-round beside an edge of a mouth."""
    wall = plan.envelope.wall
    along = 1 - gap.axis
    beyond = edge + away * wall
    if gap.sideways and not _at_lane_end(plan, gap, edge):
        return False
    if gap.leaf < 0:
        low, high = wall, float(plan.outer[along]) - wall
    else:
        low, high = (float(x) for x in plan.rects[0, gap.leaf, along])
    if not low <= beyond <= high:
        return False
    for other in every:
        if other is not gap and other.axis == gap.axis and abs(other.far - gap.far) < wall:
            if other.low - 3.0 * wall < beyond < other.high + 3.0 * wall:
                return False
    for i, mount in enumerate(plan.arrangement.mounts):
        if mount.face[0] == gap.axis:
            at, half = plan.mounts[0, i, along], 0.5 * float(plan.discs[i].frame[0])
            same = abs(plan.mounts[0, i, gap.axis] - gap.far) < 2.0 * wall
            if same and abs(at - beyond) < half + wall:
                return False
    return True


def _at_lane_end(plan: PlanBatch, gap: Gap, edge: float) -> bool:
    run = plan.rects[0, plan.arrangement.leaf_of("duct", gap.duct), 1 - gap.axis]
    return bool(min(abs(edge - run[0]), abs(edge - run[1])) < 1e-9)


def _quarter(radius: float, away: float, inward: float, overlap: float) -> np.ndarray:
    """Corner piece between an edge at the origin and its quarter-round: (along, normal), with overlap."""
    angle = np.linspace(0.0, 0.5 * np.pi, ARC_STEPS + 1)
    arc = np.stack([radius * (1.0 - np.sin(angle)), radius * (1.0 - np.cos(angle))], axis=1)
    corner = np.array([[-overlap, radius], [-overlap, -overlap], [radius, -overlap]])
    return np.asarray(np.concatenate([arc, corner]) * np.array([away, inward]))


def _anticlockwise(shape: np.ndarray) -> np.ndarray:
    u, v = shape[:, 0], shape[:, 1]
    doubled = float((u * np.roll(v, -1) - np.roll(u, -1) * v).sum())
    return shape if doubled > 0.0 else shape[::-1]
