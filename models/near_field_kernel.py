"""The sums of :mod:`models.near_field`, compiled: rooms side by side, mode after mode.

Same sums, same modes. Modes whose averages vanish by symmetry in all of these rooms, such as every
second one of a patch in the middle of its wall, are left out; they are less than 1e-13 of a sum.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, exp, inlined, inverse, inverse_root
from models.kernel_records import AXIS, HIGH, YIELDS, Graph, Near, Sizes
from models.lanes import any_lane, choose, load, store
from models.near_field import MODES, MODES_CORNER, NEAR
from models.near_field_higher_kernel import higher_blocks, higher_sums
from models.near_field_modes_kernel import first_axis, longest, mode_averages, second_axis, weighted_rows
from models.near_field_tail_kernel import tail

INVERSE_SQUARES = 1.0 / np.maximum(np.arange(MODES), 1.0) ** 2
"""Of the numbers of modes."""


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
    """Add to a vector of a table."""
    store(table, index, load(table, index) + value)


@compiled
def _double_sums(
    u: np.ndarray, on_u: np.ndarray, ku: np.ndarray, v: np.ndarray, on_v: np.ndarray, kv: np.ndarray,
    count: int, own: bool, kind: int, depth: float, low: float, high: float, line: np.ndarray,
    table: np.ndarray,
) -> None:  # fmt: skip
    """Sums over both axes of a wall but for mode 0, 0; kind 0: one wall, 1: opposite walls, 2: a corner."""
    modes = MODES_CORNER if kind == 2 else (MODES if kind == 0 else NEAR)
    scale = depth / (high - low) if kind == 2 else depth
    zero = 0.0 * depth
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
    u: np.ndarray, on_u: np.ndarray, v: np.ndarray, on_v: np.ndarray, count: int, modes: int, along_u: float,
    along_v: float, flat: float, table: np.ndarray,
) -> None:  # fmt: skip
    """What the line takes off the sums, where it lies in the wall, and the part of mode 0, 0.

    ``along_u`` and ``along_v``: inverse square of the first wavenumber along the line, zero along other axes.
    """
    for r in range(count):
        taken_u = 0.0 * flat
        taken_v = taken_u
        for m in range(1, modes):
            if on_u[m] > 0:
                taken_u += load(u, (r, m)) * INVERSE_SQUARES[m]
            if on_v[m] > 0:
                taken_v += load(v, (r, m)) * INVERSE_SQUARES[m]
        for c in range(count):
            _add(table, (r, c), (flat * load(u, (r, 0)) - along_u * taken_u) * load(v, (c, 0)))
            _add(table, (c, r), -along_v * taken_v * load(u, (c, 0)))


@compiled
def _give_way(
    i: int, own: np.ndarray, taken: np.ndarray, volume: float, a: float, b: float, sums: np.ndarray
) -> None:
    """Take off M what the odd modes of one duct's end carry, a and b its half sides."""
    g00 = load(own, (i, 0)) + volume / (2.0 * math.pi * b)
    g11 = load(own, (i, 1)) + volume / (2.0 * math.pi * a)
    g01 = load(own, (i, 2))
    over = 1.0 / ((g00 * g11 - g01 * g01) * volume)
    for j in range(sums.shape[1]):
        first, second = load(taken, (i, 0, j)), load(taken, (i, 1, j))
        x = (g11 * first - g01 * second) * over
        y = (g00 * second - g01 * first) * over
        for k in range(sums.shape[1]):
            _add(sums, (0, j, k), -(x * load(taken, (i, 0, k)) + y * load(taken, (i, 1, k))))


@compiled
def _add_line(i: int, axis: int, line: float, near: Near) -> None:
    """The line's own modes, which the sums leave out, drive a duct's odd modes as at low frequency."""
    for column in range(2):
        at = first_axis(axis) if column == 0 else second_axis(axis)
        share = choose(line == float(at), 2.0 * inverse(load(near.squares, (at, 1))), 0.0)
        if any_lane(share > 0.0):
            for j in range(-1, near.taken.shape[2]):
                total = 0.0 * share
                for m in range(1, MODES):
                    odd = load(near.odd, (i, column, m))
                    other = odd if j < 0 else load(near.even, (j, at, m))
                    total += INVERSE_SQUARES[m] * odd * other
                if j < 0:
                    _add(near.own, (i, column), share * total)
                else:
                    _add(near.taken, (i, column, j), share * total)


@compiled
def _average(graph: Graph, sizes: Sizes, chamber: int, start: int, near: Near) -> None:
    """Mode averages of all patches of a chamber, squares of wavenumbers; sums at zero."""
    first, count = graph.starts[chamber], near.taken.shape[0]
    zero = 0.0 * load(sizes.sides, (chamber, 0, start))
    for s in range(3):
        step = math.pi / load(sizes.sides, (chamber, s, start))
        for m in range(MODES):
            store(near.squares, (s, m), float(m * m) * step * step)
    for i in range(count):
        axis, high = graph.joints[first + i, AXIS], graph.joints[first + i, HIGH] == 1
        for m in range(MODES):
            store(near.even, (i, axis, m), zero + (-1.0 if high and m % 2 else 1.0))
        for column in range(2):
            at = first_axis(axis) if column == 0 else second_axis(axis)
            side = 1.0 / load(sizes.sides, (chamber, at, start))
            mode_averages(
                load(sizes.centre, (first + i, column, start)) * side,
                load(sizes.half, (first + i, column, start)) * side,
                near.even[i, at], near.odd[i, column], graph.joints[first + i, YIELDS] == 1,
            )  # fmt: skip
            store(near.own, (i, 2), zero)
            store(near.own, (i, column), zero)
            for j in range(count):
                store(near.taken, (i, column, j), zero)


