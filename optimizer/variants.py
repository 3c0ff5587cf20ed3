"""A season under changed rules, searched from designs that are known: what prices and ladders need.

The outside keeps its tables: sites stay where they are, and so does the body that stands in a cabin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from models.design import DesignBatch, End, Mouth, Patch
from models.envelope import Site
from models.rules import Rules
from models.score import Judge
from optimizer.cell import Cell, Goal, Points, joined
from optimizer.climb import climb
from optimizer.evolution import best_rows
from optimizer.inner import EFFORTS, seek
from optimizer.polish import polish
from optimizer.tasks import TaskRunner

CLIMB_STEPS = 40
"""Steps of a climb before the polish of its best."""

SETTLED_DB = 2e-5
"""A polish that gains less is the last [dB]."""

POLISHES = 3
"""Polishes of the best climb at most."""

SHRUNK = (1.0, 0.9999, 0.999, 0.997, 0.99, 0.98, 0.97, 0.94, 0.9)
"""Shares of their areas that points are tried at where they do not fit; volumes are always made to fit."""


class Variant:
    """Search spaces and an evaluator under one set of rules.

    Parameters
    ----------
    runner : TaskRunner
        A season with its evaluator and sites [record].
    """

    def __init__(self, runner: TaskRunner) -> None:
        self.runner = runner
        self._cells: dict[str, Cell] = {}

    @property
    def judge(self) -> Judge:
        """The evaluator."""
        return self.runner.judge

    @property
    def rules(self) -> Rules:
        """The rules."""
        return self.runner.season.rules

    def under(self, rules: Rules) -> Variant:
        """The same places under other rules; tones and spaces must be the same."""
        return self._with(rules, self.judge.with_rules(rules))

    def hearing(self, spaces: Sequence[int], tones: Sequence[int]) -> Variant:
        """The same rules with some of the spaces and tones only."""
        fewer = replace(
            self.rules,
            spaces=tuple(self.rules.spaces[i] for i in spaces),
            tones_hz=self.rules.tones_hz[list(tones)],
            tone_weights=self.rules.tone_weights[list(tones)],
        )
        return self._with(fewer, Judge(fewer))

    def at_tones(self, tones_hz: np.ndarray) -> Variant:
        """The same rules with other frequencies of the tones, as many, with their weights."""
        moved = replace(self.rules, tones_hz=tones_hz)
        return self._with(moved, Judge(moved))

    def _with(self, rules: Rules, judge: Judge) -> Variant:
        runner = TaskRunner(replace(self.runner.season, rules=rules))
        runner.judge, runner.sites = judge, self.runner.sites
        return Variant(runner)

    def cell(self, graph: str) -> Cell:
        """Evaluator of a graph's designs."""
        if graph not in self._cells:
            self._cells[graph] = Cell(self.judge, self.runner.space(graph), ("output",))
        return self._cells[graph]

    def carried(self, graph: str, points: Points, other: Variant) -> Points:
        """Points of another variant as points of this one, with smaller mouths where they do not fit."""
        cell = self.cell(graph)
        mine, others = cell.space.variables, other.cell(graph).space.variables
        natural = [its.value(points.x[:, i]) for i, its in enumerate(others)]
        best = None
        for share in SHRUNK:
            sizes = [n * share if "area" in own.name else n for own, n in zip(mine, natural, strict=True)]
            x = np.stack([own.unit(n) for own, n in zip(mine, sizes, strict=True)], axis=1)
            tried = cell.evaluate(x, points.site)
            if best is None:
                best = tried
                continue
            better = (best.excess > 0.0) & (tried.excess < best.excess)
            rows = np.where(better, np.arange(better.size) + better.size, np.arange(better.size))
            best = joined([best, tried]).take(rows)
            if np.all(best.excess <= 0.0):
                break
        assert best is not None
        return best

    def seek(self, graph: str, effort: str, seed: int) -> Points | None:
        """The best point of a search from nothing; None where nothing fits."""
        return seek(self.cell(graph), np.random.default_rng(seed), EFFORTS[effort], lambda: False)

    def solve(self, graph: str, points: Points, most: int | None = None, polishes: int = POLISHES) -> Points:
        """The best that climbing from the best ``most`` points (default: all) leads to, their sites kept."""
        cell = self.cell(graph)
        rows = best_rows(points, Goal(), points.excess.size if most is None else most)
        climbed = climb(cell, points.take(rows), CLIMB_STEPS, lambda: False)
        return self._polished(graph, points, climbed.take(best_rows(climbed, Goal(), 1)), polishes)

    def follow(self, graph: str, points: Points, known_db: float) -> Points:
        """The best that points carried from an optimum of ``known_db`` lead to; sites kept.

        Polishing is enough where a rule has moved a little. Where it stays at a start that has lost, as
        when mouths had to shrink, the points climb.
        """
        cell = self.cell(graph)
        polished = polish(cell, points)
        start, found = (output_of(p.take(best_rows(p, Goal(), 1))) for p in (points, polished))
        if start < known_db - SETTLED_DB and not found > start + SETTLED_DB:
            return self.solve(graph, points)
        return self._polished(graph, points, polished.take(best_rows(polished, Goal(), 1)), POLISHES - 1)

    def _polished(self, graph: str, points: Points, point: Points, polishes: int) -> Points:
        """The best of points and of what polishing one of them leads to."""
        for _ in range(polishes):
            before = output_of(point)
            point = polish(self.cell(graph), point)
            if output_of(point) - before < SETTLED_DB:
                break
        pool = joined([points, point])
        return pool.take(best_rows(pool, Goal(), 1))


