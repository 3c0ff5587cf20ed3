"""Ranked candidates with different roles: by the score of their floor plan, then networks without one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.catalogue import design_names
from models.design import DesignBatch
from optimizer.cell import Points
from optimizer.evaluation import evaluation
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.layout_cells import plan_objectives
from optimizer.outcomes import Outcomes
from optimizer.picks import Pick, Role, network_picks, roles_by_row
from optimizer.plan_stage import PlanStage, laid_out_of, plans_by_place
from optimizer.prices import unchanged_gains
from optimizer.pricing import Contender, Priced, PriceEffort, price
from optimizer.reasons import Standing, agreement, reasons_for
from optimizer.results import Candidate, TopologyBest
from optimizer.season import Season
from optimizer.tasks import TaskRunner

NOT_WANTED = "no plans were wanted"
"""Why nothing is laid out where the season or the command asks for none."""


@dataclass(slots=True, kw_only=True)
class _Entry:
    """A pick with its plan, or why it has none, and the box that counts: as built, else the free network."""

    pick: Pick
    network: DesignBatch
    laid_out: LaidOut | NoPlan
    objectives: dict[str, float]
    sought: bool = True
    role: str = ""

    @property
    def design(self) -> DesignBatch:
        return self.laid_out.design if isinstance(self.laid_out, LaidOut) else self.network


def rank(
    season: Season,
    runner: TaskRunner,
    topologies: tuple[TopologyBest, ...],
    archives: dict[str, Points],
    outcomes: Outcomes,
    layouts: PlanStage | None,
    effort: PriceEffort,
    workers: int,
    begin: Callable[[tuple[Candidate, ...]], None] = lambda _: None,
) -> tuple[tuple[Candidate, ...], tuple[dict[str, Any], ...]]:
    """Choose and rank candidates.

    Those with a plan come first, by the score of the plan; the others follow by the score of the network.

    Parameters
    ----------
    season : Season
        The season; its ``search.candidates`` is the number wanted [record].
    runner : TaskRunner
        Evaluator and search spaces [record].
    topologies : tuple of TopologyBest
        Best design and restarts of every graph, best first [record].
    archives : dict of str to Points
        Points kept of each graph [record].
    outcomes : mapping of Task to dict
        Finished tasks, those that laid designs out among them [mixed].
    layouts : PlanStage or None
        Which designs were to be laid out; None where no plans are wanted [record].
    effort : PriceEffort
        How hard prices and takeovers are sought [record].
    workers : int
        Processes at most; the result does not depend on their number [1].
    begin : callable
        Told the candidates when they lack no more than prices and reasons [any].

    Returns
    -------
    tuple of Candidate and tuple of dict
        The ranking; designs that made room for others because they have no plan: ``topology``, ``graph``,
        ``network_db`` and ``reasons`` [mixed].
    """
    every = _entries(season, runner, archives, outcomes, layouts)
    entries = _chosen(every, season.search.candidates)
    standings = [_standing(place, entry, runner) for place, entry in enumerate(entries, start=1)]
    left_out = tuple(
        {
            "topology": design_names(entry.network)[0],
            "graph": entry.pick.graph,
            "network_db": entry.pick.output_db,
            "reasons": list(entry.laid_out.reasons),
        }
        for entry in every
        if entry.sought and isinstance(entry.laid_out, NoPlan) and not any(entry is e for e in entries)
    )
    unpriced = tuple(
        Candidate(
            rank=standing.rank,
            role=entry.role,
            topology=standing.evaluation["topology"],
            graph=entry.pick.graph,
            design=standing.design,
            objectives=standing.objectives,
            evaluation=standing.evaluation,
            reasons=(),
            agreement=agreement(topologies, entry.pick.graph),
            network=entry.network,
            network_db=entry.pick.output_db,
            laid_out=entry.laid_out,
        )
        for entry, standing in zip(entries, standings, strict=True)
    )
    begin(unpriced)
    priced = _priced(entries, every, topologies, runner, archives, effort, workers)
    candidates = tuple(
        replace(
            candidate,
            reasons=reasons_for(standing, standings[0], topologies, found, season, following),
            prices=found.prices,
            takeover=found.takeover,
        )
        for candidate, standing, found, following in zip(
            unpriced, standings, priced, [*standings[1:], None][: len(standings)], strict=True
        )
    )
    return candidates, left_out


def _entries(
    season: Season,
    runner: TaskRunner,
    archives: dict[str, Points],
    outcomes: Outcomes,
    layouts: PlanStage | None,
) -> list[_Entry]:
    """Every pick with what laying it out came to."""
    if layouts is None:
        picks = network_picks(archives)[: season.search.candidates]
        return [_entry(runner, pick, archives, NoPlan(reasons=(NOT_WANTED,))) for pick in picks]
    picks, plans = layouts.picks(outcomes), plans_by_place(outcomes)
    wanted = {task.restart: task for task in layouts.tasks(0, picks, outcomes)}
    places = sorted({*range(season.search.candidates), *wanted} & {*range(len(picks))})
    entries = []
    for place in places:
        if place not in wanted:
            found: NoPlan | dict[str, Any] = NoPlan(
                reasons=(f"effort {season.search.effort} seeks {len(wanted)} plans only",)
            )
        elif wanted[place] not in outcomes:
            found = NoPlan(reasons=("the search was stopped before its plan was sought",))
        elif place in plans:
            found = plans[place][0]["plan"]
        else:
            found = NoPlan(reasons=tuple(outcomes[wanted[place]]["reasons"]))
        entries.append(_entry(runner, picks[place], archives, found))
        entries[-1].sought = place in wanted and wanted[place] in outcomes
        if isinstance(entries[-1].laid_out, LaidOut):
            scores = tuple(plan["score_db"] for plan in plans[place])
            entries[-1].laid_out = replace(entries[-1].laid_out, searches_db=scores)
    return entries


def _entry(
    runner: TaskRunner, pick: Pick, archives: dict[str, Points], found: NoPlan | dict[str, Any]
) -> _Entry:
    points = archives[pick.graph]
    point = points.take(np.array([pick.row]))
    cell = runner.cell(pick.graph)
    network = cell.space.decode(point.x, point.site)
    if isinstance(found, NoPlan):
        objectives = {key: float(value[0]) for key, value in point.columns.items()}
        return _Entry(pick=pick, network=network, laid_out=found, objectives=objectives)
    laid_out = laid_out_of(found, runner.judge, network.diaphragms, pick.output_db)
    design = laid_out.design
    responses = runner.judge.respond(design)
    columns = plan_objectives(runner.judge, laid_out.plan, design, responses, cell.tolerance)
    objectives = {key: float(value[0]) for key, value in columns.items()}
    return _Entry(pick=pick, network=network, laid_out=laid_out, objectives=objectives)


def _chosen(entries: list[_Entry], count: int) -> list[_Entry]:
    """The entries that become candidates, ranked: boxes with a plan, then networks without."""
    built = [entry for entry in entries if isinstance(entry.laid_out, LaidOut)]
    others = [entry for entry in entries if isinstance(entry.laid_out, NoPlan)]
    chosen = []
    if built:
        built.sort(key=lambda entry: -entry.objectives["output_db"])
        columns = {key: np.array([e.objectives[key] for e in built]) for key in built[0].objectives}
        graphs = [entry.pick.graph for entry in built]
        for row, roles in roles_by_row(graphs, columns, dict.fromkeys(graphs)).items():
            built[row].role = _words(roles)
            chosen.append(built[row])
    chosen += [entry for entry in built if not entry.role]
    chosen = (chosen + others)[:count]
    for entry in chosen:
        if not entry.role:
            entry.role = ("as a free network: " if built else "") + _words(entry.pick.roles)
    return sorted(
        chosen, key=lambda entry: (isinstance(entry.laid_out, NoPlan), -entry.objectives["output_db"])
    )


def _words(roles: list[Role]) -> str:
    return "; ".join(role.words for role in roles)


def _standing(place: int, entry: _Entry, runner: TaskRunner) -> Standing:
    reasons: list[list[str]] | None = [[]] if isinstance(entry.laid_out, LaidOut) else None
    return Standing(
        rank=place,
        graph=entry.pick.graph,
        design=entry.design,
        objectives=entry.objectives,
        evaluation=evaluation(runner.judge, entry.design, reasons=reasons, scale=runner.season.scale)[0],
        network_db=entry.pick.output_db,
        laid_out=entry.laid_out,
    )


def _priced(
    entries: list[_Entry],
    every: list[_Entry],
    topologies: tuple[TopologyBest, ...],
    runner: TaskRunner,
    archives: dict[str, Points],
    effort: PriceEffort,
    workers: int,
) -> list[Priced]:
    """Prices and takeovers of the candidates, those of limits also for their very boxes."""

    def contender(graph: str, row: int, built_db: float | None) -> Contender:
        points = archives[graph]
        alike = np.all(points.site == points.site[row], axis=1)
        loudest = int(np.argmax(np.where(alike, points.columns["output_db"], -np.inf)))
        return Contender(graph=graph, start=points.take(np.array([loudest])), built_db=built_db)

    def of(entry: _Entry) -> Contender:
        built = isinstance(entry.laid_out, LaidOut)
        return contender(entry.pick.graph, entry.pick.row, entry.objectives["output_db"] if built else None)

    others = [of(entry) for entry in every if isinstance(entry.laid_out, LaidOut)]
    others += [
        contender(best.graph, int(np.argmax(archives[best.graph].columns["output_db"])), None)
        for best in topologies
        if best.graph in archives and not best.reduces_to
    ]
    result = []
    for entry, found in zip(
        entries, price(runner, [of(entry) for entry in entries], others, effort, workers), strict=True
    ):
        gains = unchanged_gains(runner.judge, entry.design)
        prices = tuple(
            p | ({"unchanged_db_per_unit": gains[p["rule"]]} if p["rule"] in gains else {})
            for p in found.prices
        )
        result.append(replace(found, prices=prices))
    return result
