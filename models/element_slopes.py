"""Impedances of a room's line and of a uniform duct with their slopes, as formulas.

Every function works on numbers and on arrays alike: numpy calls it with whole planes, compiled code with
one number after the other. The formulas are those of :mod:`models.rooms` and :mod:`models.ducts`; with
C = mean cos k|x - x'| and S = mean sin k|x - x'| over two patches, the mean of cos k(L - |x - x'|) is
C cos kL + S sin kL.
"""

from __future__ import annotations

from typing import Any

import numpy as np

Value = Any
"""A number or an array [any]."""

FORMULAS = (
    "_spread",
    "line_mean",
    "round_loss_slope",
    "slot_loss_slope",
    "line_slopes",
    "duct_slopes",
)
"""What is compiled, from the bottom."""


def sin_cos(z: Value) -> tuple[Value, Value]:
    """Sine and cosine of a complex number; compiled code has a faster one."""
    return np.sin(z), np.cos(z)


def root(z: Value) -> Value:
    """Square root of a complex number; compiled code has its own."""
    return np.sqrt(z)


def pick(condition: Value, one: Value, other: Value) -> Value:
    """The one where a condition holds, else the other; in compiled code, a choice between numbers."""
    return np.where(condition, one, other)


def overlapping(k: Value, apart: Value, h1: Value, h2: Value, sign: Value) -> tuple[Value, ...]:
    """S of patches that overlap along the line, and its slopes with respect to x1, h1 and h2."""
    reach, less = h1 + h2, h1 - h2
    over = 1.0 / (4.0 * k * k * h1 * h2)
    total, along, wide, narrow = 0.0 * k, 0.0 * k, 0.0 * k, 0.0 * k
    # y - sin y of the four distances of their edges, each by its sign
    for y, weight, by_apart, by_h1, by_h2 in (
        (apart + reach, 1.0, 1.0, 1.0, 1.0),
        (reach - apart, 1.0, -1.0, 1.0, 1.0),
        (apart + less, -1.0, 1.0, 1.0, -1.0),
        (apart - less, -1.0, 1.0, -1.0, 1.0),
    ):
        side = pick(y < 0.0, -1.0, 1.0)
        z = k * (side * y)
        sine, cosine = sin_cos(0.5 * z)
        lack, slope = z - 2.0 * sine * cosine, 2.0 * sine * sine * k * side
        total = total + weight * lack
        along = along + weight * by_apart * slope
        wide = wide + weight * by_h1 * slope
        narrow = narrow + weight * by_h2 * slope
    total = total * over
    return total, along * over * sign, wide * over - total / h1, narrow * over - total / h2


def sine_mean(
    both: Value, k: Value, apart: Value, h1: Value, h2: Value, sign: Value, plain: tuple[Value, ...]
) -> tuple[Value, ...]:
    """S of patches and its slopes, the plain ones where they do not overlap; compiled code takes one way."""
    found = overlapping(k, apart, pick(both, h1, 1.0), pick(both, h2, 1.0), sign)
    return tuple(pick(both, one, other) for one, other in zip(found, plain, strict=True))


def _spread(z: Value) -> tuple[Value, Value]:
    """Sine of z over z, and its slope; z may be zero."""
    small = z.real < 0.05
    y = pick(small, 0.5 + 0j, z)
    square, over = z * z, 1.0 / y
    sine, cosine = sin_cos(y)
    ratio = sine * over
    series = 1.0 - square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0))
    slope = -z / 3.0 * (1.0 - square / 10.0 * (1.0 - square / 28.0 * (1.0 - square / 54.0)))
    return pick(small, series, ratio), pick(small, slope, (cosine - ratio) * over)


def line_mean(
    k: Value, length: Value, x1: Value, h1: Value, x2: Value, h2: Value
) -> tuple[Value, ...]:
    """Mean over both patches of cos k(L - |x - x'|) + cos k(L - x - x') with its slopes.

    Parameters
    ----------
    k : complex
        Wavenumber [1/m].
    length : float
        Length of the line [m].
    x1, h1, x2, h2 : float
        Centres and half widths of the patches along it [m].

    Returns
    -------
    tuple of eight complex
        Sine and cosine of kL, the mean [1], and its slopes with respect to length, x1, h1, x2 and h2 [1/m].
    """
    s1, t1 = _spread(k * h1)
    s2, t2 = _spread(k * h2)
    spread, by_h1, by_h2 = s1 * s2, k * t1 * s2, k * s1 * t2
    sign = pick(x1 > x2, 1.0, pick(x1 < x2, -1.0, 0.0))
    apart = sign * (x1 - x2)
    both = (apart < h1 + h2) & (h1 > 0.0) & (h2 > 0.0)
    sin_far, cos_far = sin_cos(k * (length - x1 - x2))
    sin_near, cos_near = sin_cos(k * apart)
    sin_line, cos_line = sin_cos(k * length)
    plain = spread * sin_near, spread * k * sign * cos_near, by_h1 * sin_near, by_h2 * sin_near
    s, s_x, s_h1, s_h2 = sine_mean(both, k, apart, h1, h2, sign, plain)
    mean = spread * (cos_far + cos_line * cos_near) + sin_line * s
    ends = k * spread * sin_far
    moved = sin_line * s_x - cos_line * spread * k * sign * sin_near
    by_length = -ends - k * sin_line * spread * cos_near + k * cos_line * s
    wide = cos_far + cos_line * cos_near
    return (
        sin_line,
        cos_line,
        mean,
        by_length,
        ends + moved,
        by_h1 * wide + sin_line * s_h1,
        ends - moved,
        by_h2 * wide + sin_line * s_h2,
    )


