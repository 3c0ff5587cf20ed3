"""Closed boxes against R. H. Small's analysis and a worked example.

R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", JAES 20(10) 798-808 (1972), and
"Direct-Radiator Loudspeaker System Analysis", JAES 20(5) 383-395 (1972): formulas cited from memory
and derived again; the tables were computed from them by an independent script and are no printed
tables. The published maximum of kP, 0.85 near Qtc = 1.1, is from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from models.rules import Limits
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import AIR, SMALL_AIR, lossless_driver, lumped, make_rules, worked_driver

CLOSED = parse_graph_id("oA")

# computed: Qtc, f3/fc, peak of the response [dB], peak of the excursion over its value at dc, kP
ALIGNMENTS = [
    (0.5000, 1.5538, 0.0, 1.0, 0.0728),
    (0.57735, 1.2720, 0.0, 1.0, 0.1620),
    (0.70711, 1.0000, 0.0, 1.0, 0.4242),
    (0.8, 0.8972, 0.213, 1.0248, 0.6234),
    (0.9, 0.8295, 0.688, 1.0824, 0.7649),
    (1.0, 0.7862, 1.249, 1.1547, 0.8329),
    (1.1, 0.7567, 1.833, 1.2350, 0.8481),
    (1.2, 0.7358, 2.412, 1.3200, 0.8305),
    (1.5, 0.6993, 4.033, 1.5910, 0.7006),
    (2.0, 0.6736, 6.301, 2.0656, 0.4829),
]


class ClosedBox:
    """A box as large as Vas in the model, so that fc = sqrt(2) fs and Qtc = sqrt(2) Qts."""

    def __init__(self, qtc: float) -> None:
        driver = lossless_driver(SMALL_AIR, fs_hz=30.0, qts=qtc / np.sqrt(2.0))
        self.fc = 30.0 * np.sqrt(2.0)
        self.driver = driver
        self.rules = make_rules(driver=driver, air=SMALL_AIR)
        self.batch = lumped(CLOSED, [driver.vas(SMALL_AIR)])

    def at(self, ratio: float) -> tuple[float, float]:
        """Level [dB] and peak excursion [m] at a frequency over fc, with one volt."""
        response = Judge(self.rules, np.array([ratio * self.fc])).respond(self.batch, 1.0)
        return float(response.level_db[0, 0, 0]), float(response.excursion[0, 0, 0, 0])

    def response_db(self, ratio: float) -> float:
        """Level less that of the pass band."""
        return self.at(ratio)[0] - self.at(1e4)[0]


@pytest.mark.parametrize("row", ALIGNMENTS)
def test_alignments(row: tuple[float, ...]) -> None:
    """Cut-off, peaks and displacement-limited power of closed boxes."""
    qtc, f3, peak_db, excursion_peak, kp = row
    box = ClosedBox(qtc)
    cutoff = brentq(lambda x: box.response_db(x) + 10.0 * np.log10(2.0), 0.4, 3.0, xtol=1e-7)
    assert cutoff == pytest.approx(f3, abs=0.6e-4)
    best = minimize_scalar(lambda x: -box.response_db(x), bounds=(0.6, 6.0), method="bounded")
    highest = max(-best.fun, 0.0) if qtc > np.sqrt(0.5) + 1e-4 else 0.0
    assert highest == pytest.approx(peak_db, abs=0.6e-3)
    at_dc = box.at(1e-3)[1]
    widest = minimize_scalar(lambda x: -box.at(x)[1], bounds=(1e-3, 1.5), method="bounded")
    largest = max(-widest.fun, at_dc)
    assert largest / at_dc == pytest.approx(excursion_peak, abs=0.6e-4)
    # power of the pass band when the excursion at its worst is xmax, over f3^4 VD^2
    pressure = 20e-6 * 10.0 ** (box.at(1e4)[0] / 20.0)
    power = pressure**2 * 2.0 * np.pi / (SMALL_AIR.density * SMALL_AIR.sound_speed)
    volume = box.driver.area * largest
    assert power / ((cutoff * box.fc) ** 4 * volume**2) == pytest.approx(kp, abs=1.1e-4)


def test_largest_power_constant() -> None:
    """Small's rounded maximum of kP: 0.85 (from memory)."""
    assert max(row[-1] for row in ALIGNMENTS) == pytest.approx(0.85, abs=0.005)
    assert max(ALIGNMENTS, key=lambda row: row[-1])[0] == 1.1


