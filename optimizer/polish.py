"""Steps of a cell that follow slopes: SLSQP with drives as variables, and a sweep over sites.

The problem is that of :mod:`optimizer.drive_problem`. Solver: scipy's SLSQP (D. Kraft, 1988).
"""

from __future__ import annotations

from functools import partial
from itertools import combinations

import numpy as np
from scipy.optimize import minimize

from optimizer.cell import Cell, Goal, Points, joined, merit
from optimizer.drive_problem import DriveProblem, Model, models_of
from optimizer.evolution import best_rows
from optimizer.lockstep import Ask, in_lockstep
from optimizer.slopes import drive_groups, slopes

FTOL = 1e-5
"""Gain of a solver step that counts as none [dB]."""

DIGITS = 10
"""Digits kept of where the solver ends, as in :mod:`optimizer.climb`."""

SOLVER_STEPS = 60
"""Steps of a last polish at most."""

SHORT_STEPS = 30
"""Steps at most of a polish that is to show which of several points lead far."""

FEW_STEPS = 15
"""Steps at most of a polish of many points, of which the best go on."""


def polish(cell: Cell, points: Points, steps: int = SOLVER_STEPS) -> Points:
    """Every point or a better one with the same sites; their solvers go side by side.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    points : Points
        Points that fit [record].
    steps : int
        Steps of each solver at most [1].

    Returns
    -------
    Points
        As many points that fit, in the same order, none with less output than it had [record].
    """
    count, n = points.x.shape
    problems = drive_problems(cell, points)

    def answered(places: list[int], asked: list[np.ndarray]) -> list[Model]:
        return _models(cell, points.site[places], problems[0].limits, np.stack(asked))

    solved = in_lockstep([partial(_solved, problem, steps) for problem in problems], answered)
    x = np.clip(np.round(np.stack(solved), DIGITS), 0.0, 1.0)
    # strictly inside the requirements: pull back towards the fitting starts until they fit
    shares = np.array([1.0, 1.0 - 1e-6, 1.0 - 1e-4, 0.99, 0.9, 0.5])[:, None, None]
    tried = (points.x + shares * (x - points.x)).reshape(-1, n)
    both = joined([points, cell.evaluate(tried, np.tile(points.site, (shares.size, 1)))])
    values = merit(both, Goal()).reshape(-1, count)
    return both.take(values.argmax(axis=0) * count + np.arange(count))


def _solved(problem: DriveProblem, steps: int, ask: Ask) -> np.ndarray:
    """Where the solver of one problem ends, shape (dimensions,) [1]."""
    problem.ask = ask
    found = minimize(
        problem.value,
        problem.start,
        jac=problem.slope,
        bounds=problem.bounds,
        constraints={"type": "ineq", "fun": problem.room, "jac": problem.room_slope},
        method="SLSQP",
        options={"maxiter": steps, "ftol": FTOL},
    )
    return np.asarray(found.x[: problem.dimensions])


def drive_problems(cell: Cell, points: Points) -> list[DriveProblem]:
    """Problems of points, whose drives begin at the largest permitted ones.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    points : Points
        Points [record].

    Returns
    -------
    list of DriveProblem
        One a point [list].
    """
    start = cell.judge.respond(cell.space.decode(points.x, points.site))
    limits = np.nonzero(np.any(np.isfinite(start.permitted), axis=(0, 1, 2)))[0]
    rules, found = cell.judge.rules, []
    for i in range(points.excess.size):
        problem = DriveProblem(rules, points.x[i], start.voltage[i], start.level_db[i], limits)
        problem.ask = partial(_model, cell, points.site[i : i + 1], limits)
        found.append(problem)
    return found


def _model(cell: Cell, site: np.ndarray, limits: np.ndarray, y: np.ndarray) -> Model:
    """Model of a single point."""
    return _models(cell, site, limits, y[None])[0]


def _models(cell: Cell, site: np.ndarray, limits: np.ndarray, y: np.ndarray) -> list[Model]:
    """Models of points of a cell at variables of their problems, a row each."""
    n = cell.space.dimensions
    drives = int(drive_groups(cell.judge.rules).max()) + 1
    at = slopes(cell, np.clip(y[:, :n], 0.0, 1.0), site, y[:, n : n + drives])
    return models_of(cell.judge.rules, limits, at, y)


def sweep_sites(cell: Cell, point: Points, goal: Goal, count: int) -> Points:
    """The best points with other sites and the same sizes: every pair of slots over all pairs of sites.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    point : Points
        One point [record].
    goal : Goal
        What is sought [record].
    count : int
        Number of points wanted [1].

    Returns
    -------
    Points
        At most ``count`` points, best first, the given one among those compared [record].
    """
    slots = point.site.shape[1]
    sites = np.arange(len(cell.space.sites))
    tried = [point.site]
    for one, two in combinations(range(slots), 2) if slots > 1 else [(slot, slot) for slot in range(slots)]:
        pairs = np.stack(np.meshgrid(sites, sites, indexing="ij"), axis=-1).reshape(-1, 2)
        site = np.repeat(point.site, len(pairs), axis=0)
        site[:, one], site[:, two] = pairs[:, 0], pairs[:, 1]
        tried.append(site)
    site = np.unique(np.concatenate(tried), axis=0)
    trial = cell.evaluate(np.repeat(point.x, len(site), axis=0), site)
    both = joined([point, trial])
    return both.take(best_rows(both, goal, count))
