"""Impedances of all elements with slopes, compiled, for one point: :mod:`models.linear_drive` one by one."""

from __future__ import annotations

import math

import numpy as np

from models import element_slopes
from models.duct_kernel import loss
from models.jit import compiled, compiled_family, inlined
from models.linear_layout import Layout, Medium
from models.linear_terms import Terms
from models.room_kernel import complex_sin_cos
from models.rooms import NEAREST


@inlined
def _sin_cos(z: complex) -> tuple[complex, complex]:
    s_re, s_im, c_re, c_im = complex_sin_cos(z.real, z.imag)
    return complex(s_re, s_im), complex(c_re, c_im)


@inlined
def _pick(condition: bool, one: complex, other: complex) -> complex:
    return one if condition else other


(_overlapping,) = compiled_family(element_slopes, ("overlapping",), sin_cos=_sin_cos, pick=_pick)


@compiled
def _sine_mean(
    both: bool, k: complex, apart: float, h1: float, h2: float, sign: float, plain: tuple[complex, ...]
) -> tuple[complex, ...]:
    found: tuple[complex, ...] = plain
    if both:
        found = _overlapping(k, apart, h1, h2, sign)
    return found


*_, _round_turn, _slot_turn, _line_slopes, _duct_slopes = compiled_family(
    element_slopes, element_slopes.FORMULAS, sin_cos=_sin_cos, pick=_pick, sine_mean=_sine_mean
)


@compiled
def add_pairs(layout: Layout, medium: Medium, terms: Terms, p: int, t: int, z: np.ndarray,
              dz: np.ndarray) -> None:  # fmt: skip
    """Impedances between patches of the chambers and their slopes, rows of ``z`` and ``dz``."""
    omega, density, speed = medium.omega[t], medium.air[0], medium.air[1]
    value, slope, n = terms.value[p], terms.slope[p], dz.shape[1]
    square = (omega / speed) ** 2
    for pair in range(layout.pairs.shape[0]):
        at = layout.columns[pair]
        heavy = 1.0 + medium.viscous[t] * value[at[0]]
        soft = 1.0 + medium.thermal[t] * value[at[1]] - 1j * medium.leak[t]
        volume = value[at[2]]
        if layout.mode == 0:
            z[pair] = density * speed * speed / (1j * omega * volume * soft)
            warm, wide = -z[pair] * medium.thermal[t] / soft, -z[pair] / volume
            for i in range(n):
                dz[pair, i] = warm * slope[at[1], i] + wide * slope[at[2], i]
            continue
        rates = _line_slopes(
            omega, heavy, medium.viscous[t], soft, medium.thermal[t], density, speed, volume, value[at[3]],
            value[at[4]], value[at[5]], value[at[6]], value[at[7]],
        )  # fmt: skip
        z[pair] = rates[0]
        for i in range(n):
            dz[pair, i] = 0.0
        for q in range(8):
            rate = rates[1 + q]
            for i in range(n):
                dz[pair, i] += rate * slope[at[q], i]
        if layout.mode == 2:
            middle = layout.middle[pair]
            ratio = square * (value[middle] / math.pi) ** 2
            over = 1.0 / (1.0 - min(ratio, NEAREST))
            bent = 2.0 * ratio / value[middle] * over * over if ratio < NEAREST else 0.0
            near, d_near = terms.near[p, pair], terms.d_near[p, pair]
            fourth, unit = square * square * over, 1j * omega * density
            bent *= square * square * near[2]
            z[pair] += unit * (near[0] + square * near[1] + fourth * near[2])
            for i in range(n):
                change = d_near[0, i] + square * d_near[1, i] + fourth * d_near[2, i]
                dz[pair, i] += unit * (change + bent * slope[middle, i])


@compiled
def duct_losses(layout: Layout, medium: Medium, terms: Terms, p: int, found: np.ndarray) -> None:
    """Viscous and thermal loss functions of all plain ducts, real and imaginary parts in turn, (D, 4, T)."""
    for k in range(layout.ways.shape[0]):
        count, slot = layout.ways[k, 0], layout.ways[k, 1] == 1
        if count == 0:
            continue
        at = layout.ducts + 3 * k
        reach = math.sqrt(terms.value[p, at] / (count * math.pi))
        reach = 0.5 * terms.value[p, at + 2] if slot else reach
        for t in range(medium.omega.size):
            s = reach * math.sqrt(medium.omega[t] / medium.air[2])
            found[k, 0, t], found[k, 1, t] = loss(s, slot)
            found[k, 2, t], found[k, 3, t] = loss(s * medium.air[4], slot)


@compiled
def add_ducts(layout: Layout, medium: Medium, terms: Terms, p: int, t: int, loss: np.ndarray, z: np.ndarray,
              dz: np.ndarray) -> None:  # fmt: skip
    """Impedances z11, z12, z22 of all ducts and their slopes, three rows each."""
    omega, n = medium.omega[t], dz.shape[1]
    value, slope = terms.value[p], terms.slope[p]
    for k in range(layout.ways.shape[0]):
        count, slot = layout.ways[k, 0], layout.ways[k, 1] == 1
        if count == 0:
            for part in range(3):
                z[3 * k + part] = terms.given[p, k, part, t]
                for i in range(n):
                    dz[3 * k + part, i] = terms.d_given[p, k, part, t, i]
            continue
        at = layout.ducts + 3 * k
        area, height = value[at], value[at + 2]
        f, g, df, dg = 0j, 0j, 0j, 0j
        if medium.lossy:
            reach = 0.5 * height if slot else math.sqrt(area / (count * math.pi))
            s = reach * math.sqrt(omega / medium.air[2])
            warm = s * medium.air[4]
            f, g = complex(loss[k, 0, t], loss[k, 1, t]), complex(loss[k, 2, t], loss[k, 3, t])
            df = _slot_turn(f, s) if slot else _round_turn(f, s)
            dg = _slot_turn(g, warm) if slot else _round_turn(g, warm)
        rates = _duct_slopes(
            omega, area, value[at + 1], 0.0 if slot else 0.5 / area, 1.0 / height if slot else 0.0,
            f, df, g, dg, medium.air[0], medium.air[1], medium.air[3],
        )  # fmt: skip
        z[3 * k], z[3 * k + 1], z[3 * k + 2] = rates[0], rates[1], rates[0]
        for i in range(n):
            a, length, h = slope[at, i], slope[at + 1, i], slope[at + 2, i]
            dz[3 * k, i] = rates[2] * a + rates[3] * length + rates[4] * h
            dz[3 * k + 1, i] = rates[5] * a + rates[6] * length + rates[7] * h
            dz[3 * k + 2, i] = dz[3 * k, i]


@compiled
def add_diagonal(layout: Layout, medium: Medium, terms: Terms, p: int, t: int, z: np.ndarray,
                 dz: np.ndarray) -> None:  # fmt: skip
    """Inertances, resistances and stiffnesses of every unknown's own entry, and their slopes."""
    w = medium.omega[t]
    for unknown in range(z.size):
        at = layout.diagonal + 3 * unknown
        mass, resistance, stiff = terms.value[p, at], terms.value[p, at + 1], terms.value[p, at + 2]
        z[unknown] = complex(resistance, w * mass - stiff / w)
        for i in range(dz.shape[1]):
            mass, stiff = terms.slope[p, at, i], terms.slope[p, at + 2, i]
            dz[unknown, i] = complex(terms.slope[p, at + 1, i], w * mass - stiff / w)
