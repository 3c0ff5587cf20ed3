"""What holds for every enclosure: passivity, reciprocity, power balance, batches.

None needs a source beyond conservation of energy and the symmetry of passive networks.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import models.score as score
from models.balance import power_balance
from models.catalogue import TRADE_NAMES
from models.near_field import near_field
from models.outside import OutsideTable
from models.rooms import room_impedance
from models.rules import Limits, Physics, Rules
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import (
    AIR,
    dense,
    driven,
    lumped,
    make_rules,
    patch,
    random_batch,
    sealed_space,
)

HZ = [15.0, 25.0, 40.0, 60.0, 90.0, 150.0, 250.0]
LIMITS = Limits(power=120.0, excursion=0.008, air_speed=20.0)
GRAPHS = [*TRADE_NAMES, "oA.oA/Ao", "AB/AC.BC.Co", "oA/AB.BC.Co.Ao", "AB/Ao/Bo"]
graphs = pytest.mark.parametrize("graph", GRAPHS)
CHECK = settings(max_examples=6, deadline=None, derandomize=True)
SEEDS = st.integers(0, 10**6)
PHYSICS = st.builds(
    Physics,
    chambers=st.sampled_from(["room", "room", "line", "lump"]),
    leak_corner_hz=st.sampled_from([0.0, 3.0]),
)
SEALED = st.booleans()


def season(physics: Physics, graph: str) -> Rules:
    """Rules for a graph: its drivers are wired in parallel."""
    count = len(parse_graph_id(graph).drivers)
    return make_rules(physics=physics, limits=LIMITS, tones_hz=HZ, driver_count=count)


def outside(sealed: bool, rules: Rules) -> OutsideTable | None:
    """The half space (None) or the uniform sealed space."""
    return sealed_space(rules.omega) if sealed else None


@graphs
@CHECK
@given(seed=SEEDS, physics=PHYSICS, sealed=SEALED)
def test_passive(graph: str, seed: int, physics: Physics, sealed: bool) -> None:
    """No part of the network gives energy; the amplifier never meets a negative resistance."""
    batch, rules = random_batch(parse_graph_id(graph), seed), season(physics, graph)
    network, state, _ = driven(rules, batch, outside=outside(sealed, rules))
    for name, planes in {**network.parts, "all": network.planes}.items():
        if not planes:
            continue
        shape = (batch.size, len(HZ))
        matrix = dense({k: np.broadcast_to(v, shape) for k, v in planes.items()}, network.size)
        scale = np.abs(matrix).max(axis=(-1, -2))
        assert np.all(np.linalg.eigvalsh(matrix.real)[..., 0] >= -1e-12 * scale), name
    coil = rules.driver.coil_resistance / rules.driver_count
    assert np.all((state.voltage / state.current).real >= coil * (1.0 - 1e-12))


@graphs
@CHECK
@given(seed=SEEDS, physics=PHYSICS, sealed=SEALED)
def test_reciprocal(graph: str, seed: int, physics: Physics, sealed: bool) -> None:
    """A volt at the terminals moves as much air in a duct or diaphragm as a pascal there moves current.

    The gyrator between coil and cone turns the sign. Solved densely, apart from the program's elimination.
    """
    batch, rules = random_batch(parse_graph_id(graph), seed), season(physics, graph)
    network, _, omega = driven(rules, batch, outside=outside(sealed, rules))
    matrix = dense(network.planes, network.size)
    drivers = range(network.driver_count)
    source = np.zeros((*matrix.shape[:-1],), dtype=complex)
    for i in drivers:
        source[..., i] = network.source[i]
    forward = np.linalg.solve(matrix, source[..., None])[..., 0]
    per_velocity = rules.driver.force_factor / rules.driver.coil_impedance(omega)
    for k in range(network.size):
        pascal = np.zeros_like(source)
        pascal[..., k] = 1.0
        flows = np.linalg.solve(matrix, pascal[..., None])[..., 0]
        current = -per_velocity * sum(flows[..., i] for i in drivers) / rules.driver.area
        assert current == pytest.approx(-forward[..., k], rel=1e-9, abs=1e-12 * np.abs(forward).max())


@pytest.mark.parametrize("walls", [("x-", "y+"), ("z-", "y-"), ("x+", "z+"), ("y-", "y+"), ("x-", "x-")])
def test_rooms_are_reciprocal(walls: tuple[str, str]) -> None:
    """A room's impedance between two patches is the same whichever of them is named first.

    For walls that meet the two orders sum different axes in closed form.
    """
    sides = np.array([[0.31, 0.42, 0.27]])
    omega = 2.0 * np.pi * np.array(HZ)
    one, two = patch(walls[0], (0.13, 0.11), (0.05, 0.04)), patch(walls[1], (0.19, 0.15), (0.04, 0.06))
    forward, backward = (
        room_impedance(omega, sides, np.prod(sides, axis=1), pair, AIR, Physics())
        for pair in ([one, two], [two, one])
    )
    m, _, _ = near_field(sides, [one, two], 1)
    scale = omega * AIR.density * np.sqrt(m[0, 0, 0] * m[0, 1, 1])
    assert np.all(np.abs(forward[0, 1] - backward[0, 1])[0] < 5e-4 * scale)


@graphs
@CHECK
@given(seed=SEEDS, physics=PHYSICS, sealed=SEALED)
def test_power_balance(graph: str, seed: int, physics: Physics, sealed: bool) -> None:
    """All parts together take what the amplifier gives, and none of them gives any."""
    batch, rules = random_batch(parse_graph_id(graph), seed), season(physics, graph)
    network, state, omega = driven(rules, batch, outside=outside(sealed, rules))
    parts = power_balance(batch, rules, network, state, omega)
    given_power = parts.pop("electrical")
    assert sum(parts.values()) == pytest.approx(given_power, rel=1e-9)
    for name, taken in parts.items():
        assert np.all(taken >= -1e-12 * given_power), name
    assert np.all(parts["coil"] > 0.0) and np.all(parts["outside"] > 0.0)
    assert np.any(parts["duct_ends"] > 0.0) == bool(batch.ducts)
    assert np.any(parts["diaphragm"] > 0.0) == bool(batch.diaphragms)


def test_power_balance_in_series() -> None:
    """Two different boxes' drivers in series: the balance closes as well."""
    batch = random_batch(parse_graph_id("oA.oB/Ao"), 11)
    rules = make_rules(physics=Physics(), limits=LIMITS, tones_hz=HZ, driver_count=2, wiring="series")
    network, state, omega = driven(rules, batch)
    parts = power_balance(batch, rules, network, state, omega)
    given_power = parts.pop("electrical")
    assert sum(parts.values()) == pytest.approx(given_power, rel=1e-9)


