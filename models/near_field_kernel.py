"""The sums of :mod:`models.near_field`, compiled: a block of rooms side by side, mode after mode.

Same sums, same modes. Modes whose averages vanish by symmetry in every room of a block, such as every
second one of a patch in the middle of its wall, are left out; they are less than 1e-13 of a sum.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, exp, inlined, inverse, inverse_root
from models.near_field import MODES, MODES_CORNER, NEAR
from models.near_field_higher_kernel import higher_sums
from models.near_field_modes_kernel import (
    clear,
    first_axis,
    mode_averages,
    second_axis,
    weighted_rows,
)
from models.near_field_tail_kernel import tail


@inlined
def _facing_term(square: float, depth: float, kind: int, near: bool) -> float:
    """Term of V M of a pair of modes for patches on one wall (kind 0) or opposite walls (1)."""
    over = inverse_root(square)
    if not near:
        return depth * over
    fade = exp(-square * over * depth)
    top = 1.0 + fade * fade if kind == 0 else 2.0 * fade
    return depth * over * top * inverse(1.0 - fade * fade)


@inlined
def _corner_term(square: float, depth: float, low: float, high: float, near: bool) -> float:
    """The same for patches on walls that meet."""
    over = inverse_root(square)
    root = square * over
    part = exp(-root * low) - exp(-root * high)
    if near:
        echo = exp(-root * (2.0 * depth - high)) - exp(-root * (2.0 * depth - low))
        part = (part + echo) * inverse(1.0 - exp(-2.0 * root * depth))
    return depth * over * over * part


@inlined
def _term(square: float, depth: float, low: float, high: float, kind: int, near: bool) -> float:
    """Term of V M of a pair of modes, weights left out."""
    if kind == 2:
        return _corner_term(square, depth, low, high, near)
    return _facing_term(square, depth, kind, near)


@inlined
def _add_terms(
    ku: np.ndarray, m: int, kv: np.ndarray, n: int, v: np.ndarray, row: int, line: np.ndarray,
    depth: np.ndarray, low: np.ndarray, high: np.ndarray, kind: int, near: bool,
) -> None:  # fmt: skip
    """Add the terms of a pair of modes, times the weights of the second axis, to one row or to all three."""
    lanes = depth.size
    if row < 3:
        for lane in range(lanes):
            f = _term(ku[m, lane] + kv[n, lane], depth[lane], low[lane], high[lane], kind, near)
            line[row, lane] += v[row, n, lane] * f
    else:
        for lane in range(lanes):
            f = _term(ku[m, lane] + kv[n, lane], depth[lane], low[lane], high[lane], kind, near)
            line[0, lane] += v[0, n, lane] * f
            line[1, lane] += v[1, n, lane] * f
            line[2, lane] += v[2, n, lane] * f


@compiled
def _double_sums(
    u: np.ndarray, on_u: np.ndarray, ku: np.ndarray, v: np.ndarray, on_v: np.ndarray, kv: np.ndarray,
    count: int, own: bool, kind: int, depth: np.ndarray, low: np.ndarray, high: np.ndarray,
    table: np.ndarray,
) -> None:  # fmt: skip
    """Sums over both axes of a wall but for mode 0, 0; kind 0: one wall, 1: opposite walls, 2: a corner."""
    lanes = depth.size
    modes = MODES_CORNER if kind == 2 else (MODES if kind == 0 else NEAR)
    line = np.empty((3, lanes))
    clear(table)
    for m in range(modes):
        if on_u[m] == 0:
            continue
        for c in range(3):
            for lane in range(lanes):
                line[c, lane] = 0.0
        for n in range(modes):
            row = on_v[n] - 1
            if row < 0 or m + n == 0:
                continue
            if 0 < row < 3 and 1 < on_u[m] < 4 and not (own and row == 1 and on_u[m] == 2):
                continue  # products of odd rows that are not asked for
            near = m < NEAR and n < NEAR
            if kind == 0 and near:
                _add_terms(ku, m, kv, n, v, row, line, depth, low, high, 0, True)
            elif kind == 0:
                _add_terms(ku, m, kv, n, v, row, line, depth, low, high, 0, False)
            elif kind == 1:
                _add_terms(ku, m, kv, n, v, row, line, depth, low, high, 1, True)
            elif near:
                _add_terms(ku, m, kv, n, v, row, line, depth, low, high, 2, True)
            else:
                _add_terms(ku, m, kv, n, v, row, line, depth, low, high, 2, False)
        for r in range(count):
            for c in range(count):
                if r == 0 or c == 0 or (own and r + c == 2):
                    for lane in range(lanes):
                        table[r, c, lane] += u[r, m, lane] * line[c, lane]
    if kind == 2:
        for r in range(count):
            for c in range(count):
                for lane in range(lanes):
                    table[r, c, lane] /= high[lane] - low[lane]


@compiled
def _edges(
    u: np.ndarray, on_u: np.ndarray, ku: np.ndarray, v: np.ndarray, on_v: np.ndarray, kv: np.ndarray,
    count: int, modes: int, along_u: np.ndarray, along_v: np.ndarray, flat: np.ndarray, table: np.ndarray,
) -> None:  # fmt: skip
    """What the line takes off the sums, where it lies in the wall, and the part of mode 0, 0."""
    lanes = flat.size
    taken = np.empty((2, lanes))
    for r in range(count):
        for lane in range(lanes):
            taken[0, lane], taken[1, lane] = 0.0, 0.0
        for m in range(1, modes):
            if on_u[m] > 0:
                for lane in range(lanes):
                    taken[0, lane] += u[r, m, lane] * inverse(ku[m, lane])
            if on_v[m] > 0:
                for lane in range(lanes):
                    taken[1, lane] += v[r, m, lane] * inverse(kv[m, lane])
        for c in range(count):
            for lane in range(lanes):
                table[r, c, lane] -= along_u[lane] * taken[0, lane] * v[c, 0, lane]
                table[c, r, lane] -= along_v[lane] * taken[1, lane] * u[c, 0, lane]
        for c in range(count):
            for lane in range(lanes):
                table[r, c, lane] += flat[lane] * u[r, 0, lane] * v[c, 0, lane]


@compiled
def _give_way(
    i: int, own: np.ndarray, taken: np.ndarray, volume: np.ndarray, half: np.ndarray,
    sums: np.ndarray,
) -> None:  # fmt: skip
    """Take off M what the odd modes of one duct's end carry."""
    lanes = volume.size
    count = taken.shape[0]
    x, y = np.empty(lanes), np.empty(lanes)
    for a in range(count):
        for lane in range(lanes):
            g00 = own[i, 0, lane] + volume[lane] / (math.pi * 2.0 * half[i, 1, lane])
            g11 = own[i, 1, lane] + volume[lane] / (math.pi * 2.0 * half[i, 0, lane])
            g01 = own[i, 2, lane]
            over = 1.0 / ((g00 * g11 - g01 * g01) * volume[lane])
            x[lane] = (g11 * taken[i, 0, a, lane] - g01 * taken[i, 1, a, lane]) * over
            y[lane] = (g00 * taken[i, 1, a, lane] - g01 * taken[i, 0, a, lane]) * over
        for b in range(count):
            for lane in range(lanes):
                off = x[lane] * taken[i, 0, b, lane] + y[lane] * taken[i, 1, b, lane]
                sums[0, a, b, lane] -= off


