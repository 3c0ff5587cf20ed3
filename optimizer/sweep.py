"""Running a sweep: its points in several processes, here or on a cluster."""

from __future__ import annotations

import importlib
import importlib.util
import logging
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from joblib import Parallel, delayed
from joblib.externals.loky.process_executor import TerminatedWorkerError

from optimizer.cli_options import BadOption
from optimizer.files import json_of, write_json
from optimizer.progress import Progress, silent
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

Tasks = Mapping[str, tuple[str, dict[str, Any], str, Path]]
"""Id, content of the season, its file and the run folder of points, by id."""

Result = tuple[str, str, str]
"""Id of a point, its state, and a word on what went wrong."""


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
    tasks = {
        key: (key, point.season.source, str(plan.config), out / POINTS / key) for key, point in todo.items()
    }
    total = len(states) + len(tasks)
    try:
        with _crew(backend, workers, address, out) as work:
            for key, state, words in work(tasks):
                if state == INTERRUPTED:
                    raise Stopped
                states[key] = (state, words)
                progress(len(states), total, state)
    except KeyboardInterrupt:
        raise Stopped from None
    return states


def _run(key: str, source: dict[str, Any], config: str, folder: Path, apart: bool) -> Result:
    return key, *run_point(source, config, folder, apart=apart)


@contextmanager
def _crew(
    backend: str, workers: int, address: str | None, out: Path
) -> Iterator[Callable[[Tasks], Iterator[Result]]]:
    """What runs tasks while the block runs."""
    if backend == "loky":
        yield partial(_with_loky, workers)
        return
    if importlib.util.find_spec("distributed") is None:
        raise BadOption("--backend", 'dask needs the extra "cluster": pip install "boxwright[cluster]"')
    distributed: Any = importlib.import_module("distributed")
    if address is None:
        with (
            distributed.LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                dashboard_address=None,
                silence_logs=logging.CRITICAL,
            ) as cluster,
            distributed.Client(cluster) as client,
        ):
            yield partial(_with_dask, client)
        return
    try:
        client = distributed.Client(address, timeout="20s")
    except (OSError, ValueError, TimeoutError) as error:
        raise BadOption("--address", f"no scheduler answers at {address}: {error}") from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise BadOption("--address", f"the scheduler at {address} has no workers")
        blind = [worker for worker, seen in client.run(_sees, out / PLAN).items() if not seen]
        if blind:
            words = f"cannot see {out / PLAN}; the folder must lie on a disk that all workers share"
            raise BadOption("--out", f"the worker at {blind[0]} {words}")
        yield partial(_with_dask, client)


def _with_loky(workers: int, tasks: Tasks) -> Iterator[Result]:
    """Run tasks in processes of this machine; one that dies takes only its own point along."""
    left = dict(tasks)
    deaths = 0
    while left:
        parallel = Parallel(n_jobs=workers, backend="loky", batch_size=1, return_as="generator_unordered")
        try:
            for result in parallel(delayed(_run)(*task, apart=workers > 1) for task in list(left.values())):
                del left[result[0]]
                yield result
        except TerminatedWorkerError:
            deaths += 1
            if deaths > MOST_DEATHS:
                words = f"worker processes died {deaths} times; is there enough memory?"
                yield from ((key, FAILED, words) for key in left)
                return


def _with_dask(client: Any, tasks: Tasks) -> Iterator[Result]:
    """Run tasks on a cluster, which gives the point of a worker that dies to another one."""
    distributed: Any = importlib.import_module("distributed")
    futures = {
        client.submit(_run, *task, apart=True, key=f"boxwright-{key}-{uuid.uuid4().hex}"): key
        for key, task in tasks.items()
    }
    for future in distributed.as_completed(futures):
        try:
            yield future.result()
        except (distributed.KilledWorker, CancelledError, OSError) as error:
            words = " ".join(f"{type(error).__name__}: {error}".split())
            yield futures[future], FAILED, words


def _sees(path: Path) -> bool:
    return path.is_file()
