"""Impedances of all elements with slopes, compiled: :mod:`models.linear_drive`, eight columns of a point.

``rates`` are the slopes of an element over what ``Layout.by`` names.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from models import element_slopes
from models.complex_lanes import get, join, pick, put
from models.duct_kernel import loss, root
from models.jit import compiled, compiled_family, inlined
from models.lanes import choose, load_few
from models.linear_layout import DIAGONAL, DUCTS, LEAK, MODE, OMEGA, THERMAL, VISCOUS
from models.room_kernel import complex_sin_cos
from models.rooms import NEAREST


@inlined
def _sin_cos(z: complex) -> tuple[complex, complex]:
    s_re, s_im, c_re, c_im = complex_sin_cos(z.real, z.imag)
    return join(s_re, s_im), join(c_re, c_im)


@inlined
def _root(z: complex) -> complex:
    re, im = root(z.real, z.imag)
    return join(re, im)


_OWN: dict[str, Any] = {"sin_cos": _sin_cos, "pick": pick, "root": _root}
(_overlapping,) = compiled_family(element_slopes, ("overlapping",), **_OWN)


@compiled
def _sine_mean(
    both: bool, k: complex, apart: float, h1: float, h2: float, sign: float, plain: tuple[complex, ...]
) -> tuple[complex, ...]:
    found: tuple[complex, ...] = plain
    if both:
        found = _overlapping(k, apart, h1, h2, sign)
    return found


*_, _round_turn, _slot_turn, _line_slopes, _duct_slopes = compiled_family(
    element_slopes, element_slopes.FORMULAS, **_OWN, sine_mean=_sine_mean
)


@compiled
def _pairs(
    firsts: np.ndarray, by: np.ndarray, value: np.ndarray, near: np.ndarray, air: np.ndarray,
    tone: np.ndarray, z: np.ndarray, rates: np.ndarray,
) -> None:  # fmt: skip
    """Between patches of the chambers."""
    density, speed, mode = air[0], air[1], firsts[MODE]
    omega, viscous, thermal = load_few(tone, OMEGA), get(tone, (VISCOUS, 0)), get(tone, (THERMAL, 0))
    square = (omega / speed) * (omega / speed)
    unit = join(0.0 * omega, omega * density)
    for pair in range(near.shape[0]):
        at = by[pair]
        heavy = 1.0 + viscous * value[at[0]]
        soft = 1.0 + thermal * value[at[1]] - join(0.0 * omega, load_few(tone, LEAK))
        volume = value[at[2]]
        if mode == 0:
            whole = density * speed * speed / (1j * omega * volume * soft)
            put(z, pair, whole)
            put(rates, (pair, 1), -whole * thermal / soft)
            put(rates, (pair, 2), -whole / volume)
            continue
        found = _line_slopes(
            omega, heavy, viscous, soft, thermal, density, speed, volume, value[at[3]], value[at[4]],
            value[at[5]], value[at[6]], value[at[7]],
        )  # fmt: skip
        whole = found[0]
        for q in range(8):
            put(rates, (pair, q), found[1 + q])
        if mode == 2:
            middle = value[at[8]]
            ratio = square * (middle * middle / (math.pi * math.pi))
            over = 1.0 / (1.0 - min(ratio, NEAREST))
            bent = choose(ratio < NEAREST, 2.0 * ratio / middle * over * over, 0.0)
            fourth = square * square * over
            whole += unit * (near[pair, 0] + square * near[pair, 1] + fourth * near[pair, 2])
            put(rates, (pair, 8), unit * (bent * square * square * near[pair, 2]))
            put(rates, (pair, 9), unit)
            put(rates, (pair, 10), unit * square)
            put(rates, (pair, 11), unit * fourth)
        put(z, pair, whole)


@compiled
def _plain_duct(
    slot: bool, count: int, lossy: bool, size: np.ndarray, air: np.ndarray, omega: float, z: np.ndarray,
    rates: np.ndarray,
) -> None:  # fmt: skip
    """Of a uniform duct, from its area, length and height."""
    area, height = size[0], size[2]
    reach = 0.5 * height if slot else math.sqrt(area / (count * math.pi))
    s = reach * math.sqrt(omega / air[2])
    warm = s * air[4]
    f = join(0.0 * s, 0.0 * s)
    g, df, dg = f, f, f
    if lossy:
        re, im = loss(s, slot)
        f = join(re, im)
        re, im = loss(warm, slot)
        g = join(re, im)
        df = _slot_turn(f, s) if slot else _round_turn(f, s)
        dg = _slot_turn(g, warm) if slot else _round_turn(g, warm)
    found = _duct_slopes(
        omega, area, size[1], 0.0 if slot else 0.5 / area, 1.0 / height if slot else 0.0, f, df, g, dg,
        air[0], air[1], air[3],
    )  # fmt: skip
    for part in range(3):
        other = part % 2
        put(z, part, found[other])
        for q in range(3):
            put(rates, (part, q), found[2 + 3 * other + q])


@compiled
def elements(
    firsts: np.ndarray, by: np.ndarray, ways: np.ndarray, value: np.ndarray, near: np.ndarray,
    given: np.ndarray, air: np.ndarray, lossy: bool, tone: np.ndarray, begin: int, z: np.ndarray,
    rates: np.ndarray,
) -> None:  # fmt: skip
    """Impedances of all elements of a point, and their rates.

    Parameters
    ----------
    firsts : ndarray of int
        First columns of every kind of size [1].
    by, ways : ndarray of int
        As in a layout [1].
    value : ndarray, shape (n_columns,)
        Sizes and real coefficients of the point [mixed].
    near : ndarray, shape (n_pairs, 3)
        M, N and P [mixed].
    given : complex ndarray, shape (n_ducts, 3, n_tones)
        z11, z12 and z22 of ducts that are not plain [Pa s/m3].
    air : ndarray, shape (5,)
        As in a medium [mixed].
    lossy : bool
        Whether walls take energy [flag].
    tone : ndarray, shape (n_rows, FEW)
        Planes of a medium for these columns [mixed].
    begin : int
        The first column [1].
    z, rates : ndarray, shape (n_elements, 2, FEW) and (n_elements, MOST, 2, FEW)
        Results [Pa s/m3], [mixed].
    """
    omega = load_few(tone, OMEGA)
    _pairs(firsts, by, value, near, air, tone, z, rates)
    at = near.shape[0]
    for k in range(ways.shape[0]):
        count, slot, column = ways[k, 0], ways[k, 1] == 1, firsts[DUCTS] + 3 * k
        if count > 0:
            _plain_duct(slot, count, lossy, value[column:], air, omega, z[at:], rates[at:])
        for part in range(3 if count == 0 else 0):
            for lane in range(z.shape[2]):
                t = (begin + lane) % given.shape[2]
                z[at + part, 0, lane], z[at + part, 1, lane] = given[k, part, t].real, given[k, part, t].imag
            put(rates, (at + part, 0), 1.0)
            put(rates, (at + part, 1), 1j)
        at += 3
    for unknown in range(z.shape[0] - at):
        column = firsts[DIAGONAL] + 3 * unknown
        mass, stiff = value[column], value[column + 2]
        none = 0.0 * omega
        put(z, at + unknown, join(none + value[column + 1], omega * mass - stiff / omega))
        put(rates, (at + unknown, 0), join(none, omega))
        put(rates, (at + unknown, 1), 1.0)
        put(rates, (at + unknown, 2), join(none, -1.0 / omega))
