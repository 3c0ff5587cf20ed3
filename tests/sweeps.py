"""Impedance sweeps made from a known driver, with or without noise, and as files."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from models.driver import Driver, driver_from_parameters
from models.identification import Setup, model_impedance
from models.impedance_peak import Sweep
from tests.builders import AIR

BOX_LOSS = 0.15
"""What the box of these sweeps adds to the mechanical loss, over the driver's own."""


def known_driver(**coil: float) -> Driver:
    """An invented small woofer: 95 Hz, Qms 4, Qes 0.5, 0.9 l, 3.4 ohm, 21 cm2."""
    data = {"fs_hz": 95.0, "qms": 4.0, "qes": 0.5, "vas_l": 0.9, "re_ohm": 3.4, "sd_cm2": 21.0}
    return driver_from_parameters(AIR, name="known", **(data | coil))


def setup_of(driver: Driver, **how: float) -> Setup:
    """Two sweeps of a driver in the open."""
    return Setup(area=driver.area, air=AIR, **how)


def clean_sweeps(
    driver: Driver, setup: Setup, points: int = 120, low: float = 20.0, high: float = 2000.0
) -> tuple[Sweep, Sweep]:
    """What ideal instruments would show."""
    hz = np.geomspace(low, high, points)
    mass, loss = driver.mass - setup.missing_load, driver.resistance_mechanical
    stiffness = 1.0 / driver.compliance
    first = model_impedance(hz, driver, mass, stiffness, loss)
    if setup.added_mass is not None:
        second = model_impedance(hz, driver, mass + setup.added_mass, stiffness, loss)
    else:
        assert setup.box_volume is not None
        air = AIR.bulk_modulus * driver.area**2 / setup.box_volume
        second = model_impedance(hz, driver, driver.mass, stiffness + air, loss * (1.0 + BOX_LOSS))
    return Sweep(hz=hz, impedance=first), Sweep(hz=hz, impedance=second)


def noisy(sweep: Sweep, rng: np.random.Generator, relative: float = 0.0, ohm: float = 0.0) -> Sweep:
    """A sweep with complex normal noise in proportion to the impedance, and of constant size."""
    noise = rng.standard_normal(sweep.hz.size) + 1j * rng.standard_normal(sweep.hz.size)
    z = sweep.impedance
    return Sweep(hz=sweep.hz, impedance=z * (1.0 + relative * noise) + ohm * noise)


def write_sweep(path: Path, sweep: Sweep, kind: str = "polar") -> Path:
    """A sweep as a file: ``polar`` with commas, or ``cartesian`` with semicolons and decimal commas."""
    z = sweep.impedance
    if kind == "polar":
        head, sign = "frequency_hz,magnitude_ohm,phase_deg", "."
        table = [sweep.hz, np.abs(z), np.degrees(np.angle(z))]
        mark = ","
    else:
        head, mark, sign = "frequency [Hz];Re [ohm];Im [ohm]", ";", ","
        table = [sweep.hz, z.real, z.imag]
    rows = [mark.join(f"{value:.6f}" for value in row).replace(".", sign) for row in zip(*table, strict=True)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path
