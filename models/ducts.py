"""Viscothermal ducts of round or slot section, uniform or tapered, as open-circuit impedances.

Sources: Z' = (j w rho/S)/(1 - F_v), Y' = (j w S/(rho c^2)) [1 + (gamma - 1) F_t]
(C. Zwikker, C. W. Kosten, 1949; A. H. Benade, J. Acoust. Soc. Am. 44, 1968, 616;
M. R. Stinson, J. Acoust. Soc. Am. 89, 1991, 550-558). Round section F = 2 J1(y)/(y J0(y)) with
y = a sqrt(-j w/nu); slot F = tanh(q)/q with q = (h/2) sqrt(j w/nu).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

import numpy as np
from scipy.special import jve

from models.air import Air
from models.lining import lining_ratios
from models.tapers import Profile, section_at, taper_chain

TAPER_SLICES = 6
"""Pieces of a tapered round duct, each with the wall losses of its middle."""

_TERMS = 10
SERIES_FROM = 25.0


def _hankel_ratio_series(terms: int) -> np.ndarray:
    """Coefficients c_k of J1(z)/J0(z) = -j sum c_k (j/z)^k for large negative imaginary part of z."""

    def hankel(order: int) -> np.ndarray:
        a = np.ones(terms)
        for k in range(1, terms):
            a[k] = a[k - 1] * (4.0 * order**2 - (2.0 * k - 1.0) ** 2) / (8.0 * k)
        return a

    top, bottom = hankel(1), hankel(0)
    ratio = np.zeros(terms)
    for k in range(terms):
        ratio[k] = top[k] - np.dot(ratio[:k], bottom[k:0:-1])
    return ratio


RATIO = _hankel_ratio_series(_TERMS)


def round_loss_function(s: np.ndarray) -> np.ndarray:
    """F = 2 J1(y)/(y J0(y)) at y = s exp(-j pi/4), s the radius in boundary-layer lengths.

    Parameters
    ----------
    s : ndarray, any shape
        Radius times sqrt(w/nu), positive [1].

    Returns
    -------
    complex ndarray
        The function of viscous loss; with s sqrt(Pr) for s that of thermal loss [1].
    """
    y = np.asarray(s) * np.exp(-0.25j * np.pi)
    far = np.asarray(s) >= SERIES_FROM
    if np.all(far):
        return _far_loss(y)
    # chosen entry by entry, so that a design's value does not depend on its neighbours in a batch
    exact = 2.0 * jve(1, y) / (y * jve(0, y))
    return np.where(far, _far_loss(np.where(far, y, SERIES_FROM)), exact)


def _far_loss(y: np.ndarray) -> np.ndarray:
    """The loss function by its series for a radius of many boundary layers."""
    inverse = 1j / y
    ratio = np.full(y.shape, RATIO[-1], dtype=complex)
    for coefficient in RATIO[-2::-1]:
        ratio = ratio * inverse + coefficient
    return np.asarray(-2j * ratio / y)


def slot_loss_function(s: np.ndarray) -> np.ndarray:
    """F = tanh(q)/q at q = s sqrt(j), s half the slot's height in boundary-layer lengths.

    Parameters
    ----------
    s : ndarray, any shape
        Half height times sqrt(w/nu), positive [1].

    Returns
    -------
    complex ndarray
        The function of viscous loss; with s sqrt(Pr) for s that of thermal loss [1].
    """
    q = np.asarray(s) * np.exp(0.25j * np.pi)
    return np.asarray(np.tanh(q) / q)


def line_constants(
    omega: np.ndarray,
    area: np.ndarray,
    air: Air,
    *,
    slot_height: np.ndarray | None = None,
    count: int = 1,
    lossy: bool = True,
    lining: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Propagation constant and characteristic impedance of a duct.

    Parameters
    ----------
    omega : ndarray, broadcastable
        Angular frequency [rad/s].
    area : ndarray, broadcastable
        Cross-section of all parallel tubes together [m2].
    air : Air
        The gas [record].
    slot_height : ndarray or None
        Short side of a slot; None for round tubes [m].
    count : int
        Equal tubes that share the area [1].
    lossy : bool
        False leaves out viscous and thermal losses at walls [flag].
    lining : ndarray or None
        Flow resistivity of a lining, zero or None for none; where there is one it takes the place of
        the losses at walls [Pa s/m2].

    Returns
    -------
    tuple of two complex ndarrays
        Propagation constant [1/m] and characteristic impedance [Pa s/m3].
    """
    k = omega / air.sound_speed
    z0 = air.density * air.sound_speed / area
    if lining is not None:
        k_ratio, z_ratio = lining_ratios(omega, lining)
        plain = line_constants(omega, area, air, slot_height=slot_height, count=count, lossy=lossy)
        lined = 1j * k * k_ratio + 0.0 * z0, z0 * z_ratio
        return np.where(lining > 0.0, lined[0], plain[0]), np.where(lining > 0.0, lined[1], plain[1])
    if not lossy:
        return 1j * k + 0.0 * z0, z0 + 0j * k
    scale = np.sqrt(omega / air.kinematic_viscosity)
    if slot_height is None:
        s = np.sqrt(area / (count * np.pi)) * scale
        loss = round_loss_function
    else:
        s = 0.5 * slot_height * scale
        loss = slot_loss_function
    series = 1.0 / (1.0 - loss(s))
    shunt = 1.0 + (air.heat_ratio - 1.0) * loss(s * np.sqrt(air.prandtl))
    return 1j * k * np.sqrt(series * shunt), z0 * np.sqrt(series / shunt)


