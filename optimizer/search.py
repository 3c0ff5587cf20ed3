"""The search of a season: every cell in an Optuna study, then other objectives, then the ranking.

A trial of the study is a graph, a restart and a goal, never a single geometry. The study lives in
a journal file in the run folder.
"""

from __future__ import annotations

import time
from pathlib import Path

from optimizer.execution import executor, interruptible
from optimizer.gathering import OTHER_CELLS, archives_of, best_per_graph, front_of, other_tasks, survivors
from optimizer.graphs import season_graphs
from optimizer.inner import EFFORTS
from optimizer.objectives import OBJECTIVES
from optimizer.progress import Progress, silent
from optimizer.ranking import rank
from optimizer.results import SearchResult
from optimizer.season import Season
from optimizer.study import Study
from optimizer.tasks import Outcome, Task, TaskRunner

OTHER_FLOORS_DB = {"quick": (0.45,), "normal": (0.45, 1.5, 3.0), "thorough": (0.2, 0.45, 0.9, 1.5, 3.0, 5.0)}
"""How far below the best output other objectives may go, by effort."""

SURVEY_FROM = 10
"""Number of graphs from which all are surveyed before the best are searched in earnest."""

SURVIVORS = {"quick": 2, "normal": 2, "thorough": 12}
"""Graphs that are searched in earnest after a survey, by effort; plain boxes come on top."""


def run_search(season: Season, out: Path, *, workers: int = 1, progress: Progress = silent) -> SearchResult:
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
    word = season.search.effort
    effort = EFFORTS[word]
    others = [
        name
        for name in OBJECTIVES
        if name != "output" and name in {*season.search.objectives, "evenness", "material"}
    ]
    floors = OTHER_FLOORS_DB[word]
    study = Study(out, graphs, effort.restarts)
    outcomes: list[Outcome] = []
    with interruptible() as interrupted, executor(season, runner, workers, interrupted) as run_all:

        def work(tasks: list[Task], later: int) -> None:
            total = len(outcomes) + len(tasks) + later
            for task, outcome in run_all(tasks):
                study.record(task, outcome)
                outcomes.append((task, outcome))
                progress(len(outcomes), total, task.label)

        chosen = graphs
        last = OTHER_CELLS * len(others) * len(floors)
        if len(graphs) > SURVEY_FROM:
            later = effort.restarts * SURVIVORS[word] + last
            work([Task(graph=graph, restart=0, effort="survey") for graph in graphs], later)
            chosen = survivors(outcomes, SURVIVORS[word])
        restarts = range(effort.restarts)
        work([Task(graph=graph, restart=i, effort=word) for i in restarts for graph in chosen], last)
        work(other_tasks(outcomes, season, others, floors), 0)
        searched = time.perf_counter()
        stopped = interrupted()
    order = {graph: place for place, graph in enumerate(graphs)}
    outcomes.sort(
        key=lambda o: (order[o[0].graph], o[0].effort, o[0].objective, o[0].floor_db or 0.0, o[0].restart)
    )
    archives = archives_of(outcomes, season)
    topologies = best_per_graph(outcomes, archives, runner, graphs)
    candidates = rank(season, runner, topologies, archives)
    front = front_of(archives, runner, season)
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