def test_radiated_power_of_a_closed_box() -> None:
    """What a small source gives a half space is p^2 2 pi r^2/(rho c), from the microphone's level."""
    rules = make_rules(physics=Physics(), limits=LIMITS, tones_hz=[15.0, 30.0, 60.0])
    batch = lumped(parse_graph_id("oA"), [0.06])
    network, state, omega = driven(rules, batch)
    outside_power = power_balance(batch, rules, network, state, omega)["outside"]
    level = Judge(rules).respond(batch).level_db[0, 0]
    pressure_square = (20e-6 * 10.0 ** (level / 20.0)) ** 2
    expected = pressure_square * 2.0 * np.pi / (AIR.density * AIR.sound_speed)
    assert outside_power == pytest.approx(expected, rel=2e-3)


@graphs
@CHECK
@given(seed=SEEDS, physics=PHYSICS)
def test_batch_is_its_designs(graph: str, seed: int, physics: Physics) -> None:
    """A design alone has the state that it has in a batch, with narrow ducts beside wide ones."""
    batch, rules = random_batch(parse_graph_id(graph), seed, n=4), season(physics, graph)
    if batch.ducts:  # the first design's duct is so narrow that its loss function takes the other branch
        thin = batch.ducts[0].area.copy()
        thin[0] = 1e-4
        batch = replace(batch, ducts=(replace(batch.ducts[0], area=thin), *batch.ducts[1:]))
    judge = Judge(rules)
    together = judge.respond(batch)
    for i in range(batch.size):
        alone = judge.respond(batch.rows(slice(i, i + 1)))
        assert together.level_db[i] == pytest.approx(alone.level_db[0], rel=1e-12)
        assert together.voltage[i] == pytest.approx(alone.voltage[0], rel=1e-12)
        assert together.impedance[i] == pytest.approx(alone.impedance[0], rel=1e-12)
        assert together.air_speed[i] == pytest.approx(alone.air_speed[0], rel=1e-12)


def test_chunks_do_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks of one design give what one chunk gives."""
    batch, judge = random_batch(parse_graph_id("AB/Ao.Bo"), 4, n=7), Judge(season(Physics(), "AB/Ao.Bo"))
    whole = judge.respond(batch).level_db
    monkeypatch.setattr(score, "CHUNK_ENTRIES", 1)
    assert judge.respond(batch).level_db == pytest.approx(whole, rel=1e-12)


@graphs
@CHECK
@given(seed=SEEDS, physics=PHYSICS, sealed=SEALED)
def test_elimination_is_the_dense_solution(graph: str, seed: int, physics: Physics, sealed: bool) -> None:
    """Flows at the drive solve the full system with the end losses on its diagonal."""
    batch, rules = random_batch(parse_graph_id(graph), seed), season(physics, graph)
    network, state, omega = driven(rules, batch, outside=outside(sealed, rules))
    shape = (batch.size, omega.size)
    matrix = dense(network.planes, network.size)
    for end in range(2 * network.duct_count):
        loss = network.end_loss[end][:, None] * state.loss_speeds[end].reshape(shape)
        matrix[..., network.first_duct + end, network.first_duct + end] += loss
    source = np.zeros((*shape, network.size), dtype=complex)
    for i, value in network.source.items():
        source[..., i] = value * state.voltage.reshape(shape)
    expected = np.linalg.solve(matrix, source[..., None])[..., 0]
    found = np.moveaxis(state.flows.reshape(network.size, *shape), 0, -1)
    largest = np.abs(expected).max(axis=-1, keepdims=True)
    assert np.max(np.abs(found - expected) / largest) < 1e-9
