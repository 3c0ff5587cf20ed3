"""Terms of the sums M for pairs of modes with slopes, compiled (:mod:`models.near_field`).

Beside each term f stand its slopes: ``bend``, minus that with respect to k over k, and for patches on walls
that meet those with respect to both edges of the second one. All are of second degree in lengths, which
gives the slope with respect to the depth.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, exp


@compiled
def facing_terms(ku: np.ndarray, many_u: int, near_u: int, kv: np.ndarray, many_v: int, near_v: int,
                 depth: float, same: bool, f: np.ndarray, bend: np.ndarray) -> None:  # fmt: skip
    """Terms of patches on one wall, or on opposite walls; squares of wavenumbers along both axes."""
    for a in range(many_u):
        for b in range(many_v):
            over = 1.0 / math.sqrt(max(ku[a] + kv[b], 1e-300))
            f[a, b] = depth * over if same else 0.0
            bend[a, b] = f[a, b] * over * over
    for a in range(near_u):
        for b in range(near_v):
            square = max(ku[a] + kv[b], 1e-300)
            k = math.sqrt(square)
            fade = exp(-min(k * depth, 300.0))
            below = 1.0 / (1.0 - fade * fade)
            coth, csch = (1.0 + fade * fade) * below, 2.0 * fade * below
            first, other = (coth, csch) if same else (csch, coth)
            f[a, b] = depth / k * first
            bend[a, b] = depth / (square * k) * first + depth * depth / square * csch * other


@compiled
def _fades(ku: float, kv: np.ndarray, many: int, low: float, high: float, depth: float,
           rows: np.ndarray) -> None:  # fmt: skip
    """Wavenumbers of a row of modes, and e^-k low, e^-k high and e^-2 k depth."""
    k, one, two, whole = rows[0], rows[1], rows[2], rows[3]
    for b in range(many):
        k[b] = math.sqrt(max(ku + kv[b], 1e-300))
    for b in range(many):
        one[b] = exp(-k[b] * low)
    for b in range(many):
        two[b] = exp(-k[b] * high)
    for b in range(many):
        whole[b] = exp(-min(2.0 * k[b] * depth, 600.0))


@compiled
def corner_terms(
    ku: np.ndarray, many_u: int, near_u: int, kv: np.ndarray, many_v: int, near_v: int, depth: float,
    low: float, high: float, f: np.ndarray, bend: np.ndarray, by_low: np.ndarray, by_high: np.ndarray,
    rows: np.ndarray,
) -> None:  # fmt: skip
    """Terms of patches on walls that meet, the second from ``low`` to ``high`` off the first's wall."""
    over = 1.0 / (high - low)
    k_now, one_now, two_now, whole = rows[0], rows[1], rows[2], rows[3]
    for a in range(many_u):
        _fades(ku[a], kv, many_v, low, high, depth, rows)
        for b in range(many_v):
            k, one, two = k_now[b], one_now[b], two_now[b]
            fade = whole[b] if a < near_u and b < near_v else 0.0  # echoes of low modes alone count
            four, three = fade / one, fade / two
            below = 1.0 / (1.0 - fade)
            scale = depth / (k * k) * over * below
            top = one - two + three - four
            slope = high * two - low * one + (2.0 * depth - low) * four - (2.0 * depth - high) * three
            slope -= top * 2.0 * depth * fade * below
            own = scale * top
            f[a, b] = own
            bend[a, b] = 2.0 * own / (k * k) - scale / k * slope
            by_low[a, b] = own * over - scale * k * (one + four)
            by_high[a, b] = scale * k * (two + three) - own * over


@compiled
def end_terms(
    ku: np.ndarray, many_u: int, kv: np.ndarray, many_v: int, first_u: bool, first_v: bool, line: int,
    flat: float, f: np.ndarray, bend: np.ndarray,
) -> None:  # fmt: skip
    """The term of mode 0, 0, and what the line takes off: along u (line 0), along v (1) or neither."""
    if first_u and first_v:
        f[0, 0], bend[0, 0] = flat, 0.0
    if line == 0 and first_v:
        for a in range(many_u):
            if ku[a] > 0.0:
                f[a, 0] -= 1.0 / ku[a]
                bend[a, 0] -= 2.0 / (ku[a] * ku[a])
    if line == 1 and first_u:
        for b in range(many_v):
            if kv[b] > 0.0:
                f[0, b] -= 1.0 / kv[b]
                bend[0, b] -= 2.0 / (kv[b] * kv[b])
