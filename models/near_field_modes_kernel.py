"""Mode averages of patches on walls, compiled, a block of rooms side by side (:mod:`models.near_field`)."""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, inlined, inverse, sin_cos
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
def longest(x: float, y: float, z: float) -> int:
    """Axis of the longest of three sides, the first of equals."""
    least = max(x, max(y, z)) * (1.0 - 1e-9)
    return 0 if x >= least else (1 if y >= least else 2)


@inlined
def clear(table: np.ndarray) -> None:
    """Set a table of three dimensions to zero."""
    for r in range(table.shape[0]):
        for c in range(table.shape[1]):
            for lane in range(table.shape[2]):
                table[r, c, lane] = 0.0


@compiled
def mode_averages(
    centre: np.ndarray, half: np.ndarray, even: np.ndarray, odd: np.ndarray, yields: bool
) -> None:
    """Mode averages of patches along one axis, centre and half side in sides of the room."""
    lanes = centre.size
    turn = np.empty((8, lanes))
    for lane in range(lanes):
        turn[0, lane], turn[1, lane] = sin_cos(math.pi * centre[lane])
        turn[2, lane], turn[3, lane] = sin_cos(math.pi * half[lane])
        turn[4, lane], turn[5, lane] = turn[0, lane], turn[1, lane]
        turn[6, lane], turn[7, lane] = turn[2, lane], turn[3, lane]
        even[0, lane] = 1.0
        odd[0, lane] = 0.0
    for m in range(1, MODES):
        for lane in range(lanes):
            s, c = turn[4, lane], turn[5, lane]
            s_half, c_half = turn[6, lane], turn[7, lane]
            reach = m * half[lane]
            even[m, lane] = c * s_half * inverse(math.pi * reach)
            s1, c1, s2, c2 = turn[0, lane], turn[1, lane], turn[2, lane], turn[3, lane]
            turn[4, lane], turn[5, lane] = s * c1 + c * s1, c * c1 - s * s1
            turn[6, lane], turn[7, lane] = s_half * c2 + c_half * s2, c_half * c2 - s_half * s2
            if yields:
                odd[m, lane] = math.sqrt(2.0) / math.pi * s * c_half * reach / (reach * reach - 0.25)
    if yields:
        for lane in range(lanes):
            for m in range(1, MODES):
                reach = half[lane] * m - 0.5
                if abs(reach) < 0.1:  # both factors above vanish at half a wave across the patch
                    angle = math.pi * reach
                    ratio = math.sin(angle) / angle if angle != 0.0 else 1.0
                    spread = ratio + math.sin(angle) / (math.pi * (reach + 1.0))
                    odd[m, lane] = -math.sqrt(0.5) * math.sin(math.pi * centre[lane] * m) * spread


@compiled
def weighted_rows(
    first: np.ndarray, second: np.ndarray, odd_first: np.ndarray, odd_second: np.ndarray, own: bool,
    count: int, modes: int, rows: np.ndarray, active: np.ndarray,
) -> None:  # fmt: skip
    """Weighted products of averages along one axis: even by even, then with odd modes.

    ``active``: 0 where all rows of a mode vanish, 1 to 3 where only that row does not, else 4.
    """
    lanes = first.shape[1]
    for m in range(modes):
        e = 1.0 if m == 0 else 2.0
        active[m] = 0
        largest = 0.0
        for lane in range(lanes):
            rows[0, m, lane] = e * first[m, lane] * second[m, lane]
            largest = max(largest, abs(rows[0, m, lane]))
        if largest > ZERO:
            active[m] = 1
        if count > 1:
            largest = 0.0
            for lane in range(lanes):
                rows[1, m, lane] = e * odd_first[m, lane] * second[m, lane]
                largest = max(largest, abs(rows[1, m, lane]))
            if largest > ZERO:
                active[m] = 2 if active[m] == 0 else 4
        if count == 2:
            for lane in range(lanes):
                rows[2, m, lane] = 0.0
        if count > 2:
            largest = 0.0
            for lane in range(lanes):
                other = (
                    odd_first[m, lane] * odd_first[m, lane] if own else first[m, lane] * odd_second[m, lane]
                )
                rows[2, m, lane] = e * other
                largest = max(largest, abs(rows[2, m, lane]))
            if largest > ZERO:
                active[m] = 3 if active[m] == 0 else 4
