"""Passive-radiator boxes.

R. H. Small, "Passive-Radiator Loudspeaker Systems", JAES 22(8) 592-601 and 22(9) 683-689 (1974): part
II's abstract was read (a notch below cut-off, pushed down by a compliant suspension). The leakless
transfer function was derived; its numbers are computed.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import AIR, Passive, Tube, lossless_driver, lumped, make_rules

PASSIVE = parse_graph_id("oA//Ao")
QT, FS, VOLUME, AREA = 0.35, 32.0, 0.05, 0.05
DRIVER = lossless_driver(AIR, fs_hz=FS, qts=QT)
BOX = VOLUME / AIR.bulk_modulus


def radiator(delta: float, fp: float, q: float) -> Passive:
    """Diaphragm whose compliance is delta times the box's, resonant at fp alone."""
    compliance = delta * BOX / AREA**2
    return Passive(area=AREA, mass=1.0 / (compliance * (2.0 * np.pi * fp) ** 2), compliance=compliance, q=q)


def response_db(hz: np.ndarray, passive: Passive) -> np.ndarray:
    """Level over that of the pass band."""
    batch = lumped(PASSIVE, [VOLUME], passives=[passive])
    acceleration = DRIVER.force_factor / DRIVER.coil_resistance / DRIVER.mass
    passband = AIR.density * DRIVER.area * acceleration / (2.0 * np.pi)
    level = Judge(make_rules(driver=DRIVER), hz).respond(batch, 1.0).level_db[0, 0]
    return np.asarray(level - 20.0 * np.log10(passband / 20e-6))


@pytest.mark.parametrize("delta", [0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("q", [5.0, 50.0])
def test_transfer_function(delta: float, q: float) -> None:
    """G = s^2 Ts^2 B/(A (B + delta) + alpha B), derived."""
    fp = 20.0
    hz = np.geomspace(8.0, 300.0, 30)
    s, p = 1j * hz / FS, 1j * hz / fp
    a, b = s**2 + s / QT + 1.0, p**2 + p / q + 1.0
    alpha = DRIVER.vas(AIR) / VOLUME
    expected = 20.0 * np.log10(np.abs(s**2 * b / (a * (b + delta) + alpha * b)))
    assert response_db(hz, radiator(delta, fp, q)) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("delta", "ratio"), [(0.5, 0.81650), (1.0, 0.70711), (2.0, 0.57735), (5.0, 0.40825)])
def test_notch_and_tuning(delta: float, ratio: float) -> None:
    """The notch lies at fp = fB/sqrt(1 + delta) (computed); the cone rests at fB."""
    fb = 36.0
    passive = radiator(delta, ratio * fb, 1e9)
    hz = ratio * fb * np.array([0.9, 1.0, 1.1])
    level = response_db(hz, passive)
    assert level[1] < min(level[0], level[2]) - 60.0
    batch = lumped(PASSIVE, [VOLUME], passives=[passive])
    response = Judge(make_rules(driver=DRIVER), fb * np.array([0.9, 1.0])).respond(batch, 1.0)
    assert response.excursion[0, 0, 1, 0] < 1e-4 * response.excursion[0, 0, 0, 0]


def test_limp_suspension_is_a_port() -> None:
    """With an endlessly compliant suspension the diaphragm is a port's air."""
    mass_per_area = AIR.density * 0.5 / AREA
    port = lumped(parse_graph_id("oA/Ao"), [VOLUME], [Tube(area=AREA, length=0.5)])
    hz = np.array([20.0, 30.0, 40.0, 60.0])
    limp = Passive(area=AREA, mass=mass_per_area * AREA**2, compliance=1e6)
    diaphragm = lumped(PASSIVE, [VOLUME], passives=[limp])
    one, two = (Judge(make_rules(driver=DRIVER), hz).respond(batch, 1.0) for batch in (port, diaphragm))
    assert two.level_db == pytest.approx(one.level_db, abs=1e-5)
    assert two.impedance == pytest.approx(one.impedance, rel=1e-5)
