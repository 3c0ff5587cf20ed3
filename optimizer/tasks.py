"""One task of a search: a graph, a restart and a goal; run in any process, reported as plain data."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.catalogue import named_topology
from models.score import Judge
from optimizer.cell import Cell, Goal, Points, joined
from optimizer.front import non_dominated, spread_rows
from optimizer.inner import EFFORTS, seek, seek_other
from optimizer.objectives import OBJECTIVES, gains
from optimizer.season import Season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

KEPT_POINTS = 150
"""Non-dominated points that a task reports at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a process is asked to do.

    Attributes
    ----------
    graph : str
        Graph id [text].
    restart : int
        Number of the restart [1].
    effort : str
        Name of the effort, of :data:`optimizer.inner.EFFORTS` [text].
    objective : str
        Objective that is sought [text].
    floor_db : float or None
        Least averaged output that counts [dB].
    start : dict or None
        Points known of the graph, as plain data [mixed].
    """

    graph: str
    restart: int
    effort: str
    objective: str = "output"
    floor_db: float | None = None
    start: dict[str, Any] | None = None

    @property
    def label(self) -> str:
        """Words for a progress bar."""
        return f"{self.graph} {self.objective}"


Outcome = tuple[Task, dict[str, Any]]
"""A finished task and what :meth:`TaskRunner.run` returned for it."""


def task_seed(season: Season, task: Task) -> int:
    """Seed of a task from the season's content and the task alone, so that order does not matter."""
    floor = "" if task.floor_db is None else f"{task.floor_db:.6f}"
    words = [season.config_hash, task.graph, str(task.restart), task.effort, task.objective, floor]
    return int.from_bytes(hashlib.sha256("|".join(words).encode()).digest()[:8], "big")


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


class TaskRunner:
    """Runs tasks of one season, with one evaluator for all of them.

    Parameters
    ----------
    season : Season
        The season [record].
    """

    def __init__(self, season: Season) -> None:
        self.season = season
        self.judge = Judge(season.rules)
        self.sites = search_sites(season.rules)

    def space(self, graph: str) -> SearchSpace:
        """Search space of a graph."""
        search = self.season.search
        return SearchSpace(
            named_topology(graph), self.season.rules, self.sites, search.duct_shape, search.duct_profile
        )

    def run(self, task: Task, stop: Callable[[], bool] = lambda: False) -> dict[str, Any]:
        """Run a task.

        Parameters
        ----------
        task : Task
            What to do [record].
        stop : callable
            True ends the task early with what was found [flag].

        Returns
        -------
        dict
            ``evaluations``, ``best`` (one point or None), ``archive`` (non-dominated points or None) [mixed].
        """
        space = self.space(task.graph)
        cell = Cell(self.judge, space, self.season.search.objectives)
        rng = np.random.default_rng(task_seed(self.season, task))
        effort = EFFORTS[task.effort]
        best = None
        if task.objective == "output":
            best = seek(cell, rng, effort, stop)
        else:
            assert task.start is not None and task.floor_db is not None
            objective = OBJECTIVES[task.objective]
            goal = Goal(key=objective.key, sign=objective.sign, output_floor_db=task.floor_db)
            seek_other(cell, rng, unpack(task.start), goal, effort, stop)
        archive = None if cell.archive is None else pack(thinned(cell.archive, self.season.search.objectives))
        return {
            "evaluations": cell.evaluations,
            "best": None if best is None else pack(best),
            "archive": archive,
        }


def merged(parts: list[Points], objectives: tuple[str, ...]) -> Points:
    """Non-dominated points of several sets."""
    pool = joined(parts)
    return pool.take(non_dominated(gains(pool.columns, objectives)))


def thinned(points: Points, objectives: tuple[str, ...]) -> Points:
    """At most :data:`KEPT_POINTS` points, evenly spread along the first objective, extremes kept."""
    return points.take(spread_rows(gains(points.columns, objectives), KEPT_POINTS))


_RUNNER: list[TaskRunner] = []


def prepare_worker(season: Season) -> None:
    """Give a worker process its evaluator."""
    _RUNNER[:] = [TaskRunner(season)]


def run_in_worker(task: Task) -> dict[str, Any]:
    """Run a task in a worker process that :func:`prepare_worker` has initialised."""
    return _RUNNER[0].run(task)
