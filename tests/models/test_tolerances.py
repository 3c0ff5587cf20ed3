"""Deviations: specimens are what rules of their own would give, and sizes move by what is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.air import humid_air
from models.balance import power_balance
from models.design import Specimens
from models.driver import Driver
from models.rules import Physics, Rules
from models.score import Judge
from models.tolerances import CUT, HALF_NORMAL, Tolerances, causes_of, deviated
from models.topology import parse_graph_id
from tests.builders import driven, make_rules, random_batch

GRAPHS = ["oA/Ao", "AB/AB.Ao", "oA//Ao"]


def specimen_rules(rules: Rules, specimens: Specimens, row: int) -> Rules:
    """The rules that would give a design the drivers of its specimens."""
    driver: Driver = replace(
        rules.driver,
        mass=specimens.mass[row],
        compliance=specimens.compliance[row],
        force_factor=specimens.force_factor[row],
        coil_resistance=specimens.coil_resistance[row],
    )
    return replace(rules, driver=driver)


def random_specimens(driver: Driver, n: int) -> Specimens:
    rng = np.random.default_rng(5)
    share = rng.uniform(0.8, 1.25, (4, n))
    return Specimens(
        mass=driver.mass * share[0],
        compliance=driver.compliance * share[1],
        force_factor=driver.force_factor * share[2],
        coil_resistance=driver.coil_resistance * share[3],
    )


@pytest.mark.parametrize("chambers", ["room", "lump"])
@pytest.mark.parametrize("graph", GRAPHS)
def test_specimens_in_a_batch_are_as_under_rules_of_their_own(graph: str, chambers: str) -> None:
    rules = make_rules(physics=Physics(chambers=chambers, leak_corner_hz=1.0))  # type: ignore[arg-type]
    batch = random_batch(parse_graph_id(graph), seed=3)
    specimens = random_specimens(rules.driver, batch.size)
    together = Judge(rules).respond(replace(batch, specimens=specimens))
    for row in range(batch.size):
        alone = Judge(specimen_rules(rules, specimens, row)).respond(batch.rows(np.array([row])))
        for name in ("level_db", "voltage", "current", "excursion", "air_speed", "permitted"):
            one, two = getattr(together, name)[row], getattr(alone, name)[0]
            assert np.allclose(one, two, rtol=1e-7, atol=0.0), name


def test_power_balance_of_specimens() -> None:
    """What the amplifier gives is what the parts take, each coil with its own resistance."""
    rules = make_rules(physics=Physics())
    batch = random_batch(parse_graph_id("oA/Ao"), seed=2)
    batch = replace(batch, specimens=random_specimens(rules.driver, batch.size))
    network, state, omega = driven(rules, batch)
    found = power_balance(batch, rules, network, state, omega)
    taken = sum(value for key, value in found.items() if key != "electrical")
    assert np.allclose(taken, found["electrical"], rtol=1e-9)


def test_each_cause_moves_its_own_size() -> None:
    rules = make_rules(tolerances=Tolerances(airs=((0.0, humid_air()),)))
    batch = random_batch(parse_graph_id("AB/AB.Ao/Bo"), seed=4)
    causes = causes_of(batch, rules.tolerances)
    names = [cause.name for cause in causes]
    assert len(set(names)) == len(names)
    assert [cause.shared for cause in causes] == [True] * 5 + [False] * (len(causes) - 5)
    by = np.zeros((batch.size, len(causes)))
    by[:, names.index("the sides of chamber B")] = 2.0
    by[:, names.index(f"the length of {batch.ducts[1].name}")] = -1.0
    by[:, names.index("leakage")] = 1.5
    moved = deviated(batch, rules, causes, by)
    assert np.array_equal(moved.sides[:, 0], batch.sides[:, 0])
    assert np.allclose(moved.sides[:, 1] - batch.sides[:, 1], 0.6e-3, rtol=1e-9)
    assert np.allclose(moved.ducts[1].length - batch.ducts[1].length, -0.5e-3, rtol=1e-9)
    assert np.array_equal(moved.ducts[0].length, batch.ducts[0].length)
    assert np.allclose(moved.ducts[1].area, batch.ducts[1].area, rtol=1e-12)
    assert moved.specimens is None
    assert all(np.allclose(leak, 7.5) for leak in moved.leak) and len(moved.leak) == 2


def test_sizes_without_tolerance_are_no_causes() -> None:
    none = Tolerances(
        duct_section=0.0, duct_length=0.0, chamber_side=0.0, compliance=0.0, moving_mass=0.0,
        force_factor=0.0, coil_resistance=0.0, leak_corner_hz=0.0,
    )  # fmt: skip
    assert causes_of(random_batch(parse_graph_id("AB/AB.Ao/Bo"), seed=4), none) == ()


def test_half_of_a_normal_distribution() -> None:
    """Standard deviation sqrt(1 - 2/pi), by integration over the cut distribution's fine quantiles."""
    from scipy.stats import truncnorm

    values = truncnorm.ppf(0.5 + 0.5 * (np.arange(20000) + 0.5) / 20000, -CUT, CUT)
    assert values.min() > 0.0
    assert values.std() == pytest.approx(HALF_NORMAL, rel=0.03)


def test_another_air_keeps_the_mass_of_the_moving_parts() -> None:
    judge = Judge(make_rules(physics=Physics()))
    cold = humid_air(temperature_c=5.0)
    other = judge.in_air(cold)
    assert other is judge.in_air(cold)
    vacuum = judge.rules.driver.mass_in_vacuo(judge.rules.air)
    assert other.rules.driver.mass_in_vacuo(cold) == pytest.approx(vacuum, rel=1e-12)
    assert other.rules.driver.mass > judge.rules.driver.mass
