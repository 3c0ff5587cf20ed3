"""What is measured: the demo season, topologies, and batches of random designs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from models.catalogue import TRADE_NAMES, named_topology
from models.design import DesignBatch
from models.fit import violation
from models.rules import Rules
from models.score import Judge
from optimizer.cell import Cell
from optimizer.season import load_season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

CONFIG = Path(__file__).resolve().parents[2] / "configs" / "demo.toml"

THREE_CHAMBERS = "AB/AC.BC.Co"
"""Graph of three chambers that is measured beside the named ones."""

GROWING = {"one chamber": "oA/Ao", "two chambers": "AB/Ao.Bo", "three chambers": THREE_CHAMBERS}


def names() -> list[str]:
    """Every named topology with one driver and no diaphragm, and one of three chambers."""
    plain = [name for name in TRADE_NAMES.values() if not named_topology(name).diaphragms]
    return [*(name for name in plain if len(named_topology(name).drivers) == 1), THREE_CHAMBERS]


@cache
def rules() -> Rules:
    """The demo season: 4 tones in 2 spaces."""
    return load_season(CONFIG).rules


@cache
def judge(backend: str) -> Judge:
    """Evaluator of the demo season."""
    return Judge(rules(), backend=backend)


def random_designs(evaluator: Judge, name: str, count: int, seed: int = 1) -> DesignBatch:
    """Random designs of a topology, those among them that do not fit included."""
    space = SearchSpace(named_topology(name), evaluator.rules, search_sites(evaluator.rules))
    rng = np.random.default_rng(seed)
    site = rng.integers(0, len(space.sites), (count, len(space.site_slots)))
    return space.decode(*space.repair(rng.random((count, space.dimensions)), site))


def sloped_points(name: str, count: int) -> tuple[Cell, np.ndarray, np.ndarray, np.ndarray]:
    """A topology's cell with random points that fit: variables, sites, logarithms of their drives."""
    space = SearchSpace(named_topology(name), rules(), search_sites(rules()))
    cell = Cell(judge("compiled"), space, ("output",))
    rng = np.random.default_rng(1)
    site = rng.integers(0, len(space.sites), (200 * count, len(space.site_slots)))
    points = cell.evaluate(rng.random((200 * count, space.dimensions)), site)
    points = points.take(np.nonzero(points.excess <= 0.0)[0][:count])
    voltage = cell.judge.respond(space.decode(points.x, points.site)).voltage
    return cell, points.x, points.site, np.log(voltage).reshape(count, -1)


def fitting_batch(evaluator: Judge, name: str, count: int) -> DesignBatch:
    """Random designs of a topology that fit the season's envelope."""
    batch = random_designs(evaluator, name, 8 * count)
    return batch.rows(np.nonzero(violation(batch, evaluator.rules) <= 0.0)[0][:count])


def growing(count: int) -> Iterator[tuple[str, Judge, DesignBatch]]:
    """Batches by chambers, tones, spaces and designs: what grows, evaluator and batch."""
    base = rules()
    low, high = base.tones_hz[0], base.tones_hz[-1]
    for label, graph in GROWING.items():
        yield label, judge("compiled"), random_designs(judge("compiled"), graph, count)
    for tones in (4, 8, 16):
        more = replace(base, tones_hz=np.geomspace(low, high, tones), tone_weights=np.ones(tones))
        evaluator = Judge(more, backend="compiled")
        yield f"{tones} tones", evaluator, random_designs(evaluator, "oA/Ao", count)
    for spaces in (1, 2, 4):
        evaluator = Judge(replace(base, spaces=(base.spaces * 2)[:spaces]), backend="compiled")
        yield f"{spaces} spaces", evaluator, random_designs(evaluator, "oA/Ao", count)
    for size in (1, 8, 64, count):
        yield f"batch of {size}", judge("compiled"), random_designs(judge("compiled"), "oA/Ao", size)
