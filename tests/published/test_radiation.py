"""Openings in a rigid plane against tables of pistons, rectangles and pairs of discs.

L. E. Kinsler, A. R. Frey, Fundamentals of Acoustics: appendix of piston functions (the table here is
computed; it agrees with the printed one in the four digits that are remembered). P. R. Stepanishen,
J. Sound Vib. 55(2), 275-288 (1977): rectangular pistons (closed form computed). J.-P. Dalmont,
C. J. Nederveen, N. Joly, J. Sound Vib. 244(3), 505-534 (2001): 0.8216, read; Y. Nomura and others,
J. Phys. Soc. Japan 15, 510 (1960): 0.8217, from memory. R. L. Pritchard, J. Acoust. Soc. Am. 32, 730
(1960): mutual impedance, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.envelope import Envelope, Site, front_centre
from models.radiation import (
    FLANGED_DUCT,
    disc_length,
    half_space_table,
    piston_functions,
    rectangle_length,
)
from models.spaces import HalfSpace
from tests.builders import AIR

# computed: 2ka, R1, X1
PISTON = [
    (0.2, 0.00499, 0.08466),
    (0.4, 0.01987, 0.16796),
    (0.6, 0.04433, 0.24860),
    (0.8, 0.07789, 0.32531),
    (1.0, 0.11990, 0.39691),
    (1.2, 0.16952, 0.46237),
    (1.4, 0.22579, 0.52075),
    (1.6, 0.28763, 0.57131),
    (2.0, 0.42328, 0.64676),
    (2.5, 0.60232, 0.69052),
    (3.0, 0.77396, 0.68007),
    (4.0, 1.03302, 0.53486),
    (5.0, 1.13103, 0.32312),
    (6.0, 1.09223, 0.15939),
    (8.0, 0.94134, 0.12203),
    (10.0, 0.99131, 0.17837),
]

# computed: aspect, length over the root of the area, the same over that of the equal disc
RECTANGLES = [
    (1.0, 0.47320, 0.9881),
    (1.5, 0.46852, 0.9783),
    (2.0, 0.45976, 0.9600),
    (3.0, 0.44074, 0.9203),
    (4.0, 0.42338, 0.8841),
    (5.0, 0.40821, 0.8524),
    (6.0, 0.39496, 0.8247),
    (8.0, 0.37291, 0.7787),
    (10.0, 0.35519, 0.7417),
    (15.0, 0.32244, 0.6733),
    (20.0, 0.29933, 0.6250),
    (50.0, 0.23011, 0.4805),
]

OMEGA = 2.0 * np.pi * np.array([20.0, 50.0, 120.0])
K = OMEGA / AIR.sound_speed
ENVELOPE = Envelope(width=4.0, height=4.0, depth=1.0, wall=0.01)
SPACE = HalfSpace(name="half space", distance=1.0)


@pytest.mark.parametrize("row", PISTON)
def test_piston_functions(row: tuple[float, float, float]) -> None:
    """Resistance and reactance of a flanged disc."""
    resistance, reactance = piston_functions(np.array([row[0]]))
    assert resistance[0] == pytest.approx(row[1], abs=0.6e-5)
    assert reactance[0] == pytest.approx(row[2], abs=0.6e-5)


@pytest.mark.parametrize("row", RECTANGLES)
def test_rectangles(row: tuple[float, float, float]) -> None:
    """Near-field length of rectangles, either way up."""
    aspect, over_root, over_disc = row
    area = np.array([7e-3])
    length = rectangle_length(area, aspect)[0]
    assert length / np.sqrt(area[0]) == pytest.approx(over_root, abs=0.6e-5)
    assert length / disc_length(area)[0] == pytest.approx(over_disc, abs=0.6e-4)
    assert rectangle_length(area, 1.0 / aspect)[0] == pytest.approx(length, rel=1e-12)


def test_disc_and_flanged_duct() -> None:
    """8/(3 pi) radii for uniform velocity (computed); 0.8216 or 0.8217 for the true profile."""
    assert disc_length(np.array([np.pi * 0.05**2]))[0] / 0.05 == pytest.approx(0.848826, abs=0.6e-6)
    assert FLANGED_DUCT == pytest.approx(0.8216, abs=1.1e-4)


def test_reactance_of_a_small_disc_is_its_near_field() -> None:
    """X1 tends to 8 ka/(3 pi), the disc's near-field length, and R1 to (ka)^2/2."""
    ka = 0.01
    resistance, reactance = piston_functions(np.array([2.0 * ka]))
    assert reactance[0] == pytest.approx(ka * disc_length(np.array([np.pi]))[0], rel=1e-4)
    assert resistance[0] == pytest.approx(ka**2 / 2.0, rel=1e-4)


