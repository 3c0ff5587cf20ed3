"""The rest of the near field's sums of :mod:`models.near_field_tail`, compiled, a few rooms side by side."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty, zeros
from models.jit import SIN_HALF_TURN, compiled, compiled_sums, inlined, log, round_off, series
from models.lanes import WIDTH, any_lane, load
from models.near_field import MODES
from models.near_field_tail import CORNER, NARROW, NODE_WEIGHTS, NODES, WIDE

_POINTS = NODES.size
_LAST = (MODES - 0.5) * math.pi


@inlined
def uniform_length(a: float, b: float) -> float:
    """Near-field length of a flanged rectangle with uniform velocity [m] for its sides [m]."""
    square = a * a + b * b
    root = math.sqrt(square)
    moment = 2.0 * a * b * (a * log((b + root) / a) + b * log((a + root) / b))
    moment += (2.0 / 3.0) * (a * a * a + b * b * b - square * root)
    return moment / (2.0 * math.pi * a * b)


@inlined
def _square_ratio(x: float) -> float:
    """Square of sin x over x, of a number not zero."""
    r = x - round_off(x * (1.0 / math.pi)) * math.pi
    z = r * r
    s = r + r * z * series(SIN_HALF_TURN, z)
    return s * s / (x * x)


@compiled_sums
def _kept(a: float, b: float, ku: float, kv: float) -> float:
    """The part of the flanged integral that the kept modes hold, for a patch small against them."""
    kept = 0.0
    first = empty((_POINTS,))
    for turn in range(2):
        one, k1 = (a, ku) if turn == 0 else (b, kv)
        two, k2 = (b, kv) if turn == 0 else (a, ku)
        for p in range(_POINTS):
            first[p] = NODE_WEIGHTS[p] * _square_ratio(one * k1 * NODES[p])
        for q in range(_POINTS):
            inner = 0.0
            node = NODES[q]
            for p in range(_POINTS):
                inner += first[p] * _square_ratio(two * k2 * NODES[p] * node)
            kept += k1 * k2 * NODE_WEIGHTS[q] * inner / math.sqrt(k1 * k1 + k2 * k2 * node * node)
    return kept


@compiled
def _small_tails(sides: np.ndarray, first: int, second: int, half: np.ndarray, start: int) -> float:
    """The same for patches small against the modes, which numbers one by one give."""
    small = zeros((WIDTH,))
    for lane in range(WIDTH):
        d = start + lane
        a, b, ku, kv = half[0, d], half[1, d], _LAST / sides[first, d], _LAST / sides[second, d]
        if min(a * ku, b * kv) < WIDE:
            small[lane] = uniform_length(2.0 * a, 2.0 * b) / (4.0 * a * b) - _kept(a, b, ku, kv) / math.pi**2
    return load(small, 0)


@compiled
def tail(sides: np.ndarray, first: int, second: int, half: np.ndarray, start: int) -> float:
    """What modes beyond the last one add to M of patches with themselves.

    Parameters
    ----------
    sides : ndarray, shape (3, n)
        Inner sides of the rooms [m].
    first, second : int
        Axes that lie in the wall [1].
    half : ndarray, shape (2, n)
        Half sides of the patches along them [m].
    start : int
        First of the rooms [1].

    Returns
    -------
    lanes
        What the sum lacks [1/m].
    """
    a, b = load(half, (0, start)), load(half, (1, start))
    ku, kv = _LAST / load(sides, (first, start)), _LAST / load(sides, (second, start))
    au, bv = a * ku, b * kv
    wide = 1.0 / (8.0 * math.pi * b * au * au) + 1.0 / (8.0 * math.pi * a * bv * bv)
    product = ku * kv
    higher = (1.0 / (ku * ku * ku) + 1.0 / (kv * kv * kv)) / 12.0
    higher += CORNER / (4.0 * product * math.sqrt(product))
    wide = max(wide - higher / (math.pi * math.pi * a * a * b * b), 0.0)
    narrow = min(au, bv)
    if any_lane(narrow < WIDE):
        share = min(max((narrow - NARROW) / (WIDE - NARROW), 0.0), 1.0)
        wide = share * wide + (1.0 - share) * _small_tails(sides, first, second, half, start)
    return wide
