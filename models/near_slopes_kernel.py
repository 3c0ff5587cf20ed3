"""Sums M, N and P of :mod:`models.near_field` with slopes over all variables, compiled, room by room.

A sum over modes is U f V, with rows U and V of products of mode averages along both axes of a wall. It moves
with its rows, by f V and U f, and with the sides of the room, by the terms' own slopes. Slopes are worked
out over the geometry of the room (:mod:`models.near_slopes_rows_kernel`), and over the variables in the end.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty, zeros
from models.jit import compiled, entry_point
from models.kernel_records import AXIS, FEW, HIGH, YIELDS
from models.lanes import load_few, store
from models.near_field import MODES, MODES_SECOND
from models.near_field_modes_kernel import first_axis, second_axis
from models.near_slopes_ends_kernel import add_line, give_way
from models.near_slopes_higher_kernel import higher_blocks, higher_slopes, tail_slopes
from models.near_slopes_rows_kernel import ALL, CORNER, active_modes, averages, dot, follow, products
from models.near_slopes_terms_kernel import (
    BEND,
    HIGH_EDGE,
    LOW,
    F,
    along_first,
    along_second,
    corner_terms,
    end_terms,
    facing_terms,
)

STILL = 1e-12
"""Slope of a share over a variable that counts as none [1]."""


@compiled
def _fill_planes(
    one: int, two: int, line: int, joints: np.ndarray, sides: np.ndarray, sizes: np.ndarray,
    squares: np.ndarray, on: np.ndarray, planes: np.ndarray, edges: np.ndarray,
) -> None:  # fmt: skip
    """Terms of two patches and their slopes; ``edges``: where the second begins and ends off the first."""
    normal, other = joints[one, AXIS], joints[two, AXIS]
    u, v, depth = first_axis(normal), second_axis(normal), sides[normal]
    along = 0 if line == u else (1 if line == v else 2)
    low, high = 0.0, depth
    flat, flat_low, flat_high = 0.0, 0.0, 0.0
    if normal == other:
        same = joints[one, HIGH] == joints[two, HIGH]
        facing_terms(on, squares[u], squares[v], depth, same, planes)
        flat = depth * depth * (1.0 / 3.0 if same else -1.0 / 6.0)
    else:
        column = 0 if first_axis(other) == normal else 1
        middle, reach = sizes[two, column], sizes[two, 2 + column]
        if joints[one, HIGH]:
            middle = depth - middle
        low, high = max(middle - reach, 0.0), min(middle + reach, depth)
        corner_terms(on, squares[u], squares[v], depth, low, high, planes)
        flat = depth * depth / 3.0 - depth * (low + high) / 2.0 + (low * low + low * high + high * high) / 6.0
        flat_low = (2.0 * low + high) / 6.0 - 0.5 * depth
        flat_high = (2.0 * high + low) / 6.0 - 0.5 * depth
    if along == 2:
        flat, flat_low, flat_high = 0.0, 0.0, 0.0
    end_terms(on, squares[u], squares[v], along, flat, planes)
    planes[LOW, 0, 0], planes[HIGH_EDGE, 0, 0] = flat_low, flat_high
    edges[0], edges[1] = low, high


@compiled
def _follow_edges(
    one: int, two: int, joints: np.ndarray, depth: float, edges: np.ndarray, of_low: float, of_high: float,
    slope: np.ndarray,
) -> None:  # fmt: skip
    """Add how a sum moves with the edges of the second patch, on a wall that meets the first one's."""
    normal = joints[one, AXIS]
    at = 3 + 4 * two + (0 if first_axis(joints[two, AXIS]) == normal else 1)
    for edge in range(2):
        rate = of_low if edge == 0 else of_high
        if edge == 1 and not edges[1] < depth:
            slope[normal] += rate
        elif edge == 1 or edges[0] > 0.0:
            if joints[one, HIGH]:
                slope[normal] += rate
            slope[at] += -rate if joints[one, HIGH] else rate
            slope[at + 2] += rate if edge == 1 else -rate


