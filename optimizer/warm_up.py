"""Compiling once: all processes of a machine then run the same machine code.

Two compilations of one source may round differently, and a search follows the last bits. So every function
is compiled by one process, while others that start at the same time wait, and all work with what was left
on disk. Functions are compiled side by side, while the caller goes on with what needs none of them.
"""

from __future__ import annotations

import fcntl
import multiprocessing
import os
from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

import numpy as np

from models.backend import choose_backend, code_folder
from models.catalogue import named_topology
from models.complex_step import stepped
from optimizer.graphs import season_graphs
from optimizer.processes import worker_pool
from optimizer.season import Season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

COMPLETE = "complete"
"""File that says that the folder of compiled code holds everything."""


def compile_once(season: Season) -> None:
    """Compile in processes of its own, unless that has been done or numba is not used.

    Parameters
    ----------
    season : Season
        Season of whose designs some serve as examples [record].
    """
    with compiling(season):
        pass


@contextmanager
def compiling(season: Season) -> Iterator[None]:
    """The same beside the body of a with statement, which must not evaluate designs itself.

    Parameters
    ----------
    season : Season
        Season of whose designs some serve as examples [record].
    """
    folder = code_folder()
    if choose_backend() != "compiled" or (folder / COMPLETE).exists():
        yield
        return
    if getattr(multiprocessing.current_process(), "_inheriting", False):
        raise RuntimeError("this process only loads its parent's main module, whose work needs a main guard")
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("ab") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if (folder / COMPLETE).exists():
            yield
        else:
            with _compile_aside(season):
                yield
            (folder / COMPLETE).touch()


@contextmanager
def _compile_aside(season: Season) -> Iterator[None]:
    """Compile in several processes; in this one, where no other can be started."""
    from models.compiling import UNITS, compile_unit, example  # which need numba

    graph = named_topology(season_graphs(season)[0])
    space = SearchSpace(graph, season.rules, search_sites(season.rules))
    x = np.full((8, space.dimensions), 0.5)
    site = np.zeros((8, len(space.site_slots)), dtype=int)
    moved = space.decode(stepped(x[:1]), np.repeat(site[:1], space.dimensions, axis=0))
    records = example(space.decode(x, site), moved, season.rules)
    with worker_pool(min(UNITS, os.cpu_count() or 1)) as pool:
        running = [pool.submit(compile_unit, number, records) for number in range(UNITS)]
        yield
        try:
            for one in running:
                one.result()
        except BrokenProcessPool:
            for number in range(UNITS):
                compile_unit(number, records)
