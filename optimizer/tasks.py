"""Running one task of a search: a graph, a restart and a goal, reported as plain data."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import numpy as np

from models.catalogue import named_topology
from models.score import Judge
from optimizer.cell import Cell, Goal
from optimizer.inner import EFFORTS, seek, seek_other
from optimizer.objectives import OBJECTIVES
from optimizer.outcomes import Outcomes, Task, archives_of, pack, thinned
from optimizer.season import Season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

FLOORS_DB = {
    "quick": (0.45,),
    "normal": (0.1, 0.45, 1.0, 2.0, 4.0),
    "thorough": (0.05, 0.1, 0.2, 0.45, 0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0),
}
"""How far below a graph's best output its other objectives may go, by effort, one after the other."""


def task_seed(season: Season, task: Task) -> int:
    """Seed of a task from the season's content and the task alone, so that order does not matter."""
    words = [season.config_hash, task.graph, str(task.restart), task.effort, task.objective]
    return int.from_bytes(hashlib.sha256("|".join(words).encode()).digest()[:8], "big")


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

    def run(self, task: Task, known: Outcomes, stop: Callable[[], bool] = lambda: False) -> dict[str, Any]:
        """Run a task.

        Parameters
        ----------
        task : Task
            What to do [record].
        known : mapping of Task to dict
            Finished tasks, from which other objectives than the output start [mixed].
        stop : callable
            True ends the task early with what was found [flag].

        Returns
        -------
        dict
            ``evaluations``, ``best`` (one point or None), ``archive`` (non-dominated points or None) [mixed].
        """
        objectives = self.season.search.objectives
        cell = Cell(self.judge, self.space(task.graph), objectives)
        rng = np.random.default_rng(task_seed(self.season, task))
        effort = EFFORTS[task.effort]
        best = None
        if task.objective == "output":
            best = seek(cell, rng, effort, stop)
        else:
            mine = {t: o for t, o in known.items() if t.graph == task.graph and t.objective == "output"}
            cell.archive = archives_of(mine, objectives)[task.graph]
            top = float(cell.archive.columns["output_db"].max())
            objective = OBJECTIVES[task.objective]
            for floor in FLOORS_DB[task.effort]:
                goal = Goal(key=objective.key, sign=objective.sign, output_floor_db=top - floor)
                seek_other(cell, rng, cell.archive, goal, effort, stop)
        return {
            "evaluations": cell.evaluations,
            "best": None if best is None else pack(best),
            "archive": None if cell.archive is None else pack(thinned(cell.archive, objectives)),
        }
