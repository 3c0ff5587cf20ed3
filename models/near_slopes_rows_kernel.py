"""Mode averages with slopes, compiled, eight modes side by side (:mod:`models.near_slopes_kernel`).

Slopes are with respect to the geometry of a room: its three sides, then centre and half side of every patch
along both axes of its wall, in the order of the columns of :class:`models.linear_layout.Layout`.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, sin_cos
from models.kernel_records import AXIS, FEW
from models.lanes import any_lane, choose, load_few, store, total
from models.near_field import MODES, MODES_CORNER, MODES_SECOND
from models.near_field_modes_kernel import first_axis

NEGLIGIBLE = 1e-14
"""Share of a mode below which it is left out, in sums and slopes."""

ALL, CORNER, SECOND = range(3)
"""Rows of the weights below: all modes, those of walls that meet, those of higher sums."""

_ORDER = np.arange(MODES, dtype=float)
WEIGHTS = np.where(_ORDER < np.array([[MODES], [MODES_CORNER], [MODES_SECOND]]), 2.0 - (_ORDER == 0.0), 0.0)
"""Weights of modes along an axis, zero for those left out."""


@compiled
def averages(
    share: float, width: float, moves: bool, even: np.ndarray, odd: np.ndarray, yields: bool
) -> None:
    """Mode averages of a patch along one axis, and their slopes with respect to centre and half side.

    Parameters
    ----------
    share, width : float
        Centre and half side in sides of the room [1].
    moves : bool
        Whether the centre's share of the side depends on a variable; slopes are left at zero if not [flag].
    even, odd : ndarray, shape (3, MODES)
        Averages of cosines, and with the duct's first odd mode; slopes over share and width below [1].
    yields : bool
        Whether the odd ones are wanted [flag].
    """
    for at in range(0, MODES, FEW):
        m = load_few(_ORDER, at)
        turn = math.pi * m
        s, c = sin_cos(turn * share)
        sh, ch = sin_cos(turn * width)
        none = m < 0.5
        spread = choose(none, 1.0, sh / (turn * width))
        store(even, (0, at), c * spread)
        store(even, (1, at), -turn * s * spread if moves else 0.0 * m)
        store(even, (2, at), choose(none, 0.0, c * (ch - spread) / width))
        if not yields:
            continue
        reach = m * width
        over = 1.0 / (reach * reach - 0.25)
        scale = math.sqrt(2.0) / math.pi
        form = scale * ch * reach * over
        slope = -scale * m * (math.pi * sh * reach * over + ch * (reach * reach + 0.25) * over * over)
        off = reach - 0.5
        vanishing = abs(off) < 0.1  # both factors of the plain form vanish at half a wave across the patch
        if any_lane(vanishing):
            angle = math.pi * choose(vanishing, off, 0.0)
            si, co = sin_cos(angle)
            z = angle * angle
            ratio = 1.0 - z / 6.0 * (1.0 - z / 20.0 * (1.0 - z / 42.0))
            fall = -math.pi * angle / 3.0 * (1.0 - z / 10.0 * (1.0 - z / 28.0 * (1.0 - z / 54.0)))
            other = angle + math.pi
            bend = math.pi * (co * other - si) / (other * other)
            form = choose(vanishing, -math.sqrt(0.5) * (ratio + si / other), form)
            slope = choose(vanishing, -math.sqrt(0.5) * (fall + bend) * m, slope)
        store(odd, (0, at), s * form)
        store(odd, (1, at), turn * c * form if moves else 0.0 * m)
        store(odd, (2, at), s * slope)


@compiled
def active_modes(
    one: np.ndarray, two: np.ndarray, odd: np.ndarray, yields: bool, kind: int, found: np.ndarray
) -> None:
    """Modes whose products along one axis, or the slopes of these, do not vanish: 1 or 0."""
    for at in range(0, MODES, FEW):
        x, by_x = abs(load_few(one, (0, at))), abs(load_few(one, (1, at)))
        y, by_y = abs(load_few(two, (0, at))), abs(load_few(two, (1, at)))
        first = x + by_x * (1.0 / MODES)
        alone = 0.0 * x
        if yields:
            own = abs(load_few(odd, (0, at)))
            first += own + abs(load_few(odd, (1, at))) * (1.0 / MODES)
            alone = own * (own + by_y + y)
        size = max(max(first * y, x * by_y * (1.0 / MODES)), alone)
        lives = (size > NEGLIGIBLE) & (load_few(WEIGHTS, (kind, at)) > 0.0)
        store(found, at, choose(lives, 1.0, 0.0))


@compiled
def products(one: np.ndarray, two: np.ndarray, kind: int, target: np.ndarray) -> None:
    """Weighted products of two rows of averages."""
    for at in range(0, target.size, FEW):
        weight = load_few(WEIGHTS, (kind, at))
        store(target, at, weight * load_few(one, (0, at)) * load_few(two, (0, at)))


@compiled
def dot(one: np.ndarray, two: np.ndarray) -> float:
    """Sum of products."""
    found = 0.0 * load_few(one, 0)
    for at in range(0, one.size, FEW):
        found += load_few(one, at) * load_few(two, at)
    return total(found)


@compiled
def follow(
    by_product: np.ndarray, one: np.ndarray, two: np.ndarray, kind: int, s: int, joints: np.ndarray,
    sides: np.ndarray, sizes: np.ndarray, first: int, second: int, slope: np.ndarray,
) -> None:  # fmt: skip
    """Add how a sum moves by its products along one axis.

    Parameters
    ----------
    by_product : ndarray
        Slopes over the products [mixed].
    one, two : ndarray, shape (3, MODES)
        Averages that make the products [1].
    kind : int
        Which weights [1].
    s : int
        The axis [1].
    joints : ndarray of int
        Joints of the room [1].
    sides, sizes : ndarray, shape (3,), (n_patches, 4)
        Of the room, and centres and half sides of its patches [m].
    first, second : int
        Whose averages they are [1].
    slope : ndarray
        Slopes over the geometry, added to [mixed].
    """
    a1 = 0.0 * load_few(by_product, 0)
    a2, b1, b2 = a1, a1, a1
    for at in range(0, by_product.size, FEW):
        weight = load_few(by_product, at) * load_few(WEIGHTS, (kind, at))
        x, y = weight * load_few(one, (0, at)), weight * load_few(two, (0, at))
        a1 += y * load_few(one, (1, at))
        a2 += y * load_few(one, (2, at))
        b1 += x * load_few(two, (1, at))
        b2 += x * load_few(two, (2, at))
    over = 1.0 / sides[s]
    for turn in range(2):
        patch = first if turn == 0 else second
        axis = joints[patch, AXIS]
        if axis == s:
            continue
        by_share, by_width = (total(a1), total(a2)) if turn == 0 else (total(b1), total(b2))
        column = 0 if first_axis(axis) == s else 1
        at = 3 + 4 * patch + column
        slope[at] += by_share * over
        slope[at + 2] += by_width * over
        back = by_share * sizes[patch, column] + by_width * sizes[patch, 2 + column]
        slope[s] -= back * over * over
