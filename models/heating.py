"""The level after warm-up: the voice coil heats, its resistance rises, and the level falls.

The drive is that of the cold coil and stays: what a contest sees, where the amplifier is set once and the
clamp is read when a run begins, on a coil that is still cold. Setting the drive anew, up to the same clamp
reading, would win back about half of the loss in dB, and heat the coil further.

In steady state the coil is hotter than the air by its thermal resistance times the heat that is set free
in it, |I|^2 R(T) a coil, and R(T) follows the temperature. With x the resistance over its cold value, and k
the heat times x over that of a plain resistor at x = 1, b its rise there, x solves x^2 - x - b k(x) = 0. A
plain resistor has k = 1, so that x = (1 + sqrt(1 + 4 b)) / 2. For any passive load in series k lies between
0 and 1, and d ln k / d ln x between 0 and 2; so solving the quadratic with the last k again and again rises
from x = 1 to the solution, which is the only one: the slope of a step, at most 2 (x - 1)/(2 x - 1), is
below 1.

Left out: the magnet's slower warming, which adds to the coil's; cooling by the coil's own motion; the heat
that eddy currents set free in iron; other changes of the driver with temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from models.design import DesignBatch
from models.driver import Driver
from models.score import Judge, Responses

COPPER_COEFFICIENT = 0.00393
"""Rise of copper's resistance over that at 20 degC (IEC 60028, annealed copper, from memory) [1/K]."""

REFERENCE_C = 20.0
"""Temperature that the coefficient refers to [degC]."""

MAX_STEPS = 200
"""Steps of the fixed point; a coil at ten times its cold resistance takes about so many."""

TOLERANCE = 1e-9
"""Largest step of the ratio at which it counts as found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Warm:
    """One design after warm-up, at the cold coil's drive.

    Attributes
    ----------
    ratio : ndarray, shape (n_spaces, n_tones)
        Resistance of the coil over its cold one [1].
    temperature_c : ndarray, shape (n_spaces, n_tones)
        Of the coil in steady state [degC].
    responses : Responses
        Levels and everything else of the hot driver, a batch of one [record].
    settled : bool
        Whether temperature and drive agree at every tone [flag].
    """

    ratio: np.ndarray
    temperature_c: np.ndarray
    responses: Responses
    settled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _HotDriver(Driver):
    """A driver whose coil has another resistance in every space and at every tone."""

    hot_resistance: np.ndarray

    def coil_impedance(self, omega: np.ndarray) -> np.ndarray:
        cold = Driver.coil_impedance(self, omega)
        return np.asarray(cold + self.hot_resistance - self.coil_resistance)


def resistance_ratio(temperature_c: np.ndarray, cold_c: float) -> np.ndarray:
    """Resistance of a copper coil over its resistance when cold.

    Parameters
    ----------
    temperature_c : ndarray, any shape
        Temperature of the coil [degC].
    cold_c : float
        Temperature of the cold coil [degC].

    Returns
    -------
    ndarray, same shape
        Ratio [1].
    """
    rise = np.asarray(temperature_c, dtype=float) - cold_c
    return np.asarray(1.0 + _coefficient(cold_c) * rise)


def _coefficient(cold_c: float) -> float:
    """Relative rise of the resistance from that at a temperature [1/K]."""
    return COPPER_COEFFICIENT / (1.0 + COPPER_COEFFICIENT * (cold_c - REFERENCE_C))


def resistor_ratio(rise: np.ndarray) -> np.ndarray:
    """Hot over cold resistance of a plain resistor at constant voltage, (1 + sqrt(1 + 4 b)) / 2.

    Parameters
    ----------
    rise : ndarray, any shape
        b, the relative rise that the cold resistor's power would cause [1].

    Returns
    -------
    ndarray, same shape
        Ratio [1].
    """
    return np.asarray(0.5 * (1.0 + np.sqrt(1.0 + 4.0 * rise)))


def warm_up(judge: Judge, design: DesignBatch, voltage: np.ndarray) -> Warm:
    """Steady state of a design whose drive stays at that of the cold coil.

    Several coils count as sharing the current alike, and the air around them as being at the season's
    temperature.

    Parameters
    ----------
    judge : Judge
        The season's rules and the tones [record].
    design : DesignBatch
        A batch of one [record].
    voltage : ndarray, shape (1, n_spaces, n_tones)
        Amplifier voltage, rms [V].

    Returns
    -------
    Warm
        Temperatures and levels [record].

    Raises
    ------
    ValueError
        The driver has no thermal resistance.
    """
    rules, driver = judge.rules, judge.rules.driver
    if driver.thermal_resistance is None:
        raise ValueError("the driver has no thermal resistance")
    cold = driver.coil_resistance
    ambient = rules.air.temperature_c
    shared = 1 if rules.wiring == "series" else rules.driver_count
    per_watt = _coefficient(ambient) * driver.thermal_resistance
    known = {f.name: getattr(driver, f.name) for f in fields(Driver)}
    ratio, settled = np.ones(voltage[0].shape), False
    for _ in range(MAX_STEPS):
        hot = _HotDriver(**known, hot_resistance=cold * ratio.ravel())
        found = judge.with_rules(replace(rules, driver=hot)).with_backend("numpy").respond(design, voltage)
        heat = np.abs(found.current[0] / shared) ** 2 * cold * ratio
        if settled:
            break
        following = resistor_ratio(per_watt * heat * ratio)
        settled = bool(np.max(np.abs(following - ratio)) < TOLERANCE)
        ratio = following
    temperature = ambient + driver.thermal_resistance * heat
    return Warm(ratio=ratio, temperature_c=temperature, responses=found, settled=settled)
