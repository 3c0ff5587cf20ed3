"""Sections and chain matrices of tapered ducts: cones, exponential horns, and wedges (slots).

Webster's equation has closed solutions for all three while density and compressibility stay the same
along the duct (A. G. Webster, PNAS 5, 275, 1919, from memory; each form derived again): spherical waves
in a cone, waves of wavenumber sqrt(k^2 - m^2/4) where the section grows as e^{mx}, cylindrical waves
(Hankel functions) in a slot of constant height between straight sides. Losses at walls change with the
radius, so :mod:`models.ducts` joins a few such pieces.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from scipy.special import hankel1e, hankel2e

Profile = Literal["conical", "exponential", "wedge"]

Chain = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]
"""A, B, C, D: p1 = A p2 + B q2, q1 = C p2 + D q2 with q1 into the first end, q2 out of the second."""

_STRAIGHT = 1e-6
"""Change of section, as a share, below which a wedge is taken to change by so much [1]."""


def section_at(
    area: np.ndarray, area_end: np.ndarray, along: np.ndarray | float, profile: Profile
) -> np.ndarray:
    """Cross-section at a place along a tapered duct.

    Parameters
    ----------
    area, area_end : ndarray, broadcastable
        Cross-sections at both ends [m2].
    along : ndarray or float
        Place, from 0 at the first end to 1 at the second [1].
    profile : str
        ``conical`` (radius linear), ``exponential`` or ``wedge`` (section linear) [text].

    Returns
    -------
    ndarray
        Cross-section there [m2].
    """
    if profile == "exponential":
        return np.asarray(area * (area_end / area) ** along)
    if profile == "wedge":
        return np.asarray(area * (1.0 - along) + area_end * along)
    return np.asarray((np.sqrt(area) * (1.0 - along) + np.sqrt(area_end) * along) ** 2)


def taper_chain(
    gamma: np.ndarray,
    unit: np.ndarray,
    area: np.ndarray,
    area_end: np.ndarray,
    length: np.ndarray,
    profile: Profile,
) -> Chain:
    """Chain matrix of a tapered piece whose medium is the same all along.

    Parameters
    ----------
    gamma : complex ndarray
        Propagation constant of a uniform duct with that medium [1/m].
    unit : complex ndarray
        Characteristic impedance times section of that duct [Pa s/m].
    area, area_end : ndarray, broadcastable
        Cross-sections at both ends [m2].
    length : ndarray, broadcastable
        Length of the piece [m].
    profile : str
        ``conical``, ``exponential`` or ``wedge`` [text].

    Returns
    -------
    tuple of four complex ndarrays
        A [1], B [Pa s/m3], C [m3/(Pa s)] and D [1].
    """
    if profile == "wedge":
        return _wedge(gamma, unit, area, area_end, length)
    ratio = np.sqrt(area_end / area)
    z = unit / np.sqrt(area * area_end)
    angle = gamma * length
    if profile == "exponential":
        growth = np.log(ratio)
        v = np.sqrt(angle**2 + growth**2 + 0j)
        cosh, sinch = np.cosh(v), np.sinc(1j * v / np.pi)  # sinh(v)/v, also where v = 0
        side = angle * sinch
        return ratio * (cosh - growth * sinch), z * side, side / z, (cosh + growth * sinch) / ratio
    near, far = ratio - 1.0, 1.0 - 1.0 / ratio  # length over the distances of the ends from the apex
    cosh, sinh = np.cosh(angle), np.sinh(angle)
    a = ratio * cosh - near * sinh / angle
    c = ((1.0 - near * far / angle**2) * sinh + near * far * cosh / angle) / z
    return a, z * sinh, c, cosh / ratio + far * sinh / angle


def _wedge(
    gamma: np.ndarray, unit: np.ndarray, area: np.ndarray, area_end: np.ndarray, length: np.ndarray
) -> Chain:
    """Cylindrical waves between the narrower and the wider end, turned round where the duct narrows."""
    widens = area_end >= area
    small = np.where(widens, area, area_end)
    large = np.maximum(np.where(widens, area_end, area), small * (1.0 + _STRAIGHT))
    k = -1j * gamma
    z1 = k * length * small / (large - small)
    z2 = z1 + k * length
    waves = [(hankel1e(order, z), hankel2e(order, z)) for z in (z1, z2) for order in (0, 1)]
    turn = np.exp(-1j * k * length)  # takes the scaling of the Hankel functions back out

    def cross(first: int, second: int) -> np.ndarray:
        """J_a(z1) Y_b(z2) - Y_a(z1) J_b(z2)."""
        (out1, in1), (out2, in2) = waves[first], waves[2 + second]
        return np.asarray(0.5j * (out1 * in2 * turn - in1 * out2 / turn))

    half = 0.5 * np.pi * z2
    a = -half * cross(0, 1)
    b = 1j * half * unit / large * cross(0, 0)
    c = 1j * half * small / unit * cross(1, 1)
    d = half * small / large * cross(1, 0)
    return np.where(widens, a, d), b, c, np.where(widens, d, a)
