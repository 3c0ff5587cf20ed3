"""Levels, permitted drives and requirements of points at given drives, with their slopes.

The drive of every tone is a variable of its own beside the dimensions, so that every limit is one smooth
function, the logarithm of its permitted drive less that of the drive.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from models.fit import requirements
from models.rules import Rules
from models.score import mean_level
from optimizer.cell import Cell
from optimizer.objectives import size_objectives

STEP = 2e-5
"""Forward difference in unit variables and in the logarithm of the drive."""


def drive_groups(rules: Rules) -> np.ndarray:
    """Index of the drive that serves each space and tone, shape (n_spaces, n_tones) [1]."""
    shape = (len(rules.spaces), rules.tones_hz.size)
    if rules.drive == "per_space":
        return np.repeat(np.arange(shape[0])[:, None], shape[1], axis=1)
    if rules.drive == "common":
        return np.zeros(shape, dtype=int)
    return np.arange(shape[0] * shape[1]).reshape(shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """Points at given drives; f runs over spaces and tones, all spaces of a tone list flattened.

    Attributes
    ----------
    level : ndarray, shape (n_points, f)
        Levels [dB].
    room : ndarray, shape (n_points, f, n_limits)
        Logarithm of the drive at which a limit is met less that of the drive [1].
    fit : ndarray, shape (n_points, n_requirements)
        Room left in each requirement, as a share [1].
    d_level, d_room, d_fit : ndarrays
        Slopes with respect to the dimensions, which come as the second axis [mixed].
    by_drive, room_by_drive : ndarrays
        Slopes of level and room with respect to the logarithm of the own drive [mixed].
    sizes : dict of str to two ndarrays
        Objectives that depend on the sizes alone, by key: value, shape (n_points,), and slopes with respect
        to the dimensions, shape (n_points, dimensions) [mixed].
    """

    level: np.ndarray
    room: np.ndarray
    fit: np.ndarray
    d_level: np.ndarray
    d_room: np.ndarray
    d_fit: np.ndarray
    by_drive: np.ndarray
    room_by_drive: np.ndarray
    sizes: dict[str, tuple[np.ndarray, np.ndarray]]

    def row(self, i: int) -> Slopes:
        """One of the points, alone."""
        own = {f.name: getattr(self, f.name)[i : i + 1] for f in fields(self) if f.name != "sizes"}
        sizes = {key: (value[i : i + 1], slope[i : i + 1]) for key, (value, slope) in self.sizes.items()}
        return Slopes(**own, sizes=sizes)


def slopes(cell: Cell, x: np.ndarray, site: np.ndarray, log_drive: np.ndarray) -> Slopes:
    """Linearise points, all from one batch of neighbours.

    Parameters
    ----------
    cell : Cell
        Evaluator of the graph [record].
    x : ndarray, shape (n_points, dimensions)
        Variables between 0 and 1 [1].
    site : ndarray of int, shape (n_points, n_slots)
        Sites [1].
    log_drive : ndarray, shape (n_points, n_drives)
        Logarithm of every drive in volt [1].

    Returns
    -------
    Slopes
        Values and slopes [record].
    """
    count, n = x.shape
    groups = drive_groups(cell.judge.rules)
    steps = np.where(x + STEP > 1.0, -STEP, STEP)
    xs = np.repeat(x[:, None], n + 2, axis=1)
    at = np.arange(n)
    xs[:, 1 + at, at] += steps
    logs = np.repeat(log_drive[:, None], n + 2, axis=1)
    logs[:, -1] += STEP
    drive = logs[:, :, groups].reshape(count * (n + 2), *groups.shape)
    batch = cell.space.decode(xs.reshape(-1, n), np.repeat(site, n + 2, axis=0))
    found = cell.judge.respond(batch, np.exp(drive))
    cell.evaluations += count * (n + 2)
    lead = (count, n + 2)
    level = found.level_db.reshape(*lead, -1)
    room = (np.log(found.permitted) - drive[..., None]).reshape(*lead, level.shape[-1], -1)
    fit = -np.stack([e.share for e in requirements(batch, cell.judge.rules)], axis=1).reshape(*lead, -1)
    fit = np.where(np.isfinite(fit), fit, 1.0)
    with np.errstate(invalid="ignore"):
        d_room = np.nan_to_num(room[:, 1:] - room[:, :1], nan=0.0)
    d_level = level[:, 1:] - level[:, :1]
    return Slopes(
        level=level[:, 0],
        room=room[:, 0],
        fit=fit[:, 0],
        d_level=d_level[:, :-1] / steps[..., None],
        d_room=d_room[:, :-1] / steps[..., None, None],
        d_fit=(fit[:, 1:-1] - fit[:, :1]) / steps[..., None],
        by_drive=d_level[:, -1] / STEP,
        room_by_drive=d_room[:, -1] / STEP,
        sizes={
            key: (value[:, 0], (value[:, 1:-1] - value[:, :1]) / steps)
            for key, value in (
                (key, column.reshape(lead))
                for key, column in size_objectives(batch, cell.judge.rules).items()
            )
        },
    )


def mean_shares(level: np.ndarray, rules: Rules) -> np.ndarray:
    """Slope of the averaged output with respect to each level; not for the mean ``worst``.

    Parameters
    ----------
    level : ndarray, shape (n_spaces, n_tones)
        Levels [dB].
    rules : Rules
        Weights of spaces and tones, and how tones are averaged [record].

    Returns
    -------
    ndarray, shape (n_spaces, n_tones)
        Shares that add up to one [1].
    """
    share = np.broadcast_to(rules.tone_weights, level.shape)
    if rules.mean == "energy":
        share = share * 10.0 ** ((level - level.max(axis=1, keepdims=True)) / 10.0)
    share = share / share.sum(axis=1, keepdims=True)
    return np.asarray(space_weights(rules)[:, None] * share)


def space_weights(rules: Rules) -> np.ndarray:
    """Weights of the spaces, adding up to one, shape (n_spaces,) [1]."""
    weights = np.array([space.weight for space in rules.spaces])
    return np.asarray(weights / weights.sum())


def averaged(level: np.ndarray, rules: Rules) -> float:
    """Averaged output of levels, shape (n_spaces, n_tones) [dB]."""
    return float((space_weights(rules) * mean_level(level, rules.tone_weights, rules.mean)).sum())
