"""What the ends of ducts take off the near field by giving way, compiled, with slopes."""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled
from models.kernel_records import AXIS
from models.linear_layout import Layout
from models.near_field import MODES
from models.near_field_modes_kernel import first_axis
from models.near_slopes_rows_kernel import moved


@compiled
def add_line(
    i: int, layout: Layout, begin: int, sides: np.ndarray, d_sides: np.ndarray, places: np.ndarray,
    even: np.ndarray, odd: np.ndarray, squares: np.ndarray, own: np.ndarray, d_own: np.ndarray,
    taken: np.ndarray, d_taken: np.ndarray,
) -> None:  # fmt: skip
    """The line's own modes drive a duct's odd modes as at low frequency."""
    axis, line = layout.graph.joints[begin + i, AXIS], layout.line
    if axis == line:
        return
    column = 0 if first_axis(axis) == line else 1
    modes, by = np.arange(MODES), np.empty(MODES)
    for j in range(-1, taken.shape[2]):
        rows = odd[i, column] if j < 0 else even[j, line]
        total = 0.0
        by[0] = 0.0
        for m in range(1, MODES):
            by[m] = 1.0 / squares[line, m]
            total += 2.0 * by[m] * odd[i, column, 0, m] * rows[0, m]
        slope = d_own[column] if j < 0 else d_taken[i, column, j]
        for v in range(slope.size):
            slope[v] += 2.0 * total / sides[line] * d_sides[line, v]
        moved(by, odd[i, column], rows, modes, MODES, places[line], i, i if j < 0 else j, slope)
        if j < 0:
            own[column] += total
        else:
            taken[i, column, j] += total


@compiled
def give_way(
    i: int, half: np.ndarray, d_place: np.ndarray, volume: float, d_volume: np.ndarray, own: np.ndarray,
    d_own: np.ndarray, taken: np.ndarray, d_taken: np.ndarray, sums: np.ndarray, slopes: np.ndarray,
) -> None:  # fmt: skip
    """Take off V M what the odd modes of one duct's end carry; own: 00, 11 and 01."""
    count, n = taken.shape[2], d_volume.size
    for column in range(2):
        add = volume / (math.pi * 2.0 * half[i, 1 - column])
        own[column] += add
        for v in range(n):
            d_own[column, v] += add * (d_volume[v] / volume - d_place[i, 3 - column, v] / half[i, 1 - column])
    over = 1.0 / (own[0] * own[1] - own[2] * own[2])
    x = np.empty((2, count))
    for a in range(count):
        x[0, a] = (own[1] * taken[i, 0, a] - own[2] * taken[i, 1, a]) * over
        x[1, a] = (own[0] * taken[i, 1, a] - own[2] * taken[i, 0, a]) * over
    for a in range(count):
        for b in range(a, count):
            sums[0, a, b] -= x[0, a] * taken[i, 0, b] + x[1, a] * taken[i, 1, b]
            cross = x[0, a] * x[1, b] + x[1, a] * x[0, b]
            for v in range(n):
                slope = x[0, a] * d_taken[i, 0, b, v] + x[1, a] * d_taken[i, 1, b, v]
                slope += x[0, b] * d_taken[i, 0, a, v] + x[1, b] * d_taken[i, 1, a, v]
                slope -= x[0, a] * x[0, b] * d_own[0, v] + x[1, a] * x[1, b] * d_own[1, v]
                slope -= cross * d_own[2, v]
                slopes[0, a, b, v] -= slope