@compiled
def _tables(
    one: int, two: int, line: int, joints: np.ndarray, sides: np.ndarray, sizes: np.ndarray,
    even: np.ndarray, odd: np.ndarray, squares: np.ndarray, work: np.ndarray, planes: np.ndarray,
    table: np.ndarray, d_table: np.ndarray,
) -> None:  # fmt: skip
    """Double sums of the kernel of two patches, with slopes.

    Even by even is (0, 0), with odd modes of the first along either axis (1, 0) and (0, 1), and where both
    are one duct, with odd modes on both sides (2, 0), (1, 1) and (0, 2).
    """
    normal, yields, own = joints[one, AXIS], joints[one, YIELDS] == 1, one == two
    u, v, depth, edges = first_axis(normal), second_axis(normal), sides[normal], work[13]
    corner = normal != joints[two, AXIS]
    kind = CORNER if corner else ALL
    on, left, right = work[0], work[1], work[2]
    ku, kv = squares[u], squares[v]
    active_modes(even[one, u], even[two, u], odd[one, 0], yields, kind, on)
    _fill_planes(one, two, line, joints, sides, sizes, squares, on, planes, edges)
    most = 2 if own else 1
    for c in range(1 + most if yields else 1):
        x_v = odd[one, 1] if c > 0 else even[one, v]
        y_v = odd[one, 1] if c == 2 else even[two, v]
        products(x_v, y_v, kind, right)
        for part in range(4 if corner else 2):
            along_second(on, planes[part], right, work[3 + part])
        for at in range(0, MODES, FEW):
            store(right, at, load_few(right, at) * load_few(kv, at))
        along_second(on, planes[BEND], right, work[7])
        for r in range(1 + most - c if yields else 1):
            x_u = odd[one, 0] if r > 0 else even[one, u]
            y_u = odd[one, 0] if r == 2 else even[two, u]
            products(x_u, y_u, kind, left)
            along_first(on, planes[F], left, work[8])
            value, by_v = dot(left, work[3 + F]), dot(left, work[7])
            slope = d_table[r, c]
            for at in range(slope.size):
                slope[at] = 0.0
            of_low, of_high = 0.0, 0.0
            if corner:
                of_low, of_high = dot(left, work[3 + LOW]), dot(left, work[3 + HIGH_EDGE])
                _follow_edges(one, two, joints, depth, edges, of_low, of_high, slope)
            for at in range(0, MODES, FEW):
                store(left, at, load_few(left, at) * load_few(ku, at))
            by_u = dot(left, work[3 + BEND])
            table[r, c] = value
            slope[u] += by_u / sides[u]
            slope[v] += by_v / sides[v]
            # of second degree in lengths
            slope[normal] += (2.0 * value - by_u - by_v - edges[0] * of_low - edges[1] * of_high) / depth
            follow(
                work[3 + F], x_u, y_u, kind, u, joints, sides, sizes, one, one if r == 2 else two, slope
            )
            follow(work[8], x_v, y_v, kind, v, joints, sides, sizes, one, one if c == 2 else two, slope)


@compiled
def _copy(source: np.ndarray, target: np.ndarray) -> None:
    for i in range(source.size):
        target[i] = source[i]


@compiled
def _set_patches(
    joints: np.ndarray, sides: np.ndarray, sizes: np.ndarray, d_sides: np.ndarray, d_sizes: np.ndarray,
    even: np.ndarray, odd: np.ndarray,
) -> None:  # fmt: skip
    """Mode averages of all patches of a room along all axes."""
    for a in range(sizes.shape[0]):
        axis = joints[a, AXIS]
        for m in range(MODES):
            even[a, axis, 0, m] = -1.0 if joints[a, HIGH] == 1 and m % 2 else 1.0
        for column in range(2):
            s = first_axis(axis) if column == 0 else second_axis(axis)
            share, width = sizes[a, column] / sides[s], sizes[a, 2 + column] / sides[s]
            most = 0.0
            for i in range(d_sides.shape[1]):
                most = max(most, abs(d_sizes[4 * a + column, i] - share * d_sides[s, i]))
            moves = most > STILL * sides[s]
            averages(share, width, moves, even[a, s], odd[a, column], joints[a, YIELDS] == 1)


