"""Bandpass enclosures.

Fourth order: L. R. Fincham, "A Bandpass Loudspeaker Enclosure", AES preprint 1512 (1979), and
E. R. Geddes, "An Introduction to Band-Pass Loudspeaker Systems", JAES 37(5) 308-342 (1989), both from
memory; the transfer function was derived again and the numbers computed from it. Sixth order: no
published table; identities that need none.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.design import DesignBatch
from models.driver import Driver
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import AIR, Passive, Tube, driven, lossless_driver, lumped, make_rules, worked_driver

FOURTH = parse_graph_id("AB/Bo")
PARALLEL = parse_graph_id("AB/Ao.Bo")
F0 = 60.0
AREA = 0.02


def column(volume: float, hz: float) -> float:
    """Length of an air column of AREA that resonates with a volume [m]."""
    return float(AIR.sound_speed**2 * AREA / (volume * (2.0 * np.pi * hz) ** 2))


def symmetric(qtc: float, front_ratio: float) -> tuple[Driver, DesignBatch]:
    """Driver and enclosure with both tunings at F0: rear box as large as Vas, so fs = F0/sqrt(2)."""
    driver = lossless_driver(AIR, fs_hz=F0 / np.sqrt(2.0), qts=qtc / np.sqrt(2.0))
    vas = driver.vas(AIR)
    front = vas / 2.0 / front_ratio  # suspension and rear box in series are as compliant as half Vas
    return driver, lumped(FOURTH, [vas, front], [Tube(area=AREA, length=column(front, F0))])


def gain_db(driver: Driver, batch: DesignBatch, hz: np.ndarray) -> np.ndarray:
    """Level over that of the same driver's pass band in a half space."""
    acceleration = driver.force_factor / driver.coil_resistance / driver.mass
    pressure = AIR.density * driver.area * acceleration / (2.0 * np.pi)
    level = Judge(make_rules(driver=driver), hz).respond(batch, 1.0).level_db[0, 0]
    return np.asarray(level - 20.0 * np.log10(pressure / 20e-6))


# computed: Qtc, aF, gain at the centre [dB], lower and upper -3 dB frequency over the centre
BUTTERWORTH = [
    (0.5, 2.0, -6.0206, 0.517638, 1.931852),
    (np.sqrt(0.5), 1.0, 0.0, 0.618034, 1.618034),
    (1.0, 0.5, 6.0206, 0.707107, 1.414214),
]


@pytest.mark.parametrize("row", BUTTERWORTH)
def test_fourth_order_centre_and_edges(row: tuple[float, ...]) -> None:
    """Gain at the centre, and 3.0103 dB less at both edges."""
    qtc, front_ratio, centre, low, high = row
    driver, batch = symmetric(qtc, front_ratio)
    gain = gain_db(driver, batch, F0 * np.array([1.0, low, high]))
    assert gain[0] == pytest.approx(centre, abs=0.6e-4)
    assert gain[1:] - gain[0] == pytest.approx(-10.0 * np.log10(2.0), abs=5e-5)


@pytest.mark.parametrize("front_ratio", [0.3, 0.8, 1.7, 4.0])
def test_fourth_order_whole_curve(front_ratio: float) -> None:
    """G = 1/(p^2 + p/Qtc + aF) with p = s + 1/s, and so the gain 1/aF at the centre, for any aF."""
    driver, batch = symmetric(0.8, front_ratio)
    ratio = np.geomspace(0.2, 5.0, 25)
    p = 1j * (ratio - 1.0 / ratio)
    expected = -20.0 * np.log10(np.abs(p**2 + p / 0.8 + front_ratio))
    # the 1 mm of line that carries the inertance has a compliance, felt at five times the centre
    assert gain_db(driver, batch, F0 * ratio) == pytest.approx(expected, abs=2e-4)
    assert gain_db(driver, batch, np.array([F0]))[0] == pytest.approx(-20.0 * np.log10(front_ratio), abs=1e-5)


