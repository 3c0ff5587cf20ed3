"""Vectorised differential evolution inside a cell.

Mutation towards one of the best with scattered factors (J. Zhang, A. C. Sanderson, "JADE:
adaptive differential evolution with optional external archive", IEEE Trans. Evol. Comput. 13(5),
2009, 945-958; the scheme, not its adaptation). Sites are integers: they are inherited from the
donor, or drawn anew at a small rate.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.stats import qmc

from optimizer.cell import Cell, Goal, Points, joined, merit

LEAST_POPULATION = 4
"""Points that an evolution needs."""

ELITE_SHARE = 0.15
INHERIT_RATE = 0.3
REDRAW_RATE = 0.08

NEIGHBOURS = 0.05
"""How far apart partners stand along a front, as a share of its length; one standard deviation."""

WIDE_BATCH = 256
"""Designs of a generation that widens a front."""

DENSE = 3000
"""Points of a front that need no more between them."""


def screen(cell: Cell, rng: np.random.Generator, count: int) -> Points:
    """A scrambled Sobol sample of a cell, evaluated."""
    space = cell.space
    power = int(np.ceil(np.log2(max(count, 2))))
    x = qmc.Sobol(space.dimensions, rng=rng).random_base2(power)[:count]
    site = rng.integers(0, len(space.sites), (count, len(space.site_slots)))
    return cell.evaluate(x, site)


def best_rows(points: Points, goal: Goal, count: int) -> np.ndarray:
    """Indexes of the best points, best first."""
    return np.argsort(-merit(points, goal), kind="stable")[:count]


def evolve(
    cell: Cell,
    rng: np.random.Generator,
    start: Points,
    generations: int,
    goal: Goal,
    stop: Callable[[], bool],
    islands: int = 1,
    move: np.ndarray | None = None,
) -> list[Points]:
    """Evolve populations that stay apart from each other, all of them in one batch.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    rng : Generator
        Random numbers [record].
    start : Points
        First populations one after the other, equal in size, each of at least four points [record].
    generations : int
        Generations [1].
    goal : Goal
        What is sought [record].
    stop : callable
        Asked once a generation; True ends the evolution early [flag].
    islands : int
        Number of populations [1].
    move : ndarray of bool, shape (islands,), or None
        In which of them mouths that reach over an edge move to the middle of their face [flag].

    Returns
    -------
    list of Points
        Last populations, each with its best point first [record].
    """
    population = start
    total = population.excess.size
    size = total // islands
    elite = max(2, round(ELITE_SHARE * size))
    everyone = np.arange(total)
    first = np.repeat(np.arange(islands) * size, size)
    moving = np.repeat(np.zeros(islands, dtype=bool) if move is None else move, size)
    for _ in range(generations):
        if stop():
            break
        order = _order(population, goal, islands)
        guide = order[first + rng.integers(0, elite, total)]
        one, two = first + rng.integers(0, size, (2, total))
        factor = rng.uniform(0.3, 0.9, (total, 1))
        x = population.x
        trial = x + factor * (x[guide] - x) + factor * (x[one] - x[two])
        rate = rng.uniform(0.5, 1.0, (total, 1))
        trial = _crossed(rng, x, trial, rng.random(x.shape) < rate)
        site = _inherited(cell, rng, population.site, population.site[guide])
        offspring = cell.evaluate(trial, site, moving)
        better = merit(offspring, goal) >= merit(population, goal)
        both = joined([population, offspring])
        population = both.take(np.where(better, everyone + total, everyone))
    order = _order(population, goal, islands)
    return [population.take(order[i * size : (i + 1) * size]) for i in range(islands)]


def widen(cell: Cell, rng: np.random.Generator, generations: int, stop: Callable[[], bool]) -> None:
    """Breed the points of a cell's archive with their neighbours along the front.

    Differences between neighbours point along the front, so that offspring fill its gaps and push it out.

    Parameters
    ----------
    cell : Cell
        The cell, with an archive in the order of its first objective [record].
    rng : Generator
        Random numbers [record].
    generations : int
        Generations [1].
    stop : callable
        Asked once a generation; True ends it early [flag].
    """
    for _ in range(generations):
        known = cell.archive
        if stop() or known is None or not LEAST_POPULATION <= known.excess.size <= DENSE:
            break
        last = known.excess.size - 1
        at = rng.integers(0, last + 1, WIDE_BATCH)
        away = np.rint(rng.normal(0.0, max(NEIGHBOURS * last, 1.5), (3, WIDE_BATCH))).astype(int)
        mate, one, two = np.clip(at + away, 0, last)
        x = known.x[at]
        factor = rng.uniform(0.3, 0.9, (WIDE_BATCH, 1))
        trial = x + factor * (known.x[mate] - x + known.x[one] - known.x[two])
        trial = _crossed(rng, x, trial, rng.random(x.shape) < rng.uniform(0.3, 1.0, (WIDE_BATCH, 1)))
        cell.evaluate(trial, _inherited(cell, rng, known.site[at], known.site[mate]))


def redrawn(cell: Cell, rng: np.random.Generator, site: np.ndarray, rate: float) -> np.ndarray:
    """Sites, a share of them drawn anew."""
    redraw = rng.random(site.shape) < rate
    return np.where(redraw, rng.integers(0, len(cell.space.sites), site.shape), site)


def _crossed(rng: np.random.Generator, x: np.ndarray, trial: np.ndarray, cross: np.ndarray) -> np.ndarray:
    """Points with some variables of their trials, at least one; beyond an end, half the way to it."""
    trial = np.where(trial < 0.0, 0.5 * x, np.where(trial > 1.0, 0.5 * (1.0 + x), trial))
    cross[np.arange(x.shape[0]), rng.integers(0, x.shape[1], x.shape[0])] = True
    return np.where(cross, trial, x)


def _inherited(cell: Cell, rng: np.random.Generator, site: np.ndarray, donor: np.ndarray) -> np.ndarray:
    """Sites, some of them those of the donors, a few drawn anew."""
    if site.shape[1] == 0:
        return site
    site = np.where(rng.random(site.shape) < INHERIT_RATE, donor, site)
    return redrawn(cell, rng, site, REDRAW_RATE)


def _order(population: Points, goal: Goal, islands: int) -> np.ndarray:
    """Indexes of points, island after island, the best of each first."""
    ranks = np.argsort(-merit(population, goal).reshape(islands, -1), axis=1, kind="stable")
    return np.asarray((ranks + np.arange(islands)[:, None] * ranks.shape[1]).ravel())
