"""Sums M, N and P of :mod:`models.near_field` with slopes over all variables, compiled, room by room.

A sum over modes is U f V, with rows U and V of products of mode averages along both axes of a wall. It moves
with its rows, by f V and U f, and with the sides of the room, by the terms' own slopes.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, compiled_sums, entry_point, inlined
from models.kernel_records import AXIS, HIGH, YIELDS
from models.linear_layout import Layout
from models.linear_terms import Terms
from models.near_field import MODES, MODES_CORNER, MODES_SECOND, NEAR
from models.near_field_modes_kernel import first_axis, second_axis
from models.near_slopes_ends_kernel import add_line, give_way
from models.near_slopes_higher_kernel import higher_blocks, higher_slopes, tail_slopes
from models.near_slopes_rows_kernel import active_modes, averages, gathered, moved, products
from models.near_slopes_terms_kernel import corner_terms, end_terms, facing_terms

STILL = 1e-12
"""Slope of a share over a variable that counts as none [1]."""


@compiled_sums
def _weighted(f: np.ndarray, v: np.ndarray, rows: int, columns: int, found: np.ndarray) -> None:
    """Sum of f times v along the second axis."""
    for a in range(rows):
        total = 0.0
        for b in range(columns):
            total += f[a, b] * v[b]
        found[a] = total


@inlined
def _whole(count: int) -> int:
    return (count + 7) // 8 * 8


@compiled
def _near_modes(modes: np.ndarray, count: int) -> int:
    near = 0
    for i in range(count):
        near += 1 if modes[i] < NEAR else 0
    return near


@compiled_sums
def _tables(
    one: int, two: int, yields: bool, layout: Layout, begin: int, sides: np.ndarray, d_sides: np.ndarray,
    centre: np.ndarray, half: np.ndarray, d_place: np.ndarray, places: np.ndarray, even: np.ndarray,
    odd: np.ndarray, squares: np.ndarray, work: np.ndarray, planes: np.ndarray, table: np.ndarray,
    d_table: np.ndarray,
) -> None:  # fmt: skip
    """Double sums of the kernel of two patches, with slopes.

    Even by even is (0, 0), with odd modes of the first along either axis (1, 0) and (0, 1), and where both
    are one duct, with odd modes on both sides (2, 0), (1, 1) and (0, 2).
    """
    joints = layout.graph.joints
    normal, other = joints[begin + one, AXIS], joints[begin + two, AXIS]
    u, v = first_axis(normal), second_axis(normal)
    depth, n = sides[normal], d_sides.shape[1]
    corner = normal != other
    limit = MODES_CORNER if corner else MODES
    at_u, at_v = np.empty(MODES, np.int64), np.empty(MODES, np.int64)
    many_u = active_modes(even[one, u], even[two, u], odd[one, 0], yields, limit, at_u)
    many_v = active_modes(even[one, v], even[two, v], odd[one, 1], yields, limit, at_v)
    rows_u, rows_v = work[:9].reshape(3, 3, MODES), work[9:18].reshape(3, 3, MODES)
    gathered(even[one, u], at_u, many_u, rows_u[0])
    gathered(even[two, u], at_u, many_u, rows_u[1])
    gathered(odd[one, 0], at_u, many_u, rows_u[2])
    gathered(even[one, v], at_v, many_v, rows_v[0])
    gathered(even[two, v], at_v, many_v, rows_v[1])
    gathered(odd[one, 1], at_v, many_v, rows_v[2])
    ku, kv = work[18], work[19]
    for i in range(many_u):
        ku[i] = squares[u, at_u[i]]
    for i in range(many_v):
        kv[i] = squares[v, at_v[i]]
    wide_u, wide_v = _whole(many_u), _whole(many_v)  # whole vectors; what is beyond the modes has no weight
    for i in range(many_v, wide_v):
        kv[i] = squares[v, MODES - 1]
    near_u, near_v = _near_modes(at_u, many_u), _near_modes(at_v, many_v)
    f, bend, by_low, by_high, across = planes[0], planes[1], planes[2], planes[3], planes[4]
    low, high, flat, sign = 0.0, 0.0, 0.0, 1.0
    flat_low, flat_high = 0.0, 0.0
    column = 0 if first_axis(other) == normal else 1
    line = 0 if layout.line == u else (1 if layout.line == v else 2)
    if corner:
        middle, reach = centre[two, column], half[two, column]
        if joints[begin + one, HIGH]:
            middle, sign = depth - middle, -1.0
        low, high = max(middle - reach, 0.0), min(middle + reach, depth)
        corner_terms(
            ku, many_u, near_u, kv, wide_v, near_v, depth, low, high, f, bend, by_low, by_high, work[20:24]
        )
        flat = depth * depth / 3.0 - depth * (low + high) / 2.0 + (low * low + low * high + high * high) / 6.0
        flat_low = (2.0 * low + high) / 6.0 - 0.5 * depth
        flat_high = (2.0 * high + low) / 6.0 - 0.5 * depth
    else:
        same = joints[begin + one, HIGH] == joints[begin + two, HIGH]
        facing_terms(ku, many_u, near_u, kv, wide_v, near_v, depth, same, f, bend)
        flat = depth * depth * (1.0 / 3.0 if same else -1.0 / 6.0)
    if line == 2:
        flat, flat_low, flat_high = 0.0, 0.0, 0.0
    zero_u, zero_v = many_u > 0 and at_u[0] == 0, many_v > 0 and at_v[0] == 0
    end_terms(ku, many_u, kv, many_v, zero_u, zero_v, line, flat, f, bend)
    if corner and zero_u and zero_v:
        by_low[0, 0], by_high[0, 0] = flat_low, flat_high
    for b in range(many_v):
        for a in range(wide_u):
            across[b, a] = f[a, b] if a < many_u else 0.0
    left, right, f_right, bend_right, low_right = work[20], work[21], work[22], work[23], work[24]
    high_right, left_f, bend_kv, kv_right = work[25], work[26], work[27], work[28]
    for c in range(3 if yields and one == two else (2 if yields else 1)):
        # rows along v: even by even, odd by even, odd by odd
        v1, v2 = (2 if c > 0 else 0), (2 if c == 2 else 1)
        products(rows_v[v1], rows_v[v2], at_v, many_v, wide_v, right)
        for b in range(wide_v):
            kv_right[b] = kv[b] * right[b]
        _weighted(f, right, many_u, wide_v, f_right)
        _weighted(bend, right, many_u, wide_v, bend_right)
        _weighted(bend, kv_right, many_u, wide_v, bend_kv)
        if corner:
            _weighted(by_low, right, many_u, wide_v, low_right)
            _weighted(by_high, right, many_u, wide_v, high_right)
        for r in range(3):
            if r + c > (2 if one == two else 1) or (r > 0 and not yields):
                continue
            u1, u2 = (2 if r > 0 else 0), (2 if r == 2 else 1)
            if one == two and r == 1:
                u1, u2 = 2, 1
            products(rows_u[u1], rows_u[u2], at_u, many_u, wide_u, left)
            _weighted(across, left, many_v, wide_u, left_f)
            total, by_u, by_v, of_low, of_high = 0.0, 0.0, 0.0, 0.0, 0.0
            for a in range(many_u):
                total += left[a] * f_right[a]
                by_u += left[a] * ku[a] * bend_right[a]
                by_v += left[a] * bend_kv[a]
            if corner:
                for a in range(many_u):
                    of_low += left[a] * low_right[a]
                    of_high += left[a] * high_right[a]
            table[r, c] = total
            # of second degree in lengths
            by_depth = (2.0 * total - by_u - by_v - low * of_low - high * of_high) / depth
            by_u, by_v = by_u / sides[u], by_v / sides[v]
            for i in range(n):
                slope = by_u * d_sides[u, i] + by_v * d_sides[v, i] + by_depth * d_sides[normal, i]
                if corner:
                    mid = sign * d_place[two, column, i] + (d_sides[normal, i] if sign < 0.0 else 0.0)
                    wide = d_place[two, 2 + column, i]
                    slope += of_low * (mid - wide if low > 0.0 else 0.0)
                    slope += of_high * (mid + wide if high < depth else d_sides[normal, i])
                d_table[r, c, i] = slope
            moved(
                f_right, rows_u[u1], rows_u[u2], at_u, many_u, places[u], one, one if r == 2 else two,
                d_table[r, c],
            )  # fmt: skip
            moved(
                left_f, rows_v[v1], rows_v[v2], at_v, many_v, places[v], one, one if c == 2 else two,
                d_table[r, c],
            )  # fmt: skip


@compiled
def _room(layout: Layout, terms: Terms, p: int, chamber: int, sums: np.ndarray,
          slopes: np.ndarray) -> None:  # fmt: skip
    """V times M, N and P among the patches of one room, and their slopes."""
    joints, begin = layout.graph.joints, layout.graph.starts[chamber]
    count, n = sums.shape[1], terms.slope.shape[2]
    sides = terms.value[p, layout.rooms + 3 * chamber : layout.rooms + 3 * chamber + 3]
    d_sides = terms.slope[p, layout.rooms + 3 * chamber : layout.rooms + 3 * chamber + 3]
    centre, half, d_place = np.empty((count, 2)), np.empty((count, 2)), np.empty((count, 4, n))
    places = np.zeros((3, count, 2, n))
    even, odd = np.zeros((count, 3, 3, MODES)), np.zeros((count, 2, 3, MODES))
    squares = np.empty((3, MODES))
    volume, d_volume = sides[0] * sides[1] * sides[2], np.zeros(n)
    for s in range(3):
        for m in range(MODES):
            squares[s, m] = (math.pi * m / sides[s]) ** 2
        for i in range(n):
            d_volume[i] += volume / sides[s] * d_sides[s, i]
    for a in range(count):
        axis, at = joints[begin + a, AXIS], layout.patches + 4 * (begin + a)
        for m in range(MODES):
            even[a, axis, 0, m] = -1.0 if joints[begin + a, HIGH] == 1 and m % 2 else 1.0
        for q in range(4):
            for i in range(n):
                d_place[a, q, i] = terms.slope[p, at + q, i]
        for column in range(2):
            s = first_axis(axis) if column == 0 else second_axis(axis)
            centre[a, column], half[a, column] = terms.value[p, at + column], terms.value[p, at + 2 + column]
            share, width = centre[a, column] / sides[s], half[a, column] / sides[s]
            moves = False
            for i in range(n):
                places[s, a, 0, i] = (d_place[a, column, i] - share * d_sides[s, i]) / sides[s]
                places[s, a, 1, i] = (d_place[a, 2 + column, i] - width * d_sides[s, i]) / sides[s]
                moves = moves or abs(places[s, a, 0, i]) > STILL
            averages(share, width, moves, even[a, s], odd[a, column], joints[begin + a, YIELDS] == 1)
    table, d_table = np.empty((3, 3)), np.empty((3, 3, n))
    blocks = np.empty((4, MODES_SECOND, MODES_SECOND, MODES_SECOND))
    higher_blocks(squares, layout.line, blocks)
    work, planes = np.empty((29, MODES)), np.empty((5, MODES, MODES))
    taken, d_taken = np.zeros((count, 2, count)), np.zeros((count, 2, count, n))
    own, d_own = np.zeros((count, 3)), np.zeros((count, 3, n))
    for a in range(count):
        for b in range(a, count):
            swap = joints[begin + b, YIELDS] == 1 and joints[begin + a, YIELDS] == 0
            for turn in range(2 if a != b else 1):
                one, two = (b, a) if swap != (turn == 1) else (a, b)
                yields = joints[begin + one, YIELDS] == 1
                if turn == 1 and not yields:
                    break
                _tables(
                    one, two, yields, layout, begin, sides, d_sides, centre, half, d_place, places, even, odd,
                    squares, work, planes, table, d_table,
                )  # fmt: skip
                if turn == 0:
                    sums[0, a, b] = table[0, 0]
                    slopes[0, a, b] = d_table[0, 0]
                if yields:
                    taken[one, 0, two], taken[one, 1, two] = table[1, 0], table[0, 1]
                    d_taken[one, 0, two], d_taken[one, 1, two] = d_table[1, 0], d_table[0, 1]
                if yields and a == b:
                    own[a, 0], own[a, 1], own[a, 2] = table[2, 0], table[0, 2], table[1, 1]
                    d_own[a, 0], d_own[a, 1], d_own[a, 2] = d_table[2, 0], d_table[0, 2], d_table[1, 1]
            if a == b:
                axis = joints[begin + a, AXIS]
                u, v = first_axis(axis), second_axis(axis)
                rest, by_u, by_v, by_a, by_b = tail_slopes(sides[u], sides[v], half[a, 0], half[a, 1])
                sums[0, a, a] += rest * volume
                for i in range(n):
                    slope = by_u * d_sides[u, i] + by_v * d_sides[v, i]
                    slope += by_a * d_place[a, 2, i] + by_b * d_place[a, 3, i]
                    slopes[0, a, a, i] += slope * volume + rest * d_volume[i]
            higher_slopes(
                even, a, b, squares, blocks, places, sides, d_sides, sums[1:, a, b], slopes[1:, a, b]
            )
    for a in range(count):
        if joints[begin + a, YIELDS] == 1:
            add_line(
                a, layout, begin, sides, d_sides, places, even, odd, squares, own[a], d_own[a], taken, d_taken
            )
            give_way(
                a, half, d_place, volume, d_volume, own[a], d_own[a], taken, d_taken, sums, slopes
            )
    for row in range(3):
        for a in range(count):
            for b in range(a, count):
                sums[row, a, b] /= volume
                for i in range(n):
                    slopes[row, a, b, i] = (slopes[row, a, b, i] - sums[row, a, b] * d_volume[i]) / volume


@entry_point
def near_points(layout: Layout, terms: Terms) -> None:
    """M, N and P of every pair of patches with slopes, into ``near`` and ``d_near`` of the terms.

    Parameters
    ----------
    layout : Layout
        Structure [record].
    terms : Terms
        Sizes with slopes; the sums are written in place [record].
    """
    starts, n = layout.graph.starts, terms.slope.shape[2]
    for p in range(terms.value.shape[0]):
        pair = 0
        for chamber in range(starts.size - 2):
            count = starts[chamber + 1] - starts[chamber]
            sums, slopes = np.zeros((3, count, count)), np.zeros((3, count, count, n))
            _room(layout, terms, p, chamber, sums, slopes)
            for a in range(count):
                for b in range(a, count):
                    for row in range(3):
                        terms.near[p, pair, row] = sums[row, a, b]
                        for i in range(n):
                            terms.d_near[p, pair, row, i] = slopes[row, a, b, i]
                    pair += 1
