"""Running one task of a search: a graph, a restart and a goal, reported as plain data."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import numpy as np

from models.catalogue import named_topology
from models.score import Judge
from optimizer.cell import Bound, Cell, Goal, Points
from optimizer.inner import EFFORTS, seek, seek_other
from optimizer.layout_cells import PlanCell
from optimizer.layout_efforts import LAYOUT_EFFORTS
from optimizer.layout_search import lay_out
from optimizer.objectives import OBJECTIVES
from optimizer.outcomes import PLAN, Outcomes, Task, archives_of, pack, thinned
from optimizer.picks import SIGNS
from optimizer.plan_stage import PlanStage, plan_outcome
from optimizer.printer import printer_of
from optimizer.season import Season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

FLOORS_DB = {
    "quick": (0.45,),
    "normal": (0.05, 0.2, 0.45, 0.8, 1.3, 2.0, 4.0, 8.0),
    "thorough": tuple(float(x) for x in np.geomspace(0.02, 15.0, 40).round(3)),
}
"""How far below a graph's best output its other objectives may go, by effort, one after the other."""

BETWEEN = {"quick": (), "normal": (0.3, 0.6), "thorough": (0.15, 0.3, 0.45, 0.6, 0.75, 0.9)}
"""Where between its best and its worst value in the archive a third objective is bounded, by effort."""


def task_seed(season: Season, task: Task) -> int:
    """Seed of a task from the season's content and the task alone, so that order does not matter."""
    words = [season.config_hash, task.graph, str(task.restart), task.effort, task.objective]
    return int.from_bytes(hashlib.sha256("|".join(words).encode()).digest()[:8], "big")


def goals(task: Task, archive: Points, objectives: tuple[str, ...]) -> list[Goal]:
    """Goals of a task on another objective, along the front: bounds on output and on a third objective.

    Parameters
    ----------
    task : Task
        The task [record].
    archive : Points
        Points known of the graph [record].
    objectives : tuple of str
        Names of the season's objectives [text].

    Returns
    -------
    list of Goal
        The objective of the task under every pair of bounds [list].
    """
    sought = OBJECTIVES[task.objective]
    top = float(archive.columns["output_db"].max())
    floors = [Bound(key="output_db", sign=1.0, value=top - floor) for floor in FLOORS_DB[task.effort]]
    thirds = [OBJECTIVES[name] for name in objectives if name not in ("output", task.objective)]
    found = [Goal(key=sought.key, sign=sought.sign, bounds=(floor,)) for floor in floors]
    for third in thirds[:1]:
        low, high = archive.columns[third.key].min(), archive.columns[third.key].max()
        for share in BETWEEN[task.effort]:
            limit = Bound(key=third.key, sign=third.sign, value=float(low + share * (high - low)))
            found += [Goal(key=sought.key, sign=sought.sign, bounds=(floor, limit)) for floor in floors]
    return found


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

    def cell(self, graph: str) -> Cell:
        """A new cell of a graph, with an empty archive."""
        return Cell(self.judge, self.space(graph), self.season.search.objectives)

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
            ``evaluations``, ``best`` (one point or None), ``archive`` (non-dominated points or None); of a
            plan also ``plan`` (plain data or None), ``score_db``, ``network_db`` and ``reasons`` [mixed].
        """
        if task.objective == PLAN:
            return self._lay_out(task, known, stop)
        objectives = self.season.search.objectives
        cell = self.cell(task.graph)
        rng = np.random.default_rng(task_seed(self.season, task))
        effort = EFFORTS[task.effort]
        best = None
        if task.objective == "output":
            best = seek(cell, rng, effort, stop)
        else:
            mine = {t: o for t, o in known.items() if t.graph == task.graph and t.objective == "output"}
            cell.archive = archives_of(mine, objectives)[task.graph]
            seek_other(cell, rng, goals(task, cell.archive, objectives), effort, stop)
        return {
            "evaluations": cell.evaluations,
            "best": None if best is None else pack(best),
            "archive": None if cell.archive is None else pack(thinned(cell.archive, objectives)),
        }

    def _lay_out(self, task: Task, known: Outcomes, stop: Callable[[], bool]) -> dict[str, Any]:
        objectives = self.season.search.objectives
        pick = PlanStage(objectives=objectives, rungs=()).picks(known)[task.restart]
        role = pick.roles[0]
        wanted = Goal(key=role.key, sign=SIGNS[role.key]) if role.key in PlanCell.keys else Goal()
        before = {t: o for t, o in known.items() if t.graph == task.graph and t.objective != PLAN}
        point = archives_of(before, objectives)[task.graph].take(np.array([pick.row]))
        found = lay_out(
            self.judge,
            self.space(task.graph).decode(point.x, point.site),
            LAYOUT_EFFORTS[task.effort],
            task_seed(self.season, task),
            bridge=printer_of(self.season).bridge_mm * 1e-3,
            stop=stop,
            wanted=wanted,
        )
        return plan_outcome(found)
