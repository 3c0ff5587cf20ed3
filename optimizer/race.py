"""The schedule of a race over graphs, as a function of what is finished and of nothing else.

Every graph is a cell. All cells get a short run, the better part a longer one, and so on (successive
halving: K. Jamieson, A. Talwalkar, AISTATS 2016, from memory); the leaders are then restarted at
full effort until enough restarts of every contender agree. A stage begins when the one before
it is finished, so the schedule, and with it the result, depends neither on the number of processes
nor on interruptions. A cell that is cut is not proved to be worse: :mod:`optimizer.confidence` says
how far behind it was.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from optimizer.front_graphs import front_graphs
from optimizer.outcomes import PLAN, Outcomes, Task, best_score
from optimizer.picks import Pick
from optimizer.plan_stage import PlanStage

PLAIN_GRAPHS = ("oA", "oA/Ao", "oA.oA", "oA.oA/Ao")
"""Closed and vented boxes, whose scores are par for a season: they are always searched at full effort."""

AGREE_DB = 0.05
"""Restarts that end within this of a cell's best agree with it."""

CONTENDER_DB = 0.1
"""A leader within this of the best cell must be settled too."""

OTHER_CELLS = 4
"""Graphs whose other objectives are sought: the best, and those that the front would miss most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One step of the halving.

    Attributes
    ----------
    effort : str
        Effort of the runs [text].
    restarts : int
        Runs of this effort that every cell has had at the end of the rung [1].
    kept : float
        Share of the cells that go on [1].
    """

    effort: str
    restarts: int
    kept: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How a race is run.

    Attributes
    ----------
    rungs : tuple of Rung
        Steps of the halving, in order; skipped once no more than ``leaders`` cells are left [list].
    full : str
        Effort of the last stage [text].
    leaders : int
        Cells that reach the last stage, plain boxes aside [1].
    contenders : int
        Leaders that may be run again, the best ones: where many are level, whichever wins is as good [1].
    agree, most : int
        Restarts that must agree on a contender's best, and restarts of a cell at most [1].
    reach_db, chances : float, int
        Leaders that are no further behind are run again too, as single runs scatter so much, until as many
        agree on their own best or they have had their chances [dB, 1].
    """

    rungs: tuple[Rung, ...]
    full: str
    leaders: int
    contenders: int
    agree: int
    most: int
    reach_db: float
    chances: int


PLANS = {
    "quick": Plan(
        rungs=(Rung(effort="survey", restarts=1, kept=0.5),),
        full="quick",
        leaders=7,
        contenders=2,
        agree=2,
        most=2,
        reach_db=0.35,
        chances=2,
    ),
    "normal": Plan(
        rungs=(
            Rung(effort="survey", restarts=2, kept=0.45),
            Rung(effort="normal", restarts=1, kept=0.35),
            Rung(effort="normal", restarts=2, kept=0.5),
        ),
        full="normal",
        leaders=6,
        contenders=6,
        agree=3,
        most=8,
        reach_db=1.2,
        chances=4,
    ),
    "thorough": Plan(
        rungs=(
            Rung(effort="survey", restarts=3, kept=0.7),
            Rung(effort="normal", restarts=2, kept=0.5),
            Rung(effort="thorough", restarts=2, kept=0.4),
        ),
        full="thorough",
        leaders=8,
        contenders=8,
        agree=4,
        most=16,
        reach_db=1.2,
        chances=6,
    ),
}
"""Plans by the name of the effort that a season gives."""


@dataclass(slots=True, kw_only=True)
class Standing:
    """Where a race stands.

    Attributes
    ----------
    scores : dict of str to float
        Best score of every cell, minus infinity where nothing fits [dB].
    left : dict of str to int
        Number of the rung, from 1, after which a cell was cut [1].
    behind : dict of str to float
        How far the cell was behind the leader then [dB].
    gain : float
        The most that any cell has gained since it passed its first rung [dB].
    restarts : dict of str to list of float
        Scores at full effort [dB].
    open : list of Task
        Tasks of the present stage that are not finished; empty when the race is over [list].
    stage : int
        Number of the present stage, from 0 [1].
    """

    scores: dict[str, float] = field(default_factory=dict)
    left: dict[str, int] = field(default_factory=dict)
    behind: dict[str, float] = field(default_factory=dict)
    gain: float = 0.0
    restarts: dict[str, list[float]] = field(default_factory=dict)
    open: list[Task] = field(default_factory=list)
    stage: int = 0

    def order(self, graphs: Iterable[str]) -> list[str]:
        """Graphs for which something fits, the best first."""
        found = [graph for graph in graphs if self.scores[graph] > -math.inf]
        return sorted(found, key=lambda graph: (-self.scores[graph], graph))

    def agreeing(self, graph: str) -> int:
        """Restarts at full effort that end at the best score of their cell."""
        scores = self.restarts.get(graph, [])
        return sum(score >= self.scores[graph] - AGREE_DB for score in scores)


class Race:
    """A race over graphs.

    Parameters
    ----------
    graphs : tuple of str
        The cells [text].
    plan : Plan
        How it is run [record].
    others : tuple of str
        Further objectives that are sought in the best cells [text].
    layouts : PlanStage or None
        Which designs are laid out at the end; None lays none out [record].
    """

    def __init__(
        self,
        graphs: tuple[str, ...],
        plan: Plan,
        others: tuple[str, ...] = (),
        layouts: PlanStage | None = None,
    ) -> None:
        self.graphs = graphs
        self.plan = plan
        self.others = others
        self.layouts = layouts
        self._front: tuple[frozenset[Task], list[str]] = (frozenset(), [])
        self._picks: tuple[frozenset[Task], list[Pick]] = (frozenset(), [])

    @property
    def least_stages(self) -> int:
        """Stages of a race in which all restarts agree at once [1]."""
        rungs = len(self.plan.rungs) if len(self.graphs) > self.plan.leaders else 0
        return rungs + 3 + (len(self.layouts.rungs) if self.layouts is not None else 0)

    def standing(self, done: Outcomes) -> Standing:
        """Where the race stands, from the finished tasks.

        Parameters
        ----------
        done : mapping of Task to dict
            Finished tasks, in any order [mixed].

        Returns
        -------
        Standing
            With the tasks of the present stage that are still to do [record].
        """
        now = Standing(scores=dict.fromkeys(self.graphs, -math.inf))
        for tasks in self._stages(now, done):
            now.open = [task for task in dict.fromkeys(tasks) if task not in done]
            if now.open:
                return now
            for task in tasks:
                if task.objective == PLAN:
                    continue
                score = best_score(done[task])
                if task.objective == "output" and task.effort == self.plan.full:
                    runs = now.restarts.setdefault(task.graph, [])
                    if len(runs) == task.restart:
                        runs.append(score)
                before = now.scores[task.graph]
                if now.stage > 0 and math.isfinite(before):
                    now.gain = max(now.gain, score - before)
                now.scores[task.graph] = max(before, score)
            now.stage += 1
        return now

    def _stages(self, now: Standing, done: Outcomes) -> Iterator[list[Task]]:
        """Tasks stage after stage; what has come out is in ``now`` when the next stage is asked for."""
        cells = list(self.graphs)
        for number, rung in enumerate(self.plan.rungs, start=1):
            if len(cells) <= self.plan.leaders:
                break
            yield [Task(graph=g, restart=i, effort=rung.effort) for i in range(rung.restarts) for g in cells]
            cells = self._cut(now, cells, max(self.plan.leaders, math.ceil(rung.kept * len(cells))), number)
        if len(cells) > self.plan.leaders:
            cells = self._cut(now, cells, self.plan.leaders, len(self.plan.rungs))
        for graph in self.graphs:
            if graph in PLAIN_GRAPHS and graph not in cells:
                cells.append(graph)
                now.left.pop(graph, None)
                now.behind.pop(graph, None)
        yield [Task(graph=graph, restart=0, effort=self.plan.full) for graph in cells]
        while more := self._unsettled(now, cells):
            yield more
        chosen = self._front_graphs(now.order(self.graphs), done) if self.others else []
        yield [
            Task(graph=graph, restart=0, effort=self.plan.full, objective=other)
            for other in self.others
            for graph in chosen
        ]
        if self.layouts is not None:
            picks = self._picked(self.layouts, done)
            for number in range(len(self.layouts.rungs)):
                yield self.layouts.tasks(number, picks, done)

    def _front_graphs(self, order: list[str], done: Outcomes) -> list[str]:
        """Graphs whose other objectives are sought, chosen once."""
        before = {task: outcome for task, outcome in done.items() if task.objective == "output"}
        if self._front[0] != frozenset(before):
            chosen = front_graphs(order, before, ("output", *self.others), OTHER_CELLS)
            self._front = (frozenset(before), chosen)
        return self._front[1]

    def _picked(self, layouts: PlanStage, done: Outcomes) -> list[Pick]:
        """Designs that may be laid out, chosen once."""
        before = frozenset(task for task in done if task.objective != PLAN)
        if before != self._picks[0]:
            self._picks = (before, layouts.picks(done))
        return self._picks[1]

    def _cut(self, now: Standing, cells: list[str], count: int, rung: int) -> list[str]:
        """The best cells; the others are noted with how far they are behind."""
        order = now.order(cells)
        for graph in order[count:]:
            now.left[graph] = rung
            now.behind[graph] = now.scores[order[0]] - now.scores[graph]
        return order[:count]

    def _unsettled(self, now: Standing, cells: list[str]) -> list[Task]:
        """As many more restarts of every contender as it lacks that agree; fewer of those that are behind."""
        order = now.order(cells)
        tasks = []
        for graph in order[: self.plan.contenders]:
            runs = len(now.restarts[graph])
            behind = now.scores[order[0]] - now.scores[graph]
            chances = self.plan.chances if behind <= self.plan.reach_db else 0
            most = self.plan.most if behind <= CONTENDER_DB else chances
            last = min(runs + self.plan.agree - now.agreeing(graph), most)
            tasks += [Task(graph=graph, restart=i, effort=self.plan.full) for i in range(runs, last)]
        return tasks
