"""Compiled code and numpy give the same responses: on every enumerated graph, with every kind of element."""

from __future__ import annotations

import zlib
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest

from models.backend import VARIABLE, choose_backend, has_compiler
from models.catalogue import TRADE_NAMES
from models.design import DesignBatch
from models.rules import Limits, Physics, Rules
from models.score import Judge, Responses
from models.spaces import HalfSpace
from models.topology import parse_graph_id
from tests.builders import make_rules, random_batch
from tests.models.test_every_graph import FAMILIES, graphs_of, random_rules

compiled = pytest.mark.skipif(not has_compiler(), reason="numba is not installed")

HZ = [16.0, 31.0, 60.0, 110.0, 240.0]
LIMITS = Limits(power=120.0, excursion=0.008, air_speed=20.0, voltage=40.0, current=7.0)
SPACES = (HalfSpace(name="near", distance=0.5), HalfSpace(name="far", distance=2.0))
CLOSE = 1e-9


def both(rules: Rules, batch: DesignBatch, voltage: float | None = None) -> tuple[Responses, Responses]:
    """Responses of compiled code and of numpy."""
    first, second = (Judge(rules, backend=name).respond(batch, voltage) for name in ("compiled", "numpy"))
    return first, second


FLOORS = {"voltage": 0.0, "current": 0.0, "excursion": 1e-6, "diaphragm_excursion": 1e-6, "air_speed": 1e-3}
"""What counts least in a relative difference: equal drivers may cancel each other but for rounding."""


def difference(one: Responses, two: Responses) -> float:
    """Largest relative difference of any quantity."""
    worst = float(np.any(one.settled != two.settled))
    for name, floor in FLOORS.items():
        a, b = getattr(one, name), getattr(two, name)
        assert a.shape == b.shape, name
        worst = max(worst, float(np.max(np.abs(a - b) / (np.abs(b) + floor), initial=0.0)))
    a, b = 1.0 / one.permitted, 1.0 / two.permitted  # zero where there is no limit
    none, other = (x <= 1e-12 * x.max(axis=-1, keepdims=True) for x in (a, b))  # flows may cancel to rounding
    assert np.array_equal(none, other)
    worst = max(worst, float(np.max(np.abs(a - b) / (b + 1e-5 * b.max(axis=-1, keepdims=True)))))
    a, b = 10.0 ** (one.level_db / 20.0), 10.0 ** (two.level_db / 20.0)
    return max(worst, float(np.max(np.abs(a - b) / (b + 1.0))))


@compiled
@pytest.mark.parametrize("family", FAMILIES)
def test_every_graph(family: str) -> None:
    """Rooms, lines and lumps; tapers, linings, slots, tubes in parallel; diaphragms; two drivers."""
    found = {}
    for one in graphs_of(family):
        if one.useless == "nothing opens outside":
            continue
        rules, batch = random_rules(one.graph, family, zlib.crc32(f"{family} {one.graph}".encode()))
        found[one.graph] = difference(*both(rules, batch))
    assert len(found) >= 25
    assert {graph: value for graph, value in found.items() if not value <= CLOSE} == {}


def rules_of(graph: str, **changes: Any) -> Rules:
    """Rules with all limits in two spaces."""
    base: dict[str, Any] = {"physics": Physics(), "limits": LIMITS, "tones_hz": HZ, "spaces": SPACES}
    return make_rules(**(base | {"driver_count": len(parse_graph_id(graph).drivers)} | changes))


SWITCHES: dict[str, dict[str, Any]] = {
    "all on": {},
    "no wall losses": {"physics": Physics(wall_losses=False)},
    "no end losses": {"physics": Physics(duct_end_loss=False)},
    "no radiation": {"physics": Physics(radiation=False)},
    "leaks": {"physics": Physics(leak_corner_hz=4.0)},
    "lines": {"physics": Physics(chambers="line", radiation=False)},
    "lumps": {"physics": Physics(chambers="lump")},
    "apparent power": {"limits": replace(LIMITS, power_kind="apparent")},
    "nominal power": {"limits": replace(LIMITS, power_kind="nominal")},
    "few limits": {"limits": Limits(power=50.0, excursion=0.004)},
    "series": {"wiring": "series"},
    "one drive a space": {"drive": "per_space"},
    "one drive": {"drive": "common"},
}


