"""Whether a plan can be built: every requirement as a length by which it is missed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from models.plan import PlanBatch
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One requirement.

    Attributes
    ----------
    what : str
        Sentence on what is wrong where it is missed [text].
    short : ndarray, shape (n_plans,)
        By how much it is missed; not positive where it holds [m].
    """

    what: str
    short: np.ndarray


def needs(plan: PlanBatch) -> list[Need]:
    """Everything that a plan must keep to.

    Parameters
    ----------
    plan : PlanBatch
        Plans [record].

    Returns
    -------
    list of Need
        In a fixed order for one arrangement [list].
    """
    return [*_leaves(plan), *_lanes(plan), *_openings(plan), *_mounts(plan), *_faces(plan)]


def shortfall(plan: PlanBatch) -> np.ndarray:
    """Sum of all lengths that requirements are missed by, shape (n_plans,) [m]."""
    total = np.zeros(plan.size)
    for need in needs(plan):
        total += np.maximum(need.short, 0.0)
    return total


def faults(plan: PlanBatch, index: int = 0) -> list[str]:
    """What is wrong with one plan, as sentences with lengths; empty where it can be built."""
    return [
        f"{need.what} (by {need.short[index] * 1e3:.3g} mm)"
        for need in needs(plan)
        if need.short[index] > 1e-9
    ]


def _name(plan: PlanBatch, leaf: int) -> str:
    if leaf < 0:
        return "the outside"
    one = plan.arrangement.leaves[leaf]
    if one.kind == "room":
        return f"room {place_letter(one.index)}"
    return f"duct {one.index + 1}" if one.kind == "duct" else "a blank"


def _leaves(plan: PlanBatch) -> list[Need]:
    result = []
    for i, leaf in enumerate(plan.arrangement.leaves):
        if leaf.kind == "duct":
            continue
        least = LEAST_ROOM if leaf.kind == "room" else LEAST_BLANK
        side = (plan.rects[:, i, :, 1] - plan.rects[:, i, :, 0]).min(axis=1)
        result.append(Need(what=f"{_name(plan, i)} is too narrow", short=least - side))
    return result


def _lanes(plan: PlanBatch) -> list[Need]:
    result = []
    for i, block in enumerate(plan.arrangement.blocks):
        width, run = plan.lane_widths[:, i], plan.run_length(i)
        result.append(Need(what=f"the lanes of duct {i + 1} are too narrow", short=LEAST_LANE - width))
        turning = block.lanes > 1 or any(o.sideways for o in block.openings)
        least = FOLD_RUN * np.maximum(width, LEAST_LANE) if turning else LEAST_LANE
        result.append(
            Need(what=f"the lanes of duct {i + 1} are too short for their width", short=least - run)
        )
    return result


def _openings(plan: PlanBatch) -> list[Need]:
    result = []
    for i, (block, ends) in enumerate(zip(plan.arrangement.blocks, plan.ends, strict=True)):
        for opening, end in zip(block.openings, ends, strict=True):
            if opening.leaf < 0:
                continue
            axis = opening.face[0]
            room = plan.rects[:, opening.leaf]
            low, high = end.centre - 0.5 * end.width, end.centre + 0.5 * end.width
            over = np.maximum(room[:, 1 - axis, 0] - low, high - room[:, 1 - axis, 1])
            to = _name(plan, opening.leaf)
            result.append(Need(what=f"duct {i + 1} does not open fully into {to}", short=over))
            depth = room[:, axis, 1] - room[:, axis, 0]
            what = f"duct {i + 1} has too little free space before its mouth in {to}"
            result.append(Need(what=what, short=FREE_SHARE * end.width - depth))
    return result


