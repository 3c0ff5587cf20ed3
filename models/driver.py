"""The loudspeaker driver: lumped parameters, and the way to them from Thiele-Small data.

The data sheet's resonance belongs to a mass that includes the air load on both faces of a baffle
mounting, 2 (8/3) rho a^3. A network that adds radiation at the driver's faces itself starts from
:meth:`Driver.mass_in_vacuo`; one without radiation uses :attr:`Driver.mass`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.air import Air
from models.driver_data import DriverDataError, complete_data

__all__ = ["Driver", "DriverDataError", "driver_from_parameters"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Driver:
    """A moving-coil driver in SI units.

    Attributes
    ----------
    name : str
        Name in reports [text].
    area : float
        Effective piston area Sd [m2].
    mass : float
        Moving mass Mms including the two-sided air load of a baffle mounting [kg].
    compliance : float
        Suspension compliance Cms [m/N].
    resistance_mechanical : float
        Mechanical loss Rms [kg/s].
    force_factor : float
        Bl [T m].
    coil_resistance : float
        Resistance of the voice coil Re [ohm].
    coil_inductance : float
        Inductance in series Le [H].
    coil_loss_k, coil_loss_n : float
        K and n of the lossy inductance K (j w)^n in series (Leach 2002) [ohm s^n], [1].
    displaced_volume : float
        Volume the driver takes from the chamber behind it [m3].
    cutout, frame, depth : float
        Diameter of the cut-out, diameter of the frame, depth behind the mounting face [m].
    nominal_resistance : float
        Resistance by which a nominal power V^2/R is read [ohm].
    thermal_resistance : float or None
        From the coil to the air around the driver; None where it is not known [K/W].
    coil_temperature_max_c : float or None
        Temperature that the coil bears; None where it is not known [degC].
    """

    name: str
    area: float
    mass: float
    compliance: float
    resistance_mechanical: float
    force_factor: float
    coil_resistance: float
    coil_inductance: float = 0.0
    coil_loss_k: float = 0.0
    coil_loss_n: float = 0.5
    displaced_volume: float
    cutout: float
    frame: float
    depth: float
    nominal_resistance: float
    thermal_resistance: float | None = None
    coil_temperature_max_c: float | None = None

    @property
    def radius(self) -> float:
        """Radius of a disc of the effective area [m]."""
        return math.sqrt(self.area / math.pi)

    @property
    def fs(self) -> float:
        """Free-air resonance [Hz]."""
        return 1.0 / (2.0 * math.pi * math.sqrt(self.mass * self.compliance))

    @property
    def qms(self) -> float:
        """Mechanical quality factor at resonance [1]."""
        return math.sqrt(self.mass / self.compliance) / self.resistance_mechanical

    @property
    def qes(self) -> float:
        """Electrical quality factor at resonance [1]."""
        return math.sqrt(self.mass / self.compliance) * self.coil_resistance / self.force_factor**2

    @property
    def qts(self) -> float:
        """Total quality factor at resonance [1]."""
        return self.qms * self.qes / (self.qms + self.qes)

    def vas(self, air: Air) -> float:
        """Volume of air as compliant as the suspension [m3]."""
        return air.bulk_modulus * self.area**2 * self.compliance

    def reference_efficiency(self, air: Air) -> float:
        """Reference efficiency eta0 in a half space, (4 pi^2 / c^3) fs^3 Vas / Qes [1]."""
        return 4.0 * math.pi**2 / air.sound_speed**3 * self.fs**3 * self.vas(air) / self.qes

    def air_load(self, air: Air) -> float:
        """Mass of the two-sided baffle load 2 (8/3) rho a^3 [kg]."""
        return 2.0 * 8.0 / 3.0 * air.density * self.radius**3

    def mass_in_vacuo(self, air: Air) -> float:
        """Moving mass less the two-sided baffle load 2 (8/3) rho a^3.

        Parameters
        ----------
        air : Air
            The gas [record].

        Returns
        -------
        float
            Mass of the moving parts alone [kg].

        Raises
        ------
        ValueError
            The air load is not smaller than the moving mass.
        """
        load = self.air_load(air)
        if load >= self.mass:
            raise ValueError(
                f"moving mass {self.mass * 1e3:.4g} g is not above the air load "
                f"{load * 1e3:.4g} g of {self.area * 1e4:.4g} cm2"
            )
        return self.mass - load

    def coil_impedance(self, omega: np.ndarray) -> np.ndarray:
        """Blocked impedance Re + j w Le + K (j w)^n.

        Source: W. M. Leach, "Loudspeaker Voice-Coil Inductance Losses", JAES 50(6) 442-450 (2002).

        Parameters
        ----------
        omega : ndarray, any shape
            Angular frequency [rad/s].

        Returns
        -------
        ndarray of complex, same shape
            Impedance [ohm].
        """
        jw = 1j * np.asarray(omega, dtype=float)
        return self.coil_resistance + jw * self.coil_inductance + self.coil_loss_k * jw**self.coil_loss_n

    def mechanical_impedance(self, omega: np.ndarray) -> np.ndarray:
        """Impedance j w Mms + Rms + 1/(j w Cms), with the data sheet's air load in the mass.

        Parameters
        ----------
        omega : ndarray, any shape
            Angular frequency [rad/s].

        Returns
        -------
        ndarray of complex, same shape
            Force per velocity [kg/s].
        """
        jw = 1j * np.asarray(omega, dtype=float)
        return jw * self.mass + self.resistance_mechanical + 1.0 / (jw * self.compliance)


def driver_from_parameters(air: Air, *, name: str = "driver", **keys: float | None) -> Driver:
    """Driver from Thiele-Small data in any sufficient combination.

    Parameters
    ----------
    air : Air
        The gas that Vas and eta0 refer to [record].
    name : str
        Name in reports [text].
    **keys : float or None
        ``fs_hz, qms, qes, qts, vas_l, re_ohm, sd_cm2`` or ``diameter_mm`` (effective), ``mms_g, cms_mm_n,
        rms_kg_s, bl_tm, eta0_percent``; ``le_mh, coil_k`` (default 0), ``coil_n`` (0.5); ``displaced_cm3``
        (0), ``cutout_mm`` (the effective diameter), ``frame_mm`` (the cut-out), ``depth_mm`` (0),
        ``nominal_ohm`` (``re_ohm``), ``thermal_k_w`` and ``coil_temperature_max_c`` (not known); None
        counts as not given [unit in the key].

    Returns
    -------
    Driver
        The complete driver [record].

    Raises
    ------
    DriverDataError
        Values not possible, in contradiction by more than 3 %, or not sufficient.
    TypeError
        A key that is not one of those above.
    """
    given = {key: float(value) for key, value in keys.items() if value is not None}
    full = complete_data(given, air)
    diameter = 2.0 * math.sqrt(full["sd"] / math.pi)
    cutout = given.get("cutout_mm", diameter * 1e3) * 1e-3
    return Driver(
        name=name,
        area=full["sd"],
        mass=full["mms"],
        compliance=full["cms"],
        resistance_mechanical=full["rms"],
        force_factor=full["bl"],
        coil_resistance=full["re"],
        coil_inductance=given.get("le_mh", 0.0) * 1e-3,
        coil_loss_k=given.get("coil_k", 0.0),
        coil_loss_n=given.get("coil_n", 0.5),
        displaced_volume=given.get("displaced_cm3", 0.0) * 1e-6,
        cutout=cutout,
        frame=given.get("frame_mm", cutout * 1e3) * 1e-3,
        depth=given.get("depth_mm", 0.0) * 1e-3,
        nominal_resistance=given.get("nominal_ohm", full["re"]),
        thermal_resistance=given.get("thermal_k_w"),
        coil_temperature_max_c=given.get("coil_temperature_max_c"),
    )
