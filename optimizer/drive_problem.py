"""The smooth problem of a polish: variables are dimensions and logarithms of drives.

The drive of every tone is a variable of its own beside the dimensions, and every limit one smooth
constraint log(drive) <= log(permitted drive): the epigraph form of the largest permitted drive,
whose multipliers name the binding tone and rule.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.rules import Rules
from models.score import mean_level
from optimizer.lockstep import Ask
from optimizer.slopes import Slopes, drive_groups, mean_shares, space_weights

DRIVE_REACH = 2.0
"""How far the logarithm of a drive may move in one polish."""

LEVEL_REACH_DB = 20.0
"""How far the floor under the weakest tone may move in one polish."""


class Model(NamedTuple):
    """What a solver is told of one point.

    Attributes
    ----------
    value : float
        Score [dB].
    slope : ndarray, shape (n_variables,)
        Its slope over all variables [dB].
    room : ndarray, shape (n_constraints,)
        Room of every constraint, limits first; not negative where it is kept [1].
    room_slope : ndarray, shape (n_constraints, n_variables)
        Slopes of the constraints [1].
    """

    value: float
    slope: np.ndarray
    room: np.ndarray
    room_slope: np.ndarray


def models_of(rules: Rules, limits: np.ndarray, at: Slopes, y: np.ndarray) -> list[Model]:
    """Objectives and constraints of points with their slopes over all variables of their problems.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    limits : ndarray of int
        Limits that there are [1].
    at : Slopes
        Points at given drives [record].
    y : ndarray, shape (n_points, n_variables)
        Variables: dimensions, logarithms of drives, and floors under the weakest tone where that counts
        [mixed].

    Returns
    -------
    list of Model
        One a point [list].
    """
    groups = drive_groups(rules)
    (points, n, tones), own = at.d_level.shape, groups.ravel()
    floor = n + int(own.max()) + 1
    worst = rules.mean == "worst"
    level = at.level.reshape(points, *groups.shape)
    rooms = np.moveaxis(at.room[:, :, limits], 2, 1).reshape(points, -1)
    first = rooms.shape[1]
    counted = np.flatnonzero(np.tile(worst & (rules.tone_weights > 0.0), groups.shape[0]))
    last = first + counted.size
    room = np.zeros((points, last + at.fit.shape[1]))
    slope = np.zeros((*room.shape, y.shape[1]))
    rows = np.arange(first)
    room[:, :first], room[:, last:] = rooms, at.fit
    slope[:, :first, :n] = np.transpose(at.d_room[..., limits], (0, 3, 2, 1)).reshape(points, first, n)
    by_drive = np.moveaxis(at.room_by_drive[:, :, limits], 2, 1).reshape(points, -1)
    slope[:, rows, n + np.tile(own, limits.size)] = by_drive
    slope[:, last:, :n] = np.moveaxis(at.d_fit, 1, 2)
    rise = np.zeros((points, tones, y.shape[1]))
    rise[..., :n] = np.moveaxis(at.d_level, 1, 2)
    rise[:, np.arange(tones), n + own] = at.by_drive
    weights = space_weights(rules)
    if worst:
        above = floor + np.repeat(np.arange(groups.shape[0]), groups.shape[1])[counted]
        room[:, first:last] = at.level[:, counted] - y[:, above]
        slope[:, first:last] = rise[:, counted]
        slope[:, first + np.arange(counted.size), above] -= 1.0
        value = y[:, floor:] @ weights
        gain = np.zeros_like(y)
        gain[:, floor:] = weights
    else:
        value = mean_level(level, rules.tone_weights, rules.mean) @ weights
        gain = (mean_shares(level, rules).reshape(points, 1, -1) @ rise)[:, 0]
    return [Model(float(value[i]), gain[i], room[i], slope[i]) for i in range(points)]


class DriveProblem:
    """The problem of one point, as a solver asks for it.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    x : ndarray, shape (dimensions,)
        Where the dimensions begin [1].
    voltage, level : ndarray, shape (n_spaces, n_tones)
        Largest permitted drives and the levels there [V, dB].
    limits : ndarray of int
        Limits that there are [1].
    """

    ask: Ask
    """Returns the :class:`Model` at given variables."""

    def __init__(
        self, rules: Rules, x: np.ndarray, voltage: np.ndarray, level: np.ndarray, limits: np.ndarray
    ) -> None:
        groups = drive_groups(rules)
        drives = np.zeros(int(groups.max()) + 1)
        drives[groups.ravel()] = np.log(voltage.ravel())
        floors = level[:, rules.tone_weights > 0.0].min(axis=1) if rules.mean == "worst" else np.empty(0)
        self.start = np.concatenate([x, drives, floors])
        self.bounds = [(0.0, 1.0)] * x.size
        self.bounds += [(d - DRIVE_REACH, d + DRIVE_REACH) for d in drives]
        self.bounds += [(f - LEVEL_REACH_DB, f + LEVEL_REACH_DB) for f in floors]
        self.dimensions = x.size
        self.limits = limits
        self._at = np.empty(0)
        self._model: Model | None = None

    def value(self, y: np.ndarray) -> float:
        """Score with its sign turned, which the solver makes small [dB]."""
        return -self._at_point(y).value

    def slope(self, y: np.ndarray) -> np.ndarray:
        """Its slope over all variables."""
        return -self._at_point(y).slope

    def room(self, y: np.ndarray) -> np.ndarray:
        """Room of every constraint, limits first; not negative where it is kept."""
        return self._at_point(y).room

    def room_slope(self, y: np.ndarray) -> np.ndarray:
        """Slopes of the constraints over all variables, shape (n_constraints, n_variables)."""
        return self._at_point(y).room_slope

    def _at_point(self, y: np.ndarray) -> Model:
        if self._model is None or not (self._at == y).all():
            self._model = self.ask(y)
            self._at = y.copy()
        return self._model
