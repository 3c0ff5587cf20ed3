"""The continuous search inside one cell: screen, evolve, polish, sweep sites, polish again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimizer.cell import Cell, Goal, Points, joined, merit, penalty
from optimizer.evolution import best_rows, evolve, screen
from optimizer.polish import polish, sweep_sites

LEAST_GAIN_DB = 1e-3
"""A round of site sweep and polish that gains less is the last."""

ROUNDS = 4
"""Rounds of site sweep and polish at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard a cell is searched.

    Attributes
    ----------
    screened : int
        Points of the first sample [1].
    islands : int
        Populations that evolve apart from each other; every second one may move its mouths [1].
    population : int
        Points of a population [1].
    generations : int
        Generations [1].
    polished : int
        Distinct points of every population that are polished [1].
    swept : int
        Points with other sites that are polished after each sweep [1].
    """

    screened: int
    islands: int
    population: int
    generations: int
    polished: int
    swept: int


EFFORTS = {
    "survey": Effort(screened=256, islands=1, population=32, generations=16, polished=1, swept=0),
    "quick": Effort(screened=512, islands=2, population=40, generations=25, polished=1, swept=1),
    "normal": Effort(screened=2048, islands=4, population=64, generations=80, polished=2, swept=3),
    "thorough": Effort(screened=8192, islands=4, population=96, generations=200, polished=4, swept=5),
}
"""Efforts by the name a season gives; ``survey`` is the first look at many graphs."""


def seek(cell: Cell, rng: np.random.Generator, effort: Effort, stop: Callable[[], bool]) -> Points | None:
    """Best point of a cell by averaged output; None where nothing fits.

    Parameters
    ----------
    cell : Cell
        The cell, whose archive fills on the way [record].
    rng : Generator
        Random numbers [record].
    effort : Effort
        How hard to search [record].
    stop : callable
        True ends the search early with what was found [flag].

    Returns
    -------
    Points or None
        One point that fits [record].
    """
    goal = Goal()
    sample = screen(cell, rng, effort.screened)
    order = best_rows(sample, goal, effort.islands * effort.population)
    polished: list[Points] = []
    for island in range(effort.islands):
        population = sample.take(order[island :: effort.islands])
        population = evolve(cell, rng, population, effort.generations, goal, stop, move=island % 2 == 1)
        for point in _distinct(population, effort.polished):
            if penalty(point, goal)[0] > 0.0 or (stop() and polished):
                break
            polished.append(polish(cell, point))
    if not polished:
        return None
    everyone = joined(polished)
    return refine(cell, everyone.take(best_rows(everyone, goal, 1)), goal, effort.swept, stop)


def refine(cell: Cell, point: Points, goal: Goal, count: int, stop: Callable[[], bool]) -> Points:
    """Move the sites of a polished point, polish the best of these, and again until nothing gains."""
    best = point
    for _ in range(ROUNDS):
        if stop() or count == 0:
            break
        moved = [
            p for p in _each(sweep_sites(cell, best, goal, count)) if not np.array_equal(p.site, best.site)
        ]
        if not moved:
            break
        found = joined([best, *(polish(cell, p) for p in moved)])
        found = found.take(best_rows(found, goal, 1))
        gain = merit(found, goal)[0] - merit(best, goal)[0]
        best = found
        if gain < LEAST_GAIN_DB:
            break
    return best


def seek_other(
    cell: Cell,
    rng: np.random.Generator,
    start: Points,
    goal: Goal,
    effort: Effort,
    stop: Callable[[], bool],
) -> None:
    """Improve another objective under a floor of output, from points known; finds go to the archive.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    rng : Generator
        Random numbers [record].
    start : Points
        Points known, such as an archive [record].
    goal : Goal
        Objective and floor [record].
    effort : Effort
        How hard to search [record].
    stop : callable
        True ends the search early [flag].
    """
    known = start.take(best_rows(start, goal, effort.population // 2))
    missing = effort.population - known.excess.size
    seeds = known.x[rng.integers(0, known.excess.size, missing)]
    scattered = np.clip(seeds + rng.normal(0.0, 0.05, seeds.shape), 0.0, 1.0)
    near = cell.evaluate(scattered, known.site[rng.integers(0, known.excess.size, missing)])
    evolve(cell, rng, joined([known, near]), effort.generations, goal, stop)


def _distinct(points: Points, count: int) -> list[Points]:
    """The best points that differ from each other in their sites or clearly in their sizes."""
    chosen: list[int] = []
    for i in range(points.excess.size):
        if all(
            not np.array_equal(points.site[i], points.site[j])
            or np.max(np.abs(points.x[i] - points.x[j])) > 0.1
            for j in chosen
        ):
            chosen.append(i)
        if len(chosen) == count:
            break
    return _each(points.take(np.array(chosen)))


def _each(points: Points) -> list[Points]:
    """Every point for itself."""
    return [points.take(np.array([i])) for i in range(points.excess.size)]
