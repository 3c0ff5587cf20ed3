"""What holds for every enclosure, on every graph of the enumeration, with random designs.

Up to three chambers and four ducts; parallel ducts, a diaphragm and two drivers (wired in parallel and in
series) with up to two chambers. The reasons behind each check stand in test_invariants.py and
test_scaling.py, which look at fewer graphs with more designs.
"""

from __future__ import annotations

import functools
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pytest

from models.balance import power_balance
from models.design import DesignBatch
from models.drive import Driven
from models.enumeration import Enumerated, enumerate_graphs
from models.network import Network
from models.rules import Limits, Physics, Rules
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import dense, driven, make_rules, random_batch
from tests.scaled import scaled_batch, scaled_rules

HZ = [16.0, 31.0, 60.0, 240.0]
LIMITS = Limits(power=120.0, excursion=0.008, air_speed=20.0)
DESIGNS = 3
CHAMBERS: tuple[Literal["room", "line", "lump"], ...] = ("room", "room", "line", "lump")

FAMILIES: dict[str, dict[str, Any]] = {
    "three chambers": {"max_chambers": 3, "max_ducts": 4},
    "parallel ducts": {"max_chambers": 2, "max_ducts": 4, "max_parallel": 2},
    "diaphragm": {"max_chambers": 2, "max_ducts": 4, "max_diaphragms": 1},
    "two drivers in parallel": {"max_chambers": 2, "max_ducts": 4, "max_parallel": 2, "drivers": 2},
    "two drivers in series": {"max_chambers": 2, "max_ducts": 4, "max_parallel": 2, "drivers": 2},
}
families = pytest.mark.parametrize("family", FAMILIES)


