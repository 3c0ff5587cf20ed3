"""Viscothermal ducts against tables, expansions and limits.

H. Tijdeman, J. Sound Vib. 39, 1-33 (1975): form of the propagation constant read in a secondary text.
D. H. Keefe, J. Acoust. Soc. Am. 75(1), 58-62 (1984): large-tube expansion from memory, its first two
orders derived again. Tables marked computed come from the stated formulas by an independent script.
Lines: L. L. Beranek, T. Mellow, Acoustics (equation 4.9 read in a secondary text).
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest

import models.ducts as ducts
from models.air import Air
from tests.builders import AIR, TABLE_AIR

# computed, heat ratio 1.4, Prandtl number 0.71: s, attenuation and phase of Gamma
TIJDEMAN = [
    (0.5, 4.65034, 4.81749),
    (1.0, 2.20832, 2.54112),
    (2.0, 0.92723, 1.55401),
    (4.0, 0.34497, 1.24628),
    (6.0, 0.20729, 1.16994),
    (10.0, 0.11584, 1.10349),
    (20.0, 0.05493, 1.05204),
    (50.0, 0.02129, 1.02085),
    (100.0, 0.01054, 1.01043),
]


def one(value: float) -> np.ndarray:
    """A column of one design."""
    return np.array([value])


def round_line(hz: float, radius: float, air: Air, lossy: bool = True) -> tuple[complex, complex, float]:
    """k/k0, Zc/Z0 and s of a round duct."""
    omega = 2.0 * np.pi * hz
    area = np.pi * radius**2
    gamma, zc = ducts.line_constants(one(omega), one(area), air, lossy=lossy)
    k0 = omega / air.sound_speed
    z0 = air.density * air.sound_speed / area
    layers = radius * np.sqrt(omega / air.kinematic_viscosity)
    return complex(gamma[0] / (1j * k0)), complex(zc[0] / z0), layers


@pytest.mark.parametrize("row", TIJDEMAN)
def test_tijdeman_propagation_constant(row: tuple[float, float, float]) -> None:
    """Gamma of Tijdeman's table range, computed, to every printed digit."""
    s, attenuation, phase = row
    air = Air(density=1.2, sound_speed=343.0, viscosity=1.8e-5, heat_ratio=1.4, prandtl=0.71)
    hz = 50.0
    radius = s / np.sqrt(2.0 * np.pi * hz / air.kinematic_viscosity)
    ratio, _, _ = round_line(hz, radius, air)
    assert (1j * ratio).real == pytest.approx(attenuation, abs=0.6e-5)
    assert (1j * ratio).imag == pytest.approx(phase, abs=0.6e-5)


# computed: frequency [Hz], radius [mm], s, k/k0, Zc/Z0, loss [dB/m]
ROUND = [
    (30.0, 50.0, 176.891, 1.005895 - 0.005930j, 1.002100 - 0.002136j, 0.02829),
    (30.0, 25.0, 88.445, 1.011789 - 0.011929j, 1.004199 - 0.004346j, 0.05691),
    (30.0, 10.0, 35.378, 1.029458 - 0.030355j, 1.010491 - 0.011421j, 0.14481),
    (100.0, 25.0, 161.478, 1.006458 - 0.006499j, 1.002300 - 0.002344j, 0.10335),
    (30.0, 1.0, 3.538, 1.276681 - 0.408929j, 1.088068 - 0.209600j, 1.95076),
]


@pytest.mark.parametrize("row", ROUND)
def test_round_ducts(row: tuple[float, float, float, complex, complex, float]) -> None:
    """Wavenumber, characteristic impedance and loss of round ducts to every printed digit."""
    hz, radius_mm, s, k, z, loss_db = row
    ratio, impedance, layers = round_line(hz, radius_mm * 1e-3, TABLE_AIR)
    assert layers == pytest.approx(s, abs=0.6e-3)
    assert abs(ratio.real - k.real) < 0.6e-6 and abs(ratio.imag - k.imag) < 0.6e-6
    assert abs(impedance.real - z.real) < 0.6e-6 and abs(impedance.imag - z.imag) < 0.6e-6
    k0 = 2.0 * np.pi * hz / TABLE_AIR.sound_speed
    assert -ratio.imag * k0 * 20.0 / np.log(10.0) == pytest.approx(loss_db, abs=0.6e-5)


