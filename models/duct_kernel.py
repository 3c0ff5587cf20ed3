"""Uniform ducts of :mod:`models.ducts` and the near fields of their ends, compiled, designs side by side."""

from __future__ import annotations

import math

import numpy as np

from models.drive_kernel import reciprocal, times
from models.ducts import RATIO, SERIES_FROM
from models.jit import compiled, exp, inlined, sin_cos
from models.near_field_tail_kernel import uniform_length
from models.radiation import EVEN_MODE, FLANGED_PISTON, ORIFICE, PROFILE

_TERMS = RATIO.size


@inlined
def root(re: float, im: float) -> tuple[float, float]:
    """Principal square root of a complex number off the negative real axis."""
    size = math.sqrt(re * re + im * im)
    real = math.sqrt(0.5 * (size + abs(re)))
    other = 0.5 * im / real
    # for a negative real part the two swap places
    back = re < 0.0
    sign = -1.0 if im < 0.0 else 1.0
    return (abs(other) if back else real), (sign * real if back else other)


@inlined
def _far_loss(s: float) -> tuple[float, float]:
    """F of a round duct of many boundary layers, s exp(-j pi/4) its argument."""
    half = math.sqrt(0.5)
    x_re, x_im = -half / s, half / s  # j/y
    re, im = RATIO[_TERMS - 1], 0.0
    for k in range(_TERMS - 2, -1, -1):
        re, im = re * x_re - im * x_im + RATIO[k], re * x_im + im * x_re
    y_re, y_im = half / s, half / s  # 1/y
    re, im = times(re, im, y_re, y_im)
    return 2.0 * im, -2.0 * re


@compiled
def _near_loss(s: float) -> tuple[float, float]:
    """F of a round duct of few boundary layers: J1/J0 by its continued fraction, from below.

    J_n/J_(n-1) = 1/(2n/y - J_(n+1)/J_n); M. Abramowitz, I. A. Stegun, 9.1.73 (from memory).
    """
    half = math.sqrt(0.5)
    inverse_re, inverse_im = half / s, half / s
    re, im = 0.0, 0.0
    for n in range(30 + int(1.5 * s), 0, -1):
        re, im = reciprocal(2.0 * n * inverse_re - re, 2.0 * n * inverse_im - im)
    re, im = times(re, im, inverse_re, inverse_im)
    return 2.0 * re, 2.0 * im


@inlined
def _slot_loss(s: float) -> tuple[float, float]:
    """F of a slot, tanh(q)/q at q = s sqrt(j)."""
    x = s * math.sqrt(0.5)
    fade = exp(-2.0 * x)
    sine, cosine = sin_cos(2.0 * x)
    over = 1.0 / (1.0 + fade * fade + 2.0 * fade * cosine)
    t_re, t_im = (1.0 - fade * fade) * over, 2.0 * fade * sine * over
    y = 0.5 / x
    return (t_re + t_im) * y, (t_im - t_re) * y


@compiled
def losses(s: np.ndarray, slot: bool, f: np.ndarray) -> None:
    """Loss function of ducts side by side.

    Parameters
    ----------
    s : ndarray, shape (n,)
        Radius, or half the height of a slot, in boundary-layer lengths [1].
    slot : bool
        Slots instead of round ducts [flag].
    f : ndarray, shape (2, n)
        Real and imaginary part of F, written in place [1].
    """
    if slot:
        for lane in range(s.size):
            f[0, lane], f[1, lane] = _slot_loss(s[lane])
        return
    for lane in range(s.size):
        f[0, lane], f[1, lane] = _far_loss(s[lane])
    for lane in range(s.size):
        if s[lane] < SERIES_FROM:
            f[0, lane], f[1, lane] = _near_loss(s[lane])


@inlined
def _sinh(a: float) -> float:
    z = a * a
    p = 1.0 + z / 110.0
    p = 1.0 + z / 72.0 * p
    p = 1.0 + z / 42.0 * p
    p = 1.0 + z / 20.0 * p
    short = a * (1.0 + z / 6.0 * p)
    up = exp(a)
    return short if abs(a) < 0.3 else 0.5 * (up - 1.0 / up)


