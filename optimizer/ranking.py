"""Ranked candidates with different roles, chosen from everything a search kept."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from models.catalogue import named_topology, short_name
from optimizer.cell import Points
from optimizer.evaluation import evaluation
from optimizer.objectives import measure
from optimizer.reasons import Standing, reasons_for, same_box_prices
from optimizer.results import Candidate, TopologyBest
from optimizer.season import Season
from optimizer.tasks import TaskRunner

SMALL_LOSS_DB = 0.5
"""Output that a candidate may give up for evenness, material or a stronger weakest tone."""

SIMPLE_LOSS_DB = 1.0
"""Output that a candidate may give up for a simpler graph or a smaller box."""

AGREEMENT_DB = 0.1
"""Restarts this near to the best of their graph agree with it."""


@dataclass(slots=True)
class _Pick:
    graph: str
    row: int
    roles: list[str] = field(default_factory=list)


def complexity(graph: str) -> int:
    """Number of chambers, ducts and diaphragms of a graph: what a simpler box has less of."""
    topology = named_topology(graph)
    return topology.chambers + len(topology.ducts) + len(topology.diaphragms)


def rank(
    season: Season, runner: TaskRunner, topologies: tuple[TopologyBest, ...], archives: dict[str, Points]
) -> tuple[Candidate, ...]:
    """Choose and rank candidates.

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

    Returns
    -------
    tuple of Candidate
        By falling score [list].
    """
    picks = _picks(archives, topologies)[: season.search.candidates]
    picks.sort(key=lambda pick: -archives[pick.graph].columns["output_db"][pick.row])
    champion: Standing | None = None
    candidates = []
    for place, pick in enumerate(picks):
        point = archives[pick.graph].take(np.array([pick.row]))
        design = runner.space(pick.graph).decode(point.x, point.site)
        columns = measure(runner.judge, design, runner.judge.respond(design))
        found = evaluation(runner.judge, design)[0]
        standing = Standing(
            rank=place + 1,
            graph=pick.graph,
            design=design,
            objectives={key: float(value[0]) for key, value in columns.items()},
            evaluation=found,
        )
        champion = champion or standing
        prices = same_box_prices(runner.judge, design)
        candidates.append(
            Candidate(
                rank=place + 1,
                role="; ".join(pick.roles),
                topology=found["topology"],
                graph=pick.graph,
                design=design,
                objectives=standing.objectives,
                evaluation=found,
                reasons=reasons_for(standing, champion, topologies, prices, season),
                prices=prices,
                agreement=_agreement(topologies, pick.graph),
            )
        )
    return tuple(candidates)


def _agreement(topologies: tuple[TopologyBest, ...], graph: str) -> dict[str, float | int]:
    scores = np.array(next(t.restart_scores_db for t in topologies if t.graph == graph))
    near = int((scores >= scores.max() - AGREEMENT_DB).sum())
    return {
        "restarts": int(scores.size),
        "within_0.1_db": near,
        "spread_db": float(scores.max() - scores.min()),
    }


def _picks(archives: dict[str, Points], topologies: tuple[TopologyBest, ...]) -> list[_Pick]:
    """Designs by role, in the order in which roles matter; a design may fill several."""
    if not archives:
        return []
    graphs = np.array([g for g, points in archives.items() for _ in range(points.excess.size)])
    rows = np.array([row for points in archives.values() for row in range(points.excess.size)])
    columns = {
        key: np.concatenate([points.columns[key] for points in archives.values()])
        for key in next(iter(archives.values())).columns
    }
    output = columns["output_db"]
    reduced = {best.graph for best in topologies if best.reduces_to}
    own = np.array([graph not in reduced for graph in graphs])
    top = float(output[own].max())
    simple = np.array([complexity(g) for g in graphs])
    picks: list[_Pick] = []

    def choose(role: str, value: np.ndarray, among: np.ndarray, ways: str = "") -> None:
        if not np.any(among):
            return
        candidates = np.nonzero(among)[0]
        i = candidates[np.lexsort((-output[candidates], -value[candidates]))[0]]
        for pick in picks:
            if pick.graph == graphs[i] and pick.row == rows[i]:
                pick.roles.append(role)
                return
        picks.append(_Pick(graph=str(graphs[i]), row=int(rows[i]), roles=[role]))

    near = own & (output >= top - SMALL_LOSS_DB)
    around = own & (output >= top - SIMPLE_LOSS_DB)
    choose("highest output", output, own)
    choose(f"most even within {SMALL_LOSS_DB:g} dB", -columns["evenness_db"], near)
    choose(f"least material within {SMALL_LOSS_DB:g} dB", -columns["material_cm3"], near)
    choose(f"simplest within {SIMPLE_LOSS_DB:g} dB", -simple.astype(float), around)
    choose(f"strongest weakest tone within {SMALL_LOSS_DB:g} dB", columns["worst_tone_db"], near)
    champion = picks[0].graph
    choose("highest output of another type", output, own & (graphs != champion))
    choose(f"smallest box within {SIMPLE_LOSS_DB:g} dB", -columns["outer_volume_l"], around)
    for best in topologies:
        if best.best_db is not None and not best.reduces_to:
            choose(f"best {short_name(named_topology(best.graph))}", output, graphs == best.graph)
    return picks
