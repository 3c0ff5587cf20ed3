"""Fibrous lining that fills a duct or a chamber, as an equivalent gas.

Source: Y. Miki, "Acoustical properties of porous materials - modifications of Delany-Bazley models",
J. Acoust. Soc. Jpn (E) 11(1), 19-24 (1990), coefficients from memory. With X frequency over flow
resistivity in Hz m2/(Pa s), for 0.01 < X < 1,
Zc/Z0 = 1 + 0.070 X^-0.632 - j 0.107 X^-0.632 and k/k0 = 1 + 0.109 X^-0.618 - j 0.160 X^-0.618.
Above that range the lining fades into air, but not by these powers; below it the compressibility would
in the end give energy. So outside it there is no answer. The fibres' own volume and movement are left out.
"""

from __future__ import annotations

import numpy as np

from models.air import Air

MIKI_RANGE = (0.01, 1.0)
"""Frequency over flow resistivity for which the form is stated [Hz m2/(Pa s)]."""

_EDGE = 1e-9


def lining_range(lowest_hz: float, highest_hz: float) -> tuple[float, float]:
    """Flow resistivities for which the form holds at all of some frequencies.

    Parameters
    ----------
    lowest_hz, highest_hz : float
        Frequencies [Hz].

    Returns
    -------
    tuple of two floats
        Least and largest flow resistivity; there is none where the first exceeds the second [Pa s/m2].
    """
    return highest_hz / MIKI_RANGE[1], lowest_hz / MIKI_RANGE[0]


def lining_ratios(omega: np.ndarray, resistivity: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Wavenumber and characteristic impedance in a lining over those in free air.

    Parameters
    ----------
    omega : ndarray, broadcastable
        Angular frequency [rad/s].
    resistivity : ndarray, broadcastable
        Flow resistivity; where it is zero there is no lining, and both ratios are 1 [Pa s/m2].

    Returns
    -------
    tuple of two complex ndarrays
        k/k0 and Zc/Z0 [1].

    Raises
    ------
    ValueError
        A resistivity is negative, or a frequency over it outside the range of the form.
    """
    hz, resistivity = np.broadcast_arrays(np.asarray(omega) / (2.0 * np.pi), resistivity)
    if np.any(resistivity < 0.0):
        raise ValueError(
            f"a lining's flow resistivity is {resistivity.min():g} Pa s/m2; it cannot be negative"
        )
    lined = resistivity > 0.0
    x = np.where(lined, hz / np.where(lined, resistivity, 1.0), 1.0)
    low, high = MIKI_RANGE
    outside = (x < low * (1.0 - _EDGE)) | (x > high * (1.0 + _EDGE))
    if np.any(outside):
        at = np.unravel_index(np.argmax(outside), x.shape)
        least, most = lining_range(float(hz[at]), float(hz[at]))
        raise ValueError(
            f"a lining of {resistivity[at]:g} Pa s/m2 is outside Miki's range at {hz[at]:g} Hz: "
            f"{least:g} to {most:g} Pa s/m2"
        )
    k = 1.0 + (0.109 - 0.160j) * x**-0.618
    z = 1.0 + (0.070 - 0.107j) * x**-0.632
    return np.where(lined, k, 1.0), np.where(lined, z, 1.0)


def lined_medium(omega: np.ndarray, resistivity: np.ndarray, air: Air) -> tuple[np.ndarray, np.ndarray]:
    """Effective density and compressibility of a lining.

    Parameters
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequency [rad/s].
    resistivity : ndarray, shape (n_designs,)
        Flow resistivity, zero for none [Pa s/m2].
    air : Air
        The gas between the fibres [record].

    Returns
    -------
    tuple of two complex ndarrays, shape (n_designs, n_tones)
        Density [kg/m3] and compressibility [1/Pa].
    """
    k, z = lining_ratios(omega, resistivity[:, None])
    return air.density * k * z, k / z / air.bulk_modulus
