"""Warm-up of the voice coil: closed forms, and what passive loads allow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.driver import Driver, driver_from_parameters
from models.driver_data import DriverDataError
from models.heating import resistance_ratio, resistor_ratio, warm_up
from models.rules import Rules
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import AIR, make_rules, random_batch, worked_driver

TONES = np.array([20.0, 40.0, 90.0, 200.0])


def test_copper_from_20_to_200_degrees() -> None:
    """1 + 0.00393 x 180 = 1.7074, 4.647 dB (computed from the coefficient of IEC 60028)."""
    ratio = float(resistance_ratio(np.array(200.0), 20.0))
    assert ratio == pytest.approx(1.7074, abs=5e-5)
    assert 20.0 * np.log10(ratio) == pytest.approx(4.647, abs=5e-4)


def test_a_coil_that_starts_warm() -> None:
    """From 30 degC on: R(100) / R(30) by the line through 20 degC, 1.3144 / 1.0393."""
    assert resistance_ratio(np.array(100.0), 30.0) == pytest.approx(1.3144 / 1.0393, rel=1e-12)


@pytest.mark.parametrize(
    ("rise", "loss_db"), [(0.1, 0.761), (0.25, 1.635), (0.5, 2.709), (1.0, 4.180), (2.0, 6.021)]
)
def test_compression_of_a_resistor(rise: float, loss_db: float) -> None:
    """20 log x, x = (1 + sqrt(1 + 4 b)) / 2, b = 0.00393 R_th V^2 / R (computed from the stated formula)."""
    assert 20.0 * np.log10(resistor_ratio(np.array(rise))) == pytest.approx(loss_db, abs=5e-4)


def judged(driver: Driver, **changes: object) -> tuple[Rules, Judge]:
    rules = make_rules(driver=driver, tones_hz=TONES, **changes)
    return rules, Judge(rules, backend="numpy")


def with_heat(driver: Driver, thermal: float) -> Driver:
    return replace(driver, thermal_resistance=thermal)


@pytest.mark.parametrize("rise", [0.05, 0.5, 2.0, 20.0])
def test_a_motor_too_weak_to_matter_is_a_resistor(rise: float) -> None:
    """With next to no Bl the coil is a plain resistor: the quadratic's ratio, 20 log x less level."""
    driver = with_heat(replace(worked_driver(), force_factor=1e-3), 3.0)
    _, judge = judged(driver)
    batch = random_batch(parse_graph_id("oA/Ao"), 4, n=1)
    square = rise * driver.coil_resistance / (0.00393 * 3.0)
    voltage = np.full((1, 1, TONES.size), np.sqrt(square))
    warm = warm_up(judge, batch, voltage)
    expected = 0.5 * (1.0 + np.sqrt(1.0 + 4.0 * rise))
    assert warm.settled and warm.ratio == pytest.approx(expected, rel=1e-6)
    assert resistance_ratio(warm.temperature_c, 20.0) == pytest.approx(warm.ratio, rel=1e-8)
    cold = judge.respond(batch, voltage).level_db
    assert cold - warm.responses.level_db == pytest.approx(20.0 * np.log10(expected), abs=1e-4)


@pytest.mark.parametrize("graph", ["oA", "oA/Ao", "AB/AB.Ao"])
@pytest.mark.parametrize("seed", range(3))
def test_steady_state_of_any_box(graph: str, seed: int) -> None:
    """The coil's own heat, I^2 R, holds its temperature; no level or current rises; a resistor heats more."""
    thermal = 4.0
    driver = with_heat(worked_driver(le_mh=0.4), thermal)
    _, judge = judged(driver)
    batch = random_batch(parse_graph_id(graph), seed, n=1)
    cold = judge.respond(batch)
    warm = warm_up(judge, batch, cold.voltage)
    hot = warm.responses
    assert warm.settled and np.all(hot.voltage == cold.voltage)
    heat = np.abs(hot.current[0]) ** 2 * driver.coil_resistance * warm.ratio
    assert warm.temperature_c == pytest.approx(20.0 + thermal * heat, rel=1e-9)
    assert warm.ratio == pytest.approx(1.0 + 0.00393 * thermal * heat, rel=1e-8)
    assert np.all(hot.level_db < cold.level_db) and np.all(np.abs(hot.current) < np.abs(cold.current))
    rise = 0.00393 * thermal * cold.voltage[0] ** 2 / driver.coil_resistance
    assert np.all(warm.ratio <= resistor_ratio(rise) * (1.0 + 1e-9))
    assert np.all(warm.ratio > 1.0)


