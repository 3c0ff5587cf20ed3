"""The last stages of a race: floor plans of the designs that may become candidates.

What building costs differs from graph to graph by more than their networks do, so many graphs are laid
out with little effort, and the boxes that then play loudest with more and more (successive halving, as
in :mod:`optimizer.race`). Which designs these are follows from the outcomes of the stages before and
from nothing else, so every process and every machine comes to the same list, and a task names a design
by its place among the picks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from models.catalogue import named_topology
from models.design import Diaphragms
from models.plan_reading import read_plan
from models.score import Judge
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.outcomes import PLAN, Outcomes, Task, archives_of
from optimizer.picks import Pick, network_picks
from optimizer.plan_file import plan_data, plan_of_data

DUCT_COST_DB = 0.8
"""What building costs a duct after the first on average; only orders graphs before they are laid out [dB]."""


LOUD_SHARE = 0.75
"""Share of the designs laid out first that is kept for the loudest of each graph."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRung:
    """One step of the halving over plans.

    Attributes
    ----------
    effort : str
        Effort of laying out, of :data:`optimizer.layout_efforts.LAYOUT_EFFORTS`, another in each rung [text].
    most : int
        Designs that take part at most [1].
    """

    effort: str
    most: int


PLAN_RUNGS = {
    "quick": (PlanRung(effort="quick", most=5),),
    "normal": (
        PlanRung(effort="quick", most=36),
        PlanRung(effort="normal", most=10),
        PlanRung(effort="thorough", most=4),
    ),
    "thorough": (
        PlanRung(effort="quick", most=60),
        PlanRung(effort="normal", most=24),
        PlanRung(effort="thorough", most=10),
    ),
}
"""Rungs by the effort that a season gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStage:
    """Which designs are laid out.

    Attributes
    ----------
    objectives : tuple of str
        The season's objectives [text].
    rungs : tuple of PlanRung
        Steps of the halving [list].
    """

    objectives: tuple[str, ...]
    rungs: tuple[PlanRung, ...]

    def picks(self, outcomes: Outcomes) -> list[Pick]:
        """Designs that may become candidates, from the outcomes of the stages before."""
        before = {task: outcome for task, outcome in outcomes.items() if task.objective != PLAN}
        return network_picks(archives_of(before, self.objectives))

    def tasks(self, rung: int, picks: list[Pick], outcomes: Outcomes) -> list[Task]:
        """Tasks of a rung, the most promising designs first.

        Parameters
        ----------
        rung : int
            Number of the rung, from 0 [1].
        picks : list of Pick
            As :meth:`picks` gives them [list].
        outcomes : mapping of Task to dict
            Finished tasks; those of the rungs before decide who goes on [mixed].

        Returns
        -------
        list of Task
            One a design [list].
        """
        most = self.rungs[rung].most
        places = _first_places(picks, most) if rung == 0 else _loudest_built(picks, outcomes)[:most]
        effort = self.rungs[rung].effort
        return [Task(graph=picks[i].graph, restart=i, effort=effort, objective=PLAN) for i in places]


def _first_places(picks: list[Pick], most: int) -> list[int]:
    """Picks laid out first: the loudest of each graph, then those best at something else than output."""

    def promise(place: int) -> float:
        ducts = len(named_topology(picks[place].graph).ducts)
        return picks[place].output_db - DUCT_COST_DB * max(0, ducts - 1)

    order = sorted(range(len(picks)), key=lambda i: (-promise(i), i))
    loud = [i for i in order if picks[i].roles[0].key == "output_db"]
    others = [i for i in order if i not in loud]
    chosen = loud[: max(most - len(others), math.ceil(LOUD_SHARE * most))]
    chosen = sorted([*chosen, *others[: most - len(chosen)]], key=order.index)
    return chosen


def _loudest_built(picks: list[Pick], outcomes: Outcomes) -> list[int]:
    """Places of the boxes that play loudest as built, one of each graph, the loudest first."""
    scores = {place: plans[0]["score_db"] for place, plans in plans_by_place(outcomes).items()}
    order = sorted(scores, key=lambda i: (-scores[i], i))
    return list({picks[i].graph: i for i in reversed(order)}.values())[::-1]


def plans_by_place(outcomes: Outcomes) -> dict[int, list[dict[str, Any]]]:
    """Outcomes with a plan of every pick that has one, by its place, the loudest plan first."""
    found: dict[int, list[dict[str, Any]]] = {}
    for task in sorted(task for task, outcome in outcomes.items() if task.objective == PLAN):
        if outcomes[task]["plan"]:
            found.setdefault(task.restart, []).append(outcomes[task])
    return {place: sorted(plans, key=lambda plan: -plan["score_db"]) for place, plans in found.items()}


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
