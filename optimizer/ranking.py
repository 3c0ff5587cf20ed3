"""Ranked candidates with different roles, chosen from everything a search kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from models.catalogue import named_topology, short_name
from optimizer.cell import Points
from optimizer.evaluation import evaluation
from optimizer.objectives import measure
from optimizer.outcomes import pooled
from optimizer.prices import dropped_rules, same_box_prices, verified_prices
from optimizer.reasons import Standing, agreement, complexity, reasons_for
from optimizer.results import Candidate, TopologyBest
from optimizer.season import Season
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant

SMALL_LOSS_DB = 0.5
"""Output that a candidate may give up for evenness, material or a stronger weakest tone."""

SIMPLE_LOSS_DB = 1.0
"""Output that a candidate may give up for a simpler graph or a smaller box."""

VERIFIED = {"quick": 1, "normal": 1, "thorough": 4}
"""Candidates, the first of those that are the best of their type, whose prices are found by solving again."""


@dataclass(slots=True)
class _Pick:
    graph: str
    row: int
    roles: list[str] = field(default_factory=list)


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
    standings = [_standing(place + 1, pick, runner, archives) for place, pick in enumerate(picks)]
    prices = _prices(picks, standings, runner, archives)
    return tuple(
        Candidate(
            rank=standing.rank,
            role="; ".join(pick.roles),
            topology=standing.evaluation["topology"],
            graph=pick.graph,
            design=standing.design,
            objectives=standing.objectives,
            evaluation=standing.evaluation,
            reasons=reasons_for(standing, standings[0], topologies, priced, season, following),
            prices=priced,
            agreement=agreement(topologies, pick.graph),
        )
        for pick, standing, priced, following in zip(
            picks, standings, prices, [*standings[1:], None], strict=True
        )
    )


def _standing(rank: int, pick: _Pick, runner: TaskRunner, archives: dict[str, Points]) -> Standing:
    point = archives[pick.graph].take(np.array([pick.row]))
    cell = runner.cell(pick.graph)
    design = cell.space.decode(point.x, point.site)
    columns = measure(runner.judge, design, runner.judge.respond(design), cell.tolerance)
    return Standing(
        rank=rank,
        graph=pick.graph,
        design=design,
        objectives={key: float(value[0]) for key, value in columns.items()},
        evaluation=evaluation(runner.judge, design, scale=runner.season.scale)[0],
    )


def _prices(
    picks: list[_Pick], standings: list[Standing], runner: TaskRunner, archives: dict[str, Points]
) -> list[tuple[dict[str, Any], ...]]:
    """Prices of every candidate: solved again for the first bests of a type, else of the box unchanged."""
    variant = Variant(runner)
    result: list[tuple[dict[str, Any], ...]] = []
    verified = 0
    for pick, standing in zip(picks, standings, strict=True):
        points = archives[pick.graph]
        if verified == VERIFIED[runner.season.search.effort] or pick.row != int(
            np.argmax(points.columns["output_db"])
        ):
            result.append(same_box_prices(runner.judge, standing.design))
            continue
        row = points.take(np.array([pick.row]))
        point = variant.cell(pick.graph).evaluate(row.x, row.site)
        best, prices = verified_prices(variant, pick.graph, point, patient=False)
        if verified == 0:
            gains = {d["rule"]: d["gain_db"] for d in dropped_rules(variant, pick.graph, [best])}
            prices = tuple(
                p | {"dropped_gain_db": gains[p["rule"]]} if p["rule"] in gains else p for p in prices
            )
        result.append(prices)
        verified += 1
    return result


def _picks(archives: dict[str, Points], topologies: tuple[TopologyBest, ...]) -> list[_Pick]:
    """Designs by role, in the order in which roles matter; a design may fill several."""
    if not archives:
        return []
    names, rows, columns = pooled(archives)
    graphs = np.array(names)
    output = columns["output_db"]
    reduced = {best.graph for best in topologies if best.reduces_to}
    own = np.array([graph not in reduced for graph in graphs])
    top = float(output[own].max())
    simple = np.array([complexity(g) for g in graphs])
    picks: list[_Pick] = []

    def choose(role: str, value: np.ndarray, among: np.ndarray) -> None:
        if not np.any(among):
            return
        candidates = np.nonzero(among)[0]
        i = candidates[np.lexsort((-output[candidates], -value[candidates]))[0]]
        for pick in picks:
            if pick.graph == graphs[i] and pick.row == rows[i]:
                pick.roles.append(role)
                return
        picks.append(_Pick(graph=str(graphs[i]), row=rows[i], roles=[role]))

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
