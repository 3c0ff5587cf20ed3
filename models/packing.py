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
from models.lanes import WIDTH
from models.network import driver_planes, duct_planes
from models.outside import OutsideTable
from models.radiation import disc_length, rectangle_length
from models.rooms import room_impedance
from models.rules import Rules
from models.structure import ends_of, is_plain

CHUNK = 512
"""Designs whose planes are in the cache at once."""


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
        z = np.array(planes) if planes else np.empty((0, *shape), dtype=complex)
        return np.stack([z.real, z.imag], axis=1).swapaxes(2, 3)

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
    wide = -(-n // WIDTH) * WIDTH

    def columns(*shape: int, dtype: Any = float) -> np.ndarray:
        return np.zeros((*shape, wide), dtype=dtype)

    sides, voltages = columns(batch.sides.shape[1], 3), columns(0 if voltage is None else voltage.shape[1])
    centre, half, site = columns(len(ends), 2), columns(len(ends), 2), columns(len(ends), dtype=np.int64)
    by_hand, ducts = columns(len(ends)), columns(len(batch.ducts), 5)
    diaphragms = columns(len(batch.diaphragms), 5)
    given = _given(batch, rules, omega, graph)
    given_ducts, given_rooms = (columns(*part.shape[:-1]) for part in given)
    given_ducts[..., :n], given_rooms[..., :n] = given
    sides[..., :n] = batch.sides.transpose(1, 2, 0)
    if voltage is not None:
        voltages[:, :n] = voltage.T
    for row, one in enumerate(ends):
        if isinstance(one[6], Mouth):
            site[row, :n] = one[6].site
        else:
            centre[row, :, :n], half[row, :, :n] = one[6].centre.T, one[6].half.T
        if graph.joints[row, 9]:
            by_hand[row, :n] = batch.ducts[one[4]].end_lengths[one[5]]
    for k, duct in enumerate(batch.ducts):
        height = 0.0 if duct.slot_height is None else duct.slot_height
        for row, value in enumerate((duct.area, far_area(duct), duct.length, height, duct.loss_factor)):
            ducts[k, row, :n] = value
    for k, d in enumerate(batch.diaphragms):
        for row, value in enumerate((d.area, d.mass, d.compliance, d.q, d.excursion_limit)):
            diaphragms[k, row, :n] = value
    all_columns = sides, centre, half, site, ducts, by_hand, diaphragms, given_ducts, given_rooms, voltages
    for some in all_columns if n < wide else ():
        some[..., n:] = some[..., n - 1 : n]
    return Sizes(n, *all_columns)


class Room(NamedTuple):
    """Results of a batch, and room for what its chunks pass from step to step.

    Attributes
    ----------
    found : Found
        Results [record].
    sums, planes, ends, extra : ndarray
        As the steps describe them [mixed].
    """

    found: Found
    sums: np.ndarray
    planes: np.ndarray
    ends: np.ndarray
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
    n, columns = sizes.designs, tones.omega.size * tones.spaces
    bounds, blocks = graph.bounds, -(-min(n, CHUNK) // WIDTH)
    most = int(np.max(np.diff(graph.starts)))
    widths = {"level_db": 1, "voltage": 1, "current": 2, "excursion": bounds.drivers}
    widths |= {"diaphragm_excursion": bounds.diaphragms, "air_speed": bounds.ducts, "permitted": 6}
    # one piece, which the allocator keeps between calls; several of this size went back to the system
    memory, at, found = np.empty(n * columns * sum(widths.values())), 0, {}
    for name, width in widths.items():
        part = memory[at : at + n * columns * width]
        at += part.size
        flat = name in ("level_db", "voltage", "current")
        part = part.view(complex) if name == "current" else part
        found[name] = part.reshape((n, columns) if flat else (n, columns, width))
    settled = np.empty((n, columns), dtype=bool)
    return Room(
        found=Found(**found, settled=settled),
        sums=np.empty((blocks, sizes.sides.shape[0], 3, most, most, WIDTH)),
        planes=np.empty((blocks, graph.planes, 2, tones.omega.size, WIDTH)),
        ends=np.empty((blocks, 2 * bounds.ducts, 3, WIDTH)),
        extra=np.empty((blocks, int(graph.starts[-1] - graph.starts[-2]), WIDTH)),
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
        First design, a multiple of the width of vectors, and the one behind the last [1].

    Returns
    -------
    tuple
        Pairs of function and arguments [any].
    """
    found, sums, planes, ends, extra = room
    outside = (table.impedance, table.transfer, table.self_inertance)
    return (
        (near_fields, (graph, sizes, begin, end, sums)),
        (assemble_planes, (graph, tones, sizes, begin, end, sums, planes, ends, extra)),
        (drive_planes, (graph, tones, sizes, begin, end, planes, ends, extra, *outside, found)),
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
    room = make_room(graph, tones, sizes)
    for begin in range(0, sizes.designs, CHUNK):
        end = min(begin + CHUNK, sizes.designs)
        for function, arguments in steps(graph, tones, sizes, table, room, begin, end):
            function(*arguments)
    return room.found