def _mounts(plan: PlanBatch) -> list[Need]:
    result = []
    boxes = []
    for i, (mount, disc) in enumerate(zip(plan.arrangement.mounts, plan.discs, strict=True)):
        word = mount_name(plan, i)
        where = f"on its wall between {_name(plan, mount.leaf)} and {_name(plan, mount.other)}"
        result.append(Need(what=f"{word} has no room {where}", short=-plan.spare[:, i]))
        axis = mount.face[0]
        for leaf, depth, what in (
            (mount.leaf, disc.depth, "is deeper than"),
            (mount.other, disc.clearance, "has too little free space before it in"),
        ):
            if leaf >= 0:
                short = depth - _extent(plan, leaf, axis)
                result.append(Need(what=f"{word} {what} {_name(plan, leaf)}", short=short))
        boxes.append((word, *_body(plan, i)))
    for (one, low, high_), (two, low2, high2) in combinations(boxes, 2):
        apart = np.maximum(low - high2, low2 - high_).max(axis=1)
        result.append(Need(what=f"{one} and {two} meet", short=plan.envelope.wall - apart))
    for i, (block, ends) in enumerate(zip(plan.arrangement.blocks, plan.ends, strict=True)):
        for opening, end in zip(block.openings, ends, strict=True):
            for word, low, high_ in boxes if opening.leaf >= 0 else ():
                box = _before(plan, opening.face, end)
                apart = np.maximum(low[:, :2] - box[:, :, 1], box[:, :, 0] - high_[:, :2]).max(axis=1)
                result.append(Need(what=f"{word} stands before the mouth of duct {i + 1}", short=-apart))
    return result


def _extent(plan: PlanBatch, leaf: int, axis: int) -> np.ndarray:
    if axis == 2:
        return np.full(plan.size, plan.height)
    return np.asarray(plan.rects[:, leaf, axis, 1] - plan.rects[:, leaf, axis, 0])


def _body(plan: PlanBatch, i: int) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of the cuboid around a mount's frame and body, each (n_plans, 3)."""
    (axis, high), disc = plan.arrangement.mounts[i].face, plan.discs[i]
    outside = plan.arrangement.mounts[i].other < 0
    across = disc.cutout if outside else disc.frame
    low, top = plan.mounts[:, i] - 0.5 * across[:, None], plan.mounts[:, i] + 0.5 * across[:, None]
    wall = plan.mounts[:, i, axis]
    front = plan.envelope.wall + (0.0 if outside else disc.clearance)
    low[:, axis] = wall - (disc.depth if high else front)
    top[:, axis] = wall + (front if high else disc.depth)
    return low, top


def _before(plan: PlanBatch, face: tuple[int, bool], end: object) -> np.ndarray:
    """Floor that must be free before a mouth in a room, shape (n_plans, 2, 2) [m]."""
    centre, width, at = (np.asarray(getattr(end, key)) for key in ("centre", "width", "at"))
    axis, high = face
    wall = plan.envelope.wall
    box = np.empty((plan.size, 2, 2))
    box[:, 1 - axis, 0], box[:, 1 - axis, 1] = centre - 0.5 * width, centre + 0.5 * width
    deep = FREE_SHARE * width
    box[:, axis, 0] = at + wall if high else at - wall - deep
    box[:, axis, 1] = at + wall + deep if high else at - wall
    return box


def _faces(plan: PlanBatch) -> list[Need]:
    """Frames clear of mouths on the envelope's faces, and of gaps in the walls that carry them."""
    result = []
    wall = plan.envelope.wall
    for m, (mount, disc) in enumerate(zip(plan.arrangement.mounts, plan.discs, strict=True)):
        axis, _ = mount.face
        if axis == 2:
            continue
        at = plan.mounts[:, m, 1 - axis]
        for i, (block, ends) in enumerate(zip(plan.arrangement.blocks, plan.ends, strict=True)):
            for opening, end in zip(block.openings, ends, strict=True):
                if opening.leaf < 0 and mount.other < 0 and opening.face == mount.face:
                    need = 0.5 * (disc.frame + end.width) + 2.0 * wall
                    what = f"{mount_name(plan, m)} and the mouth of duct {i + 1} overlap on one face"
                    result.append(Need(what=what, short=need - np.abs(at - end.centre)))
    return result


def mount_name(plan: PlanBatch, i: int) -> str:
    """Driver or diaphragm for people, numbered where there are several [text]."""
    drivers = len(plan.arrangement.topology.drivers)
    if i < drivers:
        return "the driver" if drivers == 1 else f"driver {i + 1}"
    return f"diaphragm {i - drivers + 1}"
