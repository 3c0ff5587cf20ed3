"""Numbers that tell how far a scale model is like the full-size box: layers at walls, Reynolds numbers.

The boundary layer is the one length that the gas itself brings along. It grows as the root of the period,
so a model n times smaller, at n times the frequency, has a layer thinner by the root of n only: against its
own sizes the layer is root n times as thick, and so are the losses that it causes (M. Almgren, "Acoustic
boundary layer influence on scale model simulation of sound propagation", J. Sound Vib. 105(2), 321-337,
1986, read).
"""

from __future__ import annotations

import numpy as np

from models.air import Air
from models.design import Ducts

TRANSITION = 500.0
"""Reynolds number on the layer's thickness at which oscillating flow along smooth walls becomes turbulent:
about 500 to 550 in experiments (M. Hino, M. Sawamoto, S. Takasu, J. Fluid Mech. 75, 193, 1976, from
memory) [1]."""


def viscous_layer(air: Air, omega: np.ndarray) -> np.ndarray:
    """Thickness of the viscous boundary layer, sqrt(2 mu / (rho omega)).

    Source: G. G. Stokes's oscillating plate, in any text of viscous flow (from memory).

    Parameters
    ----------
    air : Air
        The gas [record].
    omega : ndarray, any shape
        Angular frequency [rad/s].

    Returns
    -------
    ndarray, same shape
        Thickness [m].
    """
    return np.asarray(np.sqrt(2.0 * air.kinematic_viscosity / omega))


def thermal_layer(air: Air, omega: np.ndarray) -> np.ndarray:
    """Thickness of the thermal boundary layer: the viscous one over the root of the Prandtl number.

    Parameters
    ----------
    air : Air
        The gas [record].
    omega : ndarray, any shape
        Angular frequency [rad/s].

    Returns
    -------
    ndarray, same shape
        Thickness [m].
    """
    return np.asarray(viscous_layer(air, omega) / np.sqrt(air.prandtl))


def reynolds_number(air: Air, speed: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Reynolds number u l / nu; at equal speed it grows as the length.

    With the thickness of the viscous layer as length it is the number that :data:`TRANSITION` is about.

    Parameters
    ----------
    air : Air
        The gas [record].
    speed : ndarray, any shape
        Peak speed [m/s].
    length : ndarray, same shape
        Length [m].

    Returns
    -------
    ndarray, same shape
        Reynolds number [1].
    """
    return np.asarray(speed * length / air.kinematic_viscosity)


def hydraulic_diameter(duct: Ducts) -> np.ndarray:
    """Four times the section over its perimeter, of one tube of a duct at its first place.

    Parameters
    ----------
    duct : Ducts
        A duct [record].

    Returns
    -------
    ndarray, shape (n_designs,)
        Diameter; that of the tube where it is round [m].
    """
    area = duct.area / duct.count
    if duct.slot_height is None:
        return np.asarray(2.0 * np.sqrt(area / np.pi))
    return np.asarray(2.0 * area / (area / duct.slot_height + duct.slot_height))


def share_lost_at_walls(air: Air, omega: np.ndarray, diameter: np.ndarray) -> np.ndarray:
    """Amplitude that a wave loses to the layers over one radian of its travel in a wide tube.

    Kirchhoff's wide-tube limit, alpha = sqrt(omega nu / 2) (1 + (gamma - 1)/sqrt(Pr)) / (a c), over the
    wavenumber (in G. Kirchhoff, Ann. Phys. 134, 177, 1868; read in secondary texts). Grows as the root of
    n in a model n times smaller.

    Parameters
    ----------
    air : Air
        The gas [record].
    omega : ndarray, any shape
        Angular frequency [rad/s].
    diameter : ndarray, any shape that broadcasts
        Hydraulic diameter [m].

    Returns
    -------
    ndarray
        Attenuation over wavenumber [1].
    """
    heat = 1.0 + (air.heat_ratio - 1.0) / np.sqrt(air.prandtl)
    return np.asarray(viscous_layer(air, omega) / diameter * heat)
