"""Worker processes that leave interrupts to their parent and end with it."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any


def worker_pool(
    workers: int, prepare: Callable[..., None] | None = None, arguments: tuple[Any, ...] = ()
) -> ProcessPoolExecutor:
    """Pool of fresh processes.

    Parameters
    ----------
    workers : int
        Number of processes [1].
    prepare : callable or None
        Called once in every process [any].
    arguments : tuple
        What it is called with [any].

    Returns
    -------
    ProcessPoolExecutor
        The pool, to be shut down by the caller [record].
    """
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, context, _begin, (prepare, arguments))


def _begin(prepare: Callable[..., None] | None, arguments: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if prepare is not None:
        prepare(*arguments)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
