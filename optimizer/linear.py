"""The linear programme of one step: what gains most where everything changes in proportion.

Variables are the changes of the dimensions and of the logarithms of the drives, and, for objectives that
look at the highest or lowest of several levels, those extremes themselves.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from models.rules import Rules
from optimizer.cell import Goal
from optimizer.slopes import Slopes, averaged, drive_groups, mean_shares, space_weights

LINEAR = ("output_db", "worst_tone_db", "evenness_db", "material_cm3", "outer_volume_l")
"""Objectives that have slopes, by key."""

DRIVE_RADIUS = 1.0
"""Half-width of the trust region in the logarithm of a drive."""

NEAR_LIMIT, NEAR_FIT = 1.5, 0.5
"""Limits and requirements that leave more room, as a logarithm and a share, do not bind within a step."""


SLACK = 1e-9
"""Room given to bounds, in their unit, so that a start on the bound has a step."""


class _Programme:
    """Rows of the programme, filled objective by objective."""

    def __init__(self, rules: Rules, model: Slopes, i: int, dimensions: int) -> None:
        self.rules, self.model, self.i, self.n = rules, model, i, dimensions
        self.groups = drive_groups(rules)
        self.own = self.groups.ravel()
        self.drives = int(self.groups.max()) + 1
        spaces = self.groups.shape[0]
        first = dimensions + self.drives
        self.highest = first + np.arange(spaces)
        self.lowest = first + spaces + np.arange(spaces)
        self.floor = first + 2 * spaces
        self.size = self.floor + 1
        self.tone = np.arange(self.own.size)
        self.space = self.tone // self.groups.shape[1]
        self.level = self._rows(model.d_level[i].T, model.by_drive[i], self.own)
        self.below: list[np.ndarray] = []
        self.room: list[np.ndarray] = []
        self.equal: list[np.ndarray] = []
        self.value: list[np.ndarray] = []

    def _rows(self, by_dimension: np.ndarray, by_drive: np.ndarray, own: np.ndarray) -> np.ndarray:
        rows = np.zeros((by_dimension.shape[0], self.size))
        rows[:, : self.n] = by_dimension
        rows[np.arange(rows.shape[0]), self.n + own] = by_drive
        return rows

    def at_most(self, rows: np.ndarray, room: np.ndarray) -> None:
        """Demand that rows times variables do not exceed the room."""
        self.below.append(np.atleast_2d(rows))
        self.room.append(np.atleast_1d(room))

    def extreme(self, columns: np.ndarray, sign: float, weighed: bool = False) -> None:
        """Tie variables to the highest (+1) or lowest (-1) of the levels, by column of each tone."""
        among = np.tile(self.rules.tone_weights > 0.0, self.groups.shape[0]) if weighed else self.tone
        rows = sign * self.level
        rows[self.tone, columns] -= sign
        self.at_most(rows[among], -sign * self.model.level[self.i][among])

    def expression(self, key: str) -> tuple[np.ndarray, float]:
        """An objective as coefficients of the variables and a constant."""
        row = np.zeros(self.size)
        weights = space_weights(self.rules)
        level = self.model.level[self.i].reshape(self.groups.shape)
        if key == "output_db" and self.rules.mean != "worst":
            row = mean_shares(level, self.rules).ravel() @ self.level
            return row, averaged(level, self.rules)
        if key == "output_db":
            self.extreme(self.lowest[self.space], -1.0, weighed=True)
            row[self.lowest] = weights
        elif key == "worst_tone_db":
            self.extreme(np.full(self.tone.size, self.floor), -1.0)
            row[self.floor] = 1.0
        elif key == "evenness_db":
            self.extreme(self.highest[self.space], 1.0)
            self.extreme(self.lowest[self.space], -1.0)
            row[self.highest], row[self.lowest] = weights, -weights
        else:
            value, slope = self.model.sizes[key]
            row[: self.n] = slope[self.i]
            return row, float(value[self.i])
        return row, 0.0

    def limits(self) -> None:
        """Limits and requirements that may bind within a step."""
        room = self.model.room[self.i]
        tone, limit = np.nonzero(room < NEAR_LIMIT)
        d_room, by_drive = self.model.d_room[self.i], self.model.room_by_drive[self.i]
        rows = self._rows(d_room[:, tone, limit].T, by_drive[tone, limit], self.own[tone])
        self.at_most(-rows, np.maximum(room[tone, limit], 0.0))
        tight = np.nonzero(self.model.fit[self.i] < NEAR_FIT)[0]
        fit = np.zeros((tight.size, self.size))
        fit[:, : self.n] = self.model.d_fit[self.i][:, tight].T
        self.at_most(-fit, np.maximum(self.model.fit[self.i][tight], 0.0))

    def pin_drives(self) -> None:
        """Hold every drive at the limit that binds it, for objectives that gain from less drive."""
        room = self.model.room[self.i]
        for drive in range(self.drives):
            mine = np.nonzero(self.own == drive)[0]
            place, limit = np.unravel_index(np.argmin(room[mine]), room[mine].shape)
            tone = mine[place]
            by_dimension = self.model.d_room[self.i][:, tone, limit][None]
            by_drive = self.model.room_by_drive[self.i][tone, limit]
            self.equal.append(self._rows(by_dimension, np.array([by_drive]), np.array([drive])))


def best_step(rules: Rules, model: Slopes, i: int, x: np.ndarray, radius: float, goal: Goal) -> np.ndarray:
    """Step of the dimensions that gains most in the linear model of one point.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    model : Slopes
        Linear models of several points [record].
    i : int
        Which point [1].
    x : ndarray, shape (dimensions,)
        Its variables [1].
    radius : float
        Half-width of the trust region [1].
    goal : Goal
        What is sought, and bounds [record].

    Returns
    -------
    ndarray, shape (dimensions,)
        The step; zero where the programme has no solution [1].
    """
    programme = _Programme(rules, model, i, x.size)
    gain, _ = programme.expression(goal.key)
    for bound in goal.bounds:
        row, now = programme.expression(bound.key)
        programme.at_most(-bound.sign * row, np.array([bound.sign * (now - bound.value) + SLACK]))
    programme.limits()
    if any(key == "evenness_db" for key in (goal.key, *(bound.key for bound in goal.bounds))):
        programme.pin_drives()
    reach = np.full(programme.size, np.inf)
    reach[x.size : x.size + programme.drives] = DRIVE_RADIUS
    low, high = -reach, reach.copy()
    low[: x.size], high[: x.size] = np.maximum(-radius, -x), np.minimum(radius, 1.0 - x)
    found = linprog(
        -goal.sign * gain,
        A_ub=np.concatenate(programme.below),
        b_ub=np.concatenate(programme.room),
        A_eq=np.concatenate(programme.equal) if programme.equal else None,
        b_eq=np.zeros(len(programme.equal)) if programme.equal else None,
        bounds=np.stack([low, high], axis=1),
        method="highs-ds",
    )
    return np.asarray(found.x[: x.size]) if found.status == 0 else np.zeros(x.size)
