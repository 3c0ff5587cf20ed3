"""The loudspeaker driver: lumped parameters, and the way to them from Thiele-Small data.

The data sheet's resonance belongs to a mass that includes the air load on both faces of a baffle
mounting, 2 (8/3) rho a^3. A network that adds radiation at the driver's faces itself starts from
:meth:`Driver.mass_in_vacuo`; one without radiation uses :attr:`Driver.mass`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.air import Air
from models.thiele_small import TOLERANCE, SurplusError, completing, solve


class DriverDataError(ValueError):
    """Driver data that contradict each other, do not suffice, or cannot be.

    Attributes
    ----------
    faults : tuple of (str, str)
        Key and what is wrong with it, all at once [list].
    """

    def __init__(self, faults: list[tuple[str, str]]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{key}: {message}" for key, message in faults))


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
        load = 2.0 * 8.0 / 3.0 * air.density * self.radius**3
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


THIELE_SMALL_KEYS = {
    "fs_hz": ("fs", 1.0),
    "qms": ("qms", 1.0),
    "qes": ("qes", 1.0),
    "qts": ("qts", 1.0),
    "vas_l": ("vas", 1e-3),
    "re_ohm": ("re", 1.0),
    "sd_cm2": ("sd", 1e-4),
    "mms_g": ("mms", 1e-3),
    "cms_mm_n": ("cms", 1e-3),
    "rms_kg_s": ("rms", 1.0),
    "bl_tm": ("bl", 1.0),
    "eta0_percent": ("eta0", 1e-2),
}
"""Key of the data sheet to the quantity and its unit in SI."""

OTHER_KEYS = (
    "diameter_mm", "le_mh", "coil_k", "coil_n", "displaced_cm3", "cutout_mm", "frame_mm", "depth_mm",
    "nominal_ohm",
)  # fmt: skip

_KEY_OF = {quantity: (key, unit) for key, (quantity, unit) in THIELE_SMALL_KEYS.items()}
_WANTED = ("mms", "cms", "rms", "bl", "re", "sd")


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
        ``nominal_ohm`` (``re_ohm``); None counts as not given [unit in the key].

    Returns
    -------
    Driver
        The complete driver [record].

    Raises
    ------
    DriverDataError
        Values that are not possible, contradict each other by more than 3 %, or do not suffice.
    TypeError
        A key that is not one of those above.
    """
    given = {key: float(value) for key, value in keys.items() if value is not None}
    for key in given:
        if key not in THIELE_SMALL_KEYS and key not in OTHER_KEYS:
            raise TypeError(f"driver_from_parameters() got an unknown key {key!r}")
    _refuse_impossible(given)
    if "diameter_mm" in given:
        disc = math.pi / 4.0 * (given["diameter_mm"] / 10.0) ** 2
        if abs(given.setdefault("sd_cm2", disc) - disc) > TOLERANCE * given["sd_cm2"]:
            message = (
                f"{given['diameter_mm']:g} mm is a disc of {disc:.4g} cm2, but sd_cm2 = {given['sd_cm2']:g}"
            )
            raise DriverDataError([("diameter_mm", message)])
    full = _complete(given, air)
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
    )


def _refuse_impossible(given: Mapping[str, float]) -> None:
    faults = []
    for key, value in given.items():
        zero_allowed = key in ("le_mh", "coil_k", "coil_n", "displaced_cm3", "depth_mm")
        if not math.isfinite(value):
            faults.append((key, f"{value:g} is not a finite number"))
        elif value < 0.0 or (value == 0.0 and not zero_allowed):
            faults.append((key, f"{value:g} must be {'0 or more' if zero_allowed else 'above 0'}"))
        elif key == "coil_n" and value > 1.0:
            faults.append((key, f"{value:g} must be 0 to 1"))
        elif key == "eta0_percent" and value >= 100.0:
            faults.append((key, f"{value:g} must be below 100"))
    for other in ("qms", "qes"):
        if "qts" in given and other in given and given["qts"] > 0.0 and given["qts"] >= given[other] > 0.0:
            message = (
                f"{given['qts']:g} must be below {other} = {given[other]:g}, since 1/qts = 1/qms + 1/qes"
            )
            faults.append(("qts", message))
    if faults:
        raise DriverDataError(faults)


def _complete(given: Mapping[str, float], air: Air) -> dict[str, float]:
    quantities = {q: given[key] * unit for key, (q, unit) in THIELE_SMALL_KEYS.items() if key in given}
    try:
        full = solve(quantities, air)
    except SurplusError as error:
        faults = []
        for quantity, value, sources in error.conflicts:
            key, unit = _KEY_OF[quantity]
            others = ", ".join(_KEY_OF[source][0] for source in sources)
            faults.append((key, f"{given[key]:g} is given, but {value / unit:.4g} follows from {others}"))
        raise DriverDataError(faults) from None
    missing = [_KEY_OF[q][0] for q in _WANTED if q not in full]
    if missing:
        enough = [_KEY_OF[q][0] for q in completing(quantities, _WANTED, air)]
        hint = f"; any one of {', '.join(enough)} would do" if enough else "; more than one value is missing"
        raise DriverDataError([("driver", f"not enough data to find {', '.join(missing)}{hint}")])
    return full