def test_resistance_of_a_site() -> None:
    """The table's self term is the small disc's resistance, whatever the disc."""
    table = half_space_table(SPACE, ENVELOPE, (front_centre(ENVELOPE),), OMEGA, AIR)
    radius = 1e-3
    resistance, _ = piston_functions(2.0 * K * radius)
    expected = AIR.density * AIR.sound_speed / (np.pi * radius**2) * resistance
    assert table.impedance[0, 0].real == pytest.approx(expected, rel=1e-5)
    assert table.impedance[0, 0].imag == pytest.approx(0.0, abs=1e-12)


# Pritchard's form and its exact integral (computed): ka, kd, Z12/(rho c S)
PAIRS = [
    (0.1, 0.3, 0.0049253 + 0.0159223j, 0.0049172 + 0.0164237j),
    (0.1, 0.5, 0.0047943 + 0.0087758j, 0.0047863 + 0.0088696j),
    (0.2, 0.6, 0.0188214 + 0.0275112j, 0.0186979 + 0.0284286j),
    (0.2, 1.0, 0.0168294 + 0.0108060j, 0.0167217 + 0.0109820j),
]


@pytest.mark.parametrize(("ka", "kd", "form", "exact"), PAIRS)
def test_mutual_impedance(ka: float, kd: float, form: complex, exact: complex) -> None:
    """Two sites on the front as a pair of discs: Pritchard's form, and close to the exact integral."""
    apart = 1.0
    k = kd / apart
    sites = (Site("x-", (1.5, 2.0)), Site("x-", (1.5 + apart, 2.0)))
    omega = np.array([k * AIR.sound_speed])
    z = half_space_table(SPACE, ENVELOPE, sites, omega, AIR).impedance
    area = np.pi * (ka / k) ** 2
    found = z[0, 1, 0] * area / (AIR.density * AIR.sound_speed)
    assert found.real == pytest.approx(form.real, abs=0.6e-7)
    assert found.imag == pytest.approx(form.imag, abs=0.6e-7)
    assert abs(found - exact) < 0.035 * abs(exact)
    assert z[1, 0, 0] == z[0, 1, 0]


def test_level_of_one_watt() -> None:
    """One acoustic watt in a half space is 112.152 dB at 1 m (computed, 20 degC, 50 %)."""
    table = half_space_table(SPACE, ENVELOPE, (front_centre(ENVELOPE),), OMEGA, AIR)
    flow = 1.0 / np.sqrt(table.impedance[0, 0].real)
    level = 20.0 * np.log10(np.abs(table.transfer[0]) * flow / 20e-6)
    assert level == pytest.approx(112.152, abs=0.6e-3)


def test_two_near_sites_radiate_as_one() -> None:
    """Resistances of sites near each other against the wavelength are all equal."""
    sites = (Site("x-", (2.0, 2.0)), Site("x-", (2.9, 2.0)))
    z = half_space_table(SPACE, ENVELOPE, sites, np.array([1.0]), AIR).impedance[..., 0].real
    assert z == pytest.approx(z[0, 0], rel=1e-5)


def test_radiation_switch_keeps_the_transfer() -> None:
    """Without radiation the sites feel no load, the microphone hears the same."""
    sites = (front_centre(ENVELOPE), Site("x-", (1.0, 1.0)))
    loaded = half_space_table(SPACE, ENVELOPE, sites, OMEGA, AIR)
    free = half_space_table(SPACE, ENVELOPE, sites, OMEGA, AIR, radiation=False)
    assert not np.any(free.impedance)
    assert np.array_equal(free.transfer, loaded.transfer)
