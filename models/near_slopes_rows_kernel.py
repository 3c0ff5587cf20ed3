"""Mode averages with slopes, and the modes that count, compiled (:mod:`models.near_slopes_kernel`)."""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, compiled_sums, sin_cos
from models.near_field import MODES

NEGLIGIBLE = 1e-14
"""Share of a mode below which it is left out, in sums and slopes."""


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
    s1, c1 = sin_cos(math.pi * share)
    s2, c2 = sin_cos(math.pi * width)
    s, c, sh, ch = 0.0, 1.0, 0.0, 1.0
    even[0, 0], even[1, 0], even[2, 0] = 1.0, 0.0, 0.0
    odd[0, 0], odd[1, 0], odd[2, 0] = 0.0, 0.0, 0.0
    for m in range(1, MODES):
        s, c = s * c1 + c * s1, c * c1 - s * s1
        sh, ch = sh * c2 + ch * s2, ch * c2 - sh * s2
        turn = math.pi * m
        spread = sh / (turn * width)
        even[0, m] = c * spread
        even[1, m] = -turn * s * spread if moves else 0.0
        even[2, m] = c * (ch - spread) / width
        if not yields:
            continue
        reach = m * width
        off = reach - 0.5
        if abs(off) < 0.1:  # both factors of the plain form vanish at half a wave across the patch
            angle = math.pi * off
            si, co = math.sin(angle), math.cos(angle)
            ratio = 1.0 - angle * angle / 6.0 * (1.0 - angle * angle / 20.0 * (1.0 - angle * angle / 42.0))
            fall = 1.0 - angle * angle / 10.0 * (1.0 - angle * angle / 28.0 * (1.0 - angle * angle / 54.0))
            fall *= -math.pi * angle / 3.0
            other = math.pi * (off + 1.0)
            form = -math.sqrt(0.5) * (ratio + si / other)
            slope = -math.sqrt(0.5) * (fall + math.pi * (co * other - si) / (other * other)) * m
        else:
            over = 1.0 / (reach * reach - 0.25)
            scale = math.sqrt(2.0) / math.pi
            form = scale * ch * reach * over
            slope = -scale * m * (math.pi * sh * reach * over + ch * (reach * reach + 0.25) * over * over)
        odd[0, m] = s * form
        odd[1, m] = turn * c * form if moves else 0.0
        odd[2, m] = s * slope


@compiled
def active_modes(one: np.ndarray, two: np.ndarray, odd: np.ndarray, yields: bool, modes: int,
                 found: np.ndarray) -> int:  # fmt: skip
    """Modes whose products along one axis, or the slopes of these, do not vanish, in order; their number."""
    count = 0
    for m in range(modes):
        first = abs(one[0, m]) + abs(one[1, m]) / MODES
        if yields:
            first += abs(odd[0, m]) + abs(odd[1, m]) / MODES
        if first * abs(two[0, m]) > NEGLIGIBLE or abs(one[0, m] * two[1, m]) > NEGLIGIBLE * MODES:
            found[count] = m
            count += 1
        elif yields and abs(odd[0, m]) * (abs(odd[0, m]) + abs(two[1, m]) + abs(two[0, m])) > NEGLIGIBLE:
            found[count] = m
            count += 1
    return count


@compiled
def gathered(rows: np.ndarray, modes: np.ndarray, count: int, target: np.ndarray) -> None:
    """Some modes of averages and their slopes side by side."""
    for part in range(3):
        for i in range(count):
            target[part, i] = rows[part, modes[i]]


@compiled
def products(one: np.ndarray, two: np.ndarray, modes: np.ndarray, count: int, wide: int,
             target: np.ndarray) -> None:  # fmt: skip
    """Weighted products of two rows of averages, and zeros behind them."""
    for i in range(count):
        target[i] = (1.0 if modes[i] == 0 else 2.0) * one[0, i] * two[0, i]
    for i in range(count, wide):
        target[i] = 0.0


@compiled_sums
def moved(by_product: np.ndarray, one: np.ndarray, two: np.ndarray, modes: np.ndarray, count: int,
          places: np.ndarray, first: int, second: int, slope: np.ndarray) -> None:  # fmt: skip
    """Add how a sum moves by its products along one axis.

    ``places``: slopes of share and width of every patch along that axis over the variables,
    shape (n_patches, 2, n); ``first`` and ``second`` say whose rows ``one`` and ``two`` are.
    """
    a1, a2, b1, b2 = 0.0, 0.0, 0.0, 0.0
    for i in range(count):
        weight = by_product[i] * (1.0 if modes[i] == 0 else 2.0)
        a1 += weight * one[1, i] * two[0, i]
        a2 += weight * one[2, i] * two[0, i]
        b1 += weight * one[0, i] * two[1, i]
        b2 += weight * one[0, i] * two[2, i]
    for v in range(slope.size):
        slope[v] += a1 * places[first, 0, v] + a2 * places[first, 1, v]
        slope[v] += b1 * places[second, 0, v] + b2 * places[second, 1, v]
