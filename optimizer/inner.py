"""The search inside one cell: screen, evolve, polish, kick and polish again, sweep sites and polish again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimizer.cell import Cell, Goal, Points, joined, merit, penalty
from optimizer.climb import climb
from optimizer.evolution import LEAST_POPULATION, best_rows, evolve, screen, widen
from optimizer.kicks import kick
from optimizer.linear import LINEAR
from optimizer.polish import FEW_STEPS, SHORT_STEPS, polish, sweep_sites

LEAST_GAIN_DB = 1e-3
"""A round of site sweep and polish that gains less is the last."""

ROUNDS = 4
"""Rounds of site sweep and polish at most."""

PATIENCE = 20
"""Evolutions in turn at most until something fits."""

KICKED = 512
"""Points of each kind of a hop's kicks that are evaluated."""


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
    hops, fruitless : int
        Hops at most, and how many without gain in turn are the last [1].
    landed : int
        Distinct points of each kind of kick that are polished: the best [1].
    steps : int
        Steps of a climb towards another objective at most [1].
    refined : int
        Points whose sites are swept [1].
    swept : int
        Points with other sites that are polished after each sweep; 0 sweeps none [1].
    widened : int
        Generations that widen the front after climbs towards another objective [1].
    bred, broods : int
        Points and generations of an evolution towards an objective without slopes [1].
    """

    screened: int
    islands: int
    population: int
    generations: int
    polished: int
    hops: int
    fruitless: int
    landed: int
    steps: int
    refined: int
    swept: int
    widened: int = 0
    bred: int = 0
    broods: int = 0


EFFORTS = {
    "survey": Effort(
        screened=512,
        islands=4,
        population=24,
        generations=20,
        polished=1,
        hops=0,
        fruitless=0,
        landed=0,
        steps=12,
        refined=1,
        swept=0,
    ),
    "quick": Effort(
        screened=256,
        islands=2,
        population=16,
        generations=4,
        polished=1,
        hops=16,
        fruitless=4,
        landed=8,
        steps=20,
        refined=1,
        swept=2,
        widened=40,
        bred=24,
        broods=7,
    ),
    "normal": Effort(
        screened=256,
        islands=2,
        population=16,
        generations=4,
        polished=1,
        hops=20,
        fruitless=5,
        landed=8,
        steps=30,
        refined=2,
        swept=3,
        widened=100,
        bred=40,
        broods=15,
    ),
    "thorough": Effort(
        screened=512,
        islands=4,
        population=16,
        generations=4,
        polished=1,
        hops=40,
        fruitless=8,
        landed=12,
        steps=40,
        refined=4,
        swept=4,
        widened=200,
        bred=64,
        broods=25,
    ),
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
    dealt = np.concatenate([order[island :: effort.islands] for island in range(effort.islands)])
    move = np.arange(effort.islands) % 2 == 1
    population, fitting = sample.take(dealt), []
    for _ in range(PATIENCE):
        islands = evolve(cell, rng, population, effort.generations, goal, stop, effort.islands, move)
        starts = [point for island in islands for point in _distinct(island, effort.polished)]
        fitting = [point for point in starts if penalty(point, goal)[0] == 0.0]
        if fitting or stop():
            break
        population = joined(islands)
    if not fitting:
        return None
    found = joined(fitting)
    if not stop():
        found = polish(cell, found, FEW_STEPS)
    found = found.take(best_rows(found, goal, 1))
    if effort.hops:
        found = hop(cell, rng, found, goal, effort, stop)
    if effort.swept:
        found = refine(cell, found, goal, effort, stop)
    best = found.take(best_rows(found, goal, 1))
    return best if stop() else polish(cell, best)


def hop(
    cell: Cell, rng: np.random.Generator, point: Points, goal: Goal, effort: Effort, stop: Callable[[], bool]
) -> Points:
    """Kick the best point, polish where that leads, and again from the best until hops gain nothing.

    Basin hopping (D. J. Wales, J. P. K. Doye, J. Phys. Chem. A 101, 1997, 5111-5116, from memory) that only
    goes upwards, with many kicks at once.
    """
    best, fruitless = point, 0
    for number in range(effort.hops):
        if stop() or fruitless == effort.fruitless:
            break
        landed = []
        for kicked in kick(cell, rng, best, KICKED, number):
            order = best_rows(kicked, goal, int((penalty(kicked, goal) == 0.0).sum()))
            landed += _distinct(kicked.take(order), effort.landed)
        if not landed:
            break
        found = joined([best, polish(cell, joined(landed), FEW_STEPS)])
        found = found.take(best_rows(found, goal, 1))
        gain = merit(found, goal)[0] - merit(best, goal)[0]
        fruitless = fruitless + 1 if gain < LEAST_GAIN_DB else 0
        best = found
    return best


def refine(cell: Cell, points: Points, goal: Goal, effort: Effort, stop: Callable[[], bool]) -> Points:
    """Move the sites of the best points, polish the best of these, and again until nothing gains."""
    best = points
    for _ in range(ROUNDS):
        if stop():
            break
        moved = joined(
            [
                other
                for point in _each(best)
                for other in _each(sweep_sites(cell, point, goal, effort.swept + 1))
                if not np.array_equal(other.site, point.site)
            ]
            or [best]
        )
        found = joined([best, polish(cell, moved, SHORT_STEPS)])
        found = joined(_distinct(found.take(best_rows(found, goal, found.excess.size)), effort.refined))
        gain = merit(found, goal)[0] - merit(best, goal)[0]
        best = found
        if gain < LEAST_GAIN_DB:
            break
    return best


def seek_other(
    cell: Cell, rng: np.random.Generator, goals: list[Goal], effort: Effort, stop: Callable[[], bool]
) -> None:
    """Climb towards other objectives under bounds, one goal after the other, then widen the front.

    Finds go to the cell's archive.
    Every goal starts from the best points that are known by then, those of the goals before it among them.
    Where an objective has no slopes, the best points evolve instead.

    Parameters
    ----------
    cell : Cell
        The cell, with an archive [record].
    rng : Generator
        Random numbers [record].
    goals : list of Goal
        Objectives with their bounds, along the front [list].
    effort : Effort
        How hard to search [record].
    stop : callable
        True ends the search early [flag].
    """
    for goal in goals:
        if stop() or cell.archive is None:
            return
        known = cell.archive.take(best_rows(cell.archive, goal, cell.archive.excess.size))
        if goal.key not in LINEAR or any(bound.key not in LINEAR for bound in goal.bounds):
            population = known.take(np.arange(known.excess.size)[: effort.bred])
            if population.excess.size >= LEAST_POPULATION:
                evolve(cell, rng, population, effort.broods, goal, stop)
            continue
        starts = [p for p in _distinct(known, effort.refined) if penalty(p, goal)[0] == 0.0]
        if starts:
            climb(cell, joined(starts), effort.steps, stop, goal)
    widen(cell, rng, effort.widened, stop)


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
    return _each(points.take(np.array(chosen, dtype=int)))


def _each(points: Points) -> list[Points]:
    """Every point for itself."""
    return [points.take(np.array([i])) for i in range(points.excess.size)]
