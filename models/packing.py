"""From a batch of designs to the records of the compiled back end, and back to responses."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from models.batch_kernel import Found, Graph, Sizes, Tones, assemble_planes, drive_planes, near_fields
from models.design import DesignBatch, Ducts, End, Mouth, Patch
from models.drive_kernel import Bounds, Steps
from models.elimination import Key, Schedule, entry, schedule_of
from models.envelope import wall_axis
from models.joints import far_area
from models.near_field_kernel import LANES
from models.network import driver_planes, duct_planes
from models.outside import OutsideTable
from models.radiation import disc_length, rectangle_length
from models.rooms import room_impedance
from models.rules import Rules
from models.topology import OUTSIDE

CHUNK = 512
"""Designs whose planes are in the cache at once; a multiple of the block."""

EndList = list[tuple[int, int, int, int, int, int, End]]
"""Unknown, sign, place, kind, element, side and end of every joint."""


def _ends(batch: DesignBatch) -> EndList:
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


def _is_plain(duct: Ducts) -> bool:
    """Whether a duct is uniform, straight and empty, so that the compiled code knows it."""
    return duct.area_end is None and not duct.bends and duct.lining is None


def structure_key(batch: DesignBatch) -> tuple[Any, ...]:
    """What two batches share that the same :class:`~models.batch_kernel.Graph` describes."""
    walls = tuple(
        end.wall if isinstance(end, Patch) else ""
        for ends in (*batch.driver_ends, *(d.ends for d in batch.diaphragms), *(d.ends for d in batch.ducts))
        for end in ends
    )
    ducts = tuple(
        (d.count, d.slot_height is None, _is_plain(d), d.end_lengths[0] is None, d.end_lengths[1] is None)
        for d in batch.ducts
    )
    lined = tuple(batch.lining_of(c) is not None for c in range(batch.topology.chambers))
    return batch.topology, walls, ducts, lined


def _steps(schedule: Schedule, places: dict[Key, int]) -> Steps:
    """A schedule as arrays."""
    steps, others, targets = [], [], []
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
    ends, topology = _ends(batch), batch.topology
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
    given = [not _is_plain(duct) for duct in batch.ducts]
    ducts = [
        (duct.count, duct.slot_height is not None, 3 * sum(given[:k]) if given[k] else -1)
        for k, duct in enumerate(batch.ducts)
    ]
    rooms, pairs = [], 0
    for chamber in range(topology.chambers):
        count = int(starts[chamber + 1] - starts[chamber])
        plain = rules.physics.chambers == "room" and batch.lining_of(chamber) is None
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


def make_tones(rules: Rules, omega: np.ndarray, drivers: int) -> Tones:
    """What depends on tone and season alone, for a number of drivers.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    drivers : int
        Number of drivers [1].

    Returns
    -------
    Tones
        Constants of the compiled code [record].
    """

    def pair(values: np.ndarray) -> np.ndarray:
        return np.array([values.real, values.imag])

    air, physics = rules.air, rules.physics
    own, coupling, source = driver_planes(rules, drivers, omega)
    heat = math.sqrt(air.prandtl)
    return Tones(
        omega=np.asarray(omega, dtype=float),
        spaces=len(rules.spaces),
        air=np.array([air.density, air.sound_speed, air.kinematic_viscosity, air.heat_ratio, heat]),
        lossy=physics.wall_losses,
        room=physics.chambers == "room",
        radiation=physics.radiation,
        leak=2.0 * math.pi * physics.leak_corner_hz,
        driver=np.array([pair(own), pair(coupling)]),
        source=pair(source),
        coil=pair(rules.driver.coil_impedance(omega)),
        disc=float(disc_length(np.array(1.0))),
        square=float(rectangle_length(np.array(1.0))),
        displaced=float(rules.driver.displaced_volume),
    )


def _given(batch: DesignBatch, rules: Rules, omega: np.ndarray, graph: Graph) -> tuple[np.ndarray, np.ndarray]:
    """Impedances of ducts and chambers that the compiled code does not know."""
    shape = (batch.size, omega.size)
    ducts = [
        np.broadcast_to(z, shape)
        for duct in batch.ducts
        if not _is_plain(duct)
        for z in duct_planes(duct, rules, omega)
    ]
    rooms: list[np.ndarray] = []
    if np.any(graph.rooms >= 0):
        ends = _ends(batch)
        for chamber in np.nonzero(graph.rooms >= 0)[0]:
            here = [one for one in ends if one[2] == chamber]
            patches = [one[6] for one in here if isinstance(one[6], Patch)]
            sides = batch.sides[:, chamber]
            behind = sum(rear == chamber for _, rear in batch.topology.drivers)
            volume = np.prod(sides, axis=1) - behind * rules.driver.displaced_volume
            yields = [k for k, one in enumerate(here) if one[3] == 2 and batch.ducts[one[4]].count == 1]
            lining = batch.lining_of(int(chamber))
            z = room_impedance(omega, sides, volume, patches, rules.air, rules.physics, yields, lining)
            rooms += [z[a, b] for a in range(len(here)) for b in range(a, len(here))]

    def stacked(planes: list[np.ndarray]) -> np.ndarray:
        return np.array(planes) if planes else np.empty((0, *shape), dtype=complex)

    return stacked(ducts), stacked(rooms)


def make_sizes(
    batch: DesignBatch, rules: Rules, omega: np.ndarray, graph: Graph, voltage: np.ndarray | None
) -> Sizes:
    """Columns of a batch in the order of its structure.

    Parameters
    ----------
    batch : DesignBatch
        Designs [record].
    rules : Rules
        The season's rules [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    graph : Graph
        Their structure [record].
    voltage : ndarray, shape (n_designs, n_columns), or None
        Given drive [V].

    Returns
    -------
    Sizes
        Contiguous arrays [record].
    """
    n, ends = batch.size, _ends(batch)
    centre, half = np.zeros((len(ends), n, 2)), np.zeros((len(ends), n, 2))
    site = np.zeros((len(ends), n), dtype=np.int64)
    by_hand = np.zeros((len(ends), n))
    for row, one in enumerate(ends):
        if isinstance(one[6], Mouth):
            site[row] = one[6].site
        else:
            centre[row], half[row] = one[6].centre, one[6].half
        if graph.joints[row, 9]:
            by_hand[row] = batch.ducts[one[4]].end_lengths[one[5]]
    ducts = np.zeros((len(batch.ducts), 5, n))
    for k, duct in enumerate(batch.ducts):
        height = 0.0 if duct.slot_height is None else duct.slot_height
        for row, value in enumerate((duct.area, far_area(duct), duct.length, height, duct.loss_factor)):
            ducts[k, row] = value
    diaphragms = np.zeros((len(batch.diaphragms), 5, n))
    for k, one_diaphragm in enumerate(batch.diaphragms):
        d = one_diaphragm
        for row, value in enumerate((d.area, d.mass, d.compliance, d.q, d.excursion_limit)):
            diaphragms[k, row] = value
    given_ducts, given_rooms = _given(batch, rules, omega, graph)
    return Sizes(
        sides=np.ascontiguousarray(batch.sides, dtype=float),
        centre=centre,
        half=half,
        site=site,
        ducts=ducts,
        by_hand=by_hand,
        diaphragms=diaphragms,
        given_ducts=given_ducts,
        given_rooms=given_rooms,
        voltage=np.empty((0, 0)) if voltage is None else np.ascontiguousarray(voltage, dtype=float),
    )


def respond(graph: Graph, tones: Tones, sizes: Sizes, table: OutsideTable) -> Found:
    """Evaluate a batch by compiled code.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    tones : Tones
        Season [record].
    sizes : Sizes
        Designs [record].
    table : OutsideTable
        The outside at the batch's sites [record].

    Returns
    -------
    Found
        Results [record].
    """
    n, columns = sizes.sides.shape[0], tones.omega.size * tones.spaces
    bounds = graph.bounds
    found = Found(
        level_db=np.empty((n, columns)),
        voltage=np.empty((n, columns)),
        current=np.empty((n, columns), dtype=complex),
        excursion=np.empty((n, columns, bounds.drivers)),
        diaphragm_excursion=np.empty((n, columns, bounds.diaphragms)),
        air_speed=np.empty((n, columns, bounds.ducts)),
        permitted=np.empty((n, columns, 6)),
        settled=np.empty((n, columns), dtype=bool),
    )
    blocks = -(-min(n, CHUNK) // LANES)
    most = int(np.max(np.diff(graph.starts)))
    sums = np.empty((blocks, sizes.sides.shape[1], 3, most, most, LANES))
    planes = np.empty((blocks, graph.planes, 2, tones.omega.size, LANES))
    end_area = np.empty((blocks, 2 * bounds.ducts, LANES))
    extra = np.empty((blocks, int(graph.starts[-1] - graph.starts[-2]), LANES))
    for begin in range(0, n, CHUNK):
        end = min(begin + CHUNK, n)
        near_fields(graph, sizes, begin, end, sums)
        assemble_planes(graph, tones, sizes, begin, end, sums, planes, end_area, extra)
        drive_planes(
            graph, tones, sizes, begin, end, planes, end_area, extra,
            table.impedance, table.transfer, table.self_inertance, found,
        )  # fmt: skip
    return found
