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

ELITE_SHARE = 0.15
REDRAW_RATE = 0.08


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
    move: bool = False,
) -> Points:
    """Evolve a population.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    rng : Generator
        Random numbers [record].
    start : Points
        First population, at least four points [record].
    generations : int
        Generations [1].
    goal : Goal
        What is sought [record].
    stop : callable
        Asked once a generation; True ends the evolution early [flag].
    move : bool
        Whether mouths that reach over an edge move to the middle of their face [flag].

    Returns
    -------
    Points
        Last population, best first [record].
    """
    population = start
    size = population.excess.size
    elite = max(2, round(ELITE_SHARE * size))
    everyone = np.arange(size)
    for _ in range(generations):
        if stop():
            break
        order = best_rows(population, goal, size)
        guide = order[rng.integers(0, elite, size)]
        one, two = rng.integers(0, size, (2, size))
        factor = rng.uniform(0.3, 0.9, (size, 1))
        x = population.x
        trial = x + factor * (x[guide] - x) + factor * (x[one] - x[two])
        low, high = trial < 0.0, trial > 1.0
        trial = np.where(low, 0.5 * x, np.where(high, 0.5 * (1.0 + x), trial))
        rate = rng.uniform(0.5, 1.0, (size, 1))
        cross = rng.random(x.shape) < rate
        cross[everyone, rng.integers(0, x.shape[1], size)] = True
        trial = np.where(cross, trial, x)
        site = population.site
        if site.shape[1]:
            inherit = rng.random(site.shape) < 0.3
            site = np.where(inherit, population.site[guide], site)
            redraw = rng.random(site.shape) < REDRAW_RATE
            site = np.where(redraw, rng.integers(0, len(cell.space.sites), site.shape), site)
        offspring = cell.evaluate(trial, site, move)
        better = merit(offspring, goal) >= merit(population, goal)
        both = joined([population, offspring])
        population = both.take(np.where(better, everyone + size, everyone))
    return population.take(best_rows(population, goal, size))
