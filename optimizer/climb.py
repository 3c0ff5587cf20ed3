"""Climbing from many points at once: successive linear programmes inside a trust region.

At every point the levels, limits and requirements are linearised (:mod:`optimizer.slopes`); a linear
programme in the changes of dimensions and drives gives the step that gains most within the trust
region (after R. Fletcher, "Practical Methods of Optimization", 2nd ed. 1987, chapter 14, from
memory); the step, and shorter ones, are evaluated as any design is, so that a climb never ends below
its start and always ends at a design that fits. At a best design about as many limits bind as there are
variables, so that the optimum is nearly a corner and the programme finds it in a few steps.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import linprog

from models.rules import Rules
from optimizer.cell import Cell, Goal, Points, joined, merit
from optimizer.slopes import Slopes, drive_groups, mean_shares, slopes, space_weights

FIRST_RADIUS = 0.04
"""First half-width of the trust region in unit variables."""

LEAST_RADIUS = 2e-5
"""A climb whose trust region is smaller has ended."""

LARGEST_RADIUS = 0.15

DRIVE_RADIUS = 1.0
"""Half-width of the trust region in the logarithm of a drive."""

NEAR = 1.5
"""Limits that leave more room than this, as a logarithm, do not bind within a step."""

LEAST_GAIN_DB = 1e-4
"""Steps that gain less make the trust region smaller."""

SHARES = (1.0, 0.5, 0.2)
"""Parts of a step that are tried."""


def climb(cell: Cell, points: Points, steps: int, stop: Callable[[], bool]) -> Points:
    """Climb from every point, with its sites kept.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    points : Points
        Points that fit [record].
    steps : int
        Steps at most [1].
    stop : callable
        Asked at every step; True ends the climb early [flag].

    Returns
    -------
    Points
        As many points in the same order, each with at least the output it had [record].
    """
    goal = Goal()
    count = points.excess.size
    radius = np.full(count, FIRST_RADIUS)
    for _ in range(steps):
        active = np.nonzero(radius >= LEAST_RADIUS)[0]
        if active.size == 0 or stop():
            break
        here = points.take(active)
        moves = _steps(cell, here, radius[active])
        tried = [cell.evaluate(here.x + share * moves, here.site) for share in SHARES]
        merits = np.stack([merit(here, goal), *(merit(t, goal) for t in tried)])
        best = np.argmax(merits, axis=0)
        gain = merits[best, np.arange(active.size)] - merits[0]
        everyone = joined([points, *tried])
        rows = np.arange(count)
        rows[active] = np.where(best > 0, count + (best - 1) * active.size + np.arange(active.size), active)
        points = everyone.take(rows)
        wider = np.where(best == 1, 2.0, np.where(best > 1, 0.7, 0.25))
        wider = np.where((best > 0) & (gain < LEAST_GAIN_DB), 0.25, wider)
        radius[active] = np.minimum(radius[active] * wider, LARGEST_RADIUS)
    return points


def _steps(cell: Cell, points: Points, radius: np.ndarray) -> np.ndarray:
    """Best step of every point in its linear model, shape (n_points, dimensions) [1]."""
    rules = cell.judge.rules
    groups = drive_groups(rules)
    voltage = cell.judge.respond(cell.space.decode(points.x, points.site)).voltage
    log_drive = np.zeros((points.excess.size, int(groups.max()) + 1))
    log_drive[:, groups.ravel()] = np.log(voltage.reshape(points.excess.size, -1))
    model = slopes(cell, points.x, points.site, log_drive)
    return np.stack(
        [_step(rules, groups, model, i, points.x[i], radius[i]) for i in range(points.excess.size)]
    )


def _step(
    rules: Rules, groups: np.ndarray, model: Slopes, i: int, x: np.ndarray, radius: float
) -> np.ndarray:
    n, drives = x.size, int(groups.max()) + 1
    own = groups.ravel()
    worst = rules.mean == "worst"
    size = n + drives + (groups.shape[0] if worst else 0)
    tone = np.arange(own.size)
    level = np.zeros((own.size, size))
    level[:, :n] = model.d_level[i].T
    level[tone, n + own] = model.by_drive[i]
    gain = np.zeros(size)
    rows, bounds = [], []
    if worst:
        gain[n + drives :] = space_weights(rules)
        above = -level
        above[tone, n + drives + tone // groups.shape[1]] = 1.0
        rows.append(above)
        bounds.append(model.level[i])
    else:
        gain = mean_shares(model.level[i].reshape(groups.shape), rules).ravel() @ level
    near_tone, near_limit = np.nonzero(model.room[i] < NEAR)
    limits = np.zeros((near_tone.size, size))
    limits[:, :n] = model.d_room[i][:, near_tone, near_limit].T
    limits[np.arange(near_tone.size), n + own[near_tone]] = model.room_by_drive[i][near_tone, near_limit]
    tight = np.nonzero(model.fit[i] < 0.5)[0]
    fit = np.zeros((tight.size, size))
    fit[:, :n] = model.d_fit[i][:, tight].T
    rows += [-limits, -fit]
    bounds += [np.maximum(model.room[i][near_tone, near_limit], 0.0), np.maximum(model.fit[i][tight], 0.0)]
    reach = np.full(size, np.inf)
    reach[n : n + drives] = DRIVE_RADIUS
    low, high = -reach, reach.copy()
    low[:n], high[:n] = np.maximum(-radius, -x), np.minimum(radius, 1.0 - x)
    found = linprog(
        -gain,
        A_ub=np.concatenate(rows),
        b_ub=np.concatenate(bounds),
        bounds=np.stack([low, high], axis=1),
        method="highs-ds",
    )
    return found.x[:n] if found.status == 0 else np.zeros(n)