def output_of(point: Points) -> float:
    """Averaged output of a single point; minus infinity where it does not fit [dB]."""
    return float(point.columns["output_db"][0]) if point.excess[0] <= 0.0 else float(-np.inf)


def encoded(variant: Variant, graph: str, design: DesignBatch) -> Points:
    """Points of designs that a search has made, from their sizes.

    Parameters
    ----------
    variant : Variant
        Search spaces [record].
    graph : str
        Graph of the designs [text].
    design : DesignBatch
        Designs [record].

    Returns
    -------
    Points
        One point a design [record].

    Raises
    ------
    ValueError
        A mouth lies at none of the search's sites.
    """
    cell = variant.cell(graph)
    space = cell.space
    natural = {f"volume {i}": np.prod(design.sides[:, i], axis=1) for i in range(design.sides.shape[1])}
    for i, duct in enumerate(design.ducts):
        flare = np.ones(design.size) if duct.area_end is None else duct.area_end / duct.area
        natural |= {f"area {i}": duct.area, f"length {i}": duct.length, f"flare {i}": flare}
    for i, diaphragm in enumerate(design.diaphragms):
        natural[f"diaphragm area {i}"] = diaphragm.area
        natural[f"diaphragm mass {i}"] = diaphragm.mass
        natural[f"diaphragm compliance {i}"] = diaphragm.compliance
    site = np.zeros((design.size, len(space.site_slots)), dtype=int)
    for key, place, end in _ends(design):
        if isinstance(end, Mouth):
            names = {index: _site_index(design.sites[index], space.sites) for index in np.unique(end.site)}
            site[:, space.site_slots[key]] = [names[index] for index in end.site]
        elif isinstance(end, Patch) and end.wall[0] != "x":
            natural[f"place {key}"] = end.centre[:, 0] / design.sides[:, place, 0]
    x = np.stack(
        [np.clip(v.unit(natural[v.name]), 0.0, 1.0) for v in space.variables],
        axis=1,
    )
    return cell.evaluate(x, site)


def _ends(design: DesignBatch) -> list[tuple[tuple[str, int, int], int, End]]:
    """Every end with the key that the search space gives it and its place."""
    topology = design.topology
    parts: tuple[tuple[str, tuple[tuple[int, int], ...], list[tuple[End, End]]], ...] = (
        ("driver", topology.drivers, list(design.driver_ends)),
        ("duct", topology.ducts, [d.ends for d in design.ducts]),
        ("diaphragm", topology.diaphragms, [d.ends for d in design.diaphragms]),
    )
    return [
        ((kind, i, side), places[side], ends[side])
        for kind, edges, all_ends in parts
        for i, (places, ends) in enumerate(zip(edges, all_ends, strict=True))
        for side in (0, 1)
    ]


def _site_index(site: Site, sites: tuple[Site, ...]) -> int:
    for index, other in enumerate(sites):
        if other.wall == site.wall and np.allclose(other.at, site.at, rtol=0.0, atol=1e-5):
            return index
    raise ValueError(f"{site} is none of the search's sites")
