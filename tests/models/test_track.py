"""A track through a design: sines as evaluated, superposition, impulse energy, gains, equivalent losses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.catalogue import named_topology
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.rules import Limits, Physics, Rules
from models.score import REFERENCE_PRESSURE, Judge
from models.spaces import HalfSpace
from models.track import Band, Signals, Track, clamp_power, equivalent_speed, play
from tests.builders import Passive, Tube, lumped, make_rules

RATE = 4000.0
BAND = Band(low=10.0, high=200.0, top=5000.0)
LOSSY = Physics(chambers="lump", wall_losses=False)
LIMITS = Limits(power=60.0, excursion=0.006, air_speed=20.0, voltage=40.0, current=8.0)


def rules_of(**changes: object) -> Rules:
    spaces = (HalfSpace(name="near"), HalfSpace(name="far", distance=2.0))
    return make_rules(**({"physics": LOSSY, "limits": LIMITS, "spaces": spaces} | changes))


def vented() -> DesignBatch:
    return lumped(named_topology("vented box"), [0.06], [Tube(area=0.004, length=0.35)])


def faded(seconds: float, fade: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    """Times, and a window that rises and falls gently."""
    t = np.arange(int(seconds * RATE)) / RATE
    share = np.clip(np.minimum(t, seconds - t) / fade, 0.0, 1.0)
    return t, 0.5 - 0.5 * np.cos(np.pi * share)


def run(samples: np.ndarray, rules: Rules, batch: DesignBatch, gain: float | None = None) -> list[Signals]:
    track = Track(samples, RATE, BAND)
    return play(track, Judge(rules, BAND.grid(), backend="numpy"), batch, 0.5, gain)


@pytest.mark.parametrize("hz", [30.0, 42.0, 60.0, 100.0])
def test_a_sine_is_as_evaluated(hz: float) -> None:
    """At the voltage found: level within 0.05 dB, excursion and air speed within 2 %, power within 1 %.

    What is left comes from the fades at both ends, which hold other frequencies and levels.
    """
    rules, batch = rules_of(), vented()
    t, window = faded(8.0)
    signals = run(np.sin(2.0 * np.pi * hz * t) * window, rules, batch)[0]
    judge = Judge(rules, np.array([hz]), backend="numpy")
    expected = judge.respond(batch, signals.gain / np.sqrt(2.0))
    n = signals.pressure.size
    middle = slice(int(0.3 * n * 8.0 / 13.0), int(0.7 * n * 8.0 / 13.0))
    level = 20.0 * np.log10(np.sqrt(np.mean(signals.pressure[middle] ** 2)) / REFERENCE_PRESSURE)
    assert signals.settled
    assert level == pytest.approx(expected.level_db[0, 0, 0], abs=0.05)
    assert signals.excursion.max() == pytest.approx(expected.excursion[0, 0, 0, 0], rel=0.02)
    assert signals.air_speed.max() == pytest.approx(expected.air_speed[0, 0, 0, 0], rel=0.02)
    power = (expected.voltage * expected.current.conj()).real[0, 0, 0]
    assert signals.power.max() == pytest.approx(power, rel=0.01)
    best = judge.respond(batch)
    assert signals.gain / np.sqrt(2.0) == pytest.approx(best.voltage[0, 0, 0], rel=0.01)
    assert signals.limit == LIMIT_NAMES[int(best.limit[0, 0, 0])]


def test_two_sines_superpose_without_level_dependent_loss() -> None:
    rules = rules_of(physics=replace(LOSSY, duct_end_loss=False))
    batch = vented()
    t, window = faded(4.0)
    one, two = (np.sin(2.0 * np.pi * hz * t) * window for hz in (31.0, 73.0))
    a, b, both = (run(x, rules, batch, 10.0)[1] for x in (one, two, one + two))
    for name in ("pressure", "voltage", "current"):
        total = getattr(a, name) + getattr(b, name)
        assert getattr(both, name) == pytest.approx(total, abs=1e-9 * np.abs(total).max())
    square = np.mean(a.pressure**2) + np.mean(b.pressure**2)
    assert np.mean(both.pressure**2) == pytest.approx(square, rel=1e-3)
    assert both.excursion.max() <= a.excursion.max() + b.excursion.max()


def test_two_sines_together_meet_more_loss_than_each() -> None:
    """With losses that grow with air speed the sum is less than the parts."""
    rules, batch = rules_of(), vented()
    t, window = faded(4.0)
    one, two = (np.sin(2.0 * np.pi * hz * t) * window for hz in (27.0, 33.0))
    parts = [run(x, rules, batch, 20.0)[0] for x in (one, two)]
    both = run(one + two, rules, batch, 20.0)[0]
    assert np.all(both.end_speeds > np.max([p.end_speeds for p in parts], axis=0))
    assert np.mean(both.pressure**2) < sum(np.mean(p.pressure**2) for p in parts)


def test_energy_of_an_impulse() -> None:
    """Parseval: the energy of the pressure is that of its spectrum, from levels that `evaluate` gives."""
    rules = rules_of(physics=replace(LOSSY, duct_end_loss=False))
    batch = vented()
    samples = np.zeros(8000)
    samples[2000] = 1.0
    signals = run(samples, rules, batch, 5.0)[0]
    track = Track(samples, RATE, BAND)
    found = np.sum(signals.pressure**2) * track.step
    hz = np.geomspace(BAND.grid()[0], BAND.grid()[-1], 4001)
    level = Judge(rules, hz, backend="numpy").respond(batch, 1.0).level_db[0, 0]
    size = REFERENCE_PRESSURE * 10.0 ** (level / 20.0) * np.abs(BAND.filter(hz)) * 5.0 / RATE
    assert found == pytest.approx(2.0 * np.trapezoid(size**2, hz), rel=2e-3)


def noise(seconds: float = 3.0) -> np.ndarray:
    return np.clip(0.2 * np.random.default_rng(8).standard_normal(int(seconds * RATE)), -1.0, 1.0)


def test_the_largest_gain_meets_one_limit_and_passes_none() -> None:
    rules, batch = rules_of(), vented()
    for one in run(noise(), rules, batch):
        ratios = {
            "excursion": one.excursion.max() / LIMITS.excursion,
            "power": one.power.max() / LIMITS.power,
            "air_speed": one.air_speed.max() / 20.0,
            "voltage": np.abs(one.voltage).max() / (40.0 * np.sqrt(2.0)),
            "current": np.abs(one.current).max() / (8.0 * np.sqrt(2.0)),
        }
        assert max(ratios, key=lambda name: ratios[name]) == one.limit
        assert max(ratios.values()) == pytest.approx(1.0, abs=1e-3)
        at = int(one.moment[LIMIT_NAMES.index("excursion")])
        assert one.excursion[at] == one.excursion.max()


def test_a_common_drive_is_the_lowest() -> None:
    """One gain for all spaces where the season asks for it; a track twice as large wants half of it."""
    batch, tight = vented(), replace(LIMITS, excursion=0.004)
    apart = run(noise(), rules_of(limits=tight), batch)
    common = run(noise(), rules_of(limits=tight, drive="common"), batch)
    lowest = min(one.gain for one in apart)
    assert [one.gain for one in common] == pytest.approx([lowest] * 2, rel=1e-3)
    half = run(0.5 * noise(), rules_of(limits=tight), batch)
    assert half[0].gain == pytest.approx(2.0 * apart[0].gain, rel=1e-3)


def test_a_diaphragm_can_be_the_limit() -> None:
    passive = Passive(area=0.04, mass=0.15, compliance=4e-4, q=6.0)
    batch = lumped(named_topology("passive radiator box"), [0.05], [], [passive])
    short = replace(batch, diaphragms=(replace(batch.diaphragms[0], excursion_limit=np.array([1e-4])),))
    one = run(noise(3.0), rules_of(), short)[0]
    assert one.limit == "diaphragm" and one.diaphragm_excursion.max() == pytest.approx(1.0, rel=1e-6)
    assert one.settled and one.air_speed.max() == 0.0


def test_equivalent_speed() -> None:
    """That of a sine is its peak; that of Gaussian noise (3 pi / 8) sqrt(8 / pi) = 1.880 sigma (computed)."""
    t = np.arange(100_000) / 1000.0
    assert equivalent_speed(3.0 * np.sin(t)) == pytest.approx(3.0, rel=1e-3)
    gauss = np.random.default_rng(0).standard_normal(400_000)
    assert equivalent_speed(2.0 * gauss) == pytest.approx(2.0 * 1.880, rel=0.01)
    assert equivalent_speed(np.zeros(5)) == 0.0


@pytest.mark.parametrize(("kind", "watts"), [("real", 5.0), ("apparent", 10.0), ("nominal", 200.0 / 3.4)])
def test_clamps(kind: str, watts: float) -> None:
    """20 V and 1 A at peak with 60 degrees between: 5 W, 10 VA, and V2/R of 3.4 ohm."""
    t = np.arange(10_000) / 1000.0
    v, i = 20.0 * np.sin(2.0 * np.pi * 50.0 * t), np.sin(2.0 * np.pi * 50.0 * t - np.pi / 3.0)
    found = clamp_power(v, i, rules_of(limits=replace(LIMITS, power_kind=kind)), 1, 1000.0)
    assert found[5000] == pytest.approx(watts, rel=1e-6)


def test_band_filter() -> None:
    """Fourth-order Butterworth: 3.01 dB at both ends, 24 dB an octave beyond, flat between."""
    hz = np.array([10.0, 200.0, 5.0, 400.0, 45.0])
    found = 20.0 * np.log10(np.abs(BAND.filter(hz)))
    assert found[:2] == pytest.approx([-3.0103] * 2, abs=1e-3)
    assert found[2:4] == pytest.approx([-10.0 * np.log10(1.0 + 2.0**8)] * 2, abs=1e-3)
    assert found[4] == pytest.approx(0.0, abs=1e-3)
