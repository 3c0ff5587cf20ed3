"""The search of a season: every cell in an Optuna study, then other objectives, then the ranking.

A trial of the study is a graph, a restart and a goal, never a single geometry. The study lives in
a journal file in the run folder.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution, IntDistribution
from optuna.storages import JournalStorage
from optuna.storages.journal import JournalFileBackend

from models.catalogue import TRADE_NAMES, graph_name, named_topology
from models.fit import reasons_not
from optimizer.cell import Points
from optimizer.front import non_dominated, spread_rows
from optimizer.inner import EFFORTS
from optimizer.objectives import OBJECTIVES, gains
from optimizer.ranking import rank
from optimizer.results import FrontPoint, SearchResult, TopologyBest
from optimizer.season import Season
from optimizer.tasks import Task, TaskRunner, merged, pack, prepare_worker, run_in_worker, unpack

JOURNAL = "study.journal"
"""File of the study in the run folder."""

OTHER_FLOORS_DB = {"quick": (0.45,), "normal": (0.45, 1.5, 3.0), "thorough": (0.2, 0.45, 0.9, 1.5, 3.0, 5.0)}
"""How far below the best output other objectives may go, by effort."""

FRONT_POINTS = 200
"""Points of the front that are reported at most, spread evenly along the output."""

OTHER_CELLS = 3
"""Graphs whose other objectives are sought, the best first."""

Progress = Callable[[int, int, str], None]
Outcome = tuple[Task, dict[str, Any]]


def season_graphs(season: Season) -> tuple[str, ...]:
    """Graph ids that a season's search covers: those of the trade's names, or the ones it lists.

    Parameters
    ----------
    season : Season
        The season [record].

    Returns
    -------
    tuple of str
        Graph ids without repetition [text].
    """
    wanted = season.search.topologies
    names = TRADE_NAMES.values() if isinstance(wanted, str) else wanted
    topologies = [named_topology(name) for name in names]
    if isinstance(wanted, str):
        topologies = [
            t
            for t in topologies
            if not t.diaphragms
            and t.chambers <= season.search.max_chambers
            and len(t.ducts) <= season.search.max_ducts
            and len(t.drivers) == season.rules.driver_count
        ]
    return tuple(dict.fromkeys(t.graph_id for t in topologies))


def run_search(
    season: Season, out: Path, *, workers: int = 1, progress: Progress = lambda done, total, text: None
) -> SearchResult:
    """Search a season and rank what was found.

    Parameters
    ----------
    season : Season
        The season [record].
    out : Path
        Run folder, which exists; the study's journal is written there [path].
    workers : int
        Processes; the result does not depend on their number [1].
    progress : callable
        Told how many tasks are done, how many there are, and a word on the last one [text].

    Returns
    -------
    SearchResult
        Candidates, front and best per topology; after an interrupt what was found until then [record].
    """
    began = time.perf_counter()
    runner = TaskRunner(season)
    runner.judge.outside(runner.sites)
    prepared = time.perf_counter()
    graphs = season_graphs(season)
    effort = EFFORTS[season.search.effort]
    first = [Task(graph=graph, restart=restart) for restart in range(effort.restarts) for graph in graphs]
    others = [
        name
        for name in OBJECTIVES
        if name != "output" and name in {*season.search.objectives, "evenness", "material"}
    ]
    floors = OTHER_FLOORS_DB[season.search.effort]
    total = len(first) + min(OTHER_CELLS, len(graphs)) * len(others) * len(floors)
    study = _Study(out, graphs, effort.restarts)
    outcomes: list[Outcome] = []
    with _interruptible() as interrupted, _executor(season, runner, workers, interrupted) as run_all:
        for tasks in (lambda: first, lambda: _other_tasks(outcomes, season, others, floors)):
            for task, outcome in run_all(tasks()):
                study.record(task, outcome)
                outcomes.append((task, outcome))
                progress(len(outcomes), total, task.label)
        searched = time.perf_counter()
        stopped = interrupted()
    order = {graph: place for place, graph in enumerate(graphs)}
    outcomes.sort(key=lambda o: (order[o[0].graph], o[0].objective, o[0].floor_db or 0.0, o[0].restart))
    topologies = _best_per_graph(outcomes, runner, graphs)
    archives = _archives(outcomes, season)
    candidates = rank(season, runner, topologies, archives)
    front = _front(archives, runner, season)
    return SearchResult(
        candidates=candidates,
        front=front,
        topologies=topologies,
        objectives=season.search.objectives,
        interrupted=stopped,
        counts={
            "cells": len(graphs),
            "tasks": len(outcomes),
            "restarts": effort.restarts,
            "evaluations": sum(o["evaluations"] for _, o in outcomes),
            "front": len(front),
        },
        seconds={
            "spaces": prepared - began,
            "search": searched - prepared,
            "ranking": time.perf_counter() - searched,
        },
    )


class _Study:
    """The Optuna study of a run: one trial a task."""

    def __init__(self, out: Path, graphs: tuple[str, ...], restarts: int) -> None:
        optuna.logging.set_verbosity(optuna.logging.WARNING)
        storage = JournalStorage(JournalFileBackend(str(out / JOURNAL)))
        self.study = optuna.create_study(storage=storage, study_name="season", direction="maximize")
        self.space: dict[str, BaseDistribution] = {
            "graph": CategoricalDistribution(list(graphs)),
            "restart": IntDistribution(0, max(restarts - 1, 0)),
            "objective": CategoricalDistribution(list(OBJECTIVES)),
        }

    def record(self, task: Task, outcome: dict[str, Any]) -> None:
        """Write a finished task; a task in which nothing fits counts as failed."""
        params = {"graph": task.graph, "restart": task.restart, "objective": task.objective}
        self.study.enqueue_trial(params)
        trial = self.study.ask(self.space)
        trial.set_user_attr("floor_db", task.floor_db)
        trial.set_user_attr("outcome", outcome)
        points = outcome["best"] or outcome["archive"]
        if points is None:
            self.study.tell(trial, state=optuna.trial.TrialState.FAIL)
        else:
            self.study.tell(trial, max(points["columns"]["output_db"]))


@contextmanager
def _interruptible() -> Iterator[Callable[[], bool]]:
    """Turn the first interrupt from the keyboard into a flag; a second one interrupts as usual."""
    flag = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield flag.is_set
        return
    before = signal.getsignal(signal.SIGINT)

    def note(number: int, frame: object) -> None:
        flag.set()
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, note)
    try:
        yield flag.is_set
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _executor(
    season: Season, runner: TaskRunner, workers: int, stop: Callable[[], bool]
) -> Iterator[Callable[[Iterable[Task]], Iterator[Outcome]]]:
    """Something that runs tasks and yields their outcomes as they come."""
    if workers <= 1:

        def one_by_one(tasks: Iterable[Task]) -> Iterator[Outcome]:
            for task in tasks:
                if stop():
                    return
                yield task, runner.run(task, stop)

        yield one_by_one
        return
    pool = ProcessPoolExecutor(workers, get_context("spawn"), prepare_worker, (season,))

    def side_by_side(tasks: Iterable[Task]) -> Iterator[Outcome]:
        running: dict[Future[dict[str, Any]], Task] = {}
        if not stop():
            running = {pool.submit(run_in_worker, task): task for task in tasks}
        while running and not stop():
            done, _ = wait(running, timeout=0.2, return_when=FIRST_COMPLETED)
            for future in done:
                yield running.pop(future), future.result()

    try:
        yield side_by_side
    finally:
        pool.shutdown(wait=not stop(), cancel_futures=True)


def _other_tasks(
    outcomes: list[Outcome], season: Season, others: list[str], floors: tuple[float, ...]
) -> list[Task]:
    """Tasks that improve other objectives of the best graphs, from all points known of them."""
    best: dict[str, float] = {}
    for task, outcome in outcomes:
        if outcome["best"] is not None:
            score = outcome["best"]["columns"]["output_db"][0]
            best[task.graph] = max(best.get(task.graph, -np.inf), score)
    leaders = sorted(best, key=lambda graph: (-best[graph], graph))[:OTHER_CELLS]
    known = _archives(sorted(outcomes, key=lambda o: (o[0].graph, o[0].restart)), season)
    tasks = []
    for graph in leaders:
        top = max(best.values()) if best[graph] >= max(best.values()) - min(floors) else best[graph]
        for name in others:
            for floor in floors:
                tasks.append(
                    Task(
                        graph=graph,
                        restart=0,
                        objective=name,
                        floor_db=top - floor,
                        start=pack(known[graph]),
                    )
                )
    return tasks


def _archives(outcomes: list[Outcome], season: Season) -> dict[str, Points]:
    """Everything worth keeping of each graph: bests and non-dominated points."""
    parts: dict[str, list[Points]] = {}
    for task, outcome in outcomes:
        for key in ("best", "archive"):
            if outcome[key] is not None:
                parts.setdefault(task.graph, []).append(unpack(outcome[key]))
    return {graph: merged(points, season.search.objectives) for graph, points in parts.items()}


def _best_per_graph(
    outcomes: list[Outcome], runner: TaskRunner, graphs: tuple[str, ...]
) -> tuple[TopologyBest, ...]:
    result = []
    for graph in graphs:
        mine = [(task, outcome) for task, outcome in outcomes if task.graph == graph]
        starts = [o["best"] for t, o in mine if t.objective == "output" and o["best"] is not None]
        evaluations = sum(o["evaluations"] for _, o in mine)
        name = graph_name(named_topology(graph))
        if not starts:
            result.append(
                TopologyBest(
                    topology=name,
                    graph=graph,
                    design=None,
                    best_db=None,
                    restart_scores_db=(),
                    evaluations=evaluations,
                    why_none=_why_none(runner, graph) if mine else "the search was stopped before this graph",
                )
            )
            continue
        scores = [start["columns"]["output_db"][0] for start in starts]
        point = unpack(starts[int(np.argmax(scores))])
        result.append(
            TopologyBest(
                topology=name,
                graph=graph,
                design=runner.space(graph).decode(point.x, point.site),
                best_db=float(max(scores)),
                restart_scores_db=tuple(float(score) for score in scores),
                evaluations=evaluations,
            )
        )
    return tuple(sorted(result, key=lambda t: (-(t.best_db if t.best_db is not None else -np.inf), t.graph)))


def _why_none(runner: TaskRunner, graph: str) -> str:
    """What stops the most spacious random designs of a graph that cannot fit."""
    space = runner.space(graph)
    rng = np.random.default_rng(0)
    site = rng.integers(0, len(runner.sites), (256, len(space.site_slots)))
    x, site = space.repair(rng.random((256, space.dimensions)), site)
    reasons = reasons_not(space.decode(x, site), runner.season.rules)
    shortest = min(reasons, key=len)
    return "; ".join(shortest) if shortest else "no design settled under the limits"


def _front(archives: dict[str, Points], runner: TaskRunner, season: Season) -> tuple[FrontPoint, ...]:
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
        front.append(
            FrontPoint(
                topology=graph_name(named_topology(graphs[i])),
                graph=graphs[i],
                design=runner.space(graphs[i]).decode(points.x, points.site),
                objectives={key: float(value[i]) for key, value in columns.items()},
            )
        )
    return tuple(front)
