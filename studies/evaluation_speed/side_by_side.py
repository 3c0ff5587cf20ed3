"""Processes that evaluate at the same time, and the memory of one batch."""

from __future__ import annotations

import multiprocessing
import time
import tracemalloc
from typing import Any

from studies.evaluation_speed.cases import judge, random_designs


def peak_memory(count: int) -> float:
    """Most memory that one batch takes beside its own columns [MB]."""
    batch = random_designs(judge("compiled"), "oA/Ao", count)
    judge("compiled").respond(batch.rows(slice(0, 8)))
    tracemalloc.start()
    judge("compiled").respond(batch)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / 1e6


def _work(count: int, seconds: float, start: Any, rates: Any) -> None:
    batch = random_designs(judge("compiled"), "oA/Ao", count)
    judge("compiled").respond(batch)
    start.wait()
    done, begin, used = 0, time.perf_counter(), time.process_time()
    while time.perf_counter() - begin < seconds:
        judge("compiled").respond(batch)
        done += batch.size
    rates.put((done / (time.perf_counter() - begin), done / (time.process_time() - used)))


def designs_a_second(processes: int, count: int, seconds: float) -> tuple[float, float]:
    """Designs a second of processes that work at the same time: by the clock, and by their processor time.

    The second is what they would reach if nobody else used the machine.
    """
    context = multiprocessing.get_context("spawn")
    start, rates = context.Barrier(processes), context.Queue()
    workers = [context.Process(target=_work, args=(count, seconds, start, rates)) for _ in range(processes)]
    for worker in workers:
        worker.start()
    found = [rates.get() for _ in workers]
    for worker in workers:
        worker.join()
    return sum(rate for rate, _ in found), sum(rate for _, rate in found)
