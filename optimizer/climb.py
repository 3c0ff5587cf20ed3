"""Climbing from many points at once: successive linear programmes inside a trust region.

At every point the levels, limits and requirements are linearised (:mod:`optimizer.slopes`); a linear
programme (:mod:`optimizer.linear`) gives the step that gains most within the trust region (after R. Fletcher,
"Practical Methods of Optimization", 2nd ed. 1987, chapter 14, from memory); the step, and shorter ones, are
evaluated as any design is, so that a climb never ends below its start and always ends at a design that
fits. Steps are cheap but many: where fewer limits bind than there are variables the last decibel comes
slowly, and :mod:`optimizer.polish` finishes the best.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from optimizer.cell import Cell, Goal, Points, joined, merit
from optimizer.linear import best_step
from optimizer.slopes import drive_groups, slopes

FIRST_RADIUS = 0.04
"""First half-width of the trust region in unit variables."""

LEAST_RADIUS = 2e-5
"""A climb whose trust region is smaller has ended."""

LARGEST_RADIUS = 0.15

LEAST_GAIN = 1e-4
"""Steps that gain less, in the unit of the objective, make the trust region smaller."""

DIGITS = 9
"""Digits kept of a step, so that the last bits of a library's sums do not decide where a search goes."""

SHARES = (1.0, 0.5, 0.2)
"""Parts of a step that are tried."""


def climb(
    cell: Cell, points: Points, steps: int, stop: Callable[[], bool], goal: Goal | None = None
) -> Points:
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
    goal : Goal or None
        What is sought; None for the averaged output [record].

    Returns
    -------
    Points
        As many points in the same order, none worse than it was [record].
    """
    goal = goal or Goal()
    count = points.excess.size
    radius = np.full(count, FIRST_RADIUS)
    for _ in range(steps):
        active = np.nonzero(radius >= LEAST_RADIUS)[0]
        if active.size == 0 or stop():
            break
        here = points.take(active)
        moves = _steps(cell, here, radius[active], goal)
        tried = [cell.evaluate(here.x + share * moves, here.site) for share in SHARES]
        merits = np.stack([merit(here, goal), *(merit(t, goal) for t in tried)])
        best = np.argmax(merits, axis=0)
        gain = merits[best, np.arange(active.size)] - merits[0]
        everyone = joined([points, *tried])
        rows = np.arange(count)
        rows[active] = np.where(best > 0, count + (best - 1) * active.size + np.arange(active.size), active)
        points = everyone.take(rows)
        wider = np.where(best == 1, 2.0, np.where(best > 1, 0.7, 0.25))
        wider = np.where((best > 0) & (gain < LEAST_GAIN), 0.25, wider)
        radius[active] = np.minimum(radius[active] * wider, LARGEST_RADIUS)
    return points


def _steps(cell: Cell, points: Points, radius: np.ndarray, goal: Goal) -> np.ndarray:
    """Best step of every point in its linear model, shape (n_points, dimensions) [1]."""
    groups = drive_groups(cell.judge.rules)
    voltage = cell.judge.respond(cell.space.decode(points.x, points.site)).voltage
    log_drive = np.zeros((points.excess.size, int(groups.max()) + 1))
    log_drive[:, groups.ravel()] = np.log(voltage.reshape(points.excess.size, -1))
    model = slopes(cell, points.x, points.site, log_drive, sized=True)
    rows = range(points.excess.size)
    moves = np.stack([best_step(cell.judge.rules, model, i, points.x[i], radius[i], goal) for i in rows])
    return np.asarray(np.round(moves, DIGITS))
