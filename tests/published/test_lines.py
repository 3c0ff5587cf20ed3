"""Closed, quarter-wave and tapped lines as graphs, against resonances in closed form and direct two-ports.

f_n = (2n - 1) c/(4 L) and Z = -j (rho c/S) cot kL: L. L. Beranek, T. Mellow, Acoustics (equation 4.9 read in
a secondary text). The one-third mass is computed. Two-ports: tests/two_ports.py, which solves for pressures.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import jv

from models.rules import Physics
from models.topology import parse_graph_id
from tests import two_ports
from tests.builders import AIR, PLAIN, SITES, Tube, driven, lumped, make_rules, sealed_space, worked_driver
from tests.two_ports import Link

DRIVER = worked_driver(le_mh=0.9)
HZ = np.linspace(15.0, 400.0, 120)
SMALL = 2e-4
"""Volume of a chamber that only joins a driver to a line [m3]."""


def load(
    hz: np.ndarray, graph: str, volumes: list[float], tubes: list[Tube], physics: Physics = PLAIN
) -> np.ndarray:
    """Impedance that the cone meets: what drives it per flow, less its own impedance [Pa s/m3]."""
    rules = make_rules(driver=DRIVER, tones_hz=hz, physics=physics)
    _, state, omega = driven(rules, lumped(parse_graph_id(graph), volumes, tubes), 1.0)
    coil = DRIVER.coil_impedance(omega)
    own = DRIVER.mechanical_impedance(omega) + DRIVER.force_factor**2 / coil
    drive = DRIVER.force_factor / coil / DRIVER.area
    return np.asarray(drive / state.flows[0] - own / DRIVER.area**2)


@pytest.mark.parametrize("n", [1, 2, 3])
def test_closed_open_resonances(n: int) -> None:
    """A line open at its far end resists the cone the most at (2n - 1) c/(4 L); its chamber is a drop."""
    length = 1.4
    expected = (2 * n - 1) * AIR.sound_speed / (4.0 * length)
    hz = expected * np.linspace(0.98, 1.02, 4001)
    z = load(hz, "oA/Ao", [1e-7], [Tube(area=0.02, length=length, line=length)])
    assert hz[np.argmax(np.abs(z))] == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize("n", [1, 2])
def test_closed_closed_resonances(n: int) -> None:
    """A line closed at the far end by a drop of air resists the most at n c/(2 L), the least between."""
    length = 1.4
    for place, pick in ((n, np.argmax), (n - 0.5, np.argmin)):
        expected = place * AIR.sound_speed / (2.0 * length)
        hz = expected * np.linspace(0.98, 1.02, 4001)
        z = load(hz, "oA/AB", [1e-7, 1e-7], [Tube(area=0.02, length=length, line=length)])
        assert hz[pick(np.abs(z))] == pytest.approx(expected, rel=2e-5)


def test_one_third_of_the_mass() -> None:
    """At low frequency a closed line is its compliance and a third of its air in series (computed)."""
    hz, length, area = np.array([2.0, 4.0, 8.0]), 0.8, 0.02
    omega = 2.0 * np.pi * hz
    z = load(hz, "oA/AB", [1e-9, 1e-9], [Tube(area=area, length=length, line=length)])
    rest = z - AIR.bulk_modulus / (1j * omega * area * length)
    assert rest.imag / omega == pytest.approx(AIR.density * length / (3.0 * area), rel=1e-3)


def flows(
    graph: str, volumes: list[float], tubes: list[Tube], physics: Physics = PLAIN
) -> tuple[np.ndarray, np.ndarray]:
    """Cone flow, and flows at both ends of every duct, per volt."""
    rules = make_rules(driver=DRIVER, tones_hz=HZ, physics=physics)
    network, state, _ = driven(rules, lumped(parse_graph_id(graph), volumes, tubes), 1.0)
    return state.flows[0], state.flows[network.first_duct :]


def lines(tubes: list[Tube]) -> list[two_ports.Chain]:
    """Chain matrices of lossless lines."""
    return [two_ports.line(2.0 * np.pi * HZ, AIR, tube.area, tube.length) for tube in tubes]


def expected_flows(
    places: tuple[int, int], volumes: list[float], links: list[Link]
) -> tuple[np.ndarray, np.ndarray]:
    """The same by the independent two-ports."""
    cone, pairs = two_ports.cone_flow(2.0 * np.pi * HZ, AIR, DRIVER, places, volumes, links)
    return cone, np.array([flow for pair in pairs for flow in pair])


def assert_same(found: tuple[np.ndarray, np.ndarray], expected: tuple[np.ndarray, np.ndarray]) -> None:
    """Equal flows within 1e-8 of the largest at each frequency."""
    largest = np.max(np.abs(np.vstack([expected[0], expected[1]])), axis=0)
    for one, two in zip(found, expected, strict=True):
        assert np.max(np.abs(one - two) / largest) < 1e-8


def test_quarter_wave_line() -> None:
    """A line behind the driver, open at its end: ``oA/Ao`` with a small chamber."""
    tubes = [Tube(area=0.02, length=1.9, line=1.9)]
    expected = expected_flows((-1, 0), [SMALL], [Link(0, -1, lines(tubes)[0])])
    assert_same(flows("oA/Ao", [SMALL], tubes), expected)


@pytest.mark.parametrize("behind", [SMALL, 0.02])
def test_driver_along_a_line(behind: float) -> None:
    """A driver a third along a line that is closed behind it: ``oA/AB.Ao``, B the closed end."""
    tubes = [Tube(area=0.02, length=0.7, line=0.7), Tube(area=0.02, length=1.4, line=1.4)]
    stub, rest = lines(tubes)
    expected = expected_flows((-1, 0), [SMALL, behind], [Link(0, 1, stub), Link(0, -1, rest)])
    assert_same(flows("oA/AB.Ao", [SMALL, behind], tubes), expected)


def test_tapped_line() -> None:
    """A driver's two faces tap one line: ``AB/AB.Ao`` with small chambers."""
    tubes = [Tube(area=0.015, length=1.6, line=1.6), Tube(area=0.025, length=0.5, line=0.5)]
    between, mouth = lines(tubes)
    volumes = [SMALL, 2.0 * SMALL]
    expected = expected_flows((0, 1), volumes, [Link(0, 1, between), Link(0, -1, mouth)])
    assert_same(flows("AB/AB.Ao", volumes, tubes), expected)


