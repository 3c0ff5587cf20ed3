"""What the ends of ducts take off the near field by giving way, compiled, with slopes over the geometry."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty, zeros
from models.jit import compiled
from models.kernel_records import AXIS, FEW
from models.lanes import load_few, store
from models.near_field import MODES
from models.near_field_modes_kernel import first_axis
from models.near_slopes_rows_kernel import ALL, dot, follow, products


@compiled
def add_line(
    i: int, line: int, joints: np.ndarray, sides: np.ndarray, sizes: np.ndarray, even: np.ndarray,
    odd: np.ndarray, squares: np.ndarray, own: np.ndarray, d_own: np.ndarray, taken: np.ndarray,
    d_taken: np.ndarray,
) -> None:  # fmt: skip
    """The line's own modes drive a duct's odd modes as at low frequency."""
    if joints[i, AXIS] == line:
        return
    column = 0 if first_axis(joints[i, AXIS]) == line else 1
    by, row = zeros((MODES,)), empty((MODES,))
    for m in range(1, MODES):
        by[m] = 1.0 / squares[line, m]
    for j in range(taken.shape[2] + 1):
        alone = j == taken.shape[2]
        other = odd[i, column] if alone else even[j, line]
        slope = d_own[column] if alone else d_taken[i, column, j]
        products(odd[i, column], other, ALL, row)
        value = dot(by, row)
        slope[line] += 2.0 * value / sides[line]
        follow(by, odd[i, column], other, ALL, line, joints, sides, sizes, i, i if alone else j, slope)
        if alone:
            own[column] += value
        else:
            taken[i, column, j] += value


@compiled
def give_way(
    i: int, sides: np.ndarray, sizes: np.ndarray, own: np.ndarray, d_own: np.ndarray, taken: np.ndarray,
    d_taken: np.ndarray, sums: np.ndarray, slopes: np.ndarray,
) -> None:  # fmt: skip
    """Take off V M what the odd modes of one duct's end carry; own: 00, 11 and 01."""
    count = taken.shape[2]
    for column in range(2):
        half = sizes[i, 3 - column]
        add = sides[0] * sides[1] * sides[2] / (math.pi * 2.0 * half)
        own[column] += add
        d_own[column, 3 + 4 * i + 3 - column] -= add / half
        for s in range(3):
            d_own[column, s] += add / sides[s]
    over = 1.0 / (own[0] * own[1] - own[2] * own[2])
    x = empty((2, count))
    for a in range(count):
        x[0, a] = (own[1] * taken[i, 0, a] - own[2] * taken[i, 1, a]) * over
        x[1, a] = (own[0] * taken[i, 1, a] - own[2] * taken[i, 0, a]) * over
    for a in range(count):
        for b in range(a, count):
            sums[0, a, b] -= x[0, a] * taken[i, 0, b] + x[1, a] * taken[i, 1, b]
            for at in range(0, slopes.shape[3], FEW):
                slope = load_few(slopes, (0, a, b, at))
                slope += (x[0, a] * x[1, b] + x[1, a] * x[0, b]) * load_few(d_own, (2, at))
                for q in range(2):
                    slope += x[q, a] * x[q, b] * load_few(d_own, (q, at))
                    slope -= x[q, a] * load_few(d_taken, (i, q, b, at))
                    slope -= x[q, b] * load_few(d_taken, (i, q, a, at))
                store(slopes, (0, a, b, at), slope)
