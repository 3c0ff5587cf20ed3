"""The last stage of a race: floor plans of the designs that may become candidates.

Which designs these are follows from the outcomes of the stages before and from nothing else, so
every process and every machine comes to the same list, and a task names a design by its place in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from models.design import Diaphragms
from models.plan_reading import read_plan
from models.score import Judge
from optimizer.layout_search import LaidOut, NoPlan
from optimizer.outcomes import PLAN, Outcomes, Task, archives_of
from optimizer.picks import Pick, network_picks
from optimizer.plan_file import plan_data, plan_of_data

SPARE = {"quick": 3, "normal": 4, "thorough": 8}
"""Designs beyond the candidates wanted, by effort: some have no plan, and building changes the order."""

MOST_PLANS = {"quick": 3}
"""Designs laid out at most, by effort, of different graphs where there are so many; else all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStage:
    """Which designs are laid out.

    Attributes
    ----------
    objectives : tuple of str
        The season's objectives [text].
    candidates : int
        Candidates wanted [1].
    effort : str
        Effort of the search [text].
    """

    objectives: tuple[str, ...]
    candidates: int
    effort: str

    def picks(self, outcomes: Outcomes) -> list[Pick]:
        """Designs that may become candidates, from the outcomes of the stages before."""
        before = {task: outcome for task, outcome in outcomes.items() if task.objective != PLAN}
        return network_picks(archives_of(before, self.objectives))[: self.candidates + SPARE[self.effort]]

    def tasks(self, outcomes: Outcomes) -> list[Task]:
        """Tasks of the stage, the designs that play loudest first."""
        picks = self.picks(outcomes)
        places = sorted(range(len(picks)), key=lambda i: -picks[i].output_db)
        if self.effort in MOST_PLANS:
            firsts = {picks[i].graph: i for i in reversed(places)}.values()
            places.sort(key=lambda i: i not in firsts)
        return [
            Task(graph=picks[i].graph, restart=i, effort=self.effort, objective=PLAN)
            for i in places[: MOST_PLANS.get(self.effort, len(places))]
        ]


def plan_outcome(found: LaidOut | NoPlan) -> dict[str, Any]:
    """What a task of this stage leaves, as plain data."""
    outcome: dict[str, Any] = {"evaluations": found.evaluations, "best": None, "archive": None}
    if isinstance(found, NoPlan):
        return outcome | {"plan": None, "reasons": list(found.reasons)}
    return outcome | {
        "plan": plan_data(found),
        "score_db": found.score_db,
        "network_db": found.network_db,
        "reasons": [],
    }


def laid_out_of(
    data: dict[str, Any], judge: Judge, diaphragms: tuple[Diaphragms, ...], network_db: float
) -> LaidOut:
    """A plan of plain data with its design, scored.

    Parameters
    ----------
    data : dict
        Content of a plan file [mixed].
    judge : Judge
        The season's evaluator [record].
    diaphragms : tuple of Diaphragms
        Moving parts of each diaphragm [list].
    network_db : float
        Score of the network design that it started from [dB].

    Returns
    -------
    LaidOut
        The plan [record].

    Raises
    ------
    ValueError, KeyError, TypeError, IndexError
        The data are damaged.
    """
    plan, x = plan_of_data(data, judge.rules)
    design = read_plan(plan, judge.rules, None, diaphragms)
    score = float(judge.scores(judge.respond(design))[0])
    return LaidOut(plan=plan, x=x, design=design, score_db=score, network_db=network_db)