@compiled
def _room(
    line: int, joints: np.ndarray, sides: np.ndarray, sizes: np.ndarray, even: np.ndarray, odd: np.ndarray,
    sums: np.ndarray, slopes: np.ndarray,
) -> None:  # fmt: skip
    """V times M, N and P among the patches of one room, and their slopes over its geometry."""
    count, wide, volume = sizes.shape[0], slopes.shape[3], sides[0] * sides[1] * sides[2]
    squares, work = empty((3, MODES)), empty((14, MODES))
    for s in range(3):
        for m in range(MODES):
            squares[s, m] = (math.pi * m / sides[s]) * (math.pi * m / sides[s])
    table, d_table = empty((3, 3)), empty((3, 3, wide))
    blocks, planes = empty((4, MODES_SECOND, MODES_SECOND, FEW)), zeros((4, MODES, MODES))
    higher_blocks(squares, line, blocks)
    taken, d_taken = zeros((count, 2, count)), zeros((count, 2, count, wide))
    own, d_own = zeros((count, 3)), zeros((count, 3, wide))
    for a in range(count):
        for b in range(a, count):
            swap = joints[b, YIELDS] == 1 and joints[a, YIELDS] == 0
            for turn in range(2 if a != b else 1):
                one, two = (b, a) if swap != (turn == 1) else (a, b)
                yields = joints[one, YIELDS] == 1
                if turn == 1 and not yields:
                    break
                _tables(
                    one, two, line, joints, sides, sizes, even, odd, squares, work, planes, table, d_table
                )
                if turn == 0:
                    sums[0, a, b] = table[0, 0]
                    _copy(d_table[0, 0], slopes[0, a, b])
                if yields:
                    for q in range(2):
                        taken[one, q, two] = table[1 - q, q]
                        _copy(d_table[1 - q, q], d_taken[one, q, two])
                for q in range(3 if yields and a == b else 0):
                    r, c = (2 if q == 0 else 0) if q < 2 else 1, (2 if q == 1 else 0) if q < 2 else 1
                    own[a, q] = table[r, c]
                    _copy(d_table[r, c], d_own[a, q])
            if a == b:
                u, v = first_axis(joints[a, AXIS]), second_axis(joints[a, AXIS])
                rest, by_u, by_v, by_a, by_b = tail_slopes(sides[u], sides[v], sizes[a, 2], sizes[a, 3])
                sums[0, a, a] += rest * volume
                slope = slopes[0, a, a]
                slope[u] += by_u * volume
                slope[v] += by_v * volume
                slope[3 + 4 * a + 2] += by_a * volume
                slope[3 + 4 * a + 3] += by_b * volume
                for s in range(3):
                    slope[s] += rest * volume / sides[s]
            higher_slopes(even, a, b, joints, squares, blocks, sides, sizes, sums, slopes)
    for a in range(count):
        if joints[a, YIELDS] == 1:
            add_line(
                a, line, joints, sides, sizes, even, odd, squares, own[a], d_own[a], taken, d_taken
            )
            give_way(a, sides, sizes, own[a], d_own[a], taken, d_taken, sums, slopes)


@entry_point
def near_points(
    line: int, rooms: int, patches: int, starts: np.ndarray, joints: np.ndarray, value: np.ndarray,
    slope: np.ndarray, near: np.ndarray, d_near: np.ndarray,
) -> None:  # fmt: skip
    """M, N and P of every pair of patches with slopes over the variables.

    Parameters
    ----------
    line, rooms, patches : int
        Of a layout [1].
    starts, joints : ndarray of int
        Of its graph [1].
    value, slope : ndarray, shape (n_points, n_columns) and (n_points, n_columns, n)
        Of the terms [mixed].
    near, d_near : ndarray, shape (n_points, n_pairs, 3) and (n_points, n_pairs, 3, n)
        Of the terms; ``near`` is written, ``d_near`` added to [mixed].
    """
    for p in range(value.shape[0]):
        pair = 0
        for chamber in range(starts.size - 2):
            begin, count = starts[chamber], starts[chamber + 1] - starts[chamber]
            wide = (3 + 4 * count + FEW - 1) // FEW * FEW
            room, first = rooms + 3 * chamber, patches + 4 * begin
            sums, slopes = zeros((3, count, count)), zeros((3, count, count, wide))
            even, odd = zeros((count, 3, 3, MODES)), zeros((count, 2, 3, MODES))
            sides, sizes, here = value[p, room:], empty((count, 4)), joints[begin:]
            for a in range(count):
                for q in range(4):
                    sizes[a, q] = value[p, first + 4 * a + q]
            _set_patches(here, sides, sizes, slope[p, room:], slope[p, first:], even, odd)
            _room(line, here, sides, sizes, even, odd, sums, slopes)
            over = 1.0 / (sides[0] * sides[1] * sides[2])
            for a in range(count):
                for b in range(a, count):
                    for row in range(3):
                        found = sums[row, a, b] * over
                        near[p, pair, row] = found
                        for s in range(3 + 4 * count):
                            rate = slopes[row, a, b, s] * over - (found / sides[s] if s < 3 else 0.0)
                            column = room + s if s < 3 else first + s - 3
                            for i in range(slope.shape[2] if rate != 0.0 else 0):
                                d_near[p, pair, row, i] += rate * slope[p, column, i]
                    pair += 1