@functools.cache
def graphs_of(family: str) -> tuple[Enumerated, ...]:
    """Every graph of a family, those that nothing opens outside among them."""
    return tuple(enumerate_graphs(**FAMILIES[family]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Random designs of one graph, at the largest permitted drive."""

    rules: Rules
    batch: DesignBatch
    network: Network
    state: Driven
    omega: np.ndarray

    def matrix(self) -> np.ndarray:
        """Full matrices with the end losses of the state, shape (n_designs, n_tones, size, size)."""
        result = dense(self.network.planes, self.network.size)
        for end in range(2 * self.network.duct_count):
            loss = self.network.end_loss[end][:, None] * self.state.loss_speeds[end].reshape(DESIGNS, -1)
            result[..., self.network.first_duct + end, self.network.first_duct + end] += loss
        return result

    def source(self) -> np.ndarray:
        """Right side per volt, shape (n_designs, n_tones, size)."""
        result = np.zeros((DESIGNS, self.omega.size, self.network.size), dtype=complex)
        for unknown, value in self.network.source.items():
            result[..., unknown] = value
        return result


def random_rules(graph: str, family: str, seed: int) -> tuple[Rules, DesignBatch]:
    """Rules of a random kind and random designs, some of them lined."""
    rng = np.random.default_rng(seed)
    kind = CHAMBERS[int(rng.integers(len(CHAMBERS)))]
    physics = Physics(chambers=kind, leak_corner_hz=float(rng.choice([0.0, 3.0])))
    topology = parse_graph_id(graph)
    wiring: Literal["parallel", "series"] = "series" if family.endswith("series") else "parallel"
    rules = make_rules(
        physics=physics, limits=LIMITS, tones_hz=HZ, driver_count=len(topology.drivers), wiring=wiring
    )
    return rules, random_batch(topology, seed, DESIGNS, lined=bool(rng.random() < 0.4))


@functools.cache
def cases(family: str) -> dict[str, Case]:
    """One case for every graph of a family that something opens outside."""
    result = {}
    for one in graphs_of(family):
        if one.useless == "nothing opens outside":
            continue
        rules, batch = random_rules(one.graph, family, zlib.crc32(f"{family} {one.graph}".encode()))
        network, state, omega = driven(rules, batch)
        result[one.graph] = Case(rules=rules, batch=batch, network=network, state=state, omega=omega)
    return result


def assert_all(family: str, deviation: Callable[[Case], float], most: float) -> None:
    """No graph of a family deviates by more than ``most``; all that do are named."""
    found = {graph: deviation(case) for graph, case in cases(family).items()}
    assert len(found) >= 25
    assert {graph: value for graph, value in found.items() if not value <= most} == {}


@families
def test_sealed_graphs_are_refused(family: str) -> None:
    """A graph that nothing opens outside is no enclosure; every other is."""
    for one in graphs_of(family):
        if one.useless == "nothing opens outside":
            with pytest.raises(ValueError, match="parts that nothing joins"):
                parse_graph_id(one.graph)
        else:
            assert parse_graph_id(one.graph).graph_id == one.graph


@families
def test_settled(family: str) -> None:
    """Drive and end losses agree for every design and tone."""
    assert_all(family, lambda case: float(np.mean(~case.state.settled)), 0.0)


@families
def test_passive(family: str) -> None:
    """No part gives energy, and the amplifier never meets less than the coils' resistance."""

    def most_negative(case: Case) -> float:
        worst = 0.0
        for planes in [*case.network.parts.values(), case.network.planes]:
            if not planes:
                continue
            shape = (DESIGNS, case.omega.size)
            matrix = dense({k: np.broadcast_to(v, shape) for k, v in planes.items()}, case.network.size)
            lowest = np.linalg.eigvalsh(matrix.real)[..., 0] / np.abs(matrix).max(axis=(-1, -2))
            worst = max(worst, float(-lowest.min()))
        drivers = case.rules.driver_count
        coil = case.rules.driver.coil_resistance
        coil = coil * drivers if case.rules.wiring == "series" else coil / drivers
        resistance = (case.state.voltage / case.state.current).real
        return max(worst, float(1.0 - resistance.min() / coil))

    assert_all(family, most_negative, 1e-12)


@families
def test_reciprocal(family: str) -> None:
    """A volt moves as much air in any duct or diaphragm as a pascal there moves current."""

    def asymmetry(case: Case) -> float:
        matrix, source = case.matrix(), case.source()
        forward = np.linalg.solve(matrix, source[..., None])[..., 0]
        flows = np.linalg.solve(matrix, np.broadcast_to(np.eye(case.network.size), matrix.shape))
        coil = case.rules.driver.coil_impedance(case.omega)
        if case.rules.wiring == "series":
            coil = coil * case.rules.driver_count
        through = case.rules.driver.force_factor / coil / case.rules.driver.area
        current = through[:, None] * flows[..., : case.network.driver_count, :].sum(axis=-2)
        return float(np.max(np.abs(current - forward) / np.abs(forward).max(axis=-1, keepdims=True)))

    assert_all(family, asymmetry, 1e-9)


@families
def test_power_balance(family: str) -> None:
    """All parts together take what the amplifier gives, and none of them gives any."""

    def imbalance(case: Case) -> float:
        parts = power_balance(case.batch, case.rules, case.network, case.state, case.omega)
        given = parts.pop("electrical")
        gives = max(float(np.max(-taken / given)) for taken in parts.values())
        return max(float(np.max(np.abs(sum(parts.values()) / given - 1.0))), 1e3 * gives)

    assert_all(family, imbalance, 1e-9)


@families
def test_elimination_is_the_dense_solution(family: str) -> None:
    """Flows at the drive solve the full system with the end losses on its diagonal."""

    def difference(case: Case) -> float:
        volts = case.state.voltage.reshape(DESIGNS, -1, 1)
        expected = np.linalg.solve(case.matrix(), (case.source() * volts)[..., None])[..., 0]
        found = np.moveaxis(case.state.flows.reshape(case.network.size, DESIGNS, -1), 0, -1)
        return float(np.max(np.abs(found - expected) / np.abs(expected).max(axis=-1, keepdims=True)))

    assert_all(family, difference, 1e-9)


@families
def test_batch_is_its_designs(family: str) -> None:
    """A design alone has the state that it has in its batch."""

    def difference(case: Case) -> float:
        alone = case.batch.rows(slice(1, 2))
        _, state, _ = driven(case.rules, alone)
        columns = slice(case.omega.size, 2 * case.omega.size)
        flows = case.state.flows[:, columns]
        return max(
            float(np.max(np.abs(state.flows - flows) / np.abs(flows).max(axis=0))),
            float(np.max(np.abs(state.voltage / case.state.voltage[columns] - 1.0))),
        )

    assert_all(family, difference, 1e-9)


@families
def test_scaling(family: str) -> None:
    """Lengths over 3, frequencies times 3, no layers at walls: levels, speeds and impedance stay.

    A lining scales with its flow resistivity times 3.
    """
    n = 3.0

    def difference(case: Case) -> float:
        physics = Physics(chambers=case.rules.physics.chambers, wall_losses=False, leak_corner_hz=2.0)
        full = make_rules(
            physics=physics,
            limits=LIMITS,
            tones_hz=HZ,
            driver_count=case.rules.driver_count,
            wiring=case.rules.wiring,
        )
        one = Judge(full).respond(case.batch)
        two = Judge(scaled_rules(full, n)).respond(scaled_batch(case.batch, n))
        triples = [
            (two.impedance, one.impedance, 0.0),
            (n * two.excursion, one.excursion, 1e-6),
            (two.air_speed, one.air_speed, 1e-3),
            (10.0 ** (two.level_db / 20.0), 10.0 ** (one.level_db / 20.0), 50.0),
        ]
        # equal drivers may cancel but for rounding: 1 um, 1 mm/s and 34 dB are the least that count
        return max(float(np.max(np.abs(a - b) / (np.abs(b) + floor), initial=0.0)) for a, b, floor in triples)

    assert_all(family, difference, 1e-6)
