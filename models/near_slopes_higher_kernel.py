"""The sums N and P of :mod:`models.near_field`, and the tail of M, compiled, with slopes."""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, compiled_sums, sin_cos
from models.near_field import MODES, MODES_SECOND, MODES_THIRD
from models.near_field_tail import CORNER, NARROW, NODE_WEIGHTS, NODES, WIDE
from models.near_field_tail_kernel import uniform_length
from models.near_slopes_rows_kernel import NEGLIGIBLE, moved

_POINTS = NODES.size


@compiled
def higher_blocks(squares: np.ndarray, line: int, blocks: np.ndarray) -> None:
    """1/k^4 and 1/k^6 of all modes across the line, and 1/k^6 and 1/k^8 of the few of P."""
    for x in range(MODES_SECOND):
        for y in range(MODES_SECOND):
            for z in range(MODES_SECOND):
                alone = (x + y == 0 and line == 2) or (x + z == 0 and line == 1) or (y + z == 0 and line == 0)
                for part in range(4):
                    blocks[part, x, y, z] = 0.0
                if alone or x + y + z == 0:
                    continue
                over = 1.0 / (squares[0, x] + squares[1, y] + squares[2, z])
                blocks[0, x, y, z] = over * over
                blocks[1, x, y, z] = over * over * over
                if x < MODES_THIRD and y < MODES_THIRD and z < MODES_THIRD:
                    blocks[2, x, y, z] = over * over * over
                    blocks[3, x, y, z] = over * over * over * over


@compiled
def higher_slopes(
    even: np.ndarray, one: int, two: int, squares: np.ndarray, blocks: np.ndarray, places: np.ndarray,
    sides: np.ndarray, d_sides: np.ndarray, sums: np.ndarray, slopes: np.ndarray,
) -> None:  # fmt: skip
    """V times N and P of two patches (rows of ``sums``), and their slopes over the variables.

    ``even``: averages of every patch along every axis, shape (n_patches, 3, 3, MODES); ``blocks``: from
    :func:`higher_blocks`; ``places``: slopes of shares and widths, shape (3, n_patches, 2, n).
    """
    p, by = np.empty((3, MODES_SECOND)), np.zeros((2, 3, MODES_SECOND))
    bent, modes = np.zeros((2, 3)), np.arange(MODES_SECOND)
    for axis in range(3):
        for m in range(MODES_SECOND):
            p[axis, m] = (1.0 if m == 0 else 2.0) * even[one, axis, 0, m] * even[two, axis, 0, m]
    for x in range(MODES_SECOND):
        for y in range(MODES_SECOND):
            level = p[0, x] * p[1, y]
            idle = abs(level) < NEGLIGIBLE
            for axis in range(2):
                m = x if axis == 0 else y
                for patch in (one, two):
                    idle = idle and abs(even[patch, axis, 1, m]) < NEGLIGIBLE
            if idle:
                continue
            along, deep, stiff, stiffer, z_stiff, z_stiffer = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
            for z in range(MODES_SECOND):
                fourth, sixth = blocks[0, x, y, z], blocks[1, x, y, z]
                third, eighth = blocks[2, x, y, z], blocks[3, x, y, z]
                along += p[2, z] * fourth
                stiff += p[2, z] * sixth
                z_stiff += p[2, z] * sixth * squares[2, z]
                deep += p[2, z] * third
                stiffer += p[2, z] * eighth
                z_stiffer += p[2, z] * eighth * squares[2, z]
            for z in range(MODES_SECOND):
                by[0, 2, z] += level * blocks[0, x, y, z]
                by[1, 2, z] += level * blocks[2, x, y, z]
            by[0, 0, x] += p[1, y] * along
            by[0, 1, y] += p[0, x] * along
            by[1, 0, x] += p[1, y] * deep
            by[1, 1, y] += p[0, x] * deep
            bent[0, 0] += 4.0 * level * squares[0, x] * stiff
            bent[0, 1] += 4.0 * level * squares[1, y] * stiff
            bent[0, 2] += 4.0 * level * z_stiff
            bent[1, 0] += 6.0 * level * squares[0, x] * stiffer
            bent[1, 1] += 6.0 * level * squares[1, y] * stiffer
            bent[1, 2] += 6.0 * level * z_stiffer
    for row in range(2):
        sums[row] = 0.0
        for m in range(MODES_SECOND):
            sums[row] += p[0, m] * by[row, 0, m]
        for v in range(slopes.shape[1]):
            slopes[row, v] = 0.0
            for axis in range(3):
                slopes[row, v] += bent[row, axis] / sides[axis] * d_sides[axis, v]
        for axis in range(3):
            moved(
                by[row, axis], even[one, axis], even[two, axis], modes, MODES_SECOND, places[axis], one, two,
                slopes[row],
            )  # fmt: skip


@compiled_sums
def _kept(a: float, b: float, ku: float, kv: float) -> tuple[float, float, float, float, float]:
    """What the kept modes hold of a small patch, and its slopes with respect to a, b, ku and kv."""
    first, fall = np.empty(_POINTS), np.empty(_POINTS)
    kept, by_a, by_b, by_u, by_v = 0.0, 0.0, 0.0, 0.0, 0.0
    for turn in range(2):
        one, k1 = (a, ku) if turn == 0 else (b, kv)
        two, k2 = (b, kv) if turn == 0 else (a, ku)
        for p in range(_POINTS):
            angle = one * k1 * NODES[p]
            s, c = sin_cos(angle)
            ratio = s / angle
            first[p] = NODE_WEIGHTS[p] * ratio * ratio
            fall[p] = NODE_WEIGHTS[p] * 2.0 * ratio * (c - ratio)  # slope over log of the angle
        whole, by_one, by_two, by_k1, by_k2 = 0.0, 0.0, 0.0, 0.0, 0.0
        for q in range(_POINTS):
            node = NODES[q]
            inner, turned, bent = 0.0, 0.0, 0.0
            for p in range(_POINTS):
                angle = two * k2 * NODES[p] * node
                s, c = sin_cos(angle)
                ratio = s / angle
                inner += first[p] * ratio * ratio
                turned += fall[p] * ratio * ratio
                bent += first[p] * 2.0 * ratio * (c - ratio)
            square = k1 * k1 + k2 * k2 * node * node
            weight = k1 * k2 * NODE_WEIGHTS[q] / math.sqrt(square)
            whole += weight * inner
            by_one += weight * turned
            by_two += weight * bent
            by_k1 += weight * (inner * (1.0 - k1 * k1 / square) + turned)
            by_k2 += weight * (inner * (1.0 - k2 * k2 * node * node / square) + bent)
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
