"""The largest permitted drive: limits, fixed point, and what must never happen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.catalogue import TRADE_NAMES
from models.design import DesignBatch
from models.drive import LIMIT_NAMES, TOLERANCE
from models.envelope import Site
from models.outside import OutsideTable, side_by_side
from models.radiation import half_space_table
from models.rules import Limits, Physics, Rules
from models.score import Judge, Responses, mean_level
from models.spaces import HalfSpace
from models.topology import parse_graph_id
from tests.builders import driven, make_rules, random_batch, sealed_space

HZ = [15.0, 25.0, 40.0, 60.0, 90.0, 150.0]
LIMITS = Limits(power=120.0, excursion=0.008, air_speed=20.0, voltage=40.0, current=7.0)
NUMBERS = ("power", "excursion", "air_speed", "voltage", "current")
KINDS: tuple[Literal["real", "apparent", "nominal"], ...] = ("real", "apparent", "nominal")
GRAPHS = st.sampled_from(sorted(TRADE_NAMES))
SEEDS = st.integers(0, 10**6)
CHECK = settings(max_examples=25, deadline=None, derandomize=True)


def rules_with(limits: Limits = LIMITS, **changes: object) -> Rules:
    """Full physics with all limits."""
    return make_rules(limits=limits, physics=Physics(), tones_hz=HZ, **changes)


class OpenAndSealed(Judge):
    """Judges in a half space and in a sealed space of uniform pressure."""

    def outside(self, sites: Sequence[Site]) -> OutsideTable:
        half = half_space_table(
            HalfSpace(name="open"), self.rules.envelope, sites, self.rules.omega, self.rules.air
        )
        return side_by_side([half, sealed_space(self.rules.omega)])


def ratios(rules: Rules, batch: DesignBatch, response: Responses) -> np.ndarray:
    """Every limited quantity over its limit, computed from the response alone, shape (6, ...)."""
    limits = rules.limits
    power = {
        "real": (response.voltage * response.current.real),
        "apparent": response.voltage * np.abs(response.current),
        "nominal": response.voltage**2 * len(batch.driver_ends) / rules.driver.nominal_resistance,
    }[limits.power_kind]
    none = np.zeros_like(response.voltage)
    diaphragm, speed = none, none
    if batch.diaphragms:
        limit = np.array([d.excursion_limit for d in batch.diaphragms]).T[:, None, None]
        diaphragm = (response.diaphragm_excursion / limit).max(axis=-1)
    if batch.ducts and limits.air_speed is not None:
        speed = response.air_speed.max(axis=-1) / limits.air_speed
    return np.array(
        [
            response.excursion.max(axis=-1) / limits.excursion,
            diaphragm,
            power / limits.power,
            speed,
            none if limits.voltage is None else response.voltage / limits.voltage,
            none if limits.current is None else np.abs(response.current) / limits.current,
        ]
    )


@CHECK
@given(graph=GRAPHS, seed=SEEDS, kind=st.sampled_from(KINDS))
def test_one_limit_is_met_and_none_exceeded(
    graph: str, seed: int, kind: Literal["real", "apparent", "nominal"]
) -> None:
    """At every tone the named limit's ratio is 1, all others are below."""
    batch = random_batch(parse_graph_id(graph), seed)
    rules = rules_with(replace(LIMITS, power_kind=kind))
    response = Judge(rules).respond(batch)
    assert np.all(response.settled)
    found = ratios(rules, batch, response)
    if kind == "real":  # power counts the square of the drive
        found[2] = np.sqrt(found[2])
    assert np.max(found) <= 1.0 + 1e-6
    named = np.take_along_axis(found, response.limit[None], axis=0)[0]
    assert named == pytest.approx(1.0, abs=1e-6)
    assert set(np.unique(response.limit)) <= set(range(len(LIMIT_NAMES)))


@CHECK
@given(graph=GRAPHS, seed=SEEDS)
def test_losses_and_speeds_agree(graph: str, seed: int) -> None:
    """The speeds that the end losses were taken from are those that result."""
    batch = random_batch(parse_graph_id(graph), seed)
    _, state, _ = driven(rules_with(), batch)
    assert np.all(state.settled)
    if batch.ducts:
        assert np.max(np.abs(state.loss_speeds / state.speeds - 1.0)) < TOLERANCE


@CHECK
@given(graph=GRAPHS, seed=SEEDS)
def test_given_voltage(graph: str, seed: int) -> None:
    """A drive given at the voltages that were found gives the same state again."""
    batch = random_batch(parse_graph_id(graph), seed)
    judge = Judge(rules_with())
    found = judge.respond(batch)
    again = judge.respond(batch, found.voltage)
    assert again.level_db == pytest.approx(found.level_db, abs=1e-5)
    assert again.excursion == pytest.approx(found.excursion, rel=1e-6)
    assert again.air_speed == pytest.approx(found.air_speed, rel=1e-6)


