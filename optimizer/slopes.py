"""Levels, permitted drives and requirements of points at given drives, with their slopes.

The drive of every tone is a variable of its own beside the dimensions, so that every limit is one smooth
function, the logarithm of its permitted drive less that of the drive. Slopes are exact: sizes,
requirements and objectives of sizes carry theirs as imaginary parts (:mod:`models.complex_step`), and the
network's follow by the implicit function theorem (:mod:`models.linear_drive`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.complex_step import parted, stepped
from models.fit import shares
from models.rules import Rules
from models.score import mean_level
from optimizer.cell import Cell
from optimizer.objectives import size_objectives


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
        to the dimensions, shape (n_points, dimensions); empty where they were not wanted [mixed].
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


def slopes(
    cell: Cell, x: np.ndarray, site: np.ndarray, log_drive: np.ndarray, sized: bool = False
) -> Slopes:
    """Linearise points, all in one batch.

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
    sized : bool
        Whether objectives of sizes alone are wanted too [flag].

    Returns
    -------
    Slopes
        Values and slopes [record].
    """
    count, n = x.shape
    groups = drive_groups(cell.judge.rules)
    drive = log_drive[:, groups.ravel()]
    batch = cell.space.decode(stepped(x), np.repeat(site, n, axis=0))
    found = cell.judge.linearise(batch, np.exp(drive))
    cell.evaluations += count
    limited = np.isfinite(found.permitted)
    fit, d_fit = parted(-shares(batch, cell.judge.rules), count)
    sizes = size_objectives(batch, cell.judge.rules) if sized else {}
    return Slopes(
        level=found.level,
        room=found.permitted - drive[..., None],
        fit=fit,
        d_level=found.d_level.transpose(0, 2, 1),
        d_room=found.d_permitted.transpose(0, 3, 1, 2),
        d_fit=d_fit.transpose(0, 2, 1),
        by_drive=found.level_by_drive,
        room_by_drive=np.where(limited, found.permitted_by_drive - 1.0, 0.0),
        sizes={
            key: (value[:, 0], slope[:, 0])
            for key, (value, slope) in ((key, parted(column[None], count)) for key, column in sizes.items())
        },
    )


def mean_shares(level: np.ndarray, rules: Rules) -> np.ndarray:
    """Slope of the averaged output with respect to each level; not for the mean ``worst``.

    Parameters
    ----------
    level : ndarray, shape (..., n_spaces, n_tones)
        Levels [dB].
    rules : Rules
        Weights of spaces and tones, and how tones are averaged [record].

    Returns
    -------
    ndarray, shape (..., n_spaces, n_tones)
        Shares that add up to one [1].
    """
    share = np.broadcast_to(rules.tone_weights, level.shape)
    if rules.mean == "energy":
        share = share * 10.0 ** ((level - level.max(axis=-1, keepdims=True)) / 10.0)
    share = share / share.sum(axis=-1, keepdims=True)
    return np.asarray(space_weights(rules)[:, None] * share)


def space_weights(rules: Rules) -> np.ndarray:
    """Weights of the spaces, adding up to one, shape (n_spaces,) [1]."""
    weights = np.array([space.weight for space in rules.spaces])
    return np.asarray(weights / weights.sum())


def averaged(level: np.ndarray, rules: Rules) -> float:
    """Averaged output of levels, shape (n_spaces, n_tones) [dB]."""
    return float((space_weights(rules) * mean_level(level, rules.tone_weights, rules.mean)).sum())
