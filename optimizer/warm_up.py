"""Compiling once: all processes of a machine then run the same machine code.

Two compilations of one source may round differently, and a search follows the last bits. So one process
compiles, while others that start at the same time wait for it, and all work with what it left on disk.
"""

from __future__ import annotations

import fcntl

import numpy as np

from models.backend import choose_backend, code_folder
from optimizer.cell import Goal
from optimizer.climb import climb
from optimizer.evolution import best_rows, screen
from optimizer.graphs import season_graphs
from optimizer.processes import worker_pool
from optimizer.season import Season
from optimizer.tasks import TaskRunner

COMPLETE = "complete"
"""File that says that the folder of compiled code holds everything."""


def compile_once(season: Season) -> None:
    """Compile in a process of its own, unless that has been done or numba is not used.

    Parameters
    ----------
    season : Season
        Season whose designs are evaluated to compile what they need [record].
    """
    if choose_backend() != "compiled" or (code_folder() / COMPLETE).exists():
        return
    folder = code_folder()
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("ab") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / COMPLETE).exists():
            with worker_pool(1) as pool:
                pool.submit(_evaluate_some, season).result()
            (folder / COMPLETE).touch()


def _evaluate_some(season: Season) -> None:
    """Evaluate a few designs of a simple and of a rich graph, at their limits and at given drives."""
    runner = TaskRunner(season)
    graphs = season_graphs(season)
    for graph in dict.fromkeys((graphs[0], max(graphs, key=len))):
        cell = runner.cell(graph)
        points = screen(cell, np.random.default_rng(0), 256)
        fitting = np.nonzero(points.excess <= 0.0)[0]
        if fitting.size:
            climb(cell, points.take(best_rows(points, Goal(), 1)), 1, lambda: False)
