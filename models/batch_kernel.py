"""Evaluation of a batch, compiled: near fields, ducts, rooms, elimination, drive and levels, block by block.

What :func:`models.network.assemble`, :func:`models.drive.solve_drive` and :class:`models.score.Judge` do
with planes of a whole batch is done here for :data:`models.near_field_kernel.LANES` designs at a time, all
of whose arrays stay in the cache. :mod:`models.packing` fills the records below.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from models.drive_kernel import Bounds, Steps, drive_group
from models.duct_kernel import duct_impedance, end_lengths
from models.jit import compiled, entry_point, log
from models.near_field_kernel import LANES, first_axis, longest, near_block, second_axis
from models.room_kernel import NEAREST, along_line, line_impedance, patch_waves, room_medium

UNKNOWN, SIGN, PLACE, KIND, ELEMENT, SIDE, AXIS, HIGH, YIELDS, BY_HAND = range(10)
"""Columns of a joint."""

GROUP = 4
"""Columns (tones in a space) that are solved side by side."""

REFERENCE = 20e-6
_DECIBEL = 20.0 / math.log(10.0)


class Graph(NamedTuple):
    """Structure of a batch, the same for all its designs.

    Attributes
    ----------
    joints : ndarray of int, shape (n_joints, 10)
        Ends of elements, chamber after chamber, then outside; columns as above [1].
    starts : ndarray of int, shape (n_chambers + 2,)
        First joint of each chamber, of the outside, and the number of joints [1].
    entries : ndarray of int, shape (n_unknowns, n_unknowns)
        Plane of each pair of unknowns, -1 for none [1].
    ducts : ndarray of int, shape (n_ducts, 3)
        Tubes, 1 for a slot, first plane of impedances given from outside or -1 [1].
    rooms : ndarray of int, shape (n_chambers,)
        First plane of impedances given from outside, -1 for none [1].
    outer, inner : Steps
        Schedules [record].
    kept, diagonals : ndarray of int
        As in :func:`models.drive_kernel.drive_group` [1].
    planes : int
        Number of planes [1].
    bounds : Bounds
        Driver and limits [record].
    """

    joints: np.ndarray
    starts: np.ndarray
    entries: np.ndarray
    ducts: np.ndarray
    rooms: np.ndarray
    outer: Steps
    inner: Steps
    kept: np.ndarray
    diagonals: np.ndarray
    planes: int
    bounds: Bounds


class Tones(NamedTuple):
    """What depends on tone and season alone.

    Attributes
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    spaces : int
        Number of spaces [1].
    air : ndarray, shape (5,)
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].
    lossy, room, radiation : bool
        Wall losses, chambers as rooms, radiation [flag].
    leak : float
        Angular frequency of the chambers' leak corner [rad/s].
    driver : ndarray, shape (2, 2, n_tones)
        Impedance of a driver with and without its coupling, or of the coupling in series [Pa s/m3].
    source, coil : ndarray, shape (2, n_tones)
        Right side per volt, impedance of one coil [Pa/V], [ohm].
    disc, square : float
        Near-field lengths of a disc and a square over the root of their area [1].
    displaced : float
        Volume of a driver behind its face [m3].
    """

    omega: np.ndarray
    spaces: int
    air: np.ndarray
    lossy: bool
    room: bool
    radiation: bool
    leak: float
    driver: np.ndarray
    source: np.ndarray
    coil: np.ndarray
    disc: float
    square: float
    displaced: float


class Sizes(NamedTuple):
    """Columns of a batch.

    Attributes
    ----------
    sides : ndarray, shape (n_designs, n_chambers, 3)
        Inner sides [m].
    centre, half : ndarray, shape (n_joints, n_designs, 2)
        Centres and half sides of patches [m].
    site : ndarray of int, shape (n_joints, n_designs)
        Sites of mouths [1].
    ducts : ndarray, shape (n_ducts, 5, n_designs)
        Area, area at the second end, length, height of a slot, loss factor [mixed].
    by_hand : ndarray, shape (n_joints, n_designs)
        End corrections set by hand [m].
    diaphragms : ndarray, shape (n_diaphragms, 5, n_designs)
        Area, mass, compliance, quality factor, excursion limit [mixed].
    given_ducts : complex ndarray, shape (3 n_given, n_designs, n_tones)
        z11, z12, z22 of ducts not uniform [Pa s/m3].
    given_rooms : complex ndarray, shape (n_pairs, n_designs, n_tones)
        Impedances of chambers that are not plain rooms, pair after pair of joints [Pa s/m3].
    voltage : ndarray, shape (n_designs, n_columns)
        Given drive, or of no designs where the largest is sought [V].
    """

    sides: np.ndarray
    centre: np.ndarray
    half: np.ndarray
    site: np.ndarray
    ducts: np.ndarray
    by_hand: np.ndarray
    diaphragms: np.ndarray
    given_ducts: np.ndarray
    given_rooms: np.ndarray
    voltage: np.ndarray


class Found(NamedTuple):
    """Results, written in place; columns run over spaces, then tones.

    Attributes
    ----------
    level_db, voltage : ndarray, shape (n_designs, n_columns)
        Level [dB] and drive [V].
    current : complex ndarray, shape (n_designs, n_columns)
        Amplifier current [A].
    excursion, diaphragm_excursion, air_speed : ndarray, shape (n_designs, n_columns, n_elements)
        Peak values [m], [m/s].
    permitted : ndarray, shape (n_designs, n_columns, 6)
        Voltages of the limits [V].
    settled : ndarray of bool, shape (n_designs, n_columns)
        Whether the fixed point was found [flag].
    """

    level_db: np.ndarray
    voltage: np.ndarray
    current: np.ndarray
    excursion: np.ndarray
    diaphragm_excursion: np.ndarray
    air_speed: np.ndarray
    permitted: np.ndarray
    settled: np.ndarray


@compiled
def _load(source: np.ndarray, row: int, column: int, start: int, target: np.ndarray) -> None:
    """Copy a block of a column of sizes; the last design fills the block up."""
    last = source.shape[2] - 1
    for lane in range(target.size):
        target[lane] = source[row, column, min(start + lane, last)]


@compiled
def _add_ducts(graph: Graph, tones: Tones, sizes: Sizes, start: int, planes: np.ndarray,
               near: np.ndarray, patch: np.ndarray, end_area: np.ndarray) -> None:  # fmt: skip
    """Impedances of all ducts, and the near-field lengths of their ends by duct and side."""
    first = graph.bounds.drivers + graph.bounds.diaphragms
    column = np.empty((5, LANES))
    s, f, g, z = np.empty(LANES), np.empty((2, LANES)), np.empty((2, LANES)), np.empty((6, LANES))
    last = sizes.sides.shape[0] - 1
    for k in range(graph.ducts.shape[0]):
        count, slot, given = graph.ducts[k]
        for c in range(5):
            _load(sizes.ducts, k, c, start, column[c])
        a, b = first + 2 * k, first + 2 * k + 1
        for side in range(2):
            for lane in range(LANES):
                end_area[2 * k + side, lane] = column[side, lane]
            end_lengths(column[side], column[2], column[3], count, slot == 1, near[2 * k + side], patch[2 * k + side])
        for t in range(tones.omega.size):
            if given < 0:
                duct_impedance(
                    tones.omega[t], column[0], column[2], column[3], count, slot == 1, tones.lossy, tones.air,
                    s, f, g, z,
                )  # fmt: skip
                for lane in range(LANES):
                    z[4, lane], z[5, lane] = z[0, lane], z[1, lane]
            else:
                for part in range(3):
                    for lane in range(LANES):
                        value = sizes.given_ducts[given + part, min(start + lane, last), t]
                        z[2 * part, lane], z[2 * part + 1, lane] = value.real, value.imag
            for part in range(2):
                for lane in range(LANES):
                    planes[graph.entries[a, a], part, t, lane] += z[part, lane]
                    planes[graph.entries[a, b], part, t, lane] -= z[2 + part, lane]
                    planes[graph.entries[b, b], part, t, lane] += z[4 + part, lane]


@compiled
def _add_moving(graph: Graph, tones: Tones, sizes: Sizes, start: int, planes: np.ndarray) -> None:
    """Impedances of drivers and diaphragms."""
    drivers = graph.bounds.drivers
    for i in range(drivers):
        for j in range(i, drivers if graph.bounds.series else i + 1):
            row = 0 if i == j else 1
            for part in range(2):
                for t in range(tones.omega.size):
                    for lane in range(LANES):
                        planes[graph.entries[i, j], part, t, lane] += tones.driver[row, part, t]
    column = np.empty((5, LANES))
    for k in range(graph.bounds.diaphragms):
        for c in range(5):
            _load(sizes.diaphragms, k, c, start, column[c])
        e = graph.entries[drivers + k, drivers + k]
        for t in range(tones.omega.size):
            w = tones.omega[t]
            for lane in range(LANES):
                mass, give = column[1, lane], column[2, lane]
                over = 1.0 / (column[0, lane] * column[0, lane])
                planes[e, 0, t, lane] += over * math.sqrt(mass / give) / column[3, lane]
                planes[e, 1, t, lane] += over * (w * mass - 1.0 / (w * give))


@compiled
def _end(graph: Graph, tones: Tones, sizes: Sizes, start: int, joint: int, near: np.ndarray,
         patch: np.ndarray, end_area: np.ndarray, out: np.ndarray) -> None:  # fmt: skip
    """Near-field length of the real end, of its patch, and area of a joint, rows of ``out``."""
    kind, element, side = graph.joints[joint, KIND], graph.joints[joint, ELEMENT], graph.joints[joint, SIDE]
    last = sizes.sides.shape[0] - 1
    if kind == 2:
        row = 2 * element + side
        for lane in range(LANES):
            out[0, lane], out[1, lane], out[2, lane] = near[row, lane], patch[row, lane], end_area[row, lane]
    else:
        for lane in range(LANES):
            area = graph.bounds.area
            if kind == 1:
                area = sizes.diaphragms[element, 0, min(start + lane, last)]
            size = math.sqrt(area)
            out[0, lane], out[1, lane], out[2, lane] = tones.disc * size, tones.square * size, area
    if graph.joints[joint, BY_HAND]:
        for lane in range(LANES):
            out[0, lane] = sizes.by_hand[joint, min(start + lane, last)]


@compiled
def _load_room(graph: Graph, sizes: Sizes, start: int, chamber: int, sides: np.ndarray, line: np.ndarray,
               centre: np.ndarray, half: np.ndarray) -> None:  # fmt: skip
    """Sides and line of a block of chambers, places and sizes of their patches."""
    begin, last = graph.starts[chamber], sizes.sides.shape[0] - 1
    for lane in range(LANES):
        d = min(start + lane, last)
        for axis in range(3):
            sides[axis, lane] = sizes.sides[d, chamber, axis]
        line[lane] = longest(sides[0, lane], sides[1, lane], sides[2, lane])
    for a in range(centre.shape[0]):
        for column in range(2):
            for lane in range(LANES):
                d = min(start + lane, last)
                centre[a, column, lane] = sizes.centre[begin + a, d, column]
                half[a, column, lane] = sizes.half[begin + a, d, column]


@entry_point
def near_fields(graph: Graph, sizes: Sizes, begin: int, end: int, sums: np.ndarray) -> None:
    """Near fields of all plain chambers of some designs.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    sizes : Sizes
        Designs [record].
    begin, end : int
        First design, a multiple of the block, and the one behind the last [1].
    sums : ndarray, shape (n_blocks, n_chambers, 3, n_patches, n_patches, LANES)
        M, N and P among the patches of each chamber, written in place [mixed].
    """
    sides, line = np.empty((3, LANES)), np.empty(LANES, np.int64)
    for chamber in range(sizes.sides.shape[1]):
        if graph.rooms[chamber] >= 0:
            continue
        first, count = graph.starts[chamber], graph.starts[chamber + 1] - graph.starts[chamber]
        centre, half = np.empty((count, 2, LANES)), np.empty((count, 2, LANES))
        axes, highs, yields = np.empty(count, np.int64), np.empty(count, np.bool_), np.empty(count, np.bool_)
        for a in range(count):
            axes[a], highs[a] = graph.joints[first + a, AXIS], graph.joints[first + a, HIGH] == 1
            yields[a] = graph.joints[first + a, YIELDS] == 1
        for start in range(begin, end, LANES):
            _load_room(graph, sizes, start, chamber, sides, line, centre, half)
            near_block(sides, line, axes, highs, centre, half, yields, sums[(start - begin) // LANES, chamber])


@compiled
def _add_room(graph: Graph, tones: Tones, sizes: Sizes, start: int, chamber: int, sums: np.ndarray,
              planes: np.ndarray, near: np.ndarray, patch: np.ndarray, end_area: np.ndarray) -> None:  # fmt: skip
    """Impedances among the joints of one chamber."""
    begin, count = graph.starts[chamber], graph.starts[chamber + 1] - graph.starts[chamber]
    last = sizes.sides.shape[0] - 1
    sides, volume, line = np.empty((3, LANES)), np.empty(LANES), np.empty(LANES, np.int64)
    centre, half = np.empty((count, 2, LANES)), np.empty((count, 2, LANES))
    x, h, ends = np.empty((count, LANES)), np.empty((count, LANES)), np.empty(count, np.int64)
    wave, waves, z = np.empty((9, LANES)), np.empty((count, 10, LANES)), np.empty((2, LANES))
    rest, end, lowest = np.empty((count, LANES)), np.empty((3, LANES)), np.empty(LANES)
    _load_room(graph, sizes, start, chamber, sides, line, centre, half)
    for lane in range(LANES):
        s0, s1, s2 = sides[0, lane], sides[1, lane], sides[2, lane]
        volume[lane] = s0 * s1 * s2
        lowest[lane] = (math.pi / max(min(s0, s1), min(max(s0, s1), s2))) ** 2
    for a in range(count):
        axis, by_hand = graph.joints[begin + a, AXIS], graph.joints[begin + a, BY_HAND] == 1
        if graph.joints[begin + a, KIND] == 0 and graph.joints[begin + a, SIDE] == 1:
            for lane in range(LANES):
                volume[lane] -= tones.displaced
        _end(graph, tones, sizes, start, begin + a, near, patch, end_area, end)
        u, v = first_axis(axis), second_axis(axis)
        for lane in range(LANES):
            length = end[0, lane]
            if tones.room:
                share = 4.0 * half[a, 0, lane] * half[a, 1, lane] / (sides[u, lane] * sides[v, lane])
                length -= end[1, lane]
                length = length if by_hand else length * max(1.0 - share, 0.0)
            elif not by_hand and not tones.radiation:
                length = 0.0
            rest[a, lane] = tones.air[0] * length / end[2, lane]
        ends[a] = along_line(sides, line, axis, graph.joints[begin + a, HIGH] == 1, centre, half, a, x, h)
    given = graph.rooms[chamber]
    for t in range(tones.omega.size):
        w = tones.omega[t]
        square = (w / tones.air[1]) ** 2
        if given < 0:
            room_medium(w, sides, volume, line, tones.air, tones.lossy, tones.leak, wave)
            for a in range(count):
                patch_waves(wave, a, ends[a], x, h, waves)
        pair = given
        for a in range(count):
            one, sign_one = graph.joints[begin + a, UNKNOWN], graph.joints[begin + a, SIGN]
            for b in range(a, count):
                two, sign_two = graph.joints[begin + b, UNKNOWN], graph.joints[begin + b, SIGN]
                if given < 0:
                    line_impedance(wave, waves, x, h, a, b, z)
                    for lane in range(LANES):
                        fourth = square * square / (1.0 - min(square / lowest[lane], NEAREST))
                        own = sums[0, a, b, lane] + square * sums[1, a, b, lane] + fourth * sums[2, a, b, lane]
                        z[1, lane] += w * tones.air[0] * own
                else:
                    for lane in range(LANES):
                        value = sizes.given_rooms[pair, min(start + lane, last), t]
                        z[0, lane], z[1, lane] = value.real, value.imag
                    pair += 1
                e = graph.entries[one, two]
                sign = float(sign_one * sign_two) * (2.0 if a != b and one == two else 1.0)
                for part in range(2):
                    for lane in range(LANES):
                        planes[e, part, t, lane] += sign * z[part, lane]
            for lane in range(LANES):
                planes[graph.entries[one, one], 1, t, lane] += w * rest[a, lane]


@entry_point
def assemble_planes(
    graph: Graph, tones: Tones, sizes: Sizes, begin: int, end: int, sums: np.ndarray, planes: np.ndarray,
    end_area: np.ndarray, extra: np.ndarray,
) -> None:  # fmt: skip
    """Everything but the outside.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    tones : Tones
        Season [record].
    sizes : Sizes
        Designs [record].
    begin, end : int
        First design, a multiple of the block, and the one behind the last [1].
    sums : ndarray
        From :func:`near_fields` [mixed].
    planes : ndarray, shape (n_blocks, n_planes, 2, n_tones, LANES)
        Real and imaginary parts of the system, written in place [Pa s/m3].
    end_area : ndarray, shape (n_blocks, 2 n_ducts, LANES)
        Cross-sections of duct ends, written in place [m2].
    extra : ndarray, shape (n_blocks, n_mouths, LANES)
        Inertance of the near field of each end outside, written in place [kg/m4].
    """
    outer_begin = graph.starts[graph.starts.size - 2]
    near, patch = np.empty((end_area.shape[1], LANES)), np.empty((end_area.shape[1], LANES))
    lengths = np.empty((3, LANES))
    for start in range(begin, end, LANES):
        block = (start - begin) // LANES
        system, areas = planes[block], end_area[block]
        for e in range(system.shape[0]):
            for part in range(2):
                for t in range(system.shape[2]):
                    for lane in range(LANES):
                        system[e, part, t, lane] = 0.0
        _add_ducts(graph, tones, sizes, start, system, near, patch, areas)
        _add_moving(graph, tones, sizes, start, system)
        for chamber in range(sizes.sides.shape[1]):
            _add_room(graph, tones, sizes, start, chamber, sums[block, chamber], system, near, patch, areas)
        for a in range(extra.shape[1]):
            _end(graph, tones, sizes, start, outer_begin + a, near, patch, areas, lengths)
            counts = 1.0 if graph.joints[outer_begin + a, BY_HAND] == 1 or tones.radiation else 0.0
            for lane in range(LANES):
                extra[block, a, lane] = counts * tones.air[0] * lengths[0, lane] / lengths[2, lane]


@compiled
def _add_outside(graph: Graph, impedance: np.ndarray, site: np.ndarray, extra: np.ndarray,
                 inertance: np.ndarray, omega: float, column: int, at: int, planes: np.ndarray) -> None:  # fmt: skip
    """Impedances among the openings at one column, into lanes from ``at`` on."""
    begin = graph.starts[graph.starts.size - 2]
    for a in range(site.shape[0]):
        one, sign_one = graph.joints[begin + a, UNKNOWN], graph.joints[begin + a, SIGN]
        for b in range(a, site.shape[0]):
            two, sign_two = graph.joints[begin + b, UNKNOWN], graph.joints[begin + b, SIGN]
            e = graph.entries[one, two]
            sign = float(sign_one * sign_two) * (2.0 if a != b and one == two else 1.0)
            for lane in range(LANES):
                z = impedance[site[a, lane], site[b, lane], column]
                planes[e, 0, at + lane] += sign * z.real
                planes[e, 1, at + lane] += sign * z.imag
        e = graph.entries[one, one]
        for lane in range(LANES):
            planes[e, 1, at + lane] += omega * (extra[a, lane] - inertance[site[a, lane], column])


@entry_point
def drive_planes(
    graph: Graph, tones: Tones, sizes: Sizes, begin_at: int, end_at: int, planes: np.ndarray,
    end_area: np.ndarray, extra: np.ndarray, impedance: np.ndarray, transfer: np.ndarray,
    inertance: np.ndarray, found: Found,
) -> None:  # fmt: skip
    """Close the networks with the outside and drive them.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    tones : Tones
        Season [record].
    sizes : Sizes
        Designs [record].
    begin_at, end_at : int
        First design, a multiple of the block, and the one behind the last [1].
    planes, end_area, extra : ndarray
        From :func:`assemble_planes` [mixed].
    impedance : complex ndarray, shape (n_sites, n_sites, n_columns)
        Outside impedances among sites [Pa s/m3].
    transfer : complex ndarray, shape (n_sites, n_columns)
        Pressure at the microphone per flow [Pa s/m3].
    inertance : ndarray, shape (n_sites, n_columns)
        Near-field inertance already inside the self terms [kg/m4].
    found : Found
        Results, written in place [record].
    """
    bounds = graph.bounds
    n, count = sizes.sides.shape[0], tones.omega.size
    columns = count * tones.spaces
    unknowns, first, ends = graph.entries.shape[0], bounds.drivers + bounds.diaphragms, 2 * bounds.ducts
    outer_begin = graph.starts[graph.starts.size - 2]
    mouths = graph.starts[graph.starts.size - 1] - outer_begin
    site = np.empty((mouths, LANES), np.int64)
    wide = GROUP * LANES
    system, work = np.empty((graph.planes, 2, wide)), np.empty((graph.planes, 2, wide))
    right, right_work = np.empty((unknowns, 2, wide)), np.empty((unknowns, 2, wide))
    flows, size = np.empty((unknowns, 2, wide)), np.empty((unknowns, wide))
    omega, coil, voltage = np.empty(wide), np.empty((2, wide)), np.empty(wide)
    passive, reach = np.empty((bounds.diaphragms, wide)), np.empty((bounds.diaphragms, wide))
    area, loss, speeds = np.empty((ends, wide)), np.empty((ends, wide)), np.empty((ends, wide))
    fixed, current, permitted = np.empty(wide), np.empty((2, wide)), np.empty((6, wide))
    factor, logs, done = np.empty((2, wide)), np.empty((4, ends, wide)), np.empty((2, wide))
    pressure = np.empty((2, wide))
    use_fixed = sizes.voltage.shape[0] > 0
    for start in range(begin_at, end_at, LANES):
        block = (start - begin_at) // LANES
        for a in range(mouths):
            for lane in range(LANES):
                site[a, lane] = sizes.site[outer_begin + a, min(start + lane, n - 1)]
        for group in range(GROUP):
            for lane in range(LANES):
                d, at = min(start + lane, n - 1), group * LANES + lane
                for k in range(bounds.diaphragms):
                    passive[k, at], reach[k, at] = sizes.diaphragms[k, 0, d], sizes.diaphragms[k, 4, d]
                for k in range(ends):
                    area[k, at] = end_area[block, k, lane]
                    # half of K at either end, by its fundamental (models.ducts.end_resistance_per_speed)
                    share = 4.0 / (3.0 * math.pi) * tones.air[0] * 0.5 * sizes.ducts[k // 2, 4, d]
                    loss[k, at] = share / end_area[block, k, lane] if bounds.losses else 0.0
        for begin in range(0, columns, GROUP):
            for group in range(GROUP):
                column = min(begin + group, columns - 1)
                t, at = column % count, group * LANES
                for e in range(graph.planes):
                    for part in range(2):
                        for lane in range(LANES):
                            system[e, part, at + lane] = planes[block, e, part, t, lane]
                for i in range(unknowns):
                    for part in range(2):
                        for lane in range(LANES):
                            right[i, part, at + lane] = tones.source[part, t] if i < bounds.drivers else 0.0
                for lane in range(LANES):
                    omega[at + lane] = tones.omega[t]
                    coil[0, at + lane], coil[1, at + lane] = tones.coil[0, t], tones.coil[1, t]
                    fixed[at + lane] = sizes.voltage[min(start + lane, n - 1), column] if use_fixed else 0.0
                _add_outside(graph, impedance, site, extra[block], inertance, tones.omega[t], column, at, system)
            drive_group(
                graph.outer, graph.inner, graph.kept, graph.diagonals, bounds, system, right, work, right_work,
                flows, omega, coil, passive, reach, area, loss, fixed, use_fixed, size, current, permitted,
                voltage, factor, logs, done, speeds,
            )  # fmt: skip
            for at in range(wide):
                pressure[0, at], pressure[1, at] = 0.0, 0.0
            for group in range(min(GROUP, columns - begin)):
                for a in range(mouths):
                    sign = float(graph.joints[outer_begin + a, SIGN])
                    unknown = graph.joints[outer_begin + a, UNKNOWN]
                    for lane in range(LANES):
                        at = group * LANES + lane
                        per_flow = transfer[site[a, lane], begin + group]
                        re, im = sign * flows[unknown, 0, at], sign * flows[unknown, 1, at]
                        pressure[0, at] += per_flow.real * re - per_flow.imag * im
                        pressure[1, at] += per_flow.real * im + per_flow.imag * re
            for at in range(wide):
                re, im = pressure[0, at], pressure[1, at]
                pressure[0, at] = _DECIBEL * log(math.sqrt(re * re + im * im) * voltage[at] / REFERENCE)
            for group in range(min(GROUP, columns - begin)):
                column = begin + group
                for lane in range(min(LANES, n - start)):
                    d, at = start + lane, group * LANES + lane
                    volts = voltage[at]
                    found.level_db[d, column] = pressure[0, at]
                    found.voltage[d, column] = volts
                    found.current[d, column] = complex(current[0, at] * volts, current[1, at] * volts)
                    found.settled[d, column] = done[0, at] == 1.0
                    for i in range(bounds.drivers):
                        found.excursion[d, column, i] = size[i, at] * volts
                    for i in range(bounds.diaphragms):
                        found.diaphragm_excursion[d, column, i] = size[bounds.drivers + i, at] * volts
                    for i in range(bounds.ducts):
                        fastest = max(size[first + 2 * i, at], size[first + 2 * i + 1, at])
                        found.air_speed[d, column, i] = fastest * volts
                    for k in range(6):
                        found.permitted[d, column, k] = permitted[k, at]
