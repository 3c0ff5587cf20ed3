"""Where the time of the compiled back end goes, stage by stage."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from models import packing
from models.design import DesignBatch
from models.score import Judge
from models.structure import make_graph
from studies.evaluation_speed.floor import cost, near_field_count, network_count, prices

STEPS = 5.0
"""States that an average tone of the demo's vented boxes passes until its losses have settled."""

STAGES = "near field", "ducts and rooms", "elimination and drive"
"""Compiled functions that Python calls, in turn."""


def stage_times(judge: Judge, batch: DesignBatch, repeats: int) -> dict[str, float]:
    """Microseconds of processor time that a design takes in each stage, and in all together."""
    omega = 2.0 * np.pi * judge.tones_hz
    graph = make_graph(batch, judge.rules)
    tones = packing.make_tones(judge.rules, omega, len(batch.driver_ends))
    sizes = packing.make_sizes(batch, judge.rules, omega, graph, None)
    table = judge.outside(batch.sites)
    packing.respond(graph, tones, sizes, table)
    some = min(batch.size, packing.CHUNK)
    steps = packing.steps(graph, tones, sizes, table, packing.make_room(graph, tones, sizes), 0, some)

    def timed(work: Callable[[], object], size: int = batch.size) -> float:
        times = []
        for _ in range(repeats + 1):
            start = time.process_time()
            work()
            times.append(time.process_time() - start)
        return 1e6 * min(times[1:]) / size

    times = {"packing": timed(lambda: packing.make_sizes(batch, judge.rules, omega, graph, None))}
    for name, (step, arguments) in zip(STAGES, steps, strict=True):
        times[name] = timed(partial(step, *arguments), some)
    return times | {"all": timed(lambda: judge.respond(batch))}


def account(judge: Judge, batch: DesignBatch, repeats: int) -> dict[str, float]:
    """Microseconds a vented box takes by stage, and the counted floor of the whole."""
    price = prices(20 * repeats)
    times = stage_times(judge, batch, repeats)
    near = cost(near_field_count(), price)
    rest = cost(network_count(judge.tones_hz.size, len(judge.rules.spaces), STEPS), price)
    return times | {"floor of the near field": near, "floor of the rest": rest}
