"""Kicks of a hop: which sizes they exchange, and that they stay inside a cell."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from models.score import Judge
from optimizer.cell import Cell
from optimizer.evolution import screen
from optimizer.kicks import exchanges, kick
from optimizer.season import load_season
from optimizer.tasks import TaskRunner

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture(scope="module")
def runner() -> TaskRunner:
    return TaskRunner(load_season(CONFIGS / "half_space.toml"))


@pytest.mark.parametrize(
    ("graph", "count"), [("oA", 1), ("AB/Ao", 1), ("AB/AB.Ao.Bo", 7), ("AB/AC.Ao.BC", 15)]
)
def test_exchanges_swap_the_sizes_of_ducts_and_chambers(runner: TaskRunner, graph: str, count: int) -> None:
    """Every order but the usual one, once: (1 + pairs of ducts) times (1 + pairs of chambers), less one."""
    space = runner.space(graph)
    orders = exchanges(space)
    assert orders.shape == (count, space.dimensions)
    assert len(np.unique(orders, axis=0)) == count
    x = np.random.default_rng(1).random((1, space.dimensions))
    site = np.zeros((1, len(space.site_slots)), dtype=int)
    plain = space.decode(x, site)
    for order in orders:
        assert np.array_equal(order[order], np.arange(space.dimensions))
        changed = space.decode(x[:, order], site)
        for kind in ("area", "length"):
            was, now = ([float(getattr(d, kind)[0]) for d in b.ducts] for b in (plain, changed))
            assert sorted(was) == pytest.approx(sorted(now), rel=1e-12)
        moved = {space.variables[i].name.split()[0] for i in np.flatnonzero(order != np.arange(len(order)))}
        assert moved <= {"area", "length", "volume"}
        assert count == 1 or not np.array_equal(order, np.arange(space.dimensions))


@pytest.mark.parametrize("hop", [0, 1])
def test_kicks_stay_inside_and_differ_from_hop_to_hop(runner: TaskRunner, hop: int) -> None:
    cell = Cell(Judge(runner.season.rules), runner.space("AB/AB.Ao.Bo"), ("output",))
    point = screen(cell, np.random.default_rng(2), 64).take(np.array([0]))
    sets = kick(cell, np.random.default_rng(3), point, 200, hop)
    assert [found.excess.size for found in sets] == [200, 200]
    for found in sets:
        assert found.x.min() >= 0.0 and found.x.max() <= 1.0
    away = [np.abs(found.x - point.x) for found in sets]
    if hop == 0:  # a size drawn anew lies farther away than the others; repairing moves volumes further
        assert np.median(away[1]) < 0.5 * np.median(away[0])
        assert np.median(away[1].max(axis=1)) > np.median(away[0].mean(axis=1))
    else:
        assert np.median(away[0].max(axis=1)) > 0.3
    again = kick(cell, np.random.default_rng(3), point, 200, hop)
    assert all(
        np.array_equal(a.x, b.x) and np.array_equal(a.site, b.site) for a, b in zip(sets, again, strict=True)
    )
