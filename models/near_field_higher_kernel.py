"""The sums N and P of :mod:`models.near_field`, compiled: a few rooms side by side."""

from __future__ import annotations

import numpy as np

from models.jit import compiled, inverse
from models.lanes import any_lane, choose, load, store
from models.near_field import MODES_SECOND, MODES_THIRD
from models.near_field_modes_kernel import ZERO


@compiled
def higher_sums(
    even: np.ndarray, squares: np.ndarray, line: float, one: int, two: int, p: np.ndarray
) -> tuple[float, float]:
    """V times N and P of two patches; ``p`` is room to work in."""
    for axis in range(3):
        for m in range(MODES_SECOND):
            weight = 1.0 if m == 0 else 2.0
            product = weight * load(even, (one, axis, m)) * load(even, (two, axis, m))
            store(p, (axis, m), product)
    second = 0.0 * line
    third = second
    for x in range(MODES_SECOND):
        if not any_lane(abs(load(p, (0, x))) > ZERO):
            continue
        for y in range(MODES_SECOND):
            if not any_lane(abs(load(p, (1, y))) > ZERO):
                continue
            along = 0.0 * line
            deep = along
            square = load(squares, (0, x)) + load(squares, (1, y))
            for z in range(MODES_SECOND):
                if x + y + z == 0 or not any_lane(abs(load(p, (2, z))) > ZERO):
                    continue
                over = inverse(square + load(squares, (2, z)))
                part = load(p, (2, z)) * over * over
                # modes of the line alone are left out
                if y + z == 0:
                    part = choose(line == 0.0, 0.0, part)
                elif x + z == 0:
                    part = choose(line == 1.0, 0.0, part)
                elif x + y == 0:
                    part = choose(line == 2.0, 0.0, part)
                along += part
                if x < MODES_THIRD and y < MODES_THIRD and z < MODES_THIRD:
                    deep += part * over
            level = load(p, (0, x)) * load(p, (1, y))
            second += level * along
            third += level * deep
    return second, third
