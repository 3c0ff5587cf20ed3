"""The sums N and P of :mod:`models.near_field`, and the tail of M, compiled, with slopes."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty
from models.jit import compiled, sin_cos
from models.kernel_records import FEW
from models.lanes import choose, load_few, store, total
from models.near_field import MODES, MODES_SECOND, MODES_THIRD
from models.near_field_tail import CORNER, NARROW, NODE_WEIGHTS, NODES, WIDE
from models.near_field_tail_kernel import uniform_length
from models.near_slopes_rows_kernel import NEGLIGIBLE, SECOND, dot, follow, products

_POINTS = NODES.size
_ORDER = np.arange(FEW, dtype=float)


@compiled
def higher_blocks(squares: np.ndarray, line: int, blocks: np.ndarray) -> None:
    """1/k^4 and 1/k^6 of all modes across the line, and 1/k^6 and 1/k^8 of the few of P."""
    z = load_few(_ORDER, 0)
    for x in range(MODES_SECOND):
        for y in range(MODES_SECOND):
            alone = x + y == 0 or (x == 0 and line == 1) or (y == 0 and line == 0)
            counts = z > (0.5 if alone else -0.5)
            if x + y == 0 and line == 2:
                counts = z < 0.0
            over = choose(counts, 1.0 / (squares[0, x] + squares[1, y] + load_few(squares, (2, 0))), 0.0)
            square = over * over
            few = choose(z < float(MODES_THIRD), square * over, 0.0)
            store(blocks, (0, x, y), square)
            store(blocks, (1, x, y), square * over)
            store(blocks, (2, x, y), few)
            store(blocks, (3, x, y), few * over)


@compiled
def higher_slopes(
    even: np.ndarray, one: int, two: int, joints: np.ndarray, squares: np.ndarray, blocks: np.ndarray,
    sides: np.ndarray, sizes: np.ndarray, sums: np.ndarray, slopes: np.ndarray,
) -> None:  # fmt: skip
    """V times N and P of two patches, and their slopes over the geometry.

    Parameters
    ----------
    even : ndarray, shape (n_patches, 3, 3, MODES)
        Averages of every patch along every axis [1].
    one, two : int
        The patches [1].
    joints : ndarray of int
        Joints of the room [1].
    squares : ndarray, shape (3, MODES)
        Squares of wavenumbers along every axis [1/m2].
    blocks : ndarray, shape (4, MODES_SECOND, MODES_SECOND, FEW)
        From :func:`higher_blocks` [mixed].
    sides, sizes : ndarray
        As in :func:`models.near_slopes_rows_kernel.follow` [m].
    sums, slopes : ndarray, shape (3, n_patches, n_patches), (3, n_patches, n_patches, n_geometry)
        Their second and third rows are written in place [mixed].
    """
    p, by, row_y = empty((3, FEW)), empty((3, FEW)), empty((MODES_SECOND, FEW))
    for axis in range(3):
        products(even[one, axis], even[two, axis], SECOND, p[axis])
    for row in range(2):
        limit = MODES_SECOND if row == 0 else MODES_THIRD
        pz, none = load_few(p, 2), 0.0 * load_few(p, 2)
        along_z, bent_x, bent_y, bent_z = none, none, none, none
        store(by, 0, none)
        store(by, 1, none)
        for y in range(limit):
            store(row_y, y, none)
        for x in range(limit):
            row_x = none
            for y in range(limit):
                level = p[0, x] * p[1, y]
                idle = abs(level)
                for patch in (one, two):
                    idle = max(idle, max(abs(even[patch, 0, 1, x]), abs(even[patch, 1, 1, y])))
                if idle < NEGLIGIBLE:
                    continue
                low, high = load_few(blocks, (2 * row, x, y)), load_few(blocks, (2 * row + 1, x, y))
                along_z += level * low
                row_x += p[1, y] * (pz * low)
                store(row_y, y, load_few(row_y, y) + p[0, x] * (pz * low))
                bend = level * (pz * high)
                bent_x += squares[0, x] * bend
                bent_y += squares[1, y] * bend
                bent_z += bend
            by[0, x] = total(row_x)
        for y in range(limit):
            by[1, y] = total(load_few(row_y, y))
        store(by, 2, along_z)
        sums[1 + row, one, two] = dot(p[2], by[2])
        slope = slopes[1 + row, one, two]
        power = 4.0 if row == 0 else 6.0
        slope[0] += power / sides[0] * total(bent_x)
        slope[1] += power / sides[1] * total(bent_y)
        slope[2] += power / sides[2] * total(bent_z * load_few(squares, (2, 0)))
        for axis in range(3):
            follow(
                by[axis], even[one, axis], even[two, axis], SECOND, axis, joints, sides, sizes, one, two,
                slope,
            )  # fmt: skip


@compiled
def _kept(a: float, b: float, ku: float, kv: float) -> tuple[float, float, float, float, float]:
    """What the kept modes hold of a small patch, and its slopes with respect to a, b, ku and kv."""
    kept, by_a, by_b, by_u, by_v = 0.0, 0.0, 0.0, 0.0, 0.0
    for turn in range(2):
        one, k1 = (a, ku) if turn == 0 else (b, kv)
        two, k2 = (b, kv) if turn == 0 else (a, ku)
        whole, by_one, by_two, by_k1, by_k2 = 0.0, 0.0, 0.0, 0.0, 0.0
        for q in range(_POINTS):
            node = NODES[q]
            inner = 0.0 * load_few(NODES, 0)
            turned, bent = inner, inner
            for at in range(0, _POINTS, FEW):
                nodes = load_few(NODES, at)
                angle, other = one * k1 * nodes, two * k2 * node * nodes
                s, c = sin_cos(angle)
                ratio = s / angle
                first = load_few(NODE_WEIGHTS, at) * ratio
                s, beside = sin_cos(other)
                second = s / other
                inner += first * ratio * second * second
                turned += 2.0 * first * (c - ratio) * second * second  # slope over log of the angle
                bent += 2.0 * first * ratio * second * (beside - second)
            value, falls, bends = total(inner), total(turned), total(bent)
            square = k1 * k1 + k2 * k2 * node * node
            weight = k1 * k2 * NODE_WEIGHTS[q] / math.sqrt(square)
            whole += weight * value
            by_one += weight * falls
            by_two += weight * bends
            by_k1 += weight * (value * (1.0 - k1 * k1 / square) + falls)
            by_k2 += weight * (value * (1.0 - k2 * k2 * node * node / square) + bends)
        kept += whole
        by_a += (by_one if turn == 0 else by_two) / a
        by_b += (by_two if turn == 0 else by_one) / b
        by_u += (by_k1 if turn == 0 else by_k2) / ku
        by_v += (by_k2 if turn == 0 else by_k1) / kv
    return kept, by_a, by_b, by_u, by_v


@compiled
def tail_slopes(side_u: float, side_v: float, a: float, b: float) -> tuple[float, float, float, float, float]:
    """What modes beyond the last add to M of a patch with itself, and its slopes.

    Parameters
    ----------
    side_u, side_v : float
        Sides of the wall [m].
    a, b : float
        Half sides of the patch along them [m].

    Returns
    -------
    tuple of five floats
        What the sum lacks [1/m], and its slopes with respect to both sides and both half sides [1/m2].
    """
    ku, kv = (MODES - 0.5) * math.pi / side_u, (MODES - 0.5) * math.pi / side_v
    one, two = 1.0 / (8.0 * math.pi * b * (a * ku) ** 2), 1.0 / (8.0 * math.pi * a * (b * kv) ** 2)
    over = 1.0 / (math.pi * a * b) ** 2
    cube_u, cube_v = over / (12.0 * ku * ku * ku), over / (12.0 * kv * kv * kv)
    corner = over * CORNER / (4.0 * ku * kv * math.sqrt(ku * kv))
    wide = one + two - cube_u - cube_v - corner
    by_u = (-2.0 * one + 3.0 * cube_u + 1.5 * corner) / ku
    by_v = (-2.0 * two + 3.0 * cube_v + 1.5 * corner) / kv
    less = 2.0 * (cube_u + cube_v + corner)
    by_a, by_b = (-2.0 * one - two + less) / a, (-one - 2.0 * two + less) / b
    if wide <= 0.0:
        wide, by_u, by_v, by_a, by_b = 0.0, 0.0, 0.0, 0.0, 0.0
    narrow = min(a * ku, b * kv)
    if narrow < WIDE:
        share = min(max((narrow - NARROW) / (WIDE - NARROW), 0.0), 1.0)
        x, y, rho = 2.0 * a, 2.0 * b, math.hypot(2.0 * a, 2.0 * b)
        area = x * y
        unit = uniform_length(x, y)
        by_x = 4.0 * x * y * math.asinh(y / x) + 2.0 * y * y * math.asinh(x / y) + 2.0 * x * (x - rho)
        by_y = 4.0 * x * y * math.asinh(x / y) + 2.0 * x * x * math.asinh(y / x) + 2.0 * y * (y - rho)
        kept, kept_a, kept_b, kept_u, kept_v = _kept(a, b, ku, kv)
        scale, rest = 1.0 / math.pi**2, 1.0 - share
        small = unit / area - scale * kept
        small_a = 2.0 * (by_x / (2.0 * math.pi * area) - 2.0 * unit / x) / area - scale * kept_a
        small_b = 2.0 * (by_y / (2.0 * math.pi * area) - 2.0 * unit / y) / area - scale * kept_b
        blend = (wide - small) / (WIDE - NARROW) if 0.0 < share < 1.0 else 0.0
        along_u = a * ku <= b * kv
        by_u = share * by_u - rest * scale * kept_u + (blend * a if along_u else 0.0)
        by_v = share * by_v - rest * scale * kept_v + (0.0 if along_u else blend * b)
        by_a = share * by_a + rest * small_a + (blend * ku if along_u else 0.0)
        by_b = share * by_b + rest * small_b + (0.0 if along_u else blend * kv)
        wide = share * wide + rest * small
    return wide, -by_u * ku / side_u, -by_v * kv / side_v, by_a, by_b
