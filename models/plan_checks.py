"""Whether a plan can be built: every requirement as a length by which it is missed."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from models.plan import PlanBatch, Plans
from models.topology import place_letter

LEAST_ROOM = 0.010
"""Least side of a room [m]."""

LEAST_BLANK = 0.004
"""Least side of a sealed blank [m]."""

LEAST_LANE = 0.005
"""Least width of a lane, so that it prints clean and can be wiped [m]."""

FREE_SHARE = 0.5
"""Free depth before a mouth inside, in widths of the mouth."""

FOLD_RUN = 2.0
"""Least length of lanes that fold or turn, in their widths."""


def shorts(plans: Plans) -> np.ndarray:
    """By how much every requirement is missed.

    Parameters
    ----------
    plans : Plans
        Plans, of one or of several arrangements of a graph [record].

    Returns
    -------
    ndarray, shape (n_plans, n_requirements)
        In a fixed order for one graph, that of :func:`faults`; not positive where it holds, minus infinity
        where an arrangement does not have it [m].
    """
    return np.concatenate([*_leaves(plans), *_lanes(plans), *_openings(plans), *_mounts(plans)], axis=1)


def shortfall(plans: Plans) -> np.ndarray:
    """Sum of all lengths that requirements are missed by, shape (n_plans,) [m]."""
    return np.asarray(np.maximum(shorts(plans), 0.0).sum(axis=1))


def faults(plan: PlanBatch, index: int = 0) -> list[str]:
    """What is wrong with one plan, as sentences with lengths; empty where it can be built."""
    short = shorts(plan.rows(slice(index, index + 1)))[0]
    return [
        f"{what} (by {by * 1e3:.3g} mm)"
        for what, by in zip(_sentences(plan), short, strict=True)
        if by > 1e-9
    ]


def _sentences(plan: PlanBatch) -> list[str]:
    """What is wrong where a requirement is missed, in the order of :func:`shorts`."""
    arrangement, mounts = plan.arrangement, plan.arrangement.mounts
    kinds = [[i for i, leaf in enumerate(arrangement.leaves) if leaf.kind == k] for k in ("room", "blank")]
    rooms = sorted(kinds[0], key=lambda i: arrangement.leaves[i].index)
    ducts = range(1, len(arrangement.blocks) + 1)
    ends = [(i + 1, o) for i, block in enumerate(arrangement.blocks) for o in block.openings]
    inner, outer = ([(i, o) for i, o in ends if (o.leaf < 0) == out] for out in (False, True))
    words = [mount_name(plan, i) for i in range(len(mounts))]
    wheres = [f"between {_name(plan, m.leaf)} and {_name(plan, m.other)}" for m in mounts]
    faced = [word for word, mount in zip(words, mounts, strict=True) if mount.other < 0]
    return [
        *(f"{_name(plan, i)} is too narrow" for i in [*rooms, *kinds[1]]),
        *(f"the lanes of duct {i} are too narrow" for i in ducts),
        *(f"the lanes of duct {i} are too short for their width" for i in ducts),
        *(f"duct {i} does not open fully into {_name(plan, o.leaf)}" for i, o in inner),
        *(f"duct {i} has too little free space before its mouth in {_name(plan, o.leaf)}" for i, o in inner),
        *(f"{word} has no room on its wall {where}" for word, where in zip(words, wheres, strict=True)),
        *(f"{w} is deeper than {_name(plan, m.leaf)}" for w, m in zip(words, mounts, strict=True)),
        *(
            f"{w} has too little free space before it in {_name(plan, m.other)}"
            for w, m in zip(words, mounts, strict=True)
        ),
        *(f"{one} and {two} meet" for one, two in combinations(words, 2)),
        *(f"{word} stands before the mouth of duct {i}" for word in words for i, _ in inner),
        *(f"{word} and the mouth of duct {i} overlap on one face" for word in faced for i, _ in outer),
    ]


def _name(plan: PlanBatch, leaf: int) -> str:
    if leaf < 0:
        return "the outside"
    one = plan.arrangement.leaves[leaf]
    if one.kind == "room":
        return f"room {place_letter(one.index)}"
    return f"duct {one.index + 1}" if one.kind == "duct" else "a blank"


def _leaves(plans: Plans) -> list[np.ndarray]:
    row = np.arange(plans.size)[:, None]
    result = []
    for leaves, least in ((plans.codes.rooms, LEAST_ROOM), (plans.codes.blanks, LEAST_BLANK)):
        rects = plans.rects[row, leaves]
        result.append(least - (rects[..., 1] - rects[..., 0]).min(axis=2, initial=np.inf))
    return result


def _lanes(plans: Plans) -> list[np.ndarray]:
    codes, width = plans.codes, plans.lane_widths
    turning = (codes.lanes > 1) | np.any(codes.sideways > 0, axis=2)
    least = np.where(turning, FOLD_RUN * np.maximum(width, LEAST_LANE), LEAST_LANE)
    return [LEAST_LANE - width, least - plans.runs]


def _inner_ends(plans: Plans) -> tuple[np.ndarray, np.ndarray]:
    """Ducts and ends that open into rooms, the same for all arrangements of a graph."""
    duct, end = np.nonzero(plans.codes.opening_leaf[0] >= 0)
    return duct, end


def _openings(plans: Plans) -> list[np.ndarray]:
    codes, row = plans.codes, np.arange(plans.size)[:, None]
    duct, end = _inner_ends(plans)
    room = plans.rects[row, codes.opening_leaf[:, duct, end]]
    axis, many = codes.opening_axis[:, duct, end], np.arange(duct.size)
    across, along = room[row, many, 1 - axis], room[row, many, axis]
    centre, width = plans.end_centre[:, duct, end], plans.lane_widths[:, duct]
    low, high = centre - 0.5 * width, centre + 0.5 * width
    over = np.maximum(across[..., 0] - low, high - across[..., 1])
    return [over, FREE_SHARE * width - (along[..., 1] - along[..., 0])]


def _mounts(plans: Plans) -> list[np.ndarray]:
    """Room of bodies on their walls, in their rooms, between each other, and clear of mouths."""
    codes, n, row = plans.codes, plans.size, np.arange(plans.size)[:, None]
    extents = np.empty((n, plans.rects.shape[1], 3))
    extents[:, :, :2] = plans.rects[..., 1] - plans.rects[..., 0]
    extents[:, :, 2] = plans.heights[:, None]
    behind = np.array([disc.depth for disc in plans.discs]) - extents[row, codes.mount_leaf, codes.mount_axis]
    free = np.array([d.clearance for d in plans.discs]) - extents[row, codes.mount_other, codes.mount_axis]
    low, top = _bodies(plans)
    pairs = list(combinations(range(len(plans.discs)), 2))
    meet = np.empty((n, len(pairs)))
    for k, (i, j) in enumerate(pairs):
        apart = np.maximum(low[:, i] - top[:, j], low[:, j] - top[:, i]).max(axis=1)
        meet[:, k] = plans.envelope.wall - apart
    before_low, before_high = _before(plans)
    apart = np.maximum(
        low[:, :, None, :2] - before_high[:, None], before_low[:, None] - top[:, :, None, :2]
    ).max(axis=3)
    return [
        -plans.spare,
        behind,
        np.where(codes.mount_other < 0, -np.inf, free),
        meet,
        -apart.reshape(n, -1),
        _faces(plans),
    ]


def _bodies(plans: Plans) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of the cuboid around each frame and body, each (n_plans, n_mounts, 3)."""
    codes, row, many = plans.codes, np.arange(plans.size)[:, None], np.arange(len(plans.discs))
    outside, high, axis = codes.mount_other < 0, codes.mount_high > 0, codes.mount_axis
    cutout, frame = (np.stack([getattr(d, k) for d in plans.discs], axis=1) for k in ("cutout", "frame"))
    depth, clearance = (np.array([getattr(d, k) for d in plans.discs]) for k in ("depth", "clearance"))
    across = 0.5 * np.where(outside, cutout, frame)[..., None]
    low, top = plans.mounts - across, plans.mounts + across
    wall = plans.mounts[row, many, axis]
    front = plans.envelope.wall + np.where(outside, 0.0, clearance)
    low[row, many, axis] = wall - np.where(high, depth, front)
    top[row, many, axis] = wall + np.where(high, front, depth)
    return low, top


