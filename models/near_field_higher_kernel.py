"""The sums N and P of :mod:`models.near_field`, compiled: a block of rooms side by side."""

from __future__ import annotations

import numpy as np

from models.jit import compiled, inverse
from models.near_field import MODES_SECOND, MODES_THIRD
from models.near_field_modes_kernel import ZERO


@compiled
def higher_sums(
    even: np.ndarray, squares: np.ndarray, line: np.ndarray, one: int, two: int, found: np.ndarray
) -> None:
    """V times N (found 0) and P (found 1) of two patches."""
    lanes = line.size
    p = np.empty((3, MODES_SECOND, lanes))
    active = np.empty((3, MODES_SECOND), np.bool_)
    along, deep = np.empty(lanes), np.empty(lanes)
    for axis in range(3):
        for m in range(MODES_SECOND):
            largest = 0.0
            for lane in range(lanes):
                weight = 1.0 if m == 0 else 2.0
                p[axis, m, lane] = weight * even[one, axis, m, lane] * even[two, axis, m, lane]
                largest = max(largest, abs(p[axis, m, lane]))
            active[axis, m] = largest > ZERO
    for lane in range(lanes):
        found[0, lane], found[1, lane] = 0.0, 0.0
    for x in range(MODES_SECOND):
        if not active[0, x]:
            continue
        for y in range(MODES_SECOND):
            if not active[1, y]:
                continue
            for lane in range(lanes):
                along[lane], deep[lane] = 0.0, 0.0
            for z in range(MODES_SECOND):
                if not active[2, z] or x + y + z == 0:
                    continue
                off = -1  # modes of the line alone are left out
                if y + z == 0:
                    off = 0
                elif x + z == 0:
                    off = 1
                elif x + y == 0:
                    off = 2
                third = x < MODES_THIRD and y < MODES_THIRD and z < MODES_THIRD
                for lane in range(lanes):
                    over = inverse(squares[0, x, lane] + squares[1, y, lane] + squares[2, z, lane])
                    part = p[2, z, lane] * over * over
                    part = 0.0 if line[lane] == off else part
                    along[lane] += part
                    deep[lane] += part * over if third else 0.0
            for lane in range(lanes):
                level = p[0, x, lane] * p[1, y, lane]
                found[0, lane] += level * along[lane]
                found[1, lane] += level * deep[lane]
