"""Running tasks here or in worker processes, and stopping at an interrupt from the keyboard."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import contextmanager
from typing import Any

from optimizer.processes import worker_pool
from optimizer.season import Season
from optimizer.tasks import Outcome, Task, TaskRunner, prepare_worker, run_in_worker


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


@contextmanager
def executor(
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
    pool = worker_pool(workers, prepare_worker, (season,))

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
