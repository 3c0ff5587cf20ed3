"""What the outcomes of tasks add up to: further tasks, archives, best of every graph, front."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.catalogue import design_names, graph_name, named_topology
from models.fit import reasons_not
from models.reduction import simpler_graphs
from optimizer.cell import Points
from optimizer.front import non_dominated, spread_rows
from optimizer.objectives import gains
from optimizer.results import FrontPoint, TopologyBest
from optimizer.season import Season
from optimizer.tasks import Outcome, Task, TaskRunner, merged, pack, unpack

FRONT_POINTS = 200
"""Points of the front that are reported at most, spread evenly along the output."""

OTHER_CELLS = 3
"""Graphs whose other objectives are sought, the best first."""

PLAIN_GRAPHS = ("oA", "oA/Ao", "oA.oA", "oA.oA/Ao")
"""Closed and vented boxes, whose scores are par for a season."""

PARSIMONY_DB = 0.1
"""A richer graph that beats a simpler one it contains by no more reduces to that one."""


def other_tasks(
    outcomes: list[Outcome], season: Season, others: list[str], floors: tuple[float, ...]
) -> list[Task]:
    """Tasks that improve other objectives of the best graphs, from all points known of them."""
    best = _best_scores(outcomes)
    leaders = sorted(best, key=lambda graph: (-best[graph], graph))[:OTHER_CELLS]
    known = archives_of(sorted(outcomes, key=lambda o: (o[0].graph, o[0].effort, o[0].restart)), season)
    tasks = []
    for graph in leaders:
        top = max(best.values()) if best[graph] >= max(best.values()) - min(floors) else best[graph]
        for name in others:
            for floor in floors:
                tasks.append(
                    Task(
                        graph=graph,
                        restart=0,
                        effort=season.search.effort,
                        objective=name,
                        floor_db=top - floor,
                        start=pack(known[graph]),
                    )
                )
    return tasks


def archives_of(outcomes: list[Outcome], season: Season) -> dict[str, Points]:
    """Everything worth keeping of each graph: bests and non-dominated points."""
    parts: dict[str, list[Points]] = {}
    for task, outcome in outcomes:
        for key in ("best", "archive"):
            if outcome[key] is not None:
                parts.setdefault(task.graph, []).append(unpack(outcome[key]))
    return {graph: merged(points, season.search.objectives) for graph, points in parts.items()}


def survivors(outcomes: list[Outcome], count: int) -> tuple[str, ...]:
    """Graphs that are searched on after a survey: the best ones, and plain boxes as par."""
    best = _best_scores(outcomes)
    leaders = sorted(best, key=lambda graph: (-best[graph], graph))
    plain = [graph for graph in best if graph in PLAIN_GRAPHS and graph not in leaders[:count]]
    return tuple(leaders[:count] + plain)


def _best_scores(outcomes: list[Outcome]) -> dict[str, float]:
    best: dict[str, float] = {}
    for task, outcome in outcomes:
        if outcome["best"] is not None:
            score = outcome["best"]["columns"]["output_db"][0]
            best[task.graph] = max(best.get(task.graph, -np.inf), score)
    return best


def best_per_graph(
    outcomes: list[Outcome], archives: dict[str, Points], runner: TaskRunner, graphs: tuple[str, ...]
) -> tuple[TopologyBest, ...]:
    """Best design and restarts of every graph, the best graph first.

    Parameters
    ----------
    outcomes : list of Outcome
        Finished tasks in a fixed order [list].
    archives : dict of str to Points
        Points kept of each graph [record].
    runner : TaskRunner
        Evaluator and search spaces [record].
    graphs : tuple of str
        All graphs of the search [text].

    Returns
    -------
    tuple of TopologyBest
        A graph that reduces to a simpler one stands after all that do not [list].
    """
    found = [_best_of(graph, outcomes, archives, runner) for graph in graphs]
    scores = {t.graph: t.best_db for t in found if t.best_db is not None}
    found = [replace(t, reduces_to=_reduces_to(t.graph, scores)) for t in found]

    def place(t: TopologyBest) -> tuple[bool, bool, float, str]:
        return (t.best_db is None, bool(t.reduces_to), -(t.best_db or 0.0), t.graph)

    return tuple(sorted(found, key=place))


def _best_of(
    graph: str, outcomes: list[Outcome], archives: dict[str, Points], runner: TaskRunner
) -> TopologyBest:
    mine = [(task, outcome) for task, outcome in outcomes if task.graph == graph]
    tries = [(t, o["best"]) for t, o in mine if t.objective == "output" and o["best"] is not None]
    earnest = [best for task, best in tries if task.effort != "survey"]
    common = {
        "topology": graph_name(named_topology(graph)),
        "graph": graph,
        "evaluations": sum(o["evaluations"] for _, o in mine),
        "surveyed_only": bool(mine) and all(task.effort == "survey" for task, _ in mine),
    }
    if not tries:
        why = _why_none(runner, graph) if mine else "the search was stopped before this graph"
        return TopologyBest(design=None, best_db=None, restart_scores_db=(), why_none=why, **common)
    points = archives[graph]
    row = int(np.argmax(points.columns["output_db"]))
    point = points.take(np.array([row]))
    return TopologyBest(
        design=runner.space(graph).decode(point.x, point.site),
        best_db=float(point.columns["output_db"][0]),
        restart_scores_db=tuple(
            float(best["columns"]["output_db"][0]) for best in earnest or [best for _, best in tries]
        ),
        **common,
    )


def _reduces_to(graph: str, scores: dict[str, float]) -> str:
    """The best simpler graph that a graph contains and does not beat by the margin; empty if none."""
    if graph not in scores:
        return ""
    known = [simple for simple in simpler_graphs(named_topology(graph)) if simple in scores]
    near = [simple for simple in known if scores[simple] >= scores[graph] - PARSIMONY_DB]
    return min(near, key=lambda simple: (-scores[simple], len(simple), simple), default="")


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
    graphs = [graph for graph, points in archives.items() for _ in range(points.excess.size)]
    rows = [row for points in archives.values() for row in range(points.excess.size)]
    columns = {
        key: np.concatenate([points.columns[key] for points in archives.values()])
        for key in next(iter(archives.values())).columns
    }
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