def open_circuit(gamma: np.ndarray, zc: np.ndarray, length: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Impedances z11 = z22 and z12 of a uniform line with volume velocity in at one end, out at the other.

    Parameters
    ----------
    gamma : complex ndarray
        Propagation constant [1/m].
    zc : complex ndarray
        Characteristic impedance [Pa s/m3].
    length : ndarray, broadcastable
        Length of the line [m].

    Returns
    -------
    tuple of two complex ndarrays
        Input impedance with the far end closed, and transfer impedance [Pa s/m3].
    """
    fade = np.exp(-gamma * length)
    rest = -np.expm1(-2.0 * gamma * length)  # 1 - fade^2, to full relative accuracy for a short line
    over = zc / rest
    return over * (2.0 - rest), 2.0 * over * fade


def duct_impedances(
    omega: np.ndarray,
    area: np.ndarray,
    length: np.ndarray,
    air: Air,
    *,
    slot_height: np.ndarray | None = None,
    count: int = 1,
    area_end: np.ndarray | None = None,
    profile: Literal["conical", "exponential"] = "conical",
    bends: Sequence[tuple[np.ndarray, np.ndarray]] = (),
    lossy: bool = True,
    lining: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Open-circuit impedances z11, z12, z22 of a duct without its ends.

    Pressures are p1 = z11 q1 - z12 q2 and p2 = z12 q1 - z22 q2, with q1 into the first end and
    q2 out of the second. The sides of a tapered duct run straight from the first section to the last,
    so that its radius (or the width of a slot) changes linearly, or its section grows exponentially.

    Parameters
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequency [rad/s].
    area : ndarray, shape (n_designs, 1)
        Cross-section at the first end, all tubes together [m2].
    length : ndarray, shape (n_designs, 1)
        Length [m].
    air : Air
        The gas [record].
    slot_height : ndarray, shape (n_designs, 1), or None
        Short side of a slot [m].
    count : int
        Equal tubes that share the area [1].
    area_end : ndarray, shape (n_designs, 1), or None
        Cross-section at the second end [m2].
    profile : str
        ``conical`` or ``exponential``, of a duct with ``area_end`` [text].
    bends : sequence of pairs of ndarrays, each shape (n_designs, 1)
        Places along the centre line, in order, and corrections of :mod:`models.bends` there, as
        lengths of the section at that place [m].
    lossy : bool
        False leaves out viscous and thermal losses at walls [flag].
    lining : ndarray, shape (n_designs, 1), or None
        Flow resistivity of a lining all along the duct, zero or None for none [Pa s/m2].

    Returns
    -------
    tuple of three complex ndarrays, shape (n_designs, n_tones)
        z11, z12, z22 [Pa s/m3].
    """
    last = area if area_end is None else area_end
    form: Profile = "wedge" if slot_height is not None and profile == "conical" else profile

    def constants(section: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return line_constants(
            omega, section, air, slot_height=slot_height, count=count, lossy=lossy, lining=lining
        )

    if area_end is None:
        gamma, zc = constants(area)
        if not bends:
            z11, z12 = open_circuit(gamma, zc, length)
            return z11, z12, z11

    a, b, c, d = 1.0 + 0j, 0j, 0j, 1.0 + 0j
    slices = TAPER_SLICES if area_end is not None and slot_height is None and lossy else 1
    stops = [np.zeros(1), *[at / length for at, _ in bends], np.ones(1)]
    for index, (start, stop) in enumerate(pairwise(stops)):
        for i in range(slices):
            low, middle, high = (start + (stop - start) * (i + part) / slices for part in (0.0, 0.5, 1.0))
            piece = length * (high - low)
            if area_end is None:
                cosh, sinh = np.cosh(gamma * piece), np.sinh(gamma * piece)
                e, f, g, h = cosh, zc * sinh, sinh / zc, cosh
            else:
                section = section_at(area, last, middle, form)
                gamma, zc = constants(section)
                here, there = section_at(area, last, low, form), section_at(area, last, high, form)
                e, f, g, h = taper_chain(gamma, zc * section, here, there, piece, form)
            a, b, c, d = a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h
        if index < len(bends):
            if area_end is not None:
                gamma, zc = constants(section_at(area, last, stop, form))
            series = gamma * zc * bends[index][1]
            b, d = b + a * series, d + c * series
    return np.asarray(a / c), np.asarray(1.0 / c), np.asarray(d / c)


def end_resistance_per_speed(area: np.ndarray, loss_factor: np.ndarray, air: Air) -> np.ndarray:
    """Level-dependent resistance of one duct end per peak air speed there.

    A quasi-steady loss (rho/2) K u|u| driven by a sine of peak u has the fundamental
    (4/(3 pi)) rho K u; each end takes half of K, as it lets the air in during one half of the
    cycle and out during the other.

    Parameters
    ----------
    area : ndarray, any shape
        Cross-section [m2].
    loss_factor : ndarray, broadcastable
        K of both ends together [1].
    air : Air
        The gas [record].

    Returns
    -------
    ndarray
        Acoustic resistance over peak speed [Pa s2/m4].
    """
    return np.asarray(4.0 / (3.0 * np.pi) * air.density * 0.5 * loss_factor / area)
