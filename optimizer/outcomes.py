"""What finished tasks left: points as plain data, archives and best scores of every graph."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.cell import Points, joined
from optimizer.front import non_dominated, spread_rows
from optimizer.objectives import gains

KEPT_POINTS = 400
"""Non-dominated points that a task reports at most."""

PLAN = "plan"
"""What a task seeks that lays a design out; its ``restart`` is the design's place among the picks."""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Task:
    """What a process is asked to do; equal tasks have equal outcomes.

    Attributes
    ----------
    graph : str
        Graph id [text].
    restart : int
        Number of the restart [1].
    effort : str
        Name of the effort, of :data:`optimizer.inner.EFFORTS` [text].
    objective : str
        Objective that is sought, or :data:`PLAN` [text].
    """

    graph: str
    restart: int
    effort: str
    objective: str = "output"

    @property
    def label(self) -> str:
        """Words for a progress bar."""
        return f"{self.graph} {self.objective}"


Outcomes = Mapping[Task, dict[str, Any]]
"""Finished tasks and what :meth:`optimizer.tasks.TaskRunner.run` returned for each."""


def pack(points: Points) -> dict[str, Any]:
    """Points as plain data."""
    return {
        "x": points.x.tolist(),
        "site": points.site.tolist(),
        "columns": {key: value.tolist() for key, value in points.columns.items()},
    }


def unpack(data: dict[str, Any]) -> Points:
    """Points of plain data; they all fit."""
    x = np.array(data["x"], dtype=float)
    return Points(
        x=x,
        site=np.array(data["site"], dtype=int).reshape(x.shape[0], -1),
        excess=np.zeros(x.shape[0]),
        columns={key: np.array(value, dtype=float) for key, value in data["columns"].items()},
    )


def merged(parts: list[Points], objectives: tuple[str, ...]) -> Points:
    """Non-dominated points of several sets."""
    pool = joined(parts)
    return pool.take(non_dominated(gains(pool.columns, objectives)))


def thinned(points: Points, objectives: tuple[str, ...]) -> Points:
    """At most :data:`KEPT_POINTS` points that lie far apart, extremes kept."""
    return points.take(spread_rows(gains(points.columns, objectives), KEPT_POINTS))


def best_score(outcome: dict[str, Any]) -> float:
    """Highest averaged output of a task's outcome; minus infinity where nothing fits [dB]."""
    points = outcome["best"] or outcome["archive"]
    return max(points["columns"]["output_db"]) if points else -np.inf


def archives_of(outcomes: Outcomes, objectives: tuple[str, ...]) -> dict[str, Points]:
    """Everything worth keeping of each graph: bests and non-dominated points, whatever the order of tasks."""
    parts: dict[str, list[Points]] = {}
    for task in sorted(outcomes):
        for key in ("best", "archive"):
            if outcomes[task][key] is not None:
                parts.setdefault(task.graph, []).append(unpack(outcomes[task][key]))
    return {graph: merged(points, objectives) for graph, points in parts.items()}


def pooled(archives: dict[str, Points]) -> tuple[list[str], list[int], dict[str, np.ndarray]]:
    """All points of several archives in one list: graph and row of each, and their objectives by key."""
    graphs = [graph for graph, points in archives.items() for _ in range(points.excess.size)]
    rows = [row for points in archives.values() for row in range(points.excess.size)]
    keys = next(iter(archives.values())).columns
    columns = {key: np.concatenate([points.columns[key] for points in archives.values()]) for key in keys}
    return graphs, rows, columns
