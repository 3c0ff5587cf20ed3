"""Running a sweep: its points in several processes, here or on a cluster."""

from __future__ import annotations

import importlib
import importlib.util
import logging
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from joblib import Parallel, delayed, parallel_config
from joblib.externals.loky.process_executor import TerminatedWorkerError

from optimizer.cli_options import BadOption
from optimizer.files import write_json
from optimizer.progress import Progress, silent
from optimizer.run_folder import json_of
from optimizer.sweep_plan import Plan, Point, plan_differences
from optimizer.sweep_points import DONE, FAILED, INTERRUPTED, finished, run_point
from optimizer.warm_up import compile_once

PLAN, POINTS = "plan.json", "points"
"""File and folder in a sweep's folder."""

_PLAN_KEYS = {"season", "config", "version", "keys", "together", "points", "base"}

MOST_DEATHS = 3
"""Worker processes that may die before a sweep gives up."""

States = dict[str, tuple[str, str]]
"""State of points by their id, with a word on what went wrong."""


class Stopped(Exception):
    """The sweep was interrupted; finished points are on disk."""


def begin(plan: Plan, out: Path) -> None:
    """Note in the sweep's folder what it covers; refuse a folder of another sweep.

    Raises
    ------
    BadOption
        The folder holds another sweep.
    """
    path = out / PLAN
    record = plan.record()
    if path.exists() and (words := plan_differences(read_plan(out), record)):
        raise BadOption("--resume", f"{out} holds another sweep: {'; '.join(words[:4])}")
    write_json(path, record)


def read_plan(out: Path, option: str = "--out") -> dict[str, Any]:
    """What a sweep's folder covers; faults name the option.

    Raises
    ------
    BadOption
        The folder holds no sweep, or its plan is damaged.
    """
    try:
        record = json_of(out / PLAN)
    except FileNotFoundError:
        raise BadOption(option, f"{out} holds no {PLAN}, so it is no sweep's folder") from None
    except (OSError, ValueError) as error:
        raise BadOption(option, f"{out / PLAN} cannot be read: {error}") from None
    if not isinstance(record, dict) or not _PLAN_KEYS <= set(record):
        raise BadOption(option, f"{out / PLAN} is not the plan of a sweep")
    return record


def shard_of(points: Sequence[Point], number: int, of: int) -> list[Point]:
    """Every ``of``-th point in the order of their ids, which does not depend on how the sweep was given."""
    ids = sorted({point.id for point in points})[number - 1 :: of]
    return [point for point in points if point.id in set(ids)]


def run_points(
    plan: Plan,
    points: Sequence[Point],
    out: Path,
    *,
    workers: int,
    backend: str = "loky",
    address: str | None = None,
    progress: Progress = silent,
) -> States:
    """Run the points that are not finished.

    Parameters
    ----------
    plan : Plan
        The sweep [record].
    points : sequence of Point
        Those to run [list].
    out : Path
        The sweep's folder; on a cluster every worker must see it under this name [path].
    workers : int
        Processes that are started here [1].
    backend : str
        ``loky`` for processes of this machine, ``dask`` for a cluster [text].
    address : str or None
        Scheduler of the cluster; None starts one here [text].
    progress : callable
        Told of every finished point [text].

    Returns
    -------
    dict of str to tuple
        State of every point by id [text].

    Raises
    ------
    Stopped
        An interrupt from the keyboard.
    BadOption
        The cluster cannot be had.
    """
    todo = {point.id: point for point in points}
    states: States = {}
    for key, point in list(todo.items()):
        if finished(out / POINTS / key, point.season.config_hash) is not None:
            states[key] = (DONE, "")
            del todo[key]
    progress(len(states), len(states) + len(todo), "")
    if not todo:
        return states
    compile_once(next(iter(todo.values())).season)
    try:
        with _backend(backend, workers, address, out) as crew:
            _work(plan, todo, out, states, crew, progress)
    except KeyboardInterrupt:
        raise Stopped from None
    return states


def _work(
    plan: Plan,
    todo: dict[str, Point],
    out: Path,
    states: States,
    crew: _Crew,
    progress: Progress,
) -> None:
    """Work through the open points; a worker process that dies takes only its own point along."""
    total = len(todo) + len(states)
    deaths = 0
    while todo:
        calls = (
            delayed(_named)(key, point.season.source, str(plan.config), out / POINTS / key, crew.apart)
            for key, point in list(todo.items())
        )
        parallel = Parallel(n_jobs=crew.size, batch_size=1, return_as="generator_unordered")
        try:
            for key, state, words in parallel(calls):
                if state == INTERRUPTED:
                    raise KeyboardInterrupt
                states[key] = (state, words)
                del todo[key]
                progress(len(states), total, state)
        except crew.deaths as error:
            deaths += 1
            if deaths > MOST_DEATHS:
                words = f"worker processes died {deaths} times; is there enough memory? ({error})"
                states.update({key: (FAILED, " ".join(words.split())) for key in todo})
                return


@dataclass(frozen=True, slots=True)
class _Crew:
    """Workers of a backend: how many, whether in processes of their own, and what their deaths raise."""

    size: int
    apart: bool
    deaths: tuple[type[BaseException], ...]


def _named(key: str, source: dict[str, Any], config: str, folder: Path, apart: bool) -> tuple[str, str, str]:
    return key, *run_point(source, config, folder, apart=apart)


@contextmanager
def _backend(name: str, workers: int, address: str | None, out: Path) -> Iterator[_Crew]:
    """Make joblib use a backend while the block runs."""
    if name == "loky":
        with parallel_config(backend="loky"):
            yield _Crew(workers, workers > 1, (TerminatedWorkerError,))
        return
    if importlib.util.find_spec("distributed") is None:
        raise BadOption("--backend", 'dask needs the extra "cluster": pip install "boxwright[cluster]"')
    distributed: Any = importlib.import_module("distributed")
    deaths = (distributed.KilledWorker, CancelledError, OSError)
    if address is None:
        with (
            distributed.LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                dashboard_address=None,
                silence_logs=logging.ERROR,
            ) as cluster,
            distributed.Client(cluster) as client,
            parallel_config(backend="dask", client=client),
        ):
            yield _Crew(workers, True, deaths)
        return
    try:
        client = distributed.Client(address, timeout="20s")
    except (OSError, ValueError, TimeoutError) as error:
        raise BadOption("--address", f"no scheduler answers at {address}: {error}") from None
    with client, parallel_config(backend="dask", client=client):
        if not client.scheduler_info()["workers"]:
            raise BadOption("--address", f"the scheduler at {address} has no workers")
        blind = [worker for worker, seen in client.run(_sees, out / PLAN).items() if not seen]
        if blind:
            words = f"cannot see {out / PLAN}; the folder must lie on a disk that all workers share"
            raise BadOption("--out", f"the worker at {blind[0]} {words}")
        yield _Crew(sum(client.ncores().values()), True, deaths)


def _sees(path: Path) -> bool:
    return path.is_file()
