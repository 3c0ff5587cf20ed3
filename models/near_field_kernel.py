"""The sums of :mod:`models.near_field`, compiled: eight rooms side by side, mode after mode.

Same sums, same modes. Modes whose averages vanish by symmetry in all of these rooms, such as every
second one of a patch in the middle of its wall, are left out; they are less than 1e-13 of a sum.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, exp, inlined, inverse, inverse_root
from models.lanes import WIDTH, choose, load, store
from models.near_field import MODES, MODES_CORNER, NEAR
from models.near_field_higher_kernel import higher_sums
from models.near_field_modes_kernel import first_axis, mode_averages, second_axis, weighted_rows
from models.near_field_tail_kernel import tail


@inlined
def _facing_term(square: float, depth: float, same: bool, near: bool) -> float:
    """Term of V M over the depth of a pair of modes, for patches on one wall or on opposite walls."""
    over = inverse_root(square)
    if near:
        fade = exp(-square * over * depth)
        over = over * (1.0 + fade * fade if same else 2.0 * fade) * inverse(1.0 - fade * fade)
    return over


@inlined
def _corner_term(square: float, depth: float, low: float, high: float, near: bool) -> float:
    """The same for patches on walls that meet, times the second one's side along the depth."""
    over = inverse_root(square)
    root = square * over
    part = exp(-root * low) - exp(-root * high)
    if near:
        part = part * (1.0 + exp(root * (low + high - 2.0 * depth))) * inverse(1.0 - exp(-2.0 * root * depth))
    return over * over * part


@inlined
def _add(table: np.ndarray, index: tuple[int, ...], value: float) -> None:
    """Add to eight neighbours of a table."""
    store(table, index, load(table, index) + value)


@compiled
def _double_sums(
    u: np.ndarray, on_u: np.ndarray, ku: np.ndarray, v: np.ndarray, on_v: np.ndarray, kv: np.ndarray,
    count: int, own: bool, kind: int, depth: float, low: float, high: float, table: np.ndarray,
) -> None:  # fmt: skip
    """Sums over both axes of a wall but for mode 0, 0; kind 0: one wall, 1: opposite walls, 2: a corner."""
    modes = MODES_CORNER if kind == 2 else (MODES if kind == 0 else NEAR)
    scale = depth / (high - low) if kind == 2 else depth
    line, zero = np.empty((3, WIDTH)), 0.0 * depth
    for r in range(count):
        for c in range(count):
            store(table, (r, c), zero)
    for m in range(modes):
        if on_u[m] == 0:
            continue
        square = load(ku, m)
        first, second, third = zero, zero, zero
        for n in range(modes):
            row = on_v[n] - 1
            if row < 0 or m + n == 0:
                continue
            if 0 < row < 3 and 1 < on_u[m] < 4 and not (own and row == 1 and on_u[m] == 2):
                continue  # products of odd rows that are not asked for
            near = m < NEAR and n < NEAR
            if kind == 2:
                f = _corner_term(square + load(kv, n), depth, low, high, near)
            else:
                f = _facing_term(square + load(kv, n), depth, kind == 0, near)
            first += load(v, (0, n)) * f
            if count > 1:
                second += load(v, (1, n)) * f
            if count > 2:
                third += load(v, (2, n)) * f
        store(line, 0, first * scale)
        store(line, 1, second * scale)
        store(line, 2, third * scale)
        for r in range(count):
            for c in range(count):
                if r == 0 or c == 0 or (own and r + c == 2):
                    _add(table, (r, c), load(u, (r, m)) * load(line, c))