# computed at 30 Hz: height [mm], k/k0
SLITS = [(20.0, 1.014731 - 0.015116j), (5.0, 1.058488 - 0.065301j), (1.0, 1.283703 - 0.554204j)]


@pytest.mark.parametrize(("height_mm", "k"), SLITS)
def test_slits(height_mm: float, k: complex) -> None:
    """Wavenumber in slits to every printed digit."""
    omega = 2.0 * np.pi * 30.0
    height = one(height_mm * 1e-3)
    gamma, _ = ducts.line_constants(one(omega), one(1e-3), TABLE_AIR, slot_height=height)
    ratio = gamma[0] / (1j * omega / TABLE_AIR.sound_speed)
    assert abs(ratio.real - k.real) < 0.6e-6 and abs(ratio.imag - k.imag) < 0.6e-6


@pytest.mark.parametrize("s", [30.0, 60.0, 150.0])
def test_keefe_expansion(s: float) -> None:
    """Attenuation, phase speed and characteristic impedance of wide tubes, Keefe's air, at 26.85 degC."""
    air = Air(density=1.1769, sound_speed=347.23, viscosity=1.846e-5, heat_ratio=1.4017, prandtl=0.8410**2)
    radius = s / np.sqrt(2.0 * np.pi * 30.0 / air.kinematic_viscosity)
    k, z, _ = round_line(30.0, radius, air)
    # his form keeps orders up to the third in attenuation, the first in phase and resistance
    assert -k.imag == pytest.approx(1.045 / s + 1.080 / s**2 + 0.750 / s**3, rel=2e-3)
    assert k.real == pytest.approx(1.0 + 1.045 / s, abs=0.1 / s**2)
    assert z.real == pytest.approx(1.0 + 0.369 / s, abs=0.1 / s**2)
    assert -z.imag == pytest.approx(0.369 / s + 1.149 / s**2 + 0.303 / s**3, rel=3e-3)


def test_kirchhoff_wide_tube() -> None:
    """Kirchhoff: attenuation sqrt(w nu/2) (1 + (g - 1)/sqrt(Pr))/(a c), read in a secondary text."""
    omega, radius = 2.0 * np.pi * 1e4, 0.2
    k, _, _ = round_line(1e4, radius, TABLE_AIR)
    thermal = 1.0 + (TABLE_AIR.heat_ratio - 1.0) / np.sqrt(TABLE_AIR.prandtl)
    alpha = np.sqrt(omega * TABLE_AIR.kinematic_viscosity / 2.0) * thermal / (radius * TABLE_AIR.sound_speed)
    assert -k.imag * omega / TABLE_AIR.sound_speed == pytest.approx(alpha, rel=1e-3)


def test_thin_tube_and_slit() -> None:
    """R = 8 mu L/(pi a^4) and M = (4/3) rho L/S of a thin tube; 12 mu L/(w h^3), (6/5) rho L/S of a slit.

    The tube's forms were read in a secondary text, the slit's are from memory; the numbers are computed.
    """
    length, radius, omega = 0.01, 1e-3, 2.0 * np.pi * 0.02

    def series(area: float, height: float | None) -> complex:
        slot = None if height is None else one(height)
        gamma, zc = ducts.line_constants(one(omega), one(area), TABLE_AIR, slot_height=slot)
        return complex((gamma * zc)[0] * length)

    tube = series(np.pi * radius**2, None)
    assert tube.real == pytest.approx(4.61779e5, rel=2e-6)
    assert tube.imag / omega == pytest.approx(5110.36, rel=2e-6)
    width, height = 0.05, 1e-3
    slit = series(width * height, height)
    assert slit.real == pytest.approx(12.0 * TABLE_AIR.viscosity * length / (width * height**3), rel=1e-5)
    assert slit.imag / omega == pytest.approx(1.2 * TABLE_AIR.density * length / (width * height), rel=1e-5)


