"""A season under changed rules, searched from designs that are known: what prices and ladders need.

The outside keeps its tables: sites stay where they are, and so does the body that stands in a cabin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from models.catalogue import named_topology
from models.design import DesignBatch, End, Mouth, Patch
from models.envelope import Site
from models.rules import Rules
from models.score import Judge
from optimizer.cell import Cell, Goal, Points, joined
from optimizer.evolution import best_rows
from optimizer.polish import polish
from optimizer.space import SearchSpace
from optimizer.tasks import TaskRunner

SETTLED_DB = 2e-5
"""A polish that gains less ends the solving from one start [dB]."""

POLISHES = 6
"""Polishes from one start at most."""


class Variant:
    """Search spaces and an evaluator under one set of rules.

    Parameters
    ----------
    judge : Judge
        The evaluator [record].
    sites : tuple of Site
        Sites of driver faces and mouths [list].
    duct_shape : str
        ``round`` or ``slot`` [text].
    """

    def __init__(self, judge: Judge, sites: tuple[Site, ...], duct_shape: str) -> None:
        self.judge = judge
        self.sites = sites
        self.duct_shape = duct_shape
        self._cells: dict[str, Cell] = {}

    @classmethod
    def of(cls, runner: TaskRunner) -> Variant:
        """The season as it is."""
        return cls(runner.judge, runner.sites, runner.season.search.duct_shape)

    def under(self, rules: Rules) -> Variant:
        """The same places under other rules; tones and spaces must be the same."""
        return Variant(self.judge.with_rules(rules), self.sites, self.duct_shape)

    def hearing(self, spaces: Sequence[int], tones: Sequence[int]) -> Variant:
        """The same rules with some of the spaces and tones only."""
        rules = self.judge.rules
        fewer = replace(
            rules,
            spaces=tuple(rules.spaces[i] for i in spaces),
            tones_hz=rules.tones_hz[list(tones)],
            tone_weights=rules.tone_weights[list(tones)],
        )
        return Variant(Judge(fewer), self.sites, self.duct_shape)

    def cell(self, graph: str) -> Cell:
        """Evaluator of a graph's designs."""
        if graph not in self._cells:
            space = SearchSpace(named_topology(graph), self.judge.rules, self.sites, self.duct_shape)
            self._cells[graph] = Cell(self.judge, space, ("output",))
        return self._cells[graph]

    def carried(self, graph: str, points: Points, other: Variant) -> Points:
        """Points of another variant as points of this one, their sizes unchanged where they fit."""
        cell = self.cell(graph)
        mine, others = cell.space.variables, other.cell(graph).space.variables
        x = np.stack(
            [own.unit(its.value(points.x[:, i])) for i, (own, its) in enumerate(zip(mine, others, strict=True))],
            axis=1,
        )
        return cell.evaluate(x, points.site)

    def solve(self, graph: str, points: Points) -> Points:
        """The best point that polishing each of some points leads to, their sites kept."""
        cell = self.cell(graph)
        found = [points]
        for row in range(points.excess.size):
            point = points.take(np.array([row]))
            for _ in range(POLISHES):
                before = output_of(point)
                point = polish(cell, point)
                if output_of(point) - before < SETTLED_DB:
                    break
            found.append(point)
        pool = joined(found)
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
        natural |= {f"area {i}": duct.area, f"length {i}": duct.length}
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