@compiled
def _edges(
    u: np.ndarray, on_u: np.ndarray, ku: np.ndarray, v: np.ndarray, on_v: np.ndarray, kv: np.ndarray,
    count: int, modes: int, along_u: float, along_v: float, flat: float, table: np.ndarray,
) -> None:  # fmt: skip
    """What the line takes off the sums, where it lies in the wall, and the part of mode 0, 0."""
    for r in range(count):
        taken_u = 0.0 * flat
        taken_v = taken_u
        for m in range(1, modes):
            if on_u[m] > 0:
                taken_u += load(u, (r, m)) * inverse(load(ku, m))
            if on_v[m] > 0:
                taken_v += load(v, (r, m)) * inverse(load(kv, m))
        for c in range(count):
            _add(table, (r, c), (flat * load(u, (r, 0)) - along_u * taken_u) * load(v, (c, 0)))
            _add(table, (c, r), -along_v * taken_v * load(u, (c, 0)))


@compiled
def _give_way(
    i: int, own: np.ndarray, taken: np.ndarray, volume: float, half: np.ndarray, sums: np.ndarray, at: int
) -> None:
    """Take off M what the odd modes of one duct's end carry."""
    g00 = load(own, (i, 0)) + volume / (math.pi * 2.0 * load(half, (i, 1)))
    g11 = load(own, (i, 1)) + volume / (math.pi * 2.0 * load(half, (i, 0)))
    g01 = load(own, (i, 2))
    over = 1.0 / ((g00 * g11 - g01 * g01) * volume)
    for a in range(taken.shape[0]):
        first, second = load(taken, (i, 0, a)), load(taken, (i, 1, a))
        x = (g11 * first - g01 * second) * over
        y = (g00 * second - g01 * first) * over
        for b in range(taken.shape[0]):
            _add(sums, (0, a, b, at), -(x * load(taken, (i, 0, b)) + y * load(taken, (i, 1, b))))


@compiled
def _add_line(
    i: int, axis: np.ndarray, line: float, squares: np.ndarray, even: np.ndarray, odd: np.ndarray,
    own: np.ndarray, taken: np.ndarray,
) -> None:  # fmt: skip
    """The line's own modes, which the sums leave out, drive a duct's odd modes as at low frequency."""
    for column in range(2):
        at = first_axis(axis[i]) if column == 0 else second_axis(axis[i])
        share = choose(line == float(at), 2.0, 0.0)
        for m in range(1, MODES):
            along = share * inverse(load(squares, (at, m))) * load(odd, (i, column, m))
            _add(own, (i, column), along * load(odd, (i, column, m)))
            for j in range(axis.size):
                _add(taken, (i, column, j), along * load(even, (j, at, m)))