@compiled
@pytest.mark.parametrize("name", SWITCHES)
def test_every_switch(name: str) -> None:
    """Every named topology under every switch."""
    for graph in TRADE_NAMES:
        batch = random_batch(parse_graph_id(graph), 7, 3)
        assert difference(*both(rules_of(graph, **SWITCHES[name]), batch)) <= CLOSE, graph


@compiled
@pytest.mark.parametrize("graph", ["oA/Ao", "AB/Ao.Bo", "oA/AB.Bo", "oA//Ao"])
def test_given_drive_ends_by_hand_and_bends(graph: str) -> None:
    """What a design file may ask for beside what a search draws."""
    batch = random_batch(parse_graph_id(graph), 3, 5)
    ducts = tuple(
        replace(
            duct,
            area_end=None,
            bends=((0.5 * duct.length, -0.1 * np.sqrt(duct.area)),) if i == 0 else (),
            end_lengths=(np.full(5, 0.01), None),
        )
        for i, duct in enumerate(batch.ducts)
    )
    batch = replace(batch, ducts=ducts)
    assert difference(*both(rules_of(graph), batch, 5.0)) <= CLOSE
    assert difference(*both(rules_of(graph), batch)) <= CLOSE


@compiled
@pytest.mark.parametrize("size", [1, 31, 32, 33, 600])
def test_batches_of_any_size(size: int) -> None:
    """Blocks and chunks do not show: a design has one response, whatever stands beside it."""
    batch = random_batch(parse_graph_id("oA/AB.Bo"), 11, size)
    one, two = both(rules_of("oA/AB.Bo"), batch)
    assert difference(one, two) <= CLOSE
    alone = Judge(rules_of("oA/AB.Bo"), backend="compiled").respond(batch.rows(slice(size - 1, size)))
    assert alone.level_db[0] == pytest.approx(one.level_db[-1], rel=1e-12)


@compiled
def test_equal_sides_small_patches_and_thin_tubes() -> None:
    """Cubes (any side may be the line), patches small against the modes, few boundary layers in a tube."""
    batch = random_batch(parse_graph_id("oA/Ao"), 5, 4)
    sides = np.repeat(batch.sides[..., :1], 3, axis=2)
    area = np.array([1e-5, 1e-4, 4e-4, 1e-3])
    duct = batch.ducts[0]
    ends: list[Any] = [
        replace(end, centre=0.5 * sides[:, 0, :2], half=np.sqrt(area)[:, None] * [[0.5, 0.5]])
        if hasattr(end, "wall")
        else end
        for end in duct.ends
    ]
    duct = replace(duct, area=area, area_end=None, ends=(ends[0], ends[1]), count=1)
    batch = replace(batch, sides=sides, ducts=(duct,))
    assert difference(*both(rules_of("oA/Ao"), batch)) <= CLOSE


def test_choice(monkeypatch: pytest.MonkeyPatch) -> None:
    """An argument wins over the variable, the variable over what is installed; unknown names are refused."""
    monkeypatch.setenv(VARIABLE, "numpy")
    assert choose_backend() == "numpy"
    assert Judge(rules_of("oA")).backend == "numpy"
    with pytest.raises(ValueError, match=r"'abacus' is not one of compiled, numpy"):
        choose_backend("abacus")
    monkeypatch.delenv(VARIABLE)
    best: Literal["compiled", "numpy"] = "compiled" if has_compiler() else "numpy"
    assert choose_backend() == best
    monkeypatch.setattr("models.backend.has_compiler", lambda: False)
    assert choose_backend() == "numpy"
    with pytest.raises(ValueError, match="needs numba"):
        choose_backend("compiled")