# computed for driver D1: volume [l], alpha, fc [Hz], Qtc
LOADED = [
    (15.0, 5.15138, 69.2412, 0.760418),
    (30.0, 2.57569, 52.7908, 0.579757),
    (60.0, 1.28784, 42.2271, 0.463745),
]


@pytest.mark.parametrize("row", LOADED)
def test_box_raises_resonance_and_q(row: tuple[float, ...]) -> None:
    """fc/fs = Qtc/Qts = sqrt(1 + alpha), read from the modelled impedance (coil without inductance)."""
    volume_l, alpha, fc, qtc = row
    driver = worked_driver()
    assert driver.vas(AIR) / (volume_l * 1e-3) == pytest.approx(alpha, abs=0.6e-5)
    batch = lumped(CLOSED, [volume_l * 1e-3])

    def motional(hz: float) -> complex:
        z = Judge(make_rules(), np.array([hz])).respond(batch, 1.0).impedance[0, 0, 0]
        return complex(z - driver.coil_resistance)

    peak = brentq(lambda hz: motional(hz).imag, 20.0, 120.0, xtol=1e-9)
    assert peak == pytest.approx(fc, abs=0.6e-4)
    # admittance of the motional impedance: (1/R) (1 + j Qmc (f/fc - fc/f))
    slope = (1.0 / motional(2.0 * peak)).imag * motional(peak).real / 1.5
    qec = slope * driver.coil_resistance / motional(peak).real
    assert slope * qec / (slope + qec) == pytest.approx(qtc, abs=0.6e-6)


# computed for D1 in 60 l at 2.83 V rms: frequency [Hz], excursion rms [mm], level at 1 m [dB], |Z| [ohm]
WORKED = [
    (20.0, 1.5602, 77.797, 5.6125),
    (30.0, 1.2428, 82.865, 10.9562),
    (42.22714, 0.9279, 86.266, 79.0250),
    (60.0, 0.6197, 88.862, 10.6854),
    (100.0, 0.2909, 91.167, 5.0693),
]


@pytest.mark.parametrize("row", WORKED)
def test_worked_example(row: tuple[float, ...]) -> None:
    """Every printed digit of the worked closed box."""
    hz, excursion_mm, level, ohm = row
    response = Judge(make_rules(), np.array([hz])).respond(lumped(CLOSED, [0.06]), 2.83)
    assert response.excursion[0, 0, 0, 0] * 1e3 / np.sqrt(2.0) == pytest.approx(excursion_mm, abs=0.6e-4)
    assert response.level_db[0, 0, 0] == pytest.approx(level, abs=0.6e-3)
    assert abs(response.impedance[0, 0, 0]) == pytest.approx(ohm, abs=0.6e-4)


def test_excursion_ceiling() -> None:
    """Computed ceiling of 264 cm3 peak in a half space at 1 m; it rises 12.04 dB an octave."""
    hz = np.array([20.0, 30.0, 40.0, 60.0, 80.0])
    rules = make_rules(limits=Limits(power=1e9, excursion=0.008), tones_hz=hz)
    response = Judge(rules).respond(lumped(CLOSED, [0.06]))
    assert np.all(response.limit == 0)
    level = response.level_db[0, 0]
    assert level == pytest.approx([88.985, 96.028, 101.026, 108.069, 113.067], abs=0.6e-3)
    assert level[4] - level[2] == pytest.approx(40.0 * np.log10(2.0), abs=1e-9)


def test_reference_efficiency() -> None:
    """eta0 and the level of one watt in a half space (computed): pass band of an unboxed D1."""
    driver = worked_driver()
    assert driver.reference_efficiency(AIR) * 100.0 == pytest.approx(0.50900, abs=0.6e-5)
    response = Judge(make_rules(), np.array([1e5])).respond(lumped(CLOSED, [0.06]), np.sqrt(3.4))
    assert response.level_db[0, 0, 0] == pytest.approx(89.2195, abs=0.6e-4)
