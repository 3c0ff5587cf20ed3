"""Terms of the sums M for pairs of modes with slopes, compiled (:mod:`models.near_field`).

Beside each term f stand its slopes: ``bend``, minus that with respect to k over k, and for patches on walls
that meet those with respect to both edges of the second one. All are of second degree in lengths, which
gives the slope with respect to the depth. Rows of modes that vanish are left out, the others go by eights.
"""

from __future__ import annotations

import numpy as np

from models.jit import compiled, exp, inverse, inverse_root
from models.kernel_records import FEW
from models.lanes import choose, load_few, store, total
from models.near_field import MODES, MODES_CORNER, NEAR

F, BEND, LOW, HIGH_EDGE = range(4)
"""Planes of terms and slopes."""

_ALONE = 1e-20
"""Stands for the square of the wavenumber of mode 0, 0, whose term is another one."""


@compiled
def facing_terms(
    on: np.ndarray, ku: np.ndarray, kv: np.ndarray, depth: float, same: bool, planes: np.ndarray
) -> None:
    """Terms of patches on one wall, or on opposite walls; squares of wavenumbers along both axes."""
    for a in range(MODES):
        for at in range(0, MODES if on[a] > 0.0 else 0, FEW):
            square = max(ku[a] + load_few(kv, at), _ALONE)
            over = inverse_root(square)
            f = over * depth if same else 0.0 * over
            bend = f * over * over
            if a < NEAR and at < NEAR:
                fade = exp(-square * over * depth)
                below = inverse(max(1.0 - fade * fade, _ALONE))
                coth, csch = (1.0 + fade * fade) * below, 2.0 * fade * below
                one, other = (coth, csch) if same else (csch, coth)
                f = depth * over * one
                bend = (f + depth * depth * csch * other) * over * over
            store(planes, (F, a, at), f)
            store(planes, (BEND, a, at), bend)


@compiled
def corner_terms(
    on: np.ndarray, ku: np.ndarray, kv: np.ndarray, depth: float, low: float, high: float,
    planes: np.ndarray,
) -> None:  # fmt: skip
    """Terms of patches on walls that meet, the second from ``low`` to ``high`` off the first's wall."""
    over = 1.0 / (high - low)
    for a in range(MODES_CORNER):
        for at in range(0, MODES_CORNER if on[a] > 0.0 else 0, FEW):
            square = max(ku[a] + load_few(kv, at), _ALONE)
            short = inverse_root(square)
            k = square * short
            one, two = exp(-k * low), exp(-k * high)
            scale = depth * over * short * short
            top = one - two
            slope = high * two - low * one
            at_low, at_high = one, two
            if a < NEAR and at < NEAR:  # echoes of low modes alone count
                far = exp(-k * (depth + depth - high))
                three, four = far, exp(-k * (depth + depth - low))
                fade = exp(-2.0 * k * depth)
                below = inverse(max(1.0 - fade, _ALONE))
                scale = scale * below
                top += three - four
                slope += (2.0 * depth - low) * four - (2.0 * depth - high) * three
                slope -= top * 2.0 * depth * fade * below
                at_low, at_high = one + four, two + three
            own = scale * top
            store(planes, (F, a, at), own)
            store(planes, (BEND, a, at), (2.0 * own * short - scale * slope) * short)
            store(planes, (LOW, a, at), own * over - scale * k * at_low)
            store(planes, (HIGH_EDGE, a, at), scale * k * at_high - own * over)


@compiled
def end_terms(
    on: np.ndarray, ku: np.ndarray, kv: np.ndarray, line: int, flat: float, planes: np.ndarray
) -> None:
    """The term of mode 0, 0, and what the line takes off: along u (line 0), along v (1) or neither."""
    planes[F, 0, 0], planes[BEND, 0, 0] = flat, 0.0
    if line == 0:
        for a in range(1, MODES):
            if on[a] > 0.0:
                over = 1.0 / ku[a]
                planes[F, a, 0] -= over
                planes[BEND, a, 0] -= 2.0 * over * over
    if line == 1 and on[0] > 0.0:
        for at in range(0, MODES, FEW):
            square = load_few(kv, at)
            over = choose(square > 0.0, inverse(max(square, _ALONE)), 0.0)
            store(planes, (F, 0, at), load_few(planes, (F, 0, at)) - over)
            store(planes, (BEND, 0, at), load_few(planes, (BEND, 0, at)) - 2.0 * over * over)


@compiled
def along_second(on: np.ndarray, plane: np.ndarray, row: np.ndarray, found: np.ndarray) -> None:
    """Sums of a plane times a row along its second axis, zero for modes left out."""
    for a in range(MODES):
        found[a] = 0.0
        if on[a] > 0.0:
            value = 0.0 * load_few(row, 0)
            for at in range(0, row.size, FEW):
                value += load_few(plane, (a, at)) * load_few(row, at)
            found[a] = total(value)


@compiled
def along_first(on: np.ndarray, plane: np.ndarray, row: np.ndarray, found: np.ndarray) -> None:
    """Sums of a plane times a row along its first axis."""
    for at in range(0, row.size, FEW):
        value = 0.0 * load_few(row, at)
        for a in range(row.size):
            if on[a] > 0.0:
                value += row[a] * load_few(plane, (a, at))
        store(found, at, value)
