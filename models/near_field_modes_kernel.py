"""Mode averages of patches on walls, compiled, a few rooms side by side (:mod:`models.near_field`)."""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, inlined, sin_cos
from models.lanes import any_lane, choose, load, store
from models.near_field import MODES

ZERO = 1e-14


@inlined
def first_axis(axis: int) -> int:
    """First of the two axes that lie in a wall."""
    return 1 if axis == 0 else 0


@inlined
def second_axis(axis: int) -> int:
    """Second of the two axes that lie in a wall."""
    return 1 if axis == 2 else 2


@inlined
def longest(x: float, y: float, z: float) -> float:
    """Axis of the longest of three sides, the first of equals."""
    least = max(x, max(y, z)) * (1.0 - 1e-9)
    return choose(x >= least, 0.0, choose(y >= least, 1.0, 2.0))


@inlined
def _half_wave(short: float) -> float:
    """Sum of the sines over their arguments at half a wave across a patch and at one wave more.

    Parameters
    ----------
    short : float
        What the order times the half width exceeds a half by, small [1].
    """
    z = (math.pi * short) * (math.pi * short)
    p = 1.0 - z / 110.0
    p = 1.0 - z / 72.0 * p
    p = 1.0 - z / 42.0 * p
    p = 1.0 - z / 20.0 * p
    p = 1.0 - z / 6.0 * p
    return p + short * p / (short + 1.0)


@compiled
def mode_averages(centre: float, half: float, even: np.ndarray, odd: np.ndarray, yields: bool) -> None:
    """Mode averages of patches along one axis, centre and half side in sides of the room."""
    s1, c1 = sin_cos(math.pi * centre)
    s2, c2 = sin_cos(math.pi * half)
    s, c, s_half, c_half = s1, c1, s2, c2
    zero = 0.0 * centre
    reach, over = zero, 1.0 / (math.pi * half)
    store(even, 0, zero + 1.0)
    store(odd, 0, zero)
    for m in range(1, MODES):
        reach = reach + half
        store(even, m, c * s_half * (over * (1.0 / m)))
        if yields:
            value = math.sqrt(2.0) / math.pi * s * c_half * reach / (reach * reach - 0.25)
            short = reach - 0.5
            vanishing = abs(short) < 0.1  # both factors, at half a wave across the patch
            if any_lane(vanishing):
                value = choose(vanishing, -math.sqrt(0.5) * s * _half_wave(short), value)
            store(odd, m, value)
        s, c = s * c1 + c * s1, c * c1 - s * s1
        s_half, c_half = s_half * c2 + c_half * s2, c_half * c2 - s_half * s2


@inlined
def _set_row(rows: np.ndarray, r: int, m: int, value: float, active: np.ndarray) -> None:
    """Store one of the rows below, and note whether it vanishes."""
    store(rows, (r, m), value)
    if any_lane(abs(value) > ZERO):
        active[m] = r + 1 if active[m] == 0 else 4


@compiled
def weighted_rows(
    first: np.ndarray, second: np.ndarray, odd_first: np.ndarray, odd_second: np.ndarray, own: bool,
    count: int, modes: int, rows: np.ndarray, active: np.ndarray,
) -> None:  # fmt: skip
    """Weighted products of averages along one axis: even by even, then with odd modes.

    ``active``: 0 where all rows of a mode vanish, 1 to 3 where only that row does not, else 4.
    """
    for m in range(modes):
        active[m] = 0
        even = (1.0 if m == 0 else 2.0) * load(first, m)
        other = load(second, m)
        _set_row(rows, 0, m, even * other, active)
        if count > 1:
            odd = (1.0 if m == 0 else 2.0) * load(odd_first, m)
            _set_row(rows, 1, m, odd * other, active)
            if count > 2:
                third = odd * load(odd_first, m) if own else even * load(odd_second, m)
                _set_row(rows, 2, m, third, active)
