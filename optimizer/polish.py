"""Steps of a cell that follow slopes: SLSQP with drives as variables, and a sweep over sites.

The drive of every tone is a variable of its own beside the dimensions, and every limit one smooth
constraint log(drive) <= log(permitted drive): the epigraph form of the largest permitted drive,
whose multipliers name the binding tone and rule. Solver: scipy's SLSQP (D. Kraft, 1988).
"""

from __future__ import annotations

from functools import partial
from itertools import combinations
from typing import Any

import numpy as np
from scipy.optimize import minimize

from models.rules import Rules
from optimizer.cell import Cell, Goal, Points, joined, merit
from optimizer.evolution import best_rows
from optimizer.lockstep import Ask, in_lockstep
from optimizer.slopes import Slopes, averaged, drive_groups, mean_shares, slopes, space_weights

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

DRIVE_REACH = 2.0
"""How far the logarithm of a drive may move in one polish."""

LEVEL_REACH_DB = 20.0
"""How far the floor under the weakest tone may move in one polish."""


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

    def linearised(places: list[int], asked: list[np.ndarray]) -> list[Slopes]:
        found = _linearised(cell, points.site[places], np.stack(asked))
        return [found.row(i) for i in range(len(places))]

    problems = drive_problems(cell, points)
    solved = in_lockstep([partial(_solved, problem, steps) for problem in problems], linearised)
    x = np.clip(np.round(np.stack(solved), DIGITS), 0.0, 1.0)
    # strictly inside the requirements: pull back towards the fitting starts until they fit
    shares = np.array([1.0, 1.0 - 1e-6, 1.0 - 1e-4, 0.99, 0.9, 0.5])[:, None, None]
    tried = (points.x + shares * (x - points.x)).reshape(-1, n)
    both = joined([points, cell.evaluate(tried, np.tile(points.site, (shares.size, 1)))])
    values = merit(both, Goal()).reshape(-1, count)
    return both.take(values.argmax(axis=0) * count + np.arange(count))


def _solved(problem: DriveProblem, steps: int, ask: Ask) -> np.ndarray:
    """Where the solver of one problem ends, shape (dimensions,) [1]."""
    problem.linearise = ask
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
        one = partial(_linearised, cell, points.site[i : i + 1])
        found.append(DriveProblem(rules, points.x[i], start.voltage[i], start.level_db[i], limits, one))
    return found


def _linearised(cell: Cell, site: np.ndarray, y: np.ndarray) -> Slopes:
    """Linear models of points of a cell at variables of their problems, a row each or a single one."""
    n = cell.space.dimensions
    drives = int(drive_groups(cell.judge.rules).max()) + 1
    y = np.atleast_2d(y)
    return slopes(cell, np.clip(y[:, :n], 0.0, 1.0), site, y[:, n : n + drives])


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


class DriveProblem:
    """The smooth problem of one point: variables are dimensions and logarithms of drives."""

    def __init__(
        self,
        rules: Rules,
        x: np.ndarray,
        voltage: np.ndarray,
        level: np.ndarray,
        limits: np.ndarray,
        linearise: Ask,
    ) -> None:
        self.rules = rules
        groups = drive_groups(rules)
        self.groups = groups
        drives = np.zeros(int(groups.max()) + 1)
        drives[groups.ravel()] = np.log(voltage.ravel())
        self.worst = rules.mean == "worst"
        floors = level.min(axis=1) if self.worst else np.empty(0)
        self.limits = limits
        self.start = np.concatenate([x, drives, floors])
        self.bounds = [(0.0, 1.0)] * x.size
        self.bounds += [(d - DRIVE_REACH, d + DRIVE_REACH) for d in drives]
        self.bounds += [(f - LEVEL_REACH_DB, f + LEVEL_REACH_DB) for f in floors]
        self.dimensions = x.size
        self.drives = drives.size
        self.linearise = linearise
        self._at: np.ndarray | None = None
        self._cache: dict[str, Any] = {}

    def value(self, y: np.ndarray) -> float:
        """Score with its sign turned, which the solver makes small [dB]."""
        return float(-self._solve(y)["value"])

    def slope(self, y: np.ndarray) -> np.ndarray:
        """Its slope over all variables."""
        return -np.asarray(self._solve(y)["slope"])

    def room(self, y: np.ndarray) -> np.ndarray:
        """Room of every constraint, limits first; not negative where it is kept."""
        return np.asarray(self._solve(y)["room"])

    def room_slope(self, y: np.ndarray) -> np.ndarray:
        """Slopes of the constraints over all variables, shape (n_constraints, n_variables)."""
        return np.asarray(self._solve(y)["room_slope"])

    def _solve(self, y: np.ndarray) -> dict[str, Any]:
        if self._at is None or not np.array_equal(self._at, y):
            self._cache = self._differences(y)
            self._at = y.copy()
        return self._cache

    def _differences(self, y: np.ndarray) -> dict[str, Any]:
        """Value, constraints and their slopes."""
        n, rules = self.dimensions, self.rules
        at: Slopes = self.linearise(y)
        own = self.groups.ravel()

        def spread(by_drive: np.ndarray, rest: np.ndarray) -> np.ndarray:
            """Slope over all variables from slopes over dimensions and over the own drive."""
            result = np.zeros((by_drive.shape[0], y.size))
            result[:, :n] = rest
            result[np.arange(by_drive.shape[0]), n + own] += by_drive
            return result

        level = at.level[0].reshape(self.groups.shape)
        level_slope = spread(at.by_drive[0], at.d_level[0].T)
        rooms = [at.room[0][:, i] for i in self.limits]
        room_parts = [spread(at.room_by_drive[0][:, i], at.d_room[0][:, :, i].T) for i in self.limits]
        fit_slope = np.zeros((at.fit.shape[1], y.size))
        fit_slope[:, :n] = at.d_fit[0].T
        if self.worst:
            floors = y[n + self.drives :]
            rooms.append((level - floors[:, None]).ravel())
            above = level_slope.copy()
            tones = level.shape[1]
            for space in range(level.shape[0]):
                above[space * tones : (space + 1) * tones, n + self.drives + space] -= 1.0
            room_parts.append(above)
            value = float((space_weights(rules) * floors).sum())
            slope = np.zeros(y.size)
            slope[n + self.drives :] = space_weights(rules)
        else:
            value = averaged(level, rules)
            slope = mean_shares(level, rules).ravel() @ level_slope
        return {
            "value": value,
            "slope": slope,
            "room": np.concatenate([*rooms, at.fit[0]]),
            "room_slope": np.concatenate([*room_parts, fit_slope]),
        }
