"""From a batch of designs to the records of the compiled back end, and back to responses."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from models.assembly_kernel import assemble_planes, near_fields
from models.batch_kernel import drive_planes
from models.design import DesignBatch, Mouth, Patch
from models.joints import far_area
from models.kernel_records import Found, Graph, Sizes, Tones
from models.network import driver_planes, duct_planes
from models.outside import OutsideTable
from models.radiation import disc_length, rectangle_length
from models.rooms import room_impedance
from models.rules import Rules
from models.structure import ends_of, is_plain

CHUNK = 256
"""Designs whose planes are in the cache at once, rounded down to whole blocks."""

WIDEST = 64
"""Most designs side by side."""


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
    own, coupling, source = (plane[0] for plane in driver_planes(rules, drivers, omega))
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
        coil=pair(1.0 / rules.driver.coil_impedance(omega)),
        disc=float(disc_length(np.array(1.0))),
        square=float(rectangle_length(np.array(1.0))),
        displaced=float(rules.driver.displaced_volume),
    )


def _given(
    batch: DesignBatch, rules: Rules, omega: np.ndarray, graph: Graph
) -> tuple[np.ndarray, np.ndarray]:
    """Impedances of ducts and chambers that the compiled code does not know."""
    shape = (batch.size, omega.size)
    ducts = [
        np.broadcast_to(z, shape)
        for duct in batch.ducts
        if not is_plain(duct)
        for z in duct_planes(duct, rules, omega)
    ]
    rooms: list[np.ndarray] = []
    if np.any(graph.rooms >= 0):
        ends = ends_of(batch)
        for chamber in np.nonzero(graph.rooms >= 0)[0]:
            here = [one for one in ends if one[2] == chamber]
            patches = [one[6] for one in here if isinstance(one[6], Patch)]
            sides = batch.sides[:, chamber]
            behind = sum(rear == chamber for _, rear in batch.topology.drivers)
            volume = np.prod(sides, axis=1) - behind * rules.driver.displaced_volume
            yields = [k for k, one in enumerate(here) if one[3] == 2 and batch.ducts[one[4]].count == 1]
            lining, leak = batch.lining_of(int(chamber)), batch.leak_of(int(chamber))
            z = room_impedance(omega, sides, volume, patches, rules.air, rules.physics, yields, lining, leak)
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
    n, ends = batch.size, ends_of(batch)
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


def block_size(designs: int) -> int:
    """Designs side by side, so that equal blocks of whole vectors hold a batch."""
    blocks = max(1, -(-designs // WIDEST))
    return 16 * max(1, -(-designs // (16 * blocks)))


class Room(NamedTuple):
    """Results of a batch, and room for what its chunks pass from step to step.

    Attributes
    ----------
    found : Found
        Results [record].
    chunk : int
        Designs that are taken at once [1].
    sums, planes, end_area, extra : ndarray
        As the steps describe them [mixed].
    """

    found: Found
    chunk: int
    sums: np.ndarray
    planes: np.ndarray
    end_area: np.ndarray
    extra: np.ndarray


def make_room(graph: Graph, tones: Tones, sizes: Sizes) -> Room:
    """Arrays for a batch of compiled code.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    tones : Tones
        Season [record].
    sizes : Sizes
        Designs [record].

    Returns
    -------
    Room
        Arrays, not set [record].
    """
    n, columns = sizes.sides.shape[0], tones.omega.size * tones.spaces
    bounds = graph.bounds
    lanes = block_size(n)
    chunk = max(1, CHUNK // lanes) * lanes
    blocks = -(-min(n, chunk) // lanes)
    most = int(np.max(np.diff(graph.starts)))
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
    return Room(
        found=found,
        chunk=chunk,
        sums=np.empty((blocks, sizes.sides.shape[1], 3, most, most, lanes)),
        planes=np.empty((blocks, graph.planes, 2, tones.omega.size, lanes)),
        end_area=np.empty((blocks, 2 * bounds.ducts, lanes)),
        extra=np.empty((blocks, int(graph.starts[-1] - graph.starts[-2]), lanes)),
    )


def steps(
    graph: Graph, tones: Tones, sizes: Sizes, table: OutsideTable, room: Room, begin: int, end: int
) -> tuple[tuple[Any, tuple[Any, ...]], ...]:
    """Compiled functions that evaluate some designs, in turn, and what each is called with.

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
    room : Room
        Arrays that are written in place [record].
    begin, end : int
        First design, a multiple of the block, and the one behind the last [1].

    Returns
    -------
    tuple
        Pairs of function and arguments [any].
    """
    found, _, sums, planes, end_area, extra = room
    outside = (table.impedance, table.transfer, table.self_inertance)
    return (
        (near_fields, (graph, sizes, begin, end, sums)),
        (assemble_planes, (graph, tones, sizes, begin, end, sums, planes, end_area, extra)),
        (drive_planes, (graph, tones, sizes, begin, end, planes, end_area, extra, *outside, found)),
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
    n, room = sizes.sides.shape[0], make_room(graph, tones, sizes)
    for begin in range(0, n, room.chunk):
        for function, arguments in steps(graph, tones, sizes, table, room, begin, min(begin + room.chunk, n)):
            function(*arguments)
    return room.found
