"""Data of a driver as data sheets give them: keys, units, and the complete set or what is wrong."""

from __future__ import annotations

import math
from collections.abc import Mapping

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
    "nominal_ohm", "thermal_k_w", "coil_temperature_max_c",
)  # fmt: skip

_KEY_OF = {quantity: (key, unit) for key, (quantity, unit) in THIELE_SMALL_KEYS.items()}
_WANTED = ("mms", "cms", "rms", "bl", "re", "sd")


def complete_data(given: Mapping[str, float], air: Air) -> dict[str, float]:
    """All Thiele-Small quantities that follow from a data sheet.

    Parameters
    ----------
    given : mapping
        Values by the keys of :data:`THIELE_SMALL_KEYS` and :data:`OTHER_KEYS` [unit in the key].
    air : Air
        The gas [record].

    Returns
    -------
    dict
        Values in SI by names of :data:`models.thiele_small.QUANTITIES` [record].

    Raises
    ------
    DriverDataError
        Values not possible, in contradiction by more than 3 %, or not sufficient.
    TypeError
        A key that is not one of those above.
    """
    for key in given:
        if key not in THIELE_SMALL_KEYS and key not in OTHER_KEYS:
            raise TypeError(f"unknown key of a driver: {key!r}")
    _refuse_impossible(given, air)
    data = dict(given)
    if "diameter_mm" in data:
        disc = math.pi / 4.0 * (data["diameter_mm"] / 10.0) ** 2
        area = data.setdefault("sd_cm2", disc)
        if abs(area - disc) > TOLERANCE * area:
            message = f"{data['diameter_mm']:g} mm is a disc of {disc:.4g} cm2, but sd_cm2 = {area:g}"
            raise DriverDataError([("diameter_mm", message)])
    return _complete(data, air)


def _refuse_impossible(given: Mapping[str, float], air: Air) -> None:
    faults = []
    for key, value in given.items():
        zero_allowed = key in ("le_mh", "coil_k", "coil_n", "displaced_cm3", "depth_mm")
        if not math.isfinite(value):
            faults.append((key, f"{value:g} is not a finite number"))
        elif value < 0.0 or (value == 0.0 and not zero_allowed):
            faults.append((key, f"{value:g} must be {'0 or more' if zero_allowed else 'above 0'}"))
        elif key == "coil_n" and value > 1.0:
            faults.append((key, f"{value:g} must be 0 to 1"))
        elif value != 0.0 and not 1e-9 <= value <= 1e9:
            faults.append((key, f"{value:g} must be 1e-9 to 1e+9"))
        elif key == "eta0_percent" and value >= 100.0:
            faults.append((key, f"{value:g} must be below 100"))
    for other in ("qms", "qes"):
        if "qts" in given and other in given and given["qts"] > 0.0 and given["qts"] >= given[other] > 0.0:
            message = (
                f"{given['qts']:g} must be below {other} = {given[other]:g}, since 1/qts = 1/qms + 1/qes"
            )
            faults.append(("qts", message))
    most = given.get("coil_temperature_max_c")
    if most is not None and "thermal_k_w" not in given:
        faults.append(("coil_temperature_max_c", f"{most:g} says nothing without thermal_k_w"))
    if most is not None and most <= air.temperature_c:
        message = f"{most:g} must be above the air's temperature, {air.temperature_c:g}"
        faults.append(("coil_temperature_max_c", message))
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
