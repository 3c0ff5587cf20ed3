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
from optimizer.results import FrontPoint, TopologyBest
from optimizer.season import Season
from optimizer.tasks import TaskRunner

FRONT_POINTS = 400
"""Points of the front that are reported at most, spread evenly along the output."""


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
    if not archives:
        return ()
    graphs, rows, columns = pooled(archives)
    values = gains(columns, season.search.objectives)
    kept = non_dominated(values)
    front = []
    for i in kept[spread_rows(values[kept], FRONT_POINTS)]:
        points = archives[graphs[i]].take(np.array([rows[i]]))
        design = runner.space(graphs[i]).decode(points.x, points.site)
        front.append(
            FrontPoint(
                topology=design_names(design)[0],
                graph=graphs[i],
                design=design,
                objectives={key: float(value[i]) for key, value in columns.items()},
            )
        )
    return tuple(front)