def _before(plans: Plans) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest u, v of the floor that is free before mouths in rooms, each (n_plans, n_ends, 2)."""
    codes, row = plans.codes, np.arange(plans.size)[:, None]
    duct, end = _inner_ends(plans)
    centre, width = plans.end_centre[:, duct, end], plans.lane_widths[:, duct]
    at, axis = plans.end_at[:, duct, end], codes.opening_axis[:, duct, end]
    high, many = codes.opening_high[:, duct, end] > 0, np.arange(duct.size)
    wall, deep = plans.envelope.wall, FREE_SHARE * width
    low, top = np.empty((*centre.shape, 2)), np.empty((*centre.shape, 2))
    low[row, many, 1 - axis], top[row, many, 1 - axis] = centre - 0.5 * width, centre + 0.5 * width
    low[row, many, axis] = np.where(high, at + wall, at - wall - deep)
    top[row, many, axis] = np.where(high, at + wall + deep, at - wall)
    return low, top


def _faces(plans: Plans) -> np.ndarray:
    """Frames clear of mouths on the envelope's faces, and of gaps in the walls that carry them."""
    codes, result = plans.codes, []
    for m in np.nonzero(codes.mount_other[0] < 0)[0]:
        axis, high, disc = codes.mount_axis[:, m], codes.mount_high[:, m], plans.discs[m]
        at = np.where(axis == 0, plans.mounts[:, m, 1], plans.mounts[:, m, 0])  # of an upright wall
        for i, k in zip(*np.nonzero(codes.opening_leaf[0] < 0), strict=True):
            same = (codes.opening_axis[:, i, k] == axis) & (codes.opening_high[:, i, k] == high)
            need = 0.5 * (disc.frame + plans.lane_widths[:, i]) + 2.0 * plans.envelope.wall
            result.append(np.where(same, need - np.abs(at - plans.end_centre[:, i, k]), -np.inf))
    return np.stack(result, axis=1) if result else np.empty((plans.size, 0))


def mount_name(plan: PlanBatch, i: int) -> str:
    """Driver or diaphragm for people, numbered where there are several [text]."""
    drivers = len(plan.arrangement.topology.drivers)
    if i < drivers:
        return "the driver" if drivers == 1 else f"driver {i + 1}"
    return f"diaphragm {i - drivers + 1}"
