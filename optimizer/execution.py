"""Working through a race, here or in several processes, and stopping at an interrupt from the keyboard."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, wait
from contextlib import contextmanager
from typing import Any

from optimizer.processes import process_context, worker_pool
from optimizer.progress import Progress
from optimizer.race import Race
from optimizer.season import Season
from optimizer.study import Study
from optimizer.tasks import TaskRunner

WAIT_SECONDS = 0.2
"""Time between two looks at a storage where others work on all open tasks."""


@contextmanager
def interruptible() -> Iterator[Callable[[], bool]]:
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


def work(
    study: Study, race: Race, runner: TaskRunner, stop: Callable[[], bool], progress: Progress | None = None
) -> None:
    """Claim and run tasks until the race is over, whoever else works on it.

    Parameters
    ----------
    study : Study
        Storage of tasks and outcomes [record].
    race : Race
        The schedule [record].
    runner : TaskRunner
        Evaluator [record].
    stop : callable
        True ends the work early; the task in work is recorded as cut short [flag].
    progress : callable or None
        Told of every finished task [text].
    """
    while not stop():
        done = study.outcomes()
        now = race.standing(done)
        if progress is not None:
            progress(*_counts(race, len(done), len(now.open), now.stage))
        if not now.open:
            return
        claim = study.claim(now.open)
        if claim is None:
            time.sleep(WAIT_SECONDS)
            continue
        trial, task = claim
        end = study.alive(trial)
        try:
            outcome = runner.run(task, done, stop)
        finally:
            end()
        study.record(trial, outcome, whole=not stop())


def work_in_processes(
    season: Season,
    race: Race,
    storage: tuple[str, str],
    workers: int,
    stop: Callable[[], bool],
    progress: Progress,
    idle: Callable[[], None] = lambda: None,
) -> None:
    """Let several processes work through a race.

    Parameters
    ----------
    season : Season
        The season [record].
    race : Race
        The schedule [record].
    storage : tuple of str
        Storage and name of the study [text].
    workers : int
        Number of processes [1].
    stop : callable
        True ends the work early [flag].
    progress : callable
        Told how far the race is [text].
    idle : callable
        Called once, when fewer tasks are left than there are processes [any].
    """
    study = Study(*storage, race.graphs)
    halt = process_context().Event()
    pool = worker_pool(workers, _prepare, (season, race, storage, halt))
    told = over = False
    try:
        running = {pool.submit(_work) for _ in range(workers)}
        while running and not over:
            finished, running = wait(running, timeout=WAIT_SECONDS, return_when=FIRST_COMPLETED)
            for future in finished:
                future.result()
            if stop():
                halt.set()
            done = study.outcomes()
            now = race.standing(done)
            over = not now.open  # others may still wait for their next look at the storage
            progress(*_counts(race, len(done), len(now.open), now.stage))
            if not over and not told and len(now.open) < workers and now.stage >= race.least_stages - 1:
                told = True
                idle()
    finally:
        halt.set()
        pool.shutdown(wait=not over, cancel_futures=True)


_HERE: list[Any] = []


def _prepare(season: Season, race: Race, storage: tuple[str, str], halt: Any) -> None:
    _HERE[:] = [Study(*storage, race.graphs), race, TaskRunner(season), halt]


def _work() -> None:
    study, race, runner, halt = _HERE
    work(study, race, runner, halt.is_set)


def _counts(race: Race, done: int, missing: int, stage: int) -> tuple[int, int, str]:
    """Finished tasks, a guess at their total, and the stage in words."""
    later = max(0, race.least_stages - 1 - stage)
    words = f"stage {stage + 1}, {missing} to do" if missing else "done"
    return done, done + missing + later * race.plan.leaders, words
