"""Structure of a batch for the compiled back end: joints, entries of the system, elimination schedules."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from models.design import DesignBatch, Ducts, End, Patch
from models.elimination import Key, Schedule, entry, schedule_of
from models.envelope import wall_axis
from models.kernel_records import Bounds, Graph, Steps
from models.rules import Rules
from models.topology import OUTSIDE

EndList = list[tuple[int, int, int, int, int, int, End]]
"""Unknown, sign, place, kind, element, side and end of every joint."""


def ends_of(batch: DesignBatch) -> EndList:
    """Every end of the batch, chamber after chamber, then outside; drivers, diaphragms, ducts in each."""
    found: EndList = []
    topology, unknown = batch.topology, 0
    for i, (edge, ends) in enumerate(zip(topology.drivers, batch.driver_ends, strict=True)):
        found += [(unknown, (1, -1)[s], edge[s], 0, i, s, ends[s]) for s in (0, 1)]
        unknown += 1
    for i, (edge, diaphragm) in enumerate(zip(topology.diaphragms, batch.diaphragms, strict=True)):
        found += [(unknown, (-1, 1)[s], edge[s], 1, i, s, diaphragm.ends[s]) for s in (0, 1)]
        unknown += 1
    for i, (edge, duct) in enumerate(zip(topology.ducts, batch.ducts, strict=True)):
        found += [(unknown + s, (-1, 1)[s], edge[s], 2, i, s, duct.ends[s]) for s in (0, 1)]
        unknown += 2
    places = [*range(topology.chambers), OUTSIDE]
    return [one for place in places for one in found if one[2] == place]


def is_plain(duct: Ducts) -> bool:
    """Whether a duct is uniform, straight and empty, so that the compiled code knows it."""
    return duct.area_end is None and not duct.bends and duct.lining is None


def is_empty(batch: DesignBatch, chamber: int) -> bool:
    """Whether a chamber has neither lining nor a leak of its own, so that the compiled code knows it."""
    return batch.lining_of(chamber) is None and batch.leak_of(chamber) is None


def structure_key(batch: DesignBatch) -> tuple[Any, ...]:
    """What two batches share that the same :class:`~models.batch_kernel.Graph` describes."""
    walls = tuple(
        end.wall if isinstance(end, Patch) else ""
        for ends in (*batch.driver_ends, *(d.ends for d in batch.diaphragms), *(d.ends for d in batch.ducts))
        for end in ends
    )
    ducts = tuple(
        (d.count, d.slot_height is None, is_plain(d), d.end_lengths[0] is None, d.end_lengths[1] is None)
        for d in batch.ducts
    )
    empty = tuple(is_empty(batch, chamber) for chamber in range(batch.topology.chambers))
    return batch.topology, walls, ducts, empty


def _steps(schedule: Schedule, places: dict[Key, int]) -> Steps:
    """A schedule as arrays."""
    steps: list[tuple[int, int, int, int]] = []
    others: list[tuple[int, int]] = []
    targets: list[int] = []
    for step in schedule.steps:
        p = step.pivot
        steps.append((p, places[p, p], len(others), len(others) + len(step.others)))
        others += [(i, places[entry(i, p)]) for i in step.others]
        targets += [places[key] for _, _, key in step.targets]
    return Steps(
        np.array(steps, dtype=np.int64).reshape(-1, 4),
        np.array(others, dtype=np.int64).reshape(-1, 2),
        np.array(targets, dtype=np.int64),
    )


def _bounds(rules: Rules, batch: DesignBatch) -> Bounds:
    limits, driver, count = rules.limits, rules.driver, len(batch.driver_ends)

    def limit(value: float | None) -> float:
        return math.inf if value is None else float(value)

    return Bounds(
        drivers=count,
        diaphragms=len(batch.diaphragms),
        ducts=len(batch.ducts),
        series=rules.wiring == "series",
        area=float(driver.area),
        force_factor=float(driver.force_factor),
        excursion=float(limits.excursion),
        power=float(limits.power),
        air_speed=limit(limits.air_speed),
        voltage=limit(limits.voltage),
        current=limit(limits.current),
        kind=("real", "apparent", "nominal").index(limits.power_kind),
        nominal=1.0 / (driver.nominal_resistance * (count if rules.wiring == "series" else 1.0 / count)),
        losses=rules.physics.duct_end_loss,
    )


def make_graph(batch: DesignBatch, rules: Rules) -> Graph:
    """Structure of a batch: joints, entries of the system and the schedules that eliminate them.

    Parameters
    ----------
    batch : DesignBatch
        Designs of one topology [record].
    rules : Rules
        Driver, limits and switches [record].

    Returns
    -------
    Graph
        The same for every batch of equal :func:`structure_key` [record].
    """
    ends, topology = ends_of(batch), batch.topology
    joints = np.zeros((len(ends), 10), dtype=np.int64)
    for row, (unknown, sign, place, kind, element, side, end) in zip(joints, ends, strict=True):
        row[:6] = unknown, sign, place, kind, element, side
        if isinstance(end, Patch):
            row[6:8] = wall_axis(end.wall), end.wall[1] == "+"
        if kind == 2:
            duct = batch.ducts[element]
            row[8:10] = duct.count == 1, duct.end_lengths[side] is not None
    places = [one[2] for one in ends]
    starts = np.cumsum([0, *(places.count(p) for p in (*range(topology.chambers), OUTSIDE))])
    first = len(batch.driver_ends) + len(batch.diaphragms)
    size = first + 2 * len(batch.ducts)
    pattern = {entry(a[0], b[0]) for a in ends for b in ends if a[2] == b[2]}
    pattern |= {(first + 2 * k, first + 2 * k + 1) for k in range(len(batch.ducts))}
    if rules.wiring == "series":
        count = len(batch.driver_ends)
        pattern |= {(i, j) for i in range(count) for j in range(i, count)}
    outer = schedule_of(frozenset(pattern), tuple(range(first)))
    inner = schedule_of(outer.left, tuple(range(first, size)))
    keys = set(pattern)
    for schedule in (outer, inner):
        keys |= {key for step in schedule.steps for _, _, key in step.targets}
    number = {key: at for at, key in enumerate(sorted(keys))}
    entries = np.full((size, size), -1, dtype=np.int64)
    for (i, j), at in number.items():
        entries[i, j] = entries[j, i] = at
    given = [not is_plain(duct) for duct in batch.ducts]
    ducts = [
        (duct.count, duct.slot_height is not None, 3 * sum(given[:k]) if given[k] else -1)
        for k, duct in enumerate(batch.ducts)
    ]
    rooms, pairs = [], 0
    for chamber in range(topology.chambers):
        count = int(starts[chamber + 1] - starts[chamber])
        plain = rules.physics.chambers == "room" and is_empty(batch, chamber)
        rooms.append(-1 if plain else pairs)
        pairs += 0 if plain else count * (count + 1) // 2
    duct_keys = sorted(key for key in keys if key[0] >= first)
    return Graph(
        joints=joints,
        starts=starts.astype(np.int64),
        entries=entries,
        ducts=np.array(ducts, dtype=np.int64).reshape(-1, 3),
        rooms=np.array(rooms, dtype=np.int64),
        outer=_steps(outer, number),
        inner=_steps(inner, number),
        kept=np.array([number[key] for key in duct_keys], dtype=np.int64),
        diagonals=np.array([number[i, i] for i in range(first, size)], dtype=np.int64),
        planes=len(number),
        bounds=_bounds(rules, batch),
    )