@compiled
def near_block(
    sides: np.ndarray, line: float, axis: np.ndarray, high: np.ndarray, centre: np.ndarray,
    half: np.ndarray, yields: np.ndarray, sums: np.ndarray, place: int,
) -> None:  # fmt: skip
    """M, N and P among the patches of a few rooms, as :func:`models.near_field.near_field`.

    Parameters
    ----------
    sides : ndarray, shape (3, WIDTH)
        Inner sides of the rooms [m].
    line : lanes
        Axis of each room's line [1].
    axis : ndarray of int, shape (n_patches,)
        Axis that each patch's wall is normal to [1].
    high : ndarray of bool, shape (n_patches,)
        Whether the wall is the one at the end of that axis [flag].
    centre, half : ndarray, shape (n_patches, 2, WIDTH)
        Centres and half sides of the patches [m].
    yields : ndarray of bool, shape (n_patches,)
        Which patches are ends of ducts [flag].
    sums : ndarray, shape (3, n_patches, n_patches, n_lanes)
        M [1/m], N [m] and P [m3], written in place [mixed].
    place : int
        First of the lanes to write [1].
    """
    count = axis.size
    even, odd = np.empty((count, 3, MODES, WIDTH)), np.empty((count, 2, MODES, WIDTH))
    squares = np.empty((3, MODES, WIDTH))
    u, v = np.empty((3, MODES, WIDTH)), np.empty((3, MODES, WIDTH))
    on_u, on_v = np.empty(MODES, np.int64), np.empty(MODES, np.int64)
    table = np.empty((3, 3, WIDTH))
    taken, own = np.zeros((count, 2, count, WIDTH)), np.zeros((count, 3, WIDTH))
    volume = load(sides, 0) * load(sides, 1) * load(sides, 2)
    over = 1.0 / volume
    for s in range(3):
        step = math.pi / load(sides, s)
        step = step * step
        for m in range(MODES):
            store(squares, (s, m), float(m * m) * step)
    for i in range(count):
        for m in range(MODES):
            store(even, (i, axis[i], m), 0.0 * volume + (-1.0 if high[i] and m % 2 else 1.0))
        for column in range(2):
            at = first_axis(axis[i]) if column == 0 else second_axis(axis[i])
            width = 1.0 / load(sides, at)
            mode_averages(
                load(centre, (i, column)) * width, load(half, (i, column)) * width, even[i, at],
                odd[i, column], yields[i],
            )  # fmt: skip
    for i in range(count):
        for j in range(i, count):
            facing, own_pair = axis[i] == axis[j], i == j
            for turn in range(2):
                one, two = (i, j) if (turn == 0) != (yields[j] and not yields[i]) else (j, i)
                if turn == 1 and (facing or not yields[one]):
                    break
                many = 1
                if yields[one]:
                    many = 3 if own_pair or (facing and yields[two]) else 2
                iu, iv = first_axis(axis[one]), second_axis(axis[one])
                other = two if facing else one
                modes = MODES if facing else MODES_CORNER
                weighted_rows(
                    even[one, iu], even[two, iu], odd[one, 0], odd[other, 0], own_pair, many, modes, u, on_u
                )
                weighted_rows(
                    even[one, iv], even[two, iv], odd[one, 1], odd[other, 1], own_pair, many, modes, v, on_v
                )
                d = load(sides, axis[one])
                low, top = 0.0 * d, d
                kind = 2
                if facing:
                    kind = 0 if high[i] == high[j] else 1
                    flat = d * d * (1.0 / 3.0 if kind == 0 else -1.0 / 6.0)
                else:
                    column = 0 if first_axis(axis[two]) == axis[one] else 1
                    middle, reach = load(centre, (two, column)), load(half, (two, column))
                    if high[one]:
                        middle = d - middle
                    low, top = max(middle - reach, 0.0), min(middle + reach, d)
                    flat = d * d / 3.0 - d * (low + top) / 2.0 + (low * low + low * top + top * top) / 6.0
                flat = choose(line == float(axis[one]), 0.0, flat)
                along_u = choose(line == float(iu), 1.0, 0.0)
                along_v = choose(line == float(iv), 1.0, 0.0)
                ku, kv = squares[iu], squares[iv]
                _double_sums(u, on_u, ku, v, on_v, kv, many, own_pair, kind, d, low, top, table)
                _edges(u, on_u, ku, v, on_v, kv, many, modes, along_u, along_v, flat, table)
                if turn == 0:
                    m0 = load(table, (0, 0)) * over
                    if own_pair:
                        m0 += tail(sides, iu, iv, half[i])
                    store(sums, (0, i, j, place), m0)
                    store(sums, (0, j, i, place), m0)
                if many > 1:
                    store(taken, (one, 0, two), load(table, (1, 0)))
                    store(taken, (one, 1, two), load(table, (0, 1)))
                if own_pair and many == 3:
                    store(own, (i, 0), load(table, (2, 0)))
                    store(own, (i, 1), load(table, (0, 2)))
                    store(own, (i, 2), load(table, (1, 1)))
                elif many == 3:
                    store(taken, (two, 0, one), load(table, (2, 0)))
                    store(taken, (two, 1, one), load(table, (0, 2)))
            second, third = higher_sums(even, squares, line, i, j)
            for a, b in ((i, j), (j, i)):
                store(sums, (1, a, b, place), second * over)
                store(sums, (2, a, b, place), third * over)
    for i in range(count):
        if yields[i]:
            _add_line(i, axis, line, squares, even, odd, own, taken)
            _give_way(i, own, taken, volume, half, sums, place)
