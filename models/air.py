"""Properties of humid air from temperature, pressure and humidity.

Sources: IEC 61094-2:2009, Annex F, whose sound speed and heat ratio are those of O. Cramer,
"The variation of the specific heat ratio and the speed of sound in air with temperature, pressure,
humidity, and CO2 concentration", JASA 93(5) 2510-2516 (1993), and whose density is CIPM-2007.
The coefficients were read in a transcription of the annex; they reproduce its printed table F.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, isfinite

CARBON_DIOXIDE = 4.0e-4
"""Mole fraction of carbon dioxide that the annex assumes."""

TEMPERATURE_RANGE_C = (-10.0, 50.0)
PRESSURE_RANGE_KPA = (50.0, 120.0)
HUMIDITY_RANGE_PERCENT = (0.0, 100.0)

_SPEED = (
    331.5024, 0.603055, -0.000528, 51.471935, 0.1495874, -0.000782, -1.82e-7, 3.73e-8, -2.93e-10,
    -85.20931, -0.228525, 5.91e-5, -2.835149, -2.15e-13, 29.179762, 0.000486,
)  # fmt: skip
_HEAT_RATIO = (
    1.400822, -1.75e-5, -1.73e-7, -0.0873629, -1.665e-4, -3.26e-6, 2.047e-8, -1.26e-10, 5.939e-14,
    -0.1199717, -8.693e-4, 1.979e-6, -0.01104, -3.478e-16, 0.0450616, 1.82e-6,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """A gas as the acoustics needs it.

    Attributes
    ----------
    density : float
        Density at rest [kg/m3].
    sound_speed : float
        Speed of sound at low frequency [m/s].
    viscosity : float
        Dynamic viscosity [Pa s].
    heat_ratio : float
        Ratio of the specific heats [1].
    prandtl : float
        Viscosity times specific heat over thermal conductivity [1].
    temperature_c : float
        Temperature [degC].
    """

    density: float
    sound_speed: float
    viscosity: float
    heat_ratio: float
    prandtl: float
    temperature_c: float = 20.0

    @property
    def kinematic_viscosity(self) -> float:
        """Viscosity over density [m2/s]."""
        return self.viscosity / self.density

    @property
    def bulk_modulus(self) -> float:
        """Adiabatic stiffness of the gas, density times sound speed squared [Pa]."""
        return self.density * self.sound_speed**2

    @property
    def thermal_diffusivity(self) -> float:
        """Kinematic viscosity over the Prandtl number [m2/s]."""
        return self.kinematic_viscosity / self.prandtl


def humid_air(
    temperature_c: float = 20.0, pressure_kpa: float = 101.325, humidity_percent: float = 50.0
) -> Air:
    """Properties of humid air, IEC 61094-2:2009 Annex F.

    The annex states its forms for 15 to 27 degC, 60 to 110 kPa and 10 to 90 % relative humidity;
    here they are also used a little outside that, -10 to 50 degC, 50 to 120 kPa and 0 to 100 %.

    Parameters
    ----------
    temperature_c : float
        Temperature [degC].
    pressure_kpa : float
        Static pressure [kPa].
    humidity_percent : float
        Relative humidity [%].

    Returns
    -------
    Air
        The gas [record].

    Raises
    ------
    ValueError
        A value is not finite or outside the range above.
    """
    for label, value, (low, high) in (
        ("temperature_c", temperature_c, TEMPERATURE_RANGE_C),
        ("pressure_kpa", pressure_kpa, PRESSURE_RANGE_KPA),
        ("humidity_percent", humidity_percent, HUMIDITY_RANGE_PERCENT),
    ):
        if not (isfinite(value) and low <= value <= high):
            raise ValueError(f"{label} = {value:g} is outside {low:g} to {high:g}")
    t, kelvin, p = temperature_c, temperature_c + 273.15, pressure_kpa * 1e3
    water = _water_fraction(t, kelvin, p, humidity_percent)
    viscosity = _viscosity(kelvin, water)
    return Air(
        density=_density(t, kelvin, p, water),
        sound_speed=_cramer(_SPEED, t, p, water),
        viscosity=viscosity,
        heat_ratio=_cramer(_HEAT_RATIO, t, p, water),
        prandtl=viscosity * _specific_heat(kelvin, water) / _conductivity(kelvin, water),
        temperature_c=t,
    )


def _water_fraction(t: float, kelvin: float, p: float, humidity_percent: float) -> float:
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    saturation = exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin)
    return humidity_percent / 100.0 * enhancement * saturation / p


def _density(t: float, kelvin: float, p: float, water: float) -> float:
    compressibility = (
        1.0
        - p
        / kelvin
        * (
            1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
            + (5.707e-6 - 2.051e-8 * t) * water
            + (1.9898e-4 - 2.376e-6 * t) * water**2
        )
        + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * water**2)
    )  # fmt: skip
    dry = (3.483740 + 1.4446 * (CARBON_DIOXIDE - 0.0004)) * 1e-3
    return dry * p / (compressibility * kelvin) * (1.0 - 0.3780 * water)


def _cramer(a: tuple[float, ...], t: float, p: float, water: float) -> float:
    """Cramer's polynomial in temperature, water, pressure and carbon dioxide, equation 15."""
    carbon = CARBON_DIOXIDE
    return (
        a[0] + a[1] * t + a[2] * t**2
        + (a[3] + a[4] * t + a[5] * t**2) * water
        + (a[6] + a[7] * t + a[8] * t**2) * p
        + (a[9] + a[10] * t + a[11] * t**2) * carbon
        + a[12] * water**2 + a[13] * p**2 + a[14] * carbon**2
        + a[15] * water * p * carbon
    )  # fmt: skip


def _viscosity(kelvin: float, water: float) -> float:
    return (
        84.986 + 7.0 * kelvin + (113.157 - kelvin) * water - 3.7501e-3 * kelvin**2 - 100.015 * water**2
    ) * 1e-8


def _conductivity(kelvin: float, water: float) -> float:
    return 4186.8e-8 * (60.054 + 1.846 * kelvin + 2.06e-6 * kelvin**2 + (40.0 - 1.775e-4 * kelvin) * water)


def _specific_heat(kelvin: float, water: float) -> float:
    return 4186.8 * (
        0.251625 - 9.2525e-5 * kelvin + 2.1334e-7 * kelvin**2 - 1.0043e-10 * kelvin**3
        + (0.12477 - 2.283e-5 * kelvin + 1.267e-7 * kelvin**2) * water
        + (0.01116 + 4.61e-6 * kelvin + 1.74e-8 * kelvin**2) * water**2
    )  # fmt: skip
