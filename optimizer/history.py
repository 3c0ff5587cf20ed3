"""How a search went on: best score and hypervolume after every finished task.

Hypervolume is that of the non-dominated points found so far, from a reference point that takes the
worst value of each objective anywhere in them; as a share of the final one, so that it ends at 1.
"""

from __future__ import annotations

from typing import Any

import moocore
import numpy as np

from optimizer.objectives import gains
from optimizer.outcomes import Task, best_score, unpack


def hypervolume(values: np.ndarray, reference: np.ndarray) -> float:
    """Volume that points dominate above a reference point.

    Parameters
    ----------
    values : ndarray, shape (n, n_objectives)
        Objectives where more is better [mixed].
    reference : ndarray, shape (n_objectives,)
        Point from which the volume is counted [mixed].

    Returns
    -------
    float
        Volume in the product of the objectives' units [mixed].
    """
    above = values[np.all(values > reference, axis=1)]
    return float(moocore.hypervolume(above, ref=reference, maximise=True)) if above.size else 0.0


def history(
    finished: list[tuple[float, Task, dict[str, Any]]], objectives: tuple[str, ...]
) -> tuple[dict[str, Any], ...]:
    """State after every finished task.

    Parameters
    ----------
    finished : list of tuples
        Time as seconds of the epoch, task and outcome, in the order of time [mixed].
    objectives : tuple of str
        Names of the season's objectives [text].

    Returns
    -------
    tuple of dict
        ``seconds`` since the first task was finished, ``task``, ``evaluations`` so far, ``best_db`` so far,
        and ``hypervolume_share`` [mixed].
    """
    clouds = [_cloud(outcome, objectives) for _, _, outcome in finished]
    everything = np.concatenate([cloud for cloud in clouds if cloud.size] or [np.empty((0, len(objectives)))])
    if everything.size == 0:
        return ()
    reference = everything.min(axis=0) - 1e-9
    spread = everything.max(axis=0) - reference
    scaled = [(cloud - reference) / spread for cloud in clouds]
    zero = np.zeros(len(objectives))
    total = hypervolume((everything - reference) / spread, zero)
    rows = []
    seen = np.empty((0, len(objectives)))
    evaluations, best = 0, -np.inf
    for (moment, task, outcome), cloud in zip(finished, scaled, strict=True):
        evaluations += outcome["evaluations"]
        best = max(best, best_score(outcome))
        if cloud.size:
            seen = np.concatenate([seen, cloud])
            seen = seen[moocore.is_nondominated(seen, maximise=True)]
        rows.append(
            {
                "seconds": moment - finished[0][0],
                "task": task.label,
                "effort": task.effort,
                "evaluations": evaluations,
                "best_db": best if np.isfinite(best) else None,
                "hypervolume_share": hypervolume(seen, zero) / total,
            }
        )
    return tuple(rows)


def _cloud(outcome: dict[str, Any], objectives: tuple[str, ...]) -> np.ndarray:
    parts = [outcome[key] for key in ("best", "archive") if outcome[key] is not None]
    if not parts:
        return np.empty((0, len(objectives)))
    return np.concatenate([gains(unpack(part).columns, objectives) for part in parts])
