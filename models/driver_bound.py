"""What no enclosure can exceed, whatever is in it: the power that a driver can give away, radiated at best.

Two facts hold for every passive enclosure. Of the power that goes into a driver, only a part can leave
it, however well its load is matched. And from the power P = q^H R q that leaves through openings with
volume velocities q, the pressure p = t q at the microphone is at most sqrt(P t^H R^-1 t), by
Cauchy and Schwarz, where R is the real part of the openings' impedance matrix. Excursion and air speed
do not enter: a mouth as wide as its face makes both harmless.
"""

from __future__ import annotations

import numpy as np

from models.outside import OutsideTable
from models.rules import Rules
from models.score import REFERENCE_PRESSURE

WORST_CONDITION = 1e11
"""Ratio of the eigenvalues of R beyond which its inverse says nothing sure."""


def most_power_out(rules: Rules, omega: np.ndarray) -> np.ndarray:
    """Mean power that all drivers can give to any passive load within the limits of power and voltage.

    A load of resistance R takes the share R/(a (Rms + R)^2 + Rms + R) at most, with a = Re Zc/Bl^2 and the
    reactance cancelled; the largest value is at R^2 = Rms^2 + Rms/a. From V volts behind the coil no
    load takes more than V^2/(4 Re Zc). Real power never exceeds apparent power.

    Parameters
    ----------
    rules : Rules
        Driver and limits [record].
    omega : ndarray, shape (n_columns,)
        Angular frequency [rad/s].

    Returns
    -------
    ndarray, shape (n_columns,)
        Power [W].
    """
    driver, limits = rules.driver, rules.limits
    coil = driver.coil_impedance(omega).real
    heat, own = coil / driver.force_factor**2, driver.resistance_mechanical
    load = np.sqrt(own**2 + own / heat)
    most = limits.power * load / (heat * (own + load) ** 2 + own + load)
    if limits.power_kind == "nominal":  # the same for any number of drivers, in series or in parallel
        most = limits.power * driver.nominal_resistance / (4.0 * coil)
    if limits.voltage is not None:
        most = np.minimum(most, rules.driver_count * limits.voltage**2 / (4.0 * coil))
    return np.asarray(most * (1.0 + 1e-12))


def driver_bound_db(rules: Rules, outside: OutsideTable, omega: np.ndarray) -> np.ndarray | None:
    """Level at the microphone that no enclosure with openings at the sites exceeds.

    Parameters
    ----------
    rules : Rules
        Driver and limits [record].
    outside : OutsideTable
        The outside at all sites [record].
    omega : ndarray, shape (n_columns,)
        Angular frequency of each column [rad/s].

    Returns
    -------
    ndarray, shape (n_columns,), or None
        Levels re 20 uPa; None where the openings' resistances are too near to singular for a finite
        bound, as those of many sites in the open are [dB].
    """
    power = most_power_out(rules, omega)
    levels = []
    for column in range(omega.size):
        resistance = outside.impedance[:, :, column].real
        transfer = outside.transfer[:, column]
        values = np.linalg.eigvalsh(resistance)
        if not values[0] * WORST_CONDITION > values[-1]:
            return None
        per_watt = float((np.conj(transfer) @ np.linalg.solve(resistance, transfer)).real)
        levels.append(10.0 * np.log10(per_watt * power[column] / REFERENCE_PRESSURE**2 * (1.0 + 1e-4)))
    return np.array(levels)
