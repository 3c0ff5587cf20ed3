"""Humid air against the printed table F.1 of IEC 61094-2:2009 and against computed states."""

from __future__ import annotations

import math

import pytest

from models.air import humid_air

# IEC 61094-2:2009, Annex F, table F.1, read in an open library that quotes it:
# temperature, pressure, humidity, density, sound speed, heat ratio, viscosity, thermal diffusivity
TABLE_F1 = [
    (23.0, 101.325, 50.0, 1.1860848, 345.86652, 1.4007573, 1.826566e-5, 2.115317e-5),
    (20.0, 80.0, 65.0, 0.9441589, 344.38267, 1.4000266, 1.811295e-5, 2.627024e-5),
]

# computed from the formulas of the same annex by an independent script; regression numbers, not
# published ones: temperature, humidity, density, speed, heat ratio, viscosity 1e-5, Prandtl, impedance
COMPUTED = [
    (0.0, 0.0, 1.293049, 331.4477, 1.402845, 1.717238, 0.73084, 428.578),
    (15.0, 0.0, 1.225521, 340.4233, 1.402348, 1.790664, 0.72659, 417.196),
    (20.0, 0.0, 1.204557, 343.3595, 1.402166, 1.814764, 0.72515, 413.596),
    (20.0, 50.0, 1.199314, 343.9869, 1.401099, 1.812665, 0.72826, 412.548),
    (20.0, 100.0, 1.194088, 344.6135, 1.400029, 1.810538, 0.73136, 411.499),
    (25.0, 50.0, 1.177316, 347.1268, 1.400504, 1.835747, 0.72792, 408.678),
    (30.0, 50.0, 1.155514, 350.3102, 1.399768, 1.858359, 0.72788, 404.788),
]


@pytest.mark.parametrize("row", TABLE_F1)
def test_table_f1(row: tuple[float, ...]) -> None:
    """Every printed digit of the annex's check table."""
    t, p, humidity, density, speed, ratio, viscosity, diffusivity = row
    air = humid_air(t, p, humidity)
    assert air.density == pytest.approx(density, abs=0.6e-7)
    assert air.sound_speed == pytest.approx(speed, abs=0.6e-5)
    assert air.heat_ratio == pytest.approx(ratio, abs=0.6e-7)
    assert air.viscosity == pytest.approx(viscosity, abs=0.6e-11)
    assert air.thermal_diffusivity == pytest.approx(diffusivity, abs=0.6e-11)


@pytest.mark.parametrize("row", COMPUTED)
def test_computed_states(row: tuple[float, ...]) -> None:
    """States computed from the stated formulas, to their printed digits."""
    t, humidity, density, speed, ratio, viscosity, prandtl, impedance = row
    air = humid_air(t, 101.325, humidity)
    assert air.density == pytest.approx(density, abs=0.6e-6)
    assert air.sound_speed == pytest.approx(speed, abs=0.6e-4)
    assert air.heat_ratio == pytest.approx(ratio, abs=0.6e-6)
    assert air.viscosity == pytest.approx(viscosity * 1e-5, abs=0.6e-11)
    assert air.prandtl == pytest.approx(prandtl, abs=0.6e-5)
    assert air.density * air.sound_speed == pytest.approx(impedance, abs=0.6e-3)


def test_sound_speed_near_iso_9613() -> None:
    """ISO 9613-1:1993: c = 343.2 sqrt(T / 293.15); 0.1 % is the spread for dry to half-moist air."""
    for t in (0.0, 10.0, 20.0, 30.0):
        expected = 343.2 * math.sqrt((t + 273.15) / 293.15)
        assert humid_air(t, 101.325, 0.0).sound_speed == pytest.approx(expected, rel=1e-3)


def test_ideal_gas_identity() -> None:
    """Gas law: rho c2 is close to gamma p (0.2 %: real gas and CO2 terms)."""
    air = humid_air(20.0, 101.325, 50.0)
    assert air.bulk_modulus == pytest.approx(air.heat_ratio * 101325.0, rel=2e-3)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((80.0,), "temperature_c = 80 is outside -10 to 50"),
        ((20.0, 10.0), "pressure_kpa = 10 is outside 50 to 120"),
        ((20.0, 101.325, -1.0), "humidity_percent = -1 is outside 0 to 100"),
        ((float("nan"),), "temperature_c = nan"),
    ],
)
def test_refuses_outside_range(arguments: tuple[float, ...], words: str) -> None:
    """The message holds key, value and range."""
    with pytest.raises(ValueError, match=words):
        humid_air(*arguments)