@CHECK
@given(graph=GRAPHS, seed=SEEDS)
def test_common_drive_is_never_louder(graph: str, seed: int) -> None:
    """One setting for all tones, or for all spaces, gives no tone more than a setting of its own."""
    batch = random_batch(parse_graph_id(graph), seed)
    spaces = (HalfSpace(name="open"), HalfSpace(name="sealed"))
    responses = {
        drive: OpenAndSealed(rules_with(spaces=spaces, drive=drive)).respond(batch)
        for drive in ("per_tone", "per_space", "common")
    }
    own, space, common = (responses[name] for name in ("per_tone", "per_space", "common"))
    assert np.array_equal(common.voltage[:, 0, 0], own.voltage.min(axis=(1, 2)))
    assert np.array_equal(space.voltage[..., 0], own.voltage.min(axis=2))
    assert np.all(common.voltage <= space.voltage) and np.all(space.voltage <= own.voltage)
    assert np.all(common.level_db <= own.level_db + 1e-6)
    assert np.ptp(common.voltage, axis=(1, 2)) == pytest.approx(0.0)
    assert np.ptp(space.voltage, axis=2) == pytest.approx(0.0)
    for response in (space, common):
        assert np.max(ratios(rules_with(), batch, response)) <= 1.0 + 1e-6


@CHECK
@given(graph=GRAPHS, seed=SEEDS, which=st.sampled_from(NUMBERS))
def test_larger_limit_never_lowers_the_drive(graph: str, seed: int, which: str) -> None:
    """Half as much again of any limit: no voltage falls, no level falls."""
    batch = random_batch(parse_graph_id(graph), seed)
    wider = replace(LIMITS, **{which: 1.5 * getattr(LIMITS, which)})
    one, two = (Judge(rules_with(limits)).respond(batch) for limits in (LIMITS, wider))
    assert np.all(two.voltage >= one.voltage * (1.0 - 1e-6))
    assert np.all(two.level_db >= one.level_db - 1e-5)


@CHECK
@given(seed=SEEDS, factor=st.floats(1.1, 5.0), graph=st.sampled_from(["oA/Ao", "AB/Bo"]))
def test_larger_loss_factor_slows_the_only_duct(seed: int, factor: float, graph: str) -> None:
    """At one voltage a larger loss in the only short duct lowers its flow.

    The rest of the network is a passive source: the flow is V/|Z + R| with Re Z not negative.
    """
    batch = random_batch(parse_graph_id(graph), seed)
    duct = replace(batch.ducts[0], area_end=None, length=np.full(batch.size, 0.01))
    lossy = replace(duct, loss_factor=factor * duct.loss_factor)
    rules = make_rules(limits=LIMITS, physics=Physics(), tones_hz=HZ[:4])
    slow, fast = (Judge(rules).respond(replace(batch, ducts=(one,)), 10.0).air_speed for one in (lossy, duct))
    assert np.all(slow < fast)


@CHECK
@given(graph=GRAPHS, seed=SEEDS)
def test_without_end_loss_all_is_proportional(graph: str, seed: int) -> None:
    """Without level-dependent losses the state is linear in the voltage."""
    batch = random_batch(parse_graph_id(graph), seed)
    judge = Judge(make_rules(physics=Physics(duct_end_loss=False), tones_hz=HZ, limits=LIMITS))
    one, ten = judge.respond(batch, 1.0), judge.respond(batch, 10.0)
    assert ten.level_db - one.level_db == pytest.approx(20.0, abs=1e-9)
    assert ten.excursion == pytest.approx(10.0 * one.excursion, rel=1e-12)
    assert ten.impedance == pytest.approx(one.impedance, rel=1e-12)


def test_small_signal_limit() -> None:
    """At a thousandth of a volt the end loss vanishes: the state is that without it."""
    batch = random_batch(parse_graph_id("oA/Ao"), 3)
    lossy = Judge(rules_with()).respond(batch, 1e-4)
    free = Judge(make_rules(physics=Physics(duct_end_loss=False), tones_hz=HZ)).respond(batch, 1e-4)
    assert lossy.level_db == pytest.approx(free.level_db, abs=1e-2)


def test_means() -> None:
    """Means of 90 and 100 dB by hand, weights and a weight of zero."""
    level, even = np.array([[90.0, 100.0]]), np.ones(2)
    assert mean_level(level, even, "level")[0] == pytest.approx(95.0)
    assert mean_level(level, even, "worst")[0] == pytest.approx(90.0)
    assert mean_level(level, even, "energy")[0] == pytest.approx(10.0 * np.log10((1e9 + 1e10) / 2.0))
    assert mean_level(level, np.array([1.0, 3.0]), "level")[0] == pytest.approx(97.5)
    assert mean_level(level, np.array([0.0, 3.0]), "worst")[0] == pytest.approx(100.0)


def test_wiring() -> None:
    """Two drivers in series take half the voltage each: as one volt parallel, so two volts in series."""
    batch = random_batch(parse_graph_id("oA.oA/Ao"), 5)
    same_ends = replace(batch, driver_ends=(batch.driver_ends[0], batch.driver_ends[0]))
    parallel = Judge(rules_with(driver_count=2, wiring="parallel")).respond(same_ends, 1.0)
    series = Judge(rules_with(driver_count=2, wiring="series")).respond(same_ends, 2.0)
    assert series.level_db == pytest.approx(parallel.level_db, abs=1e-5)
    assert series.impedance == pytest.approx(4.0 * parallel.impedance, rel=1e-5)
