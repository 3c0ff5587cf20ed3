"""Growth of the time a design takes, and two processes side by side."""

from __future__ import annotations

import multiprocessing
import time
import tracemalloc
from dataclasses import replace
from typing import Any

import numpy as np

from models.design import DesignBatch
from models.rules import Rules
from models.score import Judge
from models.topology import parse_graph_id
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

GRAPHS = {"one chamber": "oA/Ao", "two chambers": "AB/Ao.Bo", "three chambers": "AB/AC.BC.Co"}


def random_designs(judge: Judge, graph: str, count: int, seed: int = 1) -> DesignBatch:
    """Random designs of a graph, those among them that do not fit included."""
    space = SearchSpace(parse_graph_id(graph), judge.rules, search_sites(judge.rules))
    rng = np.random.default_rng(seed)
    site = rng.integers(0, len(space.sites), (count, len(space.site_slots)))
    return space.decode(*space.repair(rng.random((count, space.dimensions)), site))


def microseconds(judge: Judge, batch: DesignBatch, repeats: int) -> float:
    """Least processor time of a design over some runs, after one that does not count [us]."""
    judge.respond(batch)
    times = []
    for _ in range(repeats):
        start = time.process_time()
        judge.respond(batch)
        times.append(time.process_time() - start)
    return 1e6 * min(times) / batch.size


def growth(rules: Rules, count: int, repeats: int) -> list[tuple[str, float]]:
    """Time of a design by chambers, tones, spaces and batch: what and microseconds."""
    rows = []
    judge = Judge(rules)
    for name, graph in GRAPHS.items():
        rows.append((name, microseconds(judge, random_designs(judge, graph, count), repeats)))
    for tones in (4, 8, 16):
        low, high = rules.tones_hz[0], rules.tones_hz[-1]
        more = Judge(replace(rules, tones_hz=np.geomspace(low, high, tones), tone_weights=np.ones(tones)))
        rows.append((f"{tones} tones", microseconds(more, random_designs(more, "oA/Ao", count), repeats)))
    for spaces in (1, 2, 4):
        chosen = (rules.spaces * 2)[:spaces]
        more = Judge(replace(rules, spaces=chosen))
        rows.append((f"{spaces} spaces", microseconds(more, random_designs(more, "oA/Ao", count), repeats)))
    for size in (1, 8, 64, count):
        batch = random_designs(judge, "oA/Ao", size)
        rows.append((f"batch of {size}", microseconds(judge, batch, repeats)))
    return rows


def peak_memory(rules: Rules, count: int) -> float:
    """Most memory that one batch takes beside its own columns [MB]."""
    judge = Judge(rules)
    batch = random_designs(judge, "oA/Ao", count)
    judge.respond(batch.rows(slice(0, 8)))
    tracemalloc.start()
    judge.respond(batch)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / 1e6


def _work(rules: Rules, count: int, seconds: float, start: Any, rates: Any) -> None:
    judge = Judge(rules)
    batch = random_designs(judge, "oA/Ao", count)
    judge.respond(batch)
    start.wait()
    done, begin, used = 0, time.perf_counter(), time.process_time()
    while time.perf_counter() - begin < seconds:
        judge.respond(batch)
        done += batch.size
    rates.put((done / (time.perf_counter() - begin), done / (time.process_time() - used)))


def designs_a_second(rules: Rules, processes: int, count: int, seconds: float) -> tuple[float, float]:
    """Designs a second of processes that work at the same time: by the clock, and by their processor time.

    The second is what they would reach if nobody else used the machine.
    """
    context = multiprocessing.get_context("spawn")
    start, rates = context.Barrier(processes), context.Queue()
    workers = [
        context.Process(target=_work, args=(rules, count, seconds, start, rates)) for _ in range(processes)
    ]
    for worker in workers:
        worker.start()
    found = [rates.get() for _ in workers]
    for worker in workers:
        worker.join()
    return sum(rate for rate, _ in found), sum(rate for _, rate in found)
