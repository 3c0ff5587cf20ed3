"""The rest of the near field's sums of :mod:`models.near_field_tail`, compiled, for one patch."""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, compiled_sums, inlined, sin_cos
from models.near_field import MODES
from models.near_field_tail import CORNER, NARROW, NODE_WEIGHTS, NODES, WIDE

_POINTS = NODES.size


@inlined
def uniform_length(a: float, b: float) -> float:
    """Near-field length of a flanged rectangle with uniform velocity [m] for its sides [m]."""
    moment = 2.0 * (a * a * b * math.asinh(b / a) + a * b * b * math.asinh(a / b))
    square = a * a + b * b
    moment += (2.0 / 3.0) * (a * a * a + b * b * b - square * math.sqrt(square))
    return moment / (2.0 * math.pi * a * b)


@compiled_sums
def _kept(a: float, b: float, ku: float, kv: float) -> float:
    """The part of the flanged integral that the kept modes hold, for a patch small against them."""
    kept = 0.0
    first = np.empty(_POINTS)
    for turn in range(2):
        one, k1 = (a, ku) if turn == 0 else (b, kv)
        two, k2 = (b, kv) if turn == 0 else (a, ku)
        for p in range(_POINTS):
            angle = one * k1 * NODES[p]
            s, _ = sin_cos(angle)
            first[p] = NODE_WEIGHTS[p] * (s / angle) * (s / angle)
        for q in range(_POINTS):
            inner = 0.0
            node = NODES[q]
            for p in range(_POINTS):
                angle = two * k2 * NODES[p] * node
                s, _ = sin_cos(angle)
                ratio = s / angle
                inner += first[p] * ratio * ratio
            kept += k1 * k2 * NODE_WEIGHTS[q] * inner / math.sqrt(k1 * k1 + k2 * k2 * node * node)
    return kept


@compiled
def tail(side_u: float, side_v: float, a: float, b: float) -> float:
    """What modes beyond the last one add to M of a patch with itself.

    Parameters
    ----------
    side_u, side_v : float
        Sides of the wall [m].
    a, b : float
        Half sides of the patch along them [m].

    Returns
    -------
    float
        What the sum lacks [1/m].
    """
    ku = (MODES - 0.5) * math.pi / side_u
    kv = (MODES - 0.5) * math.pi / side_v
    wide = 1.0 / (8.0 * math.pi * b * (a * ku) ** 2) + 1.0 / (8.0 * math.pi * a * (b * kv) ** 2)
    product = ku * kv
    higher = (1.0 / (ku * ku * ku) + 1.0 / (kv * kv * kv)) / 12.0
    higher += CORNER / (4.0 * product * math.sqrt(product))
    wide = max(wide - higher / (math.pi * a * b) ** 2, 0.0)
    narrow = min(a * ku, b * kv)
    if not narrow < WIDE:
        return wide
    share = min(max((narrow - NARROW) / (WIDE - NARROW), 0.0), 1.0)
    area = 4.0 * a * b
    small = uniform_length(2.0 * a, 2.0 * b) / area - _kept(a, b, ku, kv) / math.pi**2
    return share * wide + (1.0 - share) * small