@pytest.mark.parametrize("s", [0.1, 1.0, 5.0, 24.99, 25.0, 26.0, 40.0, 100.0, 1000.0, 5000.0])
def test_round_loss_function(s: float) -> None:
    """Both branches against 2 J1(y)/(y J0(y)) by arbitrary-precision arithmetic."""
    with mpmath.workdps(30):
        y = mpmath.mpf(s) * mpmath.exp(-0.25j * mpmath.pi)
        exact = complex(2 * mpmath.besselj(1, y) / (y * mpmath.besselj(0, y)))
    alone = complex(ducts.round_loss_function(one(s))[0])
    assert abs(alone / exact - 1.0) < 1e-10
    beside_others = ducts.round_loss_function(np.array([2.0, s, 300.0]))[1]
    assert beside_others == alone


def closed_tube(hz: np.ndarray, length: float, area: float) -> np.ndarray:
    """Input impedance of a lossless tube with the far end closed."""
    z11, _, _ = ducts.duct_impedances(
        2.0 * np.pi * hz, np.array([[area]]), np.array([[length]]), AIR, lossy=False
    )
    return np.asarray(z11[0])


def test_closed_tube() -> None:
    """Z = -j (rho c/S) cot kL (Beranek and Mellow, equation 4.9, read in a secondary text)."""
    hz, length, area = np.array([20.0, 60.0, 150.0, 333.0]), 0.8, 5e-3
    k = 2.0 * np.pi * hz / AIR.sound_speed
    expected = -1j * AIR.density * AIR.sound_speed / area / np.tan(k * length)
    assert closed_tube(hz, length, area) == pytest.approx(expected, rel=1e-12)


def test_one_third_of_the_mass() -> None:
    """At low frequency a closed tube is its compliance and a third of its air in series (computed)."""
    hz, length, area = np.array([1.0, 2.0, 4.0]), 0.8, 5e-3
    omega = 2.0 * np.pi * hz
    rest = closed_tube(hz, length, area) - AIR.bulk_modulus / (1j * omega * area * length)
    assert rest.imag / omega == pytest.approx(AIR.density * length / (3.0 * area), rel=1e-3)


@pytest.mark.parametrize("lossy", [False, True])
def test_closed_open_resonances(lossy: bool) -> None:
    """f_n = (2n - 1) c/(4 L): the input impedance of a tube with an open end is largest there."""
    length = 1.1
    for n in (1, 2, 3):
        expected = (2 * n - 1) * AIR.sound_speed / (4.0 * length)
        hz = expected * np.linspace(0.97, 1.03, 6001)
        z11, z12, z22 = ducts.duct_impedances(
            2.0 * np.pi * hz, np.array([[5e-3]]), np.array([[length]]), AIR, lossy=lossy
        )
        peak = hz[np.argmax(np.abs(z11 - z12**2 / z22)[0])]
        # walls slow the wave down by 1 to 0.5 % at these frequencies
        assert peak == pytest.approx(expected, rel=0.01 if lossy else 1e-5)
        assert peak < expected * (1.0 - 1e-3) or not lossy


# computed, rho 1.2041: peak speed [m/s], resistance per area [Pa s/m] for K = 1.5 and K = 1.03
END_LOSS = [(5.0, 3.833, 2.632), (10.0, 7.666, 5.264), (17.0, 13.031, 8.948), (34.0, 26.063, 17.896)]


@pytest.mark.parametrize(("speed", "flush", "rounded"), END_LOSS)
def test_end_loss(speed: float, flush: float, rounded: float) -> None:
    """R S = (4/(3 pi)) rho K u (fundamental of u|u|, computed); both ends together carry K."""
    area = one(7e-3)
    for factor, expected in ((1.5, flush), (1.03, rounded)):
        both = 2.0 * ducts.end_resistance_per_speed(area, one(factor), TABLE_AIR)[0] * speed * area[0]
        assert both == pytest.approx(expected, abs=0.6e-3)