def test_one_tone_alone_is_that_tone_among_others() -> None:
    """A judge of a single tone with the hot resistance as the driver's own gives the same level."""
    driver = with_heat(worked_driver(), 4.0)
    rules, judge = judged(driver)
    batch = random_batch(parse_graph_id("oA/Ao"), 1, n=1)
    cold = judge.respond(batch)
    warm = warm_up(judge, batch, cold.voltage)
    for tone in range(TONES.size):
        hot = replace(driver, coil_resistance=driver.coil_resistance * float(warm.ratio[0, tone]))
        alone = Judge(replace(rules, driver=hot), backend="numpy").respond(batch, cold.voltage)
        assert alone.level_db[0, 0, tone] == pytest.approx(warm.responses.level_db[0, 0, tone], abs=1e-9)


@pytest.mark.parametrize("wiring", ["parallel", "series"])
def test_two_coils_share_the_heat(wiring: str) -> None:
    """Two equal drivers in one box: each coil is as hot as its own I^2 R."""
    driver = with_heat(worked_driver(), 4.0)
    _, judge = judged(driver, driver_count=2, wiring=wiring)
    batch = random_batch(parse_graph_id("oA.oA"), 2, n=1)
    first = batch.driver_ends[0]
    batch = replace(batch, driver_ends=(first, first))
    warm = warm_up(judge, batch, judge.respond(batch).voltage)
    own = np.abs(warm.responses.current[0]) / (2.0 if wiring == "parallel" else 1.0)
    heat = own**2 * driver.coil_resistance * warm.ratio
    assert warm.temperature_c == pytest.approx(20.0 + 4.0 * heat, rel=1e-9)


def test_a_small_coil_scales_to_the_same_temperature() -> None:
    """Power as n^2, thermal resistance as 1/n^2: equal temperatures and hot levels without wall losses."""
    from models.scaling import enlarged_batch, enlarged_rules

    rules, judge = judged(with_heat(worked_driver(), 4.0))
    batch = random_batch(parse_graph_id("oA/Ao"), 1, n=1)
    large = Judge(enlarged_rules(rules, 4.0), backend="numpy")
    enlarged = enlarged_batch(batch, 4.0)
    one = warm_up(judge, batch, judge.respond(batch).voltage)
    two = warm_up(large, enlarged, large.respond(enlarged).voltage)
    assert two.temperature_c == pytest.approx(one.temperature_c, rel=1e-6)
    assert two.responses.level_db == pytest.approx(one.responses.level_db, abs=1e-6)


def test_data_that_say_nothing() -> None:
    """A highest temperature needs a thermal resistance, and must be above the air's."""
    data = {"fs_hz": 95.0, "qms": 4.0, "qes": 0.5, "vas_l": 0.9, "re_ohm": 3.4, "sd_cm2": 21.0}
    with pytest.raises(DriverDataError, match="coil_temperature_max_c: 180 says nothing without thermal_k_w"):
        driver_from_parameters(AIR, **data, coil_temperature_max_c=180.0)
    with pytest.raises(DriverDataError, match="coil_temperature_max_c: 15 must be above the air's"):
        driver_from_parameters(AIR, **data, thermal_k_w=9.0, coil_temperature_max_c=15.0)
    with pytest.raises(DriverDataError, match="thermal_k_w: -1 must be above 0"):
        driver_from_parameters(AIR, **data, thermal_k_w=-1.0)
    with pytest.raises(ValueError, match="no thermal resistance"):
        warm_up(judged(worked_driver())[1], random_batch(parse_graph_id("oA"), 1, n=1), np.ones((1, 1, 4)))