@compiled
def near_block(graph: Graph, sizes: Sizes, chamber: int, start: int, near: Near,
               sums: np.ndarray) -> None:  # fmt: skip
    """M, N and P among the patches of a few rooms, as :func:`models.near_field.near_field`.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    sizes : Sizes
        Designs [record].
    chamber : int
        Which room of theirs [1].
    start : int
        First of the designs [1].
    near : Near
        Room to work in [record].
    sums : ndarray, shape (3, n_patches, n_patches, WIDTH)
        M [1/m], N [m] and P [m3], written in place [mixed].
    """
    first, count = graph.starts[chamber], near.taken.shape[0]
    s0, s1 = load(sizes.sides, (chamber, 0, start)), load(sizes.sides, (chamber, 1, start))
    s2 = load(sizes.sides, (chamber, 2, start))
    volume, line = s0 * s1 * s2, longest(s0, s1, s2)
    over = 1.0 / volume
    even, odd, u, v, on_u, on_v, table = near.even, near.odd, near.u, near.v, near.on_u, near.on_v, near.table
    _average(graph, sizes, chamber, start, near)
    higher_blocks(near, line)
    for i in range(count):
        for j in range(i, count):
            facing, own = graph.joints[first + i, AXIS] == graph.joints[first + j, AXIS], i == j
            swapped = graph.joints[first + j, YIELDS] == 1 and graph.joints[first + i, YIELDS] == 0
            for turn in range(2):
                one, two = (i, j) if (turn == 0) != swapped else (j, i)
                yields, high = graph.joints[first + one, YIELDS] == 1, graph.joints[first + one, HIGH] == 1
                if turn == 1 and (facing or not yields):
                    break
                many = 1
                if yields:
                    many = 3 if own or (facing and graph.joints[first + two, YIELDS] == 1) else 2
                axis = graph.joints[first + one, AXIS]
                iu, iv = first_axis(axis), second_axis(axis)
                other, modes = (two, MODES) if facing else (one, MODES_CORNER)
                weighted_rows(
                    even[one, iu], even[two, iu], odd[one, 0], odd[other, 0], own, many, modes, u, on_u
                )
                weighted_rows(
                    even[one, iv], even[two, iv], odd[one, 1], odd[other, 1], own, many, modes, v, on_v
                )
                d = load(sizes.sides, (chamber, axis, start))
                low, top, kind = 0.0 * d, d, 2
                if facing:
                    kind = 0 if graph.joints[first + i, HIGH] == graph.joints[first + j, HIGH] else 1
                    flat = d * d * (1.0 / 3.0 if kind == 0 else -1.0 / 6.0)
                else:
                    column = 0 if first_axis(graph.joints[first + two, AXIS]) == axis else 1
                    middle = load(sizes.centre, (first + two, column, start))
                    reach = load(sizes.half, (first + two, column, start))
                    if high:
                        middle = d - middle
                    low, top = max(middle - reach, 0.0), min(middle + reach, d)
                    flat = d * d / 3.0 - d * (low + top) / 2.0 + (low * low + low * top + top * top) / 6.0
                flat = choose(line == float(axis), 0.0, flat)
                ku, kv = near.squares[iu], near.squares[iv]
                along_u = choose(line == float(iu), inverse(load(ku, 1)), 0.0)
                along_v = choose(line == float(iv), inverse(load(kv, 1)), 0.0)
                _double_sums(u, on_u, ku, v, on_v, kv, many, own, kind, d, low, top, near.line, table)
                _edges(u, on_u, v, on_v, many, modes, along_u, along_v, flat, table)
                if turn == 0:
                    m0 = load(table, (0, 0)) * over
                    if own:
                        m0 += tail(sizes.sides[chamber], iu, iv, sizes.half[first + i], start)
                    store(sums, (0, i, j), m0)
                    store(sums, (0, j, i), m0)
                if many > 1:
                    store(near.taken, (one, 0, two), load(table, (1, 0)))
                    store(near.taken, (one, 1, two), load(table, (0, 1)))
                if own and many == 3:
                    store(near.own, (i, 0), load(table, (2, 0)))
                    store(near.own, (i, 1), load(table, (0, 2)))
                    store(near.own, (i, 2), load(table, (1, 1)))
                elif many == 3:
                    store(near.taken, (two, 0, one), load(table, (2, 0)))
                    store(near.taken, (two, 1, one), load(table, (0, 2)))
            second, third = higher_sums(near, i, j)
            for k in range(2):
                one, two = (i, j) if k == 0 else (j, i)
                store(sums, (1, one, two), second * over)
                store(sums, (2, one, two), third * over)
    for i in range(count):
        if graph.joints[first + i, YIELDS] == 1:
            a, b = load(sizes.half, (first + i, 0, start)), load(sizes.half, (first + i, 1, start))
            _add_line(i, graph.joints[first + i, AXIS], line, near)
            _give_way(i, near.own, near.taken, volume, a, b, sums)
