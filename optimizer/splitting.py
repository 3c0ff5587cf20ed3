"""Parts larger than the printer's bed, cut into pieces by planes that spare walls, cut-outs and bosses.

A seam is a plain face, as wide as the walls that it crosses; it is glued.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from models.plan import PlanBatch
from models.plan_voids import gaps
from models.solid_steps import MM, Parts
from optimizer.printer import fits_bed

MOST_PIECES = 8

Stretch = tuple[int, float, float]
"""Axis, and from where to where along it."""

CLEAR_MM = 3.0
"""Distance of a cut from frames of drivers and from bosses of pins [mm]."""

WALL_CLEAR_MM = 1.0
"""Distance of a cut from the faces of a wall along it, which it would split into thin sheets [mm]."""

BOSS_MM = 8.0


def kept_whole(plan: PlanBatch, parts: Parts, turned: bool) -> list[Stretch]:
    """Where no cut should pass a body or lid.

    Parameters
    ----------
    plan : PlanBatch
        The plan, first of its batch [record].
    parts : Parts
        Its steps, for places of pins [record].
    turned : bool
        Whether the part is the lid, turned over for printing [flag].

    Returns
    -------
    list of stretches
        In the part's print orientation [mm].
    """
    found: list[Stretch] = []
    for i, mount in enumerate(plan.arrangement.mounts):
        if not turned or mount.face == (2, True):
            half = 0.5 * float(plan.discs[i].frame[0]) * MM + CLEAR_MM
            found += [(axis, at - half, at + half) for axis, at in enumerate(plan.mounts[0, i] * MM)]
    for u, v in parts.pins:
        found += [(axis, at - BOSS_MM - CLEAR_MM, at + BOSS_MM + CLEAR_MM) for axis, at in enumerate((u, v))]
    if turned:
        depth = float(plan.outer[1]) * MM
        return [(a, depth - high, depth - low) if a == 1 else (a, low, high) for a, low, high in found]
    wall = plan.envelope.wall * MM
    if parts.pins:
        top = (plan.outer[2] * MM) - wall
        found.append((2, top - 12.0 - BOSS_MM - CLEAR_MM, top))
    for axis, low in _walls(plan):
        found.append((axis, low * MM - WALL_CLEAR_MM, low * MM + wall + WALL_CLEAR_MM))
    # nor just behind the free end of a wall, which would leave a crumb
    return found + [(axis, end * MM - wall, end * MM + wall) for axis, end in _free_ends(plan)]


def _walls(plan: PlanBatch) -> list[tuple[int, float]]:
    """Axis that every inner wall is normal to, and its low face along it [m]."""
    wall = plan.envelope.wall
    found = []
    for rect in plan.rects[0]:
        for axis, (low, high) in enumerate(rect):
            found += [(axis, float(low) - wall), (axis, float(high))]
    for i, block in enumerate(plan.arrangement.blocks):
        across = 1 - block.run
        start = float(plan.rects[0, plan.arrangement.leaf_of("duct", i), across, 0])
        width = float(plan.lane_widths[0, i])
        found += [(across, start + (lane + 1) * (width + wall) - wall) for lane in range(block.lanes - 1)]
    return found


def _free_ends(plan: PlanBatch) -> list[tuple[int, float]]:
    """Axis that a wall runs along to a mouth or fold, and where it ends there [m]."""
    found = [(1 - gap.axis, edge) for gap in gaps(plan) for edge in (gap.low, gap.high)]
    for i, block in enumerate(plan.arrangement.blocks):
        low, high = (float(x) for x in plan.rects[0, plan.arrangement.leaf_of("duct", i), block.run])
        width = float(plan.lane_widths[0, i])
        if block.lanes > 1:
            found += [(block.run, low + width), (block.run, high - width)]
    return found


def split_for_bed(
    solid: Any, bed_mm: tuple[float, float, float], keep: list[Stretch]
) -> tuple[list[Any], bool]:
    """Pieces of a solid that fit a bed, cut by planes across its axes; the solid itself where it fits.

    Parameters
    ----------
    solid : Manifold
        Solid in its print orientation [mm].
    bed_mm : tuple of three floats
        Room for a part [mm].
    keep : list of stretches
        Where no plane should pass, such as along walls and through cut-outs [mm].

    Returns
    -------
    tuple of list of Manifold and bool
        One to :data:`MOST_PIECES` pieces in their places, none where more are needed; and whether all
        cuts keep off what should stay whole [list].
    """
    box = np.array(solid.bounding_box()).reshape(2, 3)
    size = box[1] - box[0]
    if fits_bed(size, bed_mm):
        return [solid], True
    bed, counts = min(
        ((turned, _counts(size, turned)) for turned in (np.array(bed_mm), np.array(bed_mm)[[1, 0, 2]])),
        key=lambda option: np.prod(option[1]),
    )
    pieces, clear = [solid], True
    for axis, count in enumerate(counts):
        ends = float(box[0, axis]), float(box[1, axis])
        planes, spares = _planes(*ends, count, float(bed[axis]), axis, keep)
        if not spares and count > 1:
            # one cut more may have the room that this one lacks
            more, better = _planes(*ends, count + 1, float(bed[axis]), axis, keep)
            planes, spares = (more, better) if better else (planes, spares)
        clear &= spares
        for plane in planes:
            normal = tuple(1.0 if a == axis else 0.0 for a in range(3))
            halves = [half for piece in pieces for half in piece.split_by_plane(normal, plane)]
            pieces = [half for half in halves if not half.is_empty() and half.volume() > 1.0]
    # a piece without floor may hold walls that hang together no longer
    pieces = [part for piece in pieces for part in piece.decompose()]
    return (pieces if len(pieces) <= MOST_PIECES else []), clear


def _counts(size: np.ndarray, bed: np.ndarray) -> list[int]:
    """Pieces along each axis that a size needs on a bed."""
    return [max(1, int(np.ceil(s / b - 1e-9))) for s, b in zip(size, bed, strict=True)]


def _planes(
    low: float, high: float, count: int, bed: float, axis: int, keep: list[Stretch]
) -> tuple[list[float], bool]:
    """Where to cut: near equal shares, moved off what should stay whole; and whether the bed allows that."""
    planes: list[float] = []
    spares = True
    for number in range(1, count):
        wish = low + (high - low) * number / count
        last = planes[-1] if planes else low
        left = count - number
        options = [
            at
            for at in sorted(
                np.arange(last + 5.0, min(last + bed, high - 5.0), 1.0), key=lambda a: abs(a - wish)
            )
            if high - at <= left * bed + 1e-6
        ]
        clear = [a for a in options if not any(k == axis and start < a < end for k, start, end in keep)]
        spares &= bool(clear)
        planes.append(float((clear or options or [wish])[0]))
    assert all(b > a for a, b in pairwise(planes))
    return planes, spares
