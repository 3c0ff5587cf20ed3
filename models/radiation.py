"""Openings in a rigid plane: near-field lengths, piston radiation, and a half space as a table.

Sources: rectangular opening with uniform velocity, low-frequency limit of the rectangular-piston
problem (P. R. Stepanishen, J. Sound Vib. 55(2), 1977, 275-288; closed form computed here);
flanged duct 0.8217 a (J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244(3), 2001,
505-534, and Y. Nomura, I. Yamamura, S. Inawashiro, J. Phys. Soc. Japan 15, 1960, 510, from memory);
piston functions in any acoustics textbook (L. E. Kinsler, A. R. Frey and others); mutual impedance
R. L. Pritchard, J. Acoust. Soc. Am. 32, 1960, 730 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import j1, struve

from models.air import Air
from models.envelope import Envelope, Site, front_centre, site_position
from models.outside import OutsideTable
from models.spaces import HalfSpace

FLANGED_PISTON = 8.0 / (3.0 * np.pi)
"""Near-field length of a flanged disc with uniform velocity, in radii."""

FLANGED_DUCT = 0.8217
"""End correction of a flanged round duct with its true velocity profile, in radii."""

PROFILE = FLANGED_DUCT / FLANGED_PISTON
"""What the true velocity profile of a duct end makes of a uniform-velocity length."""

ORIFICE = (np.pi / 4.0) / FLANGED_PISTON
"""The same for a hole in a thin wall: inertance density/(2 radius) of the hole (Rayleigh, from memory)."""

EVEN_MODE = 3.8317
"""First zero of J1: wavenumber across a round duct of its first even mode, times the radius."""

REFERENCE_SHARE = 0.2
"""Side of the reference patch of a site, as a share of the envelope's smallest side."""


def rectangle_length(area: np.ndarray, aspect: np.ndarray | float = 1.0) -> np.ndarray:
    """Near-field length of a flanged rectangular opening with uniform velocity.

    Parameters
    ----------
    area : ndarray, any shape
        Area of the opening [m2].
    aspect : ndarray, broadcastable
        Ratio of its sides, either way up [1].

    Returns
    -------
    ndarray
        Length whose air column has the near field's inertance [m].
    """
    b = np.sqrt(area / aspect)
    a = b * aspect
    moment = 2.0 * (a**2 * b * np.arcsinh(b / a) + a * b**2 * np.arcsinh(a / b))
    moment = moment + (2.0 / 3.0) * (a**3 + b**3 - (a**2 + b**2) ** 1.5)
    return np.asarray(moment / (2.0 * np.pi * a * b))


def disc_length(area: np.ndarray) -> np.ndarray:
    """Near-field length of a flanged disc with uniform velocity [m] for its area, any shape [m2]."""
    return np.asarray(FLANGED_PISTON * np.sqrt(np.asarray(area) / np.pi))


def profile_factor(length: np.ndarray, area: np.ndarray) -> np.ndarray:
    """What the true velocity profile of a duct end makes of a uniform-velocity length.

    A long duct has :data:`PROFILE`, a hole :data:`ORIFICE`. Between them the profile's first even mode
    meets its mirror image from the other end, whose flow is equal: tanh of half its decay.

    Parameters
    ----------
    length : ndarray, any shape
        Length of the duct [m].
    area : ndarray, broadcastable
        Its cross-section [m2].

    Returns
    -------
    ndarray
        Factor [1].
    """
    decay = np.tanh(0.5 * EVEN_MODE * length / np.sqrt(np.asarray(area) / np.pi))
    return np.asarray(ORIFICE + (PROFILE - ORIFICE) * decay)


def piston_functions(ka2: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Resistance and reactance of a flanged disc in units of rho c / S, as functions of 2ka.

    Parameters
    ----------
    ka2 : ndarray, any shape
        Twice the wavenumber times the radius [1].

    Returns
    -------
    tuple of two ndarrays
        R1 = 1 - 2 J1(x)/x and X1 = 2 H1(x)/x [1].
    """
    x = np.asarray(ka2, dtype=float)
    return 1.0 - 2.0 * j1(x) / x, 2.0 * struve(1, x) / x


def reference_side(envelope: Envelope) -> float:
    """Side of the square reference patch that a site stands for [m]."""
    return REFERENCE_SHARE * float(np.min(envelope.outer_sides))


def half_space_table(
    space: HalfSpace,
    envelope: Envelope,
    sites: Sequence[Site],
    omega: np.ndarray,
    air: Air,
    *,
    radiation: bool = True,
) -> OutsideTable:
    """Sites as openings in one infinite rigid plane, at the distances they have on the envelope.

    The resistance is that of openings small against the wavelength; two sites nearer than the
    reference patch's side are taken that far apart.

    Parameters
    ----------
    space : HalfSpace
        Where the microphone stands [record].
    envelope : Envelope
        The body that the sites lie on [record].
    sites : sequence of Site
        Places of openings [list].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    air : Air
        The gas [record].
    radiation : bool
        False leaves out radiation mass, resistance and mutual coupling [flag].

    Returns
    -------
    OutsideTable
        Impedances and transfers of the sites [record].
    """
    positions = np.array([site_position(envelope, site) for site in sites])
    microphone = site_position(envelope, front_centre(envelope)) - np.array([space.distance, 0.0, 0.0])
    k = omega / air.sound_speed
    reach = np.linalg.norm(positions - microphone, axis=1)
    transfer = _monopole(reach[:, None], omega, k, air)
    count = len(sites)
    impedance = np.zeros((count, count, omega.size), dtype=complex)
    if radiation:
        apart = np.linalg.norm(positions[:, None] - positions[None], axis=2)
        apart = np.maximum(apart, reference_side(envelope))
        impedance[:] = _monopole(apart[..., None], omega, k, air)
        here = np.arange(count)
        impedance[here, here] = air.density * air.sound_speed * k**2 / (2.0 * np.pi)
    return OutsideTable(impedance=impedance, transfer=transfer, self_inertance=np.zeros((count, omega.size)))


def _monopole(distance: np.ndarray, omega: np.ndarray, k: np.ndarray, air: Air) -> np.ndarray:
    result: np.ndarray = 1j * omega * air.density * np.exp(-1j * k * distance) / (2.0 * np.pi * distance)
    return result