def test_two_lines_of_unequal_length() -> None:
    """Each face into a line of its own, both open: ``AB/Ao.Bo``."""
    tubes = [Tube(area=0.015, length=0.6, line=0.6), Tube(area=0.02, length=1.8, line=1.8)]
    short, long = lines(tubes)
    expected = expected_flows((0, 1), [SMALL, SMALL], [Link(0, -1, short), Link(1, -1, long)])
    assert_same(flows("AB/Ao.Bo", [SMALL, SMALL], tubes), expected)


def test_quarter_wave_line_with_wall_losses() -> None:
    """The same line with viscous and thermal losses by the Bessel form written again here.

    A drop of air, so that the chamber's own losses are not seen.
    """
    tube = Tube(area=0.002, length=1.5, line=1.5)
    physics = Physics(chambers="lump", duct_end_loss=False, radiation=False)
    omega = 2.0 * np.pi * HZ
    radius = np.sqrt(tube.area / np.pi)

    def loss(diffusivity: float) -> np.ndarray:
        y = radius * np.sqrt(-1j * omega / diffusivity)
        return np.asarray(2.0 * jv(1, y) / (y * jv(0, y)))

    series = 1j * omega * AIR.density / tube.area / (1.0 - loss(AIR.kinematic_viscosity))
    shunt = 1j * omega * tube.area / AIR.bulk_modulus
    shunt = shunt * (1.0 + (AIR.heat_ratio - 1.0) * loss(AIR.thermal_diffusivity))
    expected = np.sqrt(series / shunt) * np.tanh(np.sqrt(series * shunt) * tube.length)
    z = load(HZ, "oA/Ao", [1e-10], [tube], physics)
    assert z == pytest.approx(expected, rel=2e-4)


def test_line_into_a_closed_space() -> None:
    """A line that ends in a space with an impedance of its own: the load is the transformed impedance."""
    tube = Tube(area=0.01, length=1.1, line=1.1)
    rules = make_rules(driver=DRIVER, tones_hz=HZ)
    space = sealed_space(rules.omega)
    batch = lumped(parse_graph_id("AB/Ao"), [1e-8, 0.05], [tube])
    assert len(SITES) == space.impedance.shape[0]
    network, state, omega = driven(rules, batch, 1.0, outside=space)
    _, _, c, d = two_ports.line(omega, AIR, tube.area, tube.length)
    # radiation switched off leaves the uniform pressure of the space without the site's near field
    end = space.impedance[0, 0] - 1j * omega * space.self_inertance[0]
    first = network.first_duct
    assert state.flows[first] == pytest.approx((c * end + d) * state.flows[first + 1], rel=1e-7)
