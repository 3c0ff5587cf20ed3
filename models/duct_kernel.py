"""Uniform ducts of :mod:`models.ducts` and the near fields of their ends, compiled, designs side by side."""

from __future__ import annotations

import math

import numpy as np

from models.drive_kernel import reciprocal, times
from models.ducts import RATIO, SERIES_FROM
from models.jit import compiled, exp, inlined, sin_cos
from models.lanes import any_lane, choose
from models.near_field_tail_kernel import uniform_length
from models.radiation import EVEN_MODE, FLANGED_PISTON, ORIFICE, PROFILE, rectangle_length

_TERMS = RATIO.size
_SQUARE = float(rectangle_length(np.array(1.0)))


@inlined
def root(re: float, im: float) -> tuple[float, float]:
    """Principal square root of a complex number off the negative real axis."""
    size = math.sqrt(re * re + im * im)
    real = math.sqrt(0.5 * (size + abs(re)))
    other = 0.5 * im / real
    # for a negative real part the two swap places
    back = re < 0.0
    return choose(back, abs(other), real), choose(back, choose(im < 0.0, -real, real), other)


@inlined
def _far_loss(s: float) -> tuple[float, float]:
    """F of a round duct of many boundary layers, s exp(-j pi/4) its argument."""
    y = math.sqrt(0.5) / s  # 1/y is (1 + j) of it, j/y (-1 + j)
    re, im = RATIO[_TERMS - 1] + 0.0 * s, 0.0 * s
    for k in range(_TERMS - 2, -1, -1):
        re, im = RATIO[k] - (re + im) * y, (re - im) * y
    return 2.0 * (re + im) * y, -2.0 * (re - im) * y


@compiled
def _near_loss(s: float) -> tuple[float, float]:
    """F of a round duct of few boundary layers: J1/J0 by its continued fraction, from below.

    J_n/J_(n-1) = 1/(2n/y - J_(n+1)/J_n); M. Abramowitz, I. A. Stegun, 9.1.73 (from memory).
    """
    inverse = math.sqrt(0.5) / s
    re, im = 0.0 * s, 0.0 * s
    for n in range(30 + int(1.5 * SERIES_FROM), 0, -1):
        re, im = reciprocal(2.0 * n * inverse - re, 2.0 * n * inverse - im)
    re, im = times(re, im, inverse, inverse)
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
def loss(s: float, slot: bool) -> tuple[float, float]:
    """Loss function of a duct or of several, real and imaginary part.

    Parameters
    ----------
    s : float or lanes
        Radius, or half the height of a slot, in boundary-layer lengths [1].
    slot : bool
        A slot instead of a round duct [flag].

    Returns
    -------
    tuple of two floats or lanes
        Real and imaginary part of F [1].
    """
    if slot:
        return _slot_loss(s)
    re, im = _far_loss(s)
    few = s < SERIES_FROM
    if any_lane(few):
        near_re, near_im = _near_loss(s)
        re, im = choose(few, near_re, re), choose(few, near_im, im)
    return re, im


@inlined
def _sinh(a: float) -> float:
    z = a * a
    p = 1.0 + z / 110.0
    p = 1.0 + z / 72.0 * p
    p = 1.0 + z / 42.0 * p
    p = 1.0 + z / 20.0 * p
    short = a * (1.0 + z / 6.0 * p)
    up = exp(a)
    return choose(abs(a) < 0.3, short, 0.5 * (up - 1.0 / up))


@compiled
def duct_impedance(
    omega: float, area: float, length: float, reach: float, slot: bool, lossy: bool, air: np.ndarray
) -> tuple[float, float, float, float]:
    """Open-circuit impedances of uniform ducts side by side at one tone.

    Parameters
    ----------
    omega : float
        Angular frequency [rad/s].
    area, length, reach : lanes
        Cross-section, length, radius or half the height of a slot [m2], [m].
    slot, lossy : bool
        Slots instead of round ducts; whether walls take energy [flag].
    air : ndarray
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].

    Returns
    -------
    tuple of four lanes
        Real and imaginary parts of z11 and z12 [Pa s/m3].
    """
    k = omega / air[1]
    a_re, a_im = 1.0 + 0.0 * area, 0.0 * area
    b_re, b_im = a_re, a_im
    if lossy:
        s = reach * math.sqrt(omega / air[2])
        f_re, f_im = loss(s, slot)
        a_re, a_im = reciprocal(1.0 - f_re, -f_im)
        a_re, a_im = root(a_re, a_im)
        g_re, g_im = loss(s * air[4], slot)
        b_re, b_im = root(1.0 + (air[3] - 1.0) * g_re, (air[3] - 1.0) * g_im)
    bend_re, bend_im = times(a_re, a_im, b_re, b_im)
    over_re, over_im = reciprocal(b_re, b_im)
    zc_re, zc_im = times(a_re, a_im, over_re, over_im)
    z0 = air[0] * air[1] / area
    fade, turn = min(-k * bend_im * length, 300.0), k * bend_re * length  # gamma length
    up = _sinh(fade)
    level = math.sqrt(1.0 + up * up)
    sine, cosine = sin_cos(turn)
    z12_re, z12_im = reciprocal(up * cosine, level * sine)
    z12_re, z12_im = times(z0 * zc_re, z0 * zc_im, z12_re, z12_im)
    z11_re, z11_im = times(z12_re, z12_im, level * cosine, up * sine)
    return z11_re, z11_im, z12_re, z12_im


@compiled
def end_lengths(section: float, length: float, height: float, slot: bool) -> tuple[float, float]:
    """Near-field lengths of a duct's end, as in :func:`models.joints.joints_by_place`.

    Parameters
    ----------
    section, length, height : lanes
        Cross-section of one tube at the end, length, short side of a slot [m2], [m].
    slot : bool
        Slots instead of round ducts [flag].

    Returns
    -------
    tuple of two lanes
        Length of the real end [m], and of a uniform rectangle over the root of its area [1].
    """
    radius = math.sqrt(section / math.pi)
    fade = exp(-EVEN_MODE * length / radius)
    profile = ORIFICE + (PROFILE - ORIFICE) * (1.0 - fade) / (1.0 + fade)
    if not slot:
        return profile * FLANGED_PISTON * radius, _SQUARE + 0.0 * radius
    one, other = math.sqrt(section) / height, height / math.sqrt(section)
    unit = uniform_length(one, other)
    return profile * unit * math.sqrt(section), unit