@pytest.mark.parametrize("front_hz", [35.0, 60.0, 95.0])
@pytest.mark.parametrize("rear", [0.4, 1.5])
def test_fourth_order_of_any_tuning(front_hz: float, rear: float) -> None:
    """G = s^2 Tc^2/(Ac (1 + s^2 TF^2) + aF s^2 TF^2), derived, with the front tuned apart from the rear."""
    driver = lossless_driver(AIR, fs_hz=40.0, qts=0.4)
    vas = driver.vas(AIR)
    volumes = [rear * vas, 0.5 * vas]
    batch = lumped(FOURTH, volumes, [Tube(area=AREA, length=column(volumes[1], front_hz))])
    stiffening = np.sqrt(1.0 + 1.0 / rear)
    closed_hz, closed_q = 40.0 * stiffening, 0.4 * stiffening
    front_ratio = 2.0 / (1.0 + 1.0 / rear)  # suspension and rear box in series over the front's compliance
    hz = np.geomspace(15.0, 300.0, 40)
    s, p = 1j * hz / closed_hz, 1j * hz / front_hz
    resonance = s**2 + s / closed_q + 1.0
    expected = 20.0 * np.log10(np.abs(s**2 / (resonance * (1.0 + p**2) + front_ratio * p**2)))
    assert gain_db(driver, batch, hz) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize("shape", [0.5, 0.6, np.sqrt(0.5), 0.9])
def test_fourth_order_by_its_shape(shape: float) -> None:
    """S of the low-pass prototype: front volume (2 S Qts)^2 Vas, centre gain 40 log10(2 S Qtc) (computed).

    A flat prototype, S = 1/sqrt(2), has no ripple; below that the curve peaks on either side of the centre.
    """
    qtc = 0.75
    driver, batch = symmetric(qtc, 1.0 / (2.0 * shape * qtc) ** 2)
    volume = float(np.prod(batch.sides[0, 1]))
    assert volume == pytest.approx((2.0 * shape * driver.qts) ** 2 * driver.vas(AIR), rel=1e-6)
    gain = gain_db(driver, batch, F0 * np.geomspace(0.4, 2.5, 401))
    centre = gain_db(driver, batch, np.array([F0]))[0]
    assert centre == pytest.approx(40.0 * np.log10(2.0 * shape * qtc), abs=1e-4)
    q = 1.0 / (2.0 * shape)
    ripple = 10.0 * np.log10(q**4 / (q**2 - 0.25)) if q > np.sqrt(0.5) else 0.0
    assert gain.max() - centre == pytest.approx(ripple, abs=2e-3)


def test_fourth_order_with_a_diaphragm() -> None:
    """A passive diaphragm for the port: B = p^2 + p/Q + 1 over its own compliance joins the front (derived).

    The diaphragm is a port of mass with its suspension and loss in series.
    """
    driver = worked_driver()
    volumes = [0.05, 0.03]
    passive = Passive(area=0.04, mass=0.12, compliance=6e-4, q=5.0)
    rules = make_rules(driver=driver, tones_hz=HZ)
    _, state, omega = driven(rules, lumped(parse_graph_id("AB//Ao"), volumes, passives=[passive]), 1.0)
    s = 1j * omega
    loss = np.sqrt(passive.mass / passive.compliance) / passive.q
    own = (s * passive.mass + loss + 1.0 / (s * passive.compliance)) / passive.area**2
    front, rear = (s * v / AIR.bulk_modulus for v in volumes)
    flow = drive_of(driver) / (cone_of(driver, s) + 1.0 / (front + 1.0 / own) + 1.0 / rear)
    assert state.flows[0] == pytest.approx(flow, rel=1e-9)
    assert state.flows[1] == pytest.approx(flow / (1.0 + front * own), rel=1e-9)


def drive_of(driver: Driver) -> float:
    """Pressure that one volt puts behind the cone [Pa]."""
    return driver.force_factor / driver.coil_resistance / driver.area


def cone_of(driver: Driver, s: np.ndarray) -> np.ndarray:
    """Acoustic impedance of the cone with its coil [Pa s/m3]."""
    mechanical = s * driver.mass + driver.resistance_mechanical + 1.0 / (s * driver.compliance)
    return np.asarray((mechanical + driver.force_factor**2 / driver.coil_resistance) / driver.area**2)