@compiled
def duct_impedance(
    omega: float, area: np.ndarray, length: np.ndarray, height: np.ndarray, count: int, slot: bool,
    lossy: bool, air: np.ndarray, s: np.ndarray, f: np.ndarray, g: np.ndarray, z: np.ndarray,
) -> None:  # fmt: skip
    """Open-circuit impedances of uniform ducts side by side at one tone.

    Parameters
    ----------
    omega : float
        Angular frequency [rad/s].
    area, length, height : ndarray, shape (n,)
        Cross-section, length, short side of a slot [m2], [m].
    count : int
        Equal tubes that share the area [1].
    slot, lossy : bool
        Slots instead of round ducts; whether walls take energy [flag].
    air : ndarray
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].
    s, f, g : ndarray, shape (n,), (2, n), (2, n)
        Scratch [any].
    z : ndarray, shape (4, n)
        Real and imaginary parts of z11 and z12, written in place [Pa s/m3].
    """
    density, speed, viscosity, heats, prandtl = air[0], air[1], air[2], air[3], air[4]
    k = omega / speed
    if lossy:
        scale = math.sqrt(omega / viscosity)
        for lane in range(area.size):
            reach = 0.5 * height[lane] if slot else math.sqrt(area[lane] / (count * math.pi))
            s[lane] = reach * scale
        losses(s, slot, f)
        for lane in range(area.size):
            s[lane] = s[lane] * prandtl
        losses(s, slot, g)
    for lane in range(area.size):
        z0 = density * speed / area[lane]
        series_re, series_im, shunt_re, shunt_im = 1.0, 0.0, 1.0, 0.0
        if lossy:
            series_re, series_im = reciprocal(1.0 - f[0, lane], -f[1, lane])
            shunt_re, shunt_im = 1.0 + (heats - 1.0) * g[0, lane], (heats - 1.0) * g[1, lane]
        a_re, a_im = root(series_re, series_im)
        b_re, b_im = root(shunt_re, shunt_im)
        bend_re, bend_im = times(a_re, a_im, b_re, b_im)
        over_re, over_im = reciprocal(b_re, b_im)
        zc_re, zc_im = times(a_re, a_im, over_re, over_im)
        zc_re, zc_im = z0 * zc_re, z0 * zc_im
        fade, turn = min(-k * bend_im * length[lane], 300.0), k * bend_re * length[lane]  # gamma length
        up = _sinh(fade)
        level = math.sqrt(1.0 + up * up)
        sine, cosine = sin_cos(turn)
        z12_re, z12_im = reciprocal(up * cosine, level * sine)
        z12_re, z12_im = times(zc_re, zc_im, z12_re, z12_im)
        z11_re, z11_im = times(z12_re, z12_im, level * cosine, up * sine)
        z[0, lane], z[1, lane], z[2, lane], z[3, lane] = z11_re, z11_im, z12_re, z12_im


@compiled
def end_lengths(
    section: np.ndarray, length: np.ndarray, height: np.ndarray, count: int, slot: bool, near: np.ndarray,
    patch: np.ndarray,
) -> None:  # fmt: skip
    """Near-field lengths of duct ends, as in :func:`models.joints.joints_by_place`.

    Parameters
    ----------
    section, length, height : ndarray, shape (n,)
        Cross-section at the end, length, short side of a slot [m2], [m].
    count : int
        Equal tubes that share the section [1].
    slot : bool
        Slots instead of round ducts [flag].
    near, patch : ndarray, shape (n,)
        Length of the real end and of a uniform rectangle, written in place [m].
    """
    square = uniform_length(1.0, 1.0)
    for lane in range(section.size):
        one = section[lane] / count
        fade = exp(-EVEN_MODE * length[lane] / math.sqrt(one / math.pi))
        profile = ORIFICE + (PROFILE - ORIFICE) * (1.0 - fade) / (1.0 + fade)
        near[lane] = profile * FLANGED_PISTON * math.sqrt(one / math.pi)
        patch[lane] = square * math.sqrt(section[lane])
    if slot:
        for lane in range(section.size):
            one = section[lane] / count
            fade = exp(-EVEN_MODE * length[lane] / math.sqrt(one / math.pi))
            profile = ORIFICE + (PROFILE - ORIFICE) * (1.0 - fade) / (1.0 + fade)
            aspect = one / (height[lane] * height[lane])
            unit = uniform_length(math.sqrt(aspect), math.sqrt(1.0 / aspect))
            near[lane] = profile * unit * math.sqrt(one)
            patch[lane] = unit * math.sqrt(section[lane])
