"""Where the time of the compiled back end goes, stage by stage."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from models import packing
from models.assembly_kernel import assemble_planes, near_fields
from models.batch_kernel import drive_planes
from models.design import DesignBatch
from models.score import Judge
from models.structure import make_graph
from studies.evaluation_speed.floor import cost, near_field_count, network_count, prices

STEPS = 5.0
"""States that an average tone of the demo's vented boxes passes until its losses have settled."""


def stage_times(judge: Judge, batch: DesignBatch, repeats: int) -> dict[str, float]:
    """Microseconds of processor time that a design takes in each stage, and in all together."""
    omega = 2.0 * np.pi * judge.tones_hz
    graph = make_graph(batch, judge.rules)
    tones = packing.make_tones(judge.rules, omega, len(batch.driver_ends))
    sizes = packing.make_sizes(batch, judge.rules, omega, graph, None)
    table = judge.outside(batch.sites)
    found = packing.respond(graph, tones, sizes, table)
    lanes = packing.block_size(batch.size)
    blocks, most = -(-batch.size // lanes), int(np.max(np.diff(graph.starts)))
    sums = np.empty((blocks, sizes.sides.shape[1], 3, most, most, lanes))
    planes = np.empty((blocks, graph.planes, 2, omega.size, lanes))
    end_area = np.empty((blocks, 2 * graph.bounds.ducts, lanes))
    extra = np.empty((blocks, int(graph.starts[-1] - graph.starts[-2]), lanes))
    size = batch.size

    def timed(work: Callable[[], object]) -> float:
        times = []
        for _ in range(repeats + 1):
            start = time.process_time()
            work()
            times.append(time.process_time() - start)
        return 1e6 * min(times[1:]) / size

    return {
        "packing": timed(lambda: packing.make_sizes(batch, judge.rules, omega, graph, None)),
        "near field": timed(lambda: near_fields(graph, sizes, 0, size, sums)),
        "ducts and rooms": timed(
            lambda: assemble_planes(graph, tones, sizes, 0, size, sums, planes, end_area, extra)
        ),
        "elimination and drive": timed(
            lambda: drive_planes(
                graph,
                tones,
                sizes,
                0,
                size,
                planes,
                end_area,
                extra,
                table.impedance,
                table.transfer,
                table.self_inertance,
                found,
            )
        ),
        "all": timed(lambda: judge.respond(batch)),
    }


def account(judge: Judge, batch: DesignBatch, repeats: int) -> dict[str, float]:
    """Microseconds a vented box takes by stage, and the counted floor of the whole."""
    price = prices(20 * repeats)
    times = stage_times(judge, batch, repeats)
    near = cost(near_field_count(), price)
    rest = cost(network_count(judge.tones_hz.size, len(judge.rules.spaces), STEPS), price)
    return times | {"floor of the near field": near, "floor of the rest": rest}