def line_slopes(
    omega: Value,
    heavy: Value,
    viscous: Value,
    soft: Value,
    thermal: Value,
    density: float,
    speed: float,
    volume: Value,
    length: Value,
    x1: Value,
    h1: Value,
    x2: Value,
    h2: Value,
) -> tuple[Value, ...]:
    """Impedance between two patches of a room by its line, with slopes.

    Parameters
    ----------
    omega : float
        Angular frequency [rad/s].
    heavy, soft : complex
        Density and compressibility over those of free air [1].
    viscous, thermal : complex
        Their slopes with respect to what walls take (sides over section; surface over volume) [mixed].
    density, speed : float
        Of the air [kg/m3], [m/s].
    volume, length : float
        Volume and length of the line [m3], [m].
    x1, h1, x2, h2 : float
        Centres and half widths of the patches along it [m].

    Returns
    -------
    tuple of nine complex
        Impedance [Pa s/m3], and its slopes with respect to both wall shares, volume, length, x1, h1, x2
        and h2 [mixed].
    """
    k = omega / speed * root(heavy * soft)
    sine, cosine, mean, by_length, by_x1, by_h1, by_x2, by_h2 = line_mean(k, length, x1, h1, x2, h2)
    turn = k * cosine / sine
    over = -0.5j * omega * density * length * heavy / (volume * k * sine)
    z = over * mean
    # the mean knows k times lengths alone, so its slope with respect to k follows from the others
    stretched = length * by_length + x1 * by_x1 + h1 * by_h1 + x2 * by_x2 + h2 * by_h2
    by_log_k = over * stretched - z * (1.0 + length * turn)
    return (
        z,
        (z + 0.5 * by_log_k) * viscous / heavy,
        0.5 * by_log_k * thermal / soft,
        -z / volume,
        over * by_length + z * (1.0 / length - turn),
        over * by_x1,
        over * by_h1,
        over * by_x2,
        over * by_h2,
    )


def duct_slopes(
    omega: Value,
    area: Value,
    length: Value,
    slope_area: Value,
    slope_height: Value,
    f: Value,
    df: Value,
    g: Value,
    dg: Value,
    density: float,
    speed: float,
    heats: float,
) -> tuple[Value, ...]:
    """Open-circuit impedances of a uniform duct with slopes.

    Parameters
    ----------
    omega : float
        Angular frequency [rad/s].
    area, length : float
        Cross-section and length [m2], [m].
    slope_area, slope_height : float
        Slopes of the logarithm of the radius, or of a slot's height, with respect to area and height
        [1/m2], [1/m].
    f, df, g, dg : complex
        Viscous and thermal loss function, and their slopes with respect to that logarithm [1].
    density, speed, heats : float
        Of the air, and its ratio of heats [kg/m3], [m/s], [1].

    Returns
    -------
    tuple of eight complex
        z11, z12 [Pa s/m3], and the slopes of either with respect to area, length and height [mixed].
    """
    series, shunt = 1.0 / (1.0 - f), 1.0 + (heats - 1.0) * g
    heavier, softer = 0.5 * df * series, 0.5 * (heats - 1.0) * dg / shunt
    gamma = 1j * omega / speed * root(series * shunt)
    zc = density * speed / area * root(series / shunt)
    angle = gamma * length
    sine, cosine = sin_cos(1j * angle)  # j sinh and cosh of the angle
    z12 = 1j * zc / sine
    z11 = z12 * cosine
    over = -z12 / zc
    along11, along12 = over * z12, over * z11  # slopes with respect to the angle
    by_loss11 = z11 * (heavier - softer) + along11 * angle * (heavier + softer)
    by_loss12 = z12 * (heavier - softer) + along12 * angle * (heavier + softer)
    return (
        z11,
        z12,
        by_loss11 * slope_area - z11 / area,
        along11 * gamma,
        by_loss11 * slope_height,
        by_loss12 * slope_area - z12 / area,
        along12 * gamma,
        by_loss12 * slope_height,
    )


def round_loss_slope(f: Value, s: Value) -> Value:
    """Slope of a round duct's loss function F with respect to the logarithm of its argument s.

    With F = 2 J1(y)/(y J0(y)) and y^2 = -j s^2, from the recurrences of Bessel functions.
    """
    return 2.0 * (1.0 - f) - 0.5j * s * s * f * f


def slot_loss_slope(f: Value, s: Value) -> Value:
    """The same of a slot, F = tanh(q)/q with q^2 = j s^2."""
    return 1.0 - f - 1j * s * s * f * f
