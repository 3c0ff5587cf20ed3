"""What a race adds up to: best of every graph, and the front."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.catalogue import design_names, graph_name, named_topology
from models.fit import reasons_not
from optimizer.cell import Points
from optimizer.front import non_dominated, spread_rows
from optimizer.objectives import gains
from optimizer.outcomes import Outcomes, best_score, pooled
from optimizer.parsimony import reducing, sorted_graphs
from optimizer.race import Standing
from optimizer.results import ExploredDesigns, FrontPoint, TopologyBest
from optimizer.season import Season
from optimizer.tasks import TaskRunner

FRONT_POINTS = 400
"""Points of the front that are reported at most, spread evenly along the output."""

EXPLORED = 2000
"""Designs that are kept for looking around, about."""

def best_per_graph(
    outcomes: Outcomes, standing: Standing, archives: dict[str, Points], runner: TaskRunner
) -> tuple[TopologyBest, ...]:
    """Best design and restarts of every graph, the best graph first.

    Parameters
    ----------
    outcomes : mapping of Task to dict
        Finished tasks [mixed].
    standing : Standing
        Where the race stands [record].
    archives : dict of str to Points
        Points kept of each graph [record].
    runner : TaskRunner
        Evaluator and search spaces [record].

    Returns
    -------
    tuple of TopologyBest
        A graph that reduces to a simpler one stands after all that do not [list].
    """
    found = [_best_of(graph, outcomes, standing, archives, runner) for graph in standing.scores]
    scores = {t.graph: t.best_db for t in found if t.best_db is not None}
    by_graph = {t.graph: replace(t, reduces_to=reducing(t.graph, scores)) for t in found}
    nothing = sorted(set(by_graph) - set(scores))
    return tuple(by_graph[graph] for graph in [*sorted_graphs(scores), *nothing])


def _best_of(
    graph: str, outcomes: Outcomes, standing: Standing, archives: dict[str, Points], runner: TaskRunner
) -> TopologyBest:
    mine = {task: outcome for task, outcome in sorted(outcomes.items()) if task.graph == graph}
    common = {
        "topology": graph_name(named_topology(graph)),
        "graph": graph,
        "evaluations": sum(outcome["evaluations"] for outcome in mine.values()),
        "left_after": standing.left.get(graph, 0),
    }
    if graph not in archives:
        why = _why_none(runner, graph) if mine else "the search was stopped before this graph"
        return TopologyBest(design=None, best_db=None, restart_scores_db=(), why_none=why, **common)
    points = archives[graph]
    row = int(np.argmax(points.columns["output_db"]))
    point = points.take(np.array([row]))
    tries = {t: best_score(o) for t, o in mine.items() if t.objective == "output" and o["best"] is not None}
    return TopologyBest(
        design=runner.space(graph).decode(point.x, point.site),
        best_db=float(point.columns["output_db"][0]),
        restart_scores_db=tuple(standing.restarts.get(graph, ())) or tuple(tries.values()),
        **common,
    )


def _why_none(runner: TaskRunner, graph: str) -> str:
    """What stops the most spacious random designs of a graph that cannot fit."""
    space = runner.space(graph)
    rng = np.random.default_rng(0)
    site = rng.integers(0, len(runner.sites), (256, len(space.site_slots)))
    x, site = space.repair(rng.random((256, space.dimensions)), site)
    reasons = reasons_not(space.decode(x, site), runner.season.rules)
    shortest = min(reasons, key=len)
    return "; ".join(shortest) if shortest else "no design settled under the limits"


def front_of(archives: dict[str, Points], runner: TaskRunner, season: Season) -> tuple[FrontPoint, ...]:
    """Designs of all graphs that no other beats in the season's objectives."""
    places = _front_rows(archives, season)
    front: dict[tuple[str, int], FrontPoint] = {}
    for graph in dict.fromkeys(graph for graph, _ in places):
        rows = [row for other, row in places if other == graph]
        points = archives[graph].take(np.array(rows))
        designs = runner.space(graph).decode(points.x, points.site)
        for place, (row, topology) in enumerate(zip(rows, design_names(designs), strict=True)):
            front[graph, row] = FrontPoint(
                topology=topology,
                graph=graph,
                design=designs.rows(slice(place, place + 1)),
                objectives={key: float(value[place]) for key, value in points.columns.items()},
            )
    return tuple(front[place] for place in places)


def explored_of(
    archives: dict[str, Points], runner: TaskRunner, season: Season
) -> tuple[ExploredDesigns, ...]:
    """The front's designs and, of every graph, those that no other of the same graph beats.

    Parameters
    ----------
    archives : dict of str to Points
        Points kept of each graph [record].
    runner : TaskRunner
        Search spaces [record].
    season : Season
        The season [record].

    Returns
    -------
    tuple of ExploredDesigns
        About :data:`EXPLORED` designs; where there are more, every graph's are thinned alike [list].
    """
    places = {place: number for number, place in enumerate(_front_rows(archives, season), start=1)}
    total = sum(points.excess.size for points in archives.values())
    share = min(1.0, max(EXPLORED - len(places), 0) / max(total - len(places), 1))
    groups = []
    for graph, points in archives.items():
        front = np.array([places.get((graph, row), 0) for row in range(points.excess.size)])
        rest = np.nonzero(front == 0)[0]
        values = gains(points.columns, season.search.objectives)[rest]
        kept = rest[spread_rows(values, max(int(share * rest.size), values.shape[1]))]
        rows = np.sort(np.concatenate([np.nonzero(front)[0], kept]))
        picked = points.take(rows)
        groups.append(
            ExploredDesigns(
                graph=graph,
                design=runner.space(graph).decode(picked.x, picked.site),
                objectives=picked.columns,
                front=front[rows],
            )
        )
    return tuple(groups)


def _front_rows(archives: dict[str, Points], season: Season) -> list[tuple[str, int]]:
    """Graph and row of every design of the front, in order of falling output."""
    if not archives:
        return []
    graphs, rows, columns = pooled(archives)
    values = gains(columns, season.search.objectives)
    kept = non_dominated(values)
    return [(graphs[i], rows[i]) for i in kept[spread_rows(values[kept], FRONT_POINTS)]]