@compiled
def _add_line(
    i: int, axis: np.ndarray, line: np.ndarray, squares: np.ndarray, even: np.ndarray, odd: np.ndarray,
    own: np.ndarray, taken: np.ndarray,
) -> None:  # fmt: skip
    """The line's own modes, which the sums leave out, drive a duct's odd modes as at low frequency."""
    lanes = line.size
    count = axis.size
    along = np.empty(lanes)
    for column in range(2):
        at = first_axis(axis[i]) if column == 0 else second_axis(axis[i])
        for m in range(1, MODES):
            for lane in range(lanes):
                share = 2.0 if line[lane] == at else 0.0
                along[lane] = share * inverse(squares[at, m, lane]) * odd[i, column, m, lane]
                own[i, column, lane] += along[lane] * odd[i, column, m, lane]
            for j in range(count):
                for lane in range(lanes):
                    taken[i, column, j, lane] += along[lane] * even[j, at, m, lane]


@compiled
def near_block(
    sides: np.ndarray, line: np.ndarray, axis: np.ndarray, high: np.ndarray, centre: np.ndarray,
    half: np.ndarray, yields: np.ndarray, sums: np.ndarray,
) -> None:  # fmt: skip
    """M, N and P among the patches of one block of rooms, as :func:`models.near_field.near_field`.

    Parameters
    ----------
    sides : ndarray, shape (3, n_lanes)
        Inner sides of the rooms [m].
    line : ndarray of int, shape (n_lanes,)
        Axis of each room's line [1].
    axis : ndarray of int, shape (n_patches,)
        Axis that each patch's wall is normal to [1].
    high : ndarray of bool, shape (n_patches,)
        Whether the wall is the one at the end of that axis [flag].
    centre, half : ndarray, shape (n_patches, 2, n_lanes)
        Centres and half sides of the patches [m].
    yields : ndarray of bool, shape (n_patches,)
        Which patches are ends of ducts [flag].
    sums : ndarray, shape (3, n_patches, n_patches, n_lanes)
        M [1/m], N [m] and P [m3], written in place [mixed].
    """
    lanes = line.size
    count = axis.size
    even, odd = np.empty((count, 3, MODES, lanes)), np.empty((count, 2, MODES, lanes))
    squares = np.empty((3, MODES, lanes))
    u, v = np.empty((3, MODES, lanes)), np.empty((3, MODES, lanes))
    on_u, on_v = np.empty(MODES, np.int64), np.empty(MODES, np.int64)
    table = np.empty((3, 3, lanes))
    taken, own = np.empty((count, 2, count, lanes)), np.empty((count, 3, lanes))
    volume, flat = np.empty(lanes), np.empty(lanes)
    low, top = np.empty(lanes), np.empty(lanes)
    along_u, along_v = np.empty(lanes), np.empty(lanes)
    share, width, found = np.empty(lanes), np.empty(lanes), np.empty((2, lanes))
    for lane in range(lanes):
        volume[lane] = sides[0, lane] * sides[1, lane] * sides[2, lane]
    for s in range(3):
        for m in range(MODES):
            for lane in range(lanes):
                squares[s, m, lane] = (math.pi * m / sides[s, lane]) ** 2
    clear(own)
    for i in range(count):
        clear(taken[i])
        for m in range(MODES):
            for lane in range(lanes):
                even[i, axis[i], m, lane] = -1.0 if high[i] and m % 2 else 1.0
        for column in range(2):
            at = first_axis(axis[i]) if column == 0 else second_axis(axis[i])
            for lane in range(lanes):
                share[lane] = centre[i, column, lane] / sides[at, lane]
                width[lane] = half[i, column, lane] / sides[at, lane]
            mode_averages(share, width, even[i, at], odd[i, column], yields[i])
    for i in range(count):
        for j in range(i, count):
            facing = axis[i] == axis[j]
            for turn in range(2):
                one, two = (i, j) if (turn == 0) != (yields[j] and not yields[i]) else (j, i)
                if turn == 1 and (facing or not yields[one]):
                    break
                many = 1
                if yields[one]:
                    many = 3 if i == j or (facing and yields[two]) else 2
                iu, iv = first_axis(axis[one]), second_axis(axis[one])
                other = two if facing else one
                modes = MODES if facing else MODES_CORNER
                own_pair = i == j
                weighted_rows(
                    even[one, iu], even[two, iu], odd[one, 0], odd[other, 0], own_pair, many, modes, u, on_u
                )
                weighted_rows(
                    even[one, iv], even[two, iv], odd[one, 1], odd[other, 1], own_pair, many, modes, v, on_v
                )
                depth = sides[axis[one]]
                kind = 2
                if facing:
                    kind = 0 if high[i] == high[j] else 1
                    for lane in range(lanes):
                        flat[lane] = depth[lane] * depth[lane] * (1.0 / 3.0 if kind == 0 else -1.0 / 6.0)
                else:
                    column = 0 if first_axis(axis[two]) == axis[one] else 1
                    for lane in range(lanes):
                        middle, reach, d = centre[two, column, lane], half[two, column, lane], depth[lane]
                        middle = d - middle if high[one] else middle
                        y1, y2 = max(middle - reach, 0.0), min(middle + reach, d)
                        low[lane], top[lane] = y1, y2
                        flat[lane] = d * d / 3.0 - d * (y1 + y2) / 2.0 + (y1 * y1 + y1 * y2 + y2 * y2) / 6.0
                for lane in range(lanes):
                    flat[lane] = 0.0 if line[lane] == axis[one] else flat[lane]
                    along_u[lane] = 1.0 if line[lane] == iu else 0.0
                    along_v[lane] = 1.0 if line[lane] == iv else 0.0
                ku, kv = squares[iu], squares[iv]
                _double_sums(u, on_u, ku, v, on_v, kv, many, own_pair, kind, depth, low, top, table)
                _edges(u, on_u, ku, v, on_v, kv, many, modes, along_u, along_v, flat, table)
                if turn == 0:
                    for lane in range(lanes):
                        m0 = table[0, 0, lane] / volume[lane]
                        if own_pair:
                            m0 += tail(sides[iu, lane], sides[iv, lane], half[i, 0, lane], half[i, 1, lane])
                        sums[0, i, j, lane] = sums[0, j, i, lane] = m0
                for lane in range(lanes):
                    if many > 1:
                        taken[one, 0, two, lane] = table[1, 0, lane]
                        taken[one, 1, two, lane] = table[0, 1, lane]
                    if own_pair and many == 3:
                        own[i, 0, lane], own[i, 1, lane] = table[2, 0, lane], table[0, 2, lane]
                        own[i, 2, lane] = table[1, 1, lane]
                    elif many == 3:
                        taken[two, 0, one, lane] = table[2, 0, lane]
                        taken[two, 1, one, lane] = table[0, 2, lane]
            higher_sums(even, squares, line, i, j, found)
            for lane in range(lanes):
                sums[1, i, j, lane] = sums[1, j, i, lane] = found[0, lane] / volume[lane]
                sums[2, i, j, lane] = sums[2, j, i, lane] = found[1, lane] / volume[lane]
    for i in range(count):
        if yields[i]:
            _add_line(i, axis, line, squares, even, odd, own, taken)
            _give_way(i, own, taken, volume, half, sums)