def test_sixth_order_series_against_its_circuit() -> None:
    """Rear port into the front chamber: two equations for the chambers' pressures (derived)."""
    driver = worked_driver()
    volumes = [0.03, 0.05]
    tubes = [Tube(area=0.5 * AREA, length=0.4, line=1e-6), Tube(area=AREA, length=0.3, line=1e-6)]
    topology = parse_graph_id("AB/AB.Ao")
    network, state, omega = driven(
        make_rules(driver=driver, tones_hz=HZ), lumped(topology, volumes, tubes), 1.0
    )
    s = 1j * omega
    inner, outer = (1.0 / (s * AIR.density * t.length / t.area) for t in tubes)
    front, rear = (s * v / AIR.bulk_modulus for v in volumes)
    # one unit of flow from the rear chamber through the cone into the front one
    whole = (front + inner + outer) * (rear + inner) - inner**2
    front_pressure, rear_pressure = rear / whole, -(front + outer) / whole
    flow = drive_of(driver) / (cone_of(driver, s) + front_pressure - rear_pressure)
    ports = [flow * inner * (front_pressure - rear_pressure), flow * outer * front_pressure]
    first = network.first_duct
    within = 1e-5 * np.abs(flow).max()
    for found, expected in zip(state.flows[[0, first + 1, first + 3]], [flow, *ports], strict=True):
        assert np.max(np.abs(found - expected)) < within


HZ = [25.0, 35.0, 50.0, 70.0, 100.0]


def test_sixth_order_with_stopped_port_is_fourth_order() -> None:
    """A rear port of endless inertance leaves the fourth-order enclosure."""
    front = Tube(area=AREA, length=0.3)
    fourth = lumped(FOURTH, [0.05, 0.03], [front])
    stopped = lumped(PARALLEL, [0.05, 0.03], [Tube(area=1e-5, length=1e6), front])
    one, two = (Judge(make_rules(tones_hz=HZ)).respond(batch, 1.0) for batch in (fourth, stopped))
    assert two.level_db == pytest.approx(one.level_db, abs=1e-6)
    assert two.impedance == pytest.approx(one.impedance, rel=1e-7)


def test_sixth_order_of_equal_halves_is_silent() -> None:
    """Equal chambers and ports cancel: the ports' flows are opposite, each of them loud."""
    port = Tube(area=AREA, length=0.3)
    rules = make_rules(tones_hz=HZ)
    silent = lumped(PARALLEL, [0.04, 0.04], [port, port])
    network, state, _ = driven(rules, silent, 1.0)
    first = network.first_duct
    front, rear = state.flows[first + 1], state.flows[first + 3]
    assert np.all(np.abs(front + rear) < 1e-8 * np.abs(front))
    unequal = lumped(PARALLEL, [0.05, 0.03], [port, port])
    difference = Judge(rules).respond(unequal, 1.0).level_db - Judge(rules).respond(silent, 1.0).level_db
    assert np.all(difference > 100.0)


def test_sixth_order_against_its_circuit() -> None:
    """Cone and output follow p = U (Zd + Z_front + Z_rear), each chamber 1/(s C + 1/(s M))."""
    driver = worked_driver()
    volumes, tubes = [0.05, 0.03], [Tube(area=AREA, length=0.5), Tube(area=0.5 * AREA, length=0.2)]
    rules = make_rules(tones_hz=HZ)
    network, state, omega = driven(rules, lumped(PARALLEL, volumes, tubes), 1.0)
    s = 1j * omega
    compliance = [v / AIR.bulk_modulus for v in volumes]
    mass = [AIR.density * t.length / t.area for t in tubes]
    chamber = [1.0 / (s * c + 1.0 / (s * m)) for c, m in zip(compliance, mass, strict=True)]
    mechanical = s * driver.mass + driver.resistance_mechanical + 1.0 / (s * driver.compliance)
    mechanical = mechanical + driver.force_factor**2 / driver.coil_resistance
    force = driver.force_factor / driver.coil_resistance
    flow = force / driver.area / (mechanical / driver.area**2 + chamber[0] + chamber[1])
    assert state.flows[0] == pytest.approx(flow, rel=1e-6)
    ports = [flow * z / (s * m) for z, m in zip(chamber, mass, strict=True)]
    total = state.flows[network.first_duct + 1] + state.flows[network.first_duct + 3]
    assert total == pytest.approx(ports[0] - ports[1], rel=5e-6)
