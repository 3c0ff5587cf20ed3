"""Steps of a cell that follow slopes: SLSQP with drives as variables, and a sweep over sites.

The drive of every tone is a variable of its own beside the dimensions, and every limit one smooth
constraint log(drive) <= log(permitted drive): the epigraph form of the largest permitted drive,
whose multipliers name the binding tone and rule. Solver: scipy's SLSQP (D. Kraft, 1988).
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import numpy as np
from scipy.optimize import minimize

from optimizer.cell import Cell, Goal, Points, joined
from optimizer.evolution import best_rows
from optimizer.slopes import averaged, drive_groups, mean_shares, slopes, space_weights

FTOL = 1e-5
"""Gain of a solver step that counts as none [dB]."""

DIGITS = 10
"""Digits kept of where the solver ends, as in :mod:`optimizer.climb`."""

SOLVER_STEPS = 60
"""Steps of a last polish at most."""

SHORT_STEPS = 30
"""Steps at most of a polish that is to show which of several points lead far."""

DRIVE_REACH = 2.0
"""How far the logarithm of a drive may move in one polish."""

LEVEL_REACH_DB = 20.0
"""How far the floor under the weakest tone may move in one polish."""


def polish(cell: Cell, point: Points, steps: int = SOLVER_STEPS) -> Points:
    """The point or a better one with the same sites.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    point : Points
        One point that fits [record].
    steps : int
        Steps of the solver at most [1].

    Returns
    -------
    Points
        One point that fits, with at least the output of the first [record].
    """
    problem = DriveProblem(cell, point)
    solved = minimize(
        problem.value,
        problem.start,
        jac=problem.slope,
        bounds=problem.bounds,
        constraints={"type": "ineq", "fun": problem.room, "jac": problem.room_slope},
        method="SLSQP",
        options={"maxiter": steps, "ftol": FTOL},
    )
    x = np.clip(np.round(solved.x[: cell.space.dimensions], DIGITS), 0.0, 1.0)
    # strictly inside the requirements: pull back towards the fitting start until it fits
    shares = np.array([1.0, 1.0 - 1e-6, 1.0 - 1e-4, 0.99, 0.9, 0.5])[:, None]
    trial = cell.evaluate(point.x + shares * (x - point.x), np.repeat(point.site, shares.size, axis=0))
    both = joined([point, trial])
    return both.take(best_rows(both, Goal(), 1))


def polish_each(cell: Cell, points: Points, stop: Callable[[], bool]) -> Points:
    """Every point polished for itself by a few steps, in the same order; ``stop`` leaves the rest."""
    each = [points.take(np.array([i])) for i in range(points.excess.size)]
    return joined([point if stop() else polish(cell, point, SHORT_STEPS) for point in each])


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

    def __init__(self, cell: Cell, point: Points) -> None:
        self.cell = cell
        self.site = point.site
        rules = cell.judge.rules
        groups = drive_groups(rules)
        self.groups = groups
        start = cell.judge.respond(cell.space.decode(point.x, point.site))
        drives = np.zeros(int(groups.max()) + 1)
        drives[groups.ravel()] = np.log(start.voltage[0].ravel())
        self.worst = rules.mean == "worst"
        floors = start.level_db[0].min(axis=1) if self.worst else np.empty(0)
        self.limits = np.nonzero(np.any(np.isfinite(start.permitted[0]), axis=(0, 1)))[0]
        self.start = np.concatenate([point.x[0], drives, floors])
        self.bounds = [(0.0, 1.0)] * point.x.shape[1]
        self.bounds += [(d - DRIVE_REACH, d + DRIVE_REACH) for d in drives]
        self.bounds += [(f - LEVEL_REACH_DB, f + LEVEL_REACH_DB) for f in floors]
        self.dimensions = point.x.shape[1]
        self.drives = drives.size
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
        n = self.dimensions
        rules = self.cell.judge.rules
        x = np.clip(y[:n], 0.0, 1.0)
        at = slopes(self.cell, x[None], self.site, y[None, n : n + self.drives])
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
