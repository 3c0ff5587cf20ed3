"""Worker processes that leave interrupts to their parent and end with it.

A command that will need some asks for a fork server first thing: it loads the libraries while the command
loads its own, and workers are then copies of it, which begin at once.
"""

from __future__ import annotations

import atexit
import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from multiprocessing import forkserver
from multiprocessing.context import BaseContext
from typing import Any

LOADED_FIRST = "optimizer.loaded_first"
"""Module whose libraries every copy of the server has."""

COLLECTION = 50_000, 20, 50
"""Thresholds of the collection of cyclic garbage; Python's own look at all objects a thousand times."""

_SERVED: dict[str, str] = {}
"""Environment that the fork server was started with."""


def start_early() -> None:
    """Start a fork server, unless there is one or the system forbids its use.

    On macOS libraries of the system do not survive being copied, so processes begin from nothing there.
    """
    if _SERVED or sys.platform == "darwin" or threading.current_thread() is not threading.main_thread():
        return
    forkserver.set_forkserver_preload([LOADED_FIRST])
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # which the server inherits
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, before)
    _SERVED.update(os.environ)
    atexit.register(_end_server)


def _end_server() -> None:
    """End the fork server with the command; it would first load all its libraries, a second after a fault."""
    server = getattr(forkserver, "_forkserver", None)  # which has no public way to end
    process = getattr(server, "_forkserver_pid", None)
    if process is not None:
        with suppress(ProcessLookupError, ChildProcessError):
            os.kill(process, signal.SIGTERM)
            os.waitpid(process, 0)


def process_context() -> BaseContext:
    """How processes are begun: by the fork server, where one was started and would have the same settings."""
    return multiprocessing.get_context("forkserver" if _SERVED == dict(os.environ) else "spawn")


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
    return ProcessPoolExecutor(workers, process_context(), _begin, (prepare, arguments))


def collect_rarely() -> None:
    """Let the process look for cyclic garbage less often, and not among what is loaded already."""
    gc.freeze()
    gc.set_threshold(*COLLECTION)


def _begin(prepare: Callable[..., None] | None, arguments: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    collect_rarely()
    if prepare is not None:
        prepare(*arguments)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
