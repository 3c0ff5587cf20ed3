"""Assembly of :mod:`models.network`, compiled: near fields, ducts and rooms of designs side by side."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty, whole
from models.duct_kernel import duct_impedance, end_lengths
from models.jit import compiled, entry_point, inlined
from models.kernel_records import (
    AXIS,
    BY_HAND,
    ELEMENT,
    HIGH,
    KIND,
    SIDE,
    SIGN,
    UNKNOWN,
    Graph,
    Near,
    Room,
    Sizes,
    Tones,
)
from models.lanes import WIDTH, any_lane, choose, load, store
from models.near_field import MODES, MODES_SECOND, MODES_THIRD
from models.near_field_kernel import near_block
from models.near_field_modes_kernel import first_axis, longest, second_axis
from models.room_kernel import line_impedance, patch_waves, room_medium
from models.rooms import NEAREST


@inlined
def _add(planes: np.ndarray, e: int, t: int, re: float, im: float) -> None:
    """Add to an entry of the system at one tone."""
    store(planes, (e, 0, t), load(planes, (e, 0, t)) + re)
    store(planes, (e, 1, t), load(planes, (e, 1, t)) + im)


@compiled
def _add_ducts(graph: Graph, tones: Tones, sizes: Sizes, start: int, planes: np.ndarray,
               ends: np.ndarray) -> None:  # fmt: skip
    """Impedances of all ducts, and lengths and areas of their ends by duct and side, as :func:`_end`."""
    first = graph.bounds.drivers + graph.bounds.diaphragms
    for k in range(graph.ducts.shape[0]):
        count, slot, given = float(graph.ducts[k, 0]), graph.ducts[k, 1] == 1, graph.ducts[k, 2]
        area, length = load(sizes.ducts, (k, 0, start)), load(sizes.ducts, (k, 2, start))
        height = load(sizes.ducts, (k, 3, start))
        a, b = first + 2 * k, first + 2 * k + 1
        for side in range(2):
            section = load(sizes.ducts, (k, side, start))
            near, patch = end_lengths(section / count, length, height, slot)
            store(ends, (2 * k + side, 0), near)
            store(ends, (2 * k + side, 1), patch * math.sqrt(section))
            store(ends, (2 * k + side, 2), section)
        reach = 0.5 * height
        if not slot:
            reach = math.sqrt(area / (count * math.pi))
        for t in range(tones.omega.size):
            if given < 0:
                z11_re, z11_im, z12_re, z12_im = duct_impedance(
                    tones.omega[t], area, length, reach, slot, tones.lossy, tones.air
                )
                z22_re, z22_im = z11_re, z11_im
            else:
                z = sizes.given_ducts
                z11_re, z11_im = load(z, (given, 0, t, start)), load(z, (given, 1, t, start))
                z12_re, z12_im = load(z, (given + 1, 0, t, start)), load(z, (given + 1, 1, t, start))
                z22_re, z22_im = load(z, (given + 2, 0, t, start)), load(z, (given + 2, 1, t, start))
            _add(planes, graph.entries[a, a], t, z11_re, z11_im)
            _add(planes, graph.entries[a, b], t, -z12_re, -z12_im)
            _add(planes, graph.entries[b, b], t, z22_re, z22_im)


@compiled
def _add_moving(graph: Graph, tones: Tones, sizes: Sizes, start: int, planes: np.ndarray) -> None:
    """Impedances of drivers and diaphragms."""
    drivers = graph.bounds.drivers
    zero = 0.0 * load(sizes.sides, (0, 0, start))
    for t in range(tones.omega.size):
        w = tones.omega[t]
        for i in range(drivers):
            for j in range(i, drivers if graph.bounds.series else i + 1):
                row = 0 if i == j else 1
                own_re, own_im = tones.driver[row, 0, t], tones.driver[row, 1, t]
                _add(planes, graph.entries[i, j], t, zero + own_re, zero + own_im)
        for k in range(graph.bounds.diaphragms):
            area, mass = load(sizes.diaphragms, (k, 0, start)), load(sizes.diaphragms, (k, 1, start))
            give, q = load(sizes.diaphragms, (k, 2, start)), load(sizes.diaphragms, (k, 3, start))
            over = 1.0 / (area * area)
            e = graph.entries[drivers + k, drivers + k]
            _add(planes, e, t, over * math.sqrt(mass / give) / q, over * (w * mass - 1.0 / (w * give)))


@compiled
def _end(graph: Graph, tones: Tones, sizes: Sizes, start: int, joint: int,
         ends: np.ndarray) -> tuple[float, float, float]:  # fmt: skip
    """Near-field length of the real end of a joint, of its patch, and its area."""
    kind, element = graph.joints[joint, KIND], graph.joints[joint, ELEMENT]
    if kind == 2:
        row = 2 * element + graph.joints[joint, SIDE]
        length, patch, area = load(ends, (row, 0)), load(ends, (row, 1)), load(ends, (row, 2))
    else:
        area = graph.bounds.area + 0.0 * load(sizes.sides, (0, 0, start))
        if kind == 1:
            area = load(sizes.diaphragms, (element, 0, start))
        size = math.sqrt(area)
        length, patch = tones.disc * size, tones.square * size
    if graph.joints[joint, BY_HAND]:
        length = load(sizes.by_hand, (joint, start))
    return length, patch, area


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
        First design, and the one behind the last [1].
    sums : ndarray, shape (n_blocks, n_chambers, 3, n_patches, n_patches, WIDTH)
        M, N and P among the patches of each chamber, written in place [mixed].
    """
    for chamber in range(sizes.sides.shape[0]):
        count = graph.starts[chamber + 1] - graph.starts[chamber]
        near = Near(
            empty((count, 3, MODES, WIDTH)),
            empty((count, 2, MODES, WIDTH)),
            empty((3, MODES, WIDTH)),
            empty((3, MODES, WIDTH)),
            empty((3, MODES, WIDTH)),
            whole((MODES,)),
            whole((MODES,)),
            empty((3, 3, WIDTH)),
            empty((3, WIDTH)),
            empty((count, 2, count, WIDTH)),
            empty((count, 3, WIDTH)),
            empty((3, MODES_SECOND, WIDTH)),
            whole((3, MODES_SECOND)),
            empty((MODES_SECOND, MODES_SECOND, MODES_SECOND, WIDTH)),
            empty((MODES_THIRD, MODES_THIRD, MODES_THIRD, WIDTH)),
        )
        if graph.rooms[chamber] < 0:
            for start in range(begin, end, WIDTH):
                near_block(graph, sizes, chamber, start, near, sums[(start - begin) // WIDTH, chamber])


@compiled
def _place_patch(graph: Graph, sizes: Sizes, start: int, chamber: int, i: int, line: float,
                 room: Room) -> None:  # fmt: skip
    """Centre and half width of a patch along the line, and at which end of it the patch lies."""
    joint = graph.starts[chamber] + i
    axis, high = graph.joints[joint, AXIS], graph.joints[joint, HIGH] == 1
    at_end = line == float(axis)
    first = line == float(first_axis(axis))
    x = choose(first, load(sizes.centre, (joint, 0, start)), load(sizes.centre, (joint, 1, start)))
    h = choose(first, load(sizes.half, (joint, 0, start)), load(sizes.half, (joint, 1, start)))
    there = load(sizes.sides, (chamber, axis, start))
    if not high:
        there = 0.0 * there
    store(room.x, i, choose(at_end, there, x))
    store(room.h, i, choose(at_end, 0.0, h))
    room.end[i] = 0
    if not any_lane(~at_end):
        room.end[i] = 2 if high else 1


@compiled
def _add_room(graph: Graph, tones: Tones, sizes: Sizes, start: int, chamber: int, sums: np.ndarray,
              planes: np.ndarray, ends: np.ndarray, room: Room) -> None:  # fmt: skip
    """Impedances among the joints of one chamber."""
    begin, count = graph.starts[chamber], graph.starts[chamber + 1] - graph.starts[chamber]
    s0, s1 = load(sizes.sides, (chamber, 0, start)), load(sizes.sides, (chamber, 1, start))
    s2 = load(sizes.sides, (chamber, 2, start))
    volume, line = s0 * s1 * s2, longest(s0, s1, s2)
    over = max(min(s0, s1), min(max(s0, s1), s2)) / math.pi
    over = over * over  # inverse square of the lowest wavenumber across the line
    for a in range(count):
        joint = begin + a
        axis, by_hand = graph.joints[joint, AXIS], graph.joints[joint, BY_HAND] == 1
        if graph.joints[joint, KIND] == 0 and graph.joints[joint, SIDE] == 1:
            volume = volume - tones.displaced
        length, patch, area = _end(graph, tones, sizes, start, joint, ends)
        if tones.room:
            length = length - patch
            if not by_hand:
                u, v = first_axis(axis), second_axis(axis)
                share = 4.0 * load(sizes.half, (joint, 0, start)) * load(sizes.half, (joint, 1, start))
                wall = load(sizes.sides, (chamber, u, start)) * load(sizes.sides, (chamber, v, start))
                length = length * max(1.0 - share / wall, 0.0)
        elif not by_hand and not tones.radiation:
            length = 0.0 * length
        store(room.rest, a, tones.air[0] * length / area)
        _place_patch(graph, sizes, start, chamber, a, line, room)
    given = graph.rooms[chamber]
    for t in range(tones.omega.size):
        w = tones.omega[t]
        square = (w / tones.air[1]) * (w / tones.air[1])
        if given < 0:
            room_medium(w, (s0, s1, s2), volume, line, tones.air, tones.lossy, tones.leak, room.wave)
            for a in range(count):
                patch_waves(room.wave, a, room.end[a], load(room.x, a), load(room.h, a), room.waves)
        fourth = square * square / (1.0 - min(square * over, NEAREST))
        pair = given
        for a in range(count):
            one, sign_one = graph.joints[begin + a, UNKNOWN], graph.joints[begin + a, SIGN]
            for b in range(a, count):
                two, sign_two = graph.joints[begin + b, UNKNOWN], graph.joints[begin + b, SIGN]
                if given < 0:
                    re, im = line_impedance(room.wave, room.waves, room.x, room.h, a, b)
                    own = load(sums, (0, a, b)) + square * load(sums, (1, a, b))
                    im += w * tones.air[0] * (own + fourth * load(sums, (2, a, b)))
                else:
                    re = load(sizes.given_rooms, (pair, 0, t, start))
                    im = load(sizes.given_rooms, (pair, 1, t, start))
                    pair += 1
                sign = float(sign_one * sign_two) * (2.0 if a != b and one == two else 1.0)
                _add(planes, graph.entries[one, two], t, sign * re, sign * im)
            rest = w * load(room.rest, a)
            _add(planes, graph.entries[one, one], t, 0.0 * rest, rest)


@entry_point
def assemble_planes(
    graph: Graph, tones: Tones, sizes: Sizes, begin: int, end: int, sums: np.ndarray, planes: np.ndarray,
    ends: np.ndarray, extra: np.ndarray,
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
        First design, and the one behind the last [1].
    sums : ndarray
        From :func:`near_fields` [mixed].
    planes : ndarray, shape (n_blocks, n_planes, 2, n_tones, WIDTH)
        Real and imaginary parts of the system, written in place [Pa s/m3].
    ends : ndarray, shape (n_blocks, 2 n_ducts, 3, WIDTH)
        Lengths of the near field of duct ends and of their patches, and cross-sections, written in place
        [mixed].
    extra : ndarray, shape (n_blocks, n_mouths, WIDTH)
        Inertance of the near field of each end outside, written in place [kg/m4].
    """
    outer, most = graph.starts[graph.starts.size - 2], sums.shape[3]
    room = Room(
        empty((1, 9, WIDTH)), empty((most, 10, WIDTH)), empty((most, WIDTH)),
        empty((most, WIDTH)), empty((most, WIDTH)), whole((most,)),
    )  # fmt: skip
    for start in range(begin, end, WIDTH):
        block = (start - begin) // WIDTH
        system, sections = planes[block], ends[block]
        for plane in range(system.shape[0]):
            for part in range(2):
                for tone in range(system.shape[2]):
                    store(system, (plane, part, tone, 0), 0.0)
        _add_ducts(graph, tones, sizes, start, system, sections)
        _add_moving(graph, tones, sizes, start, system)
        for chamber in range(sizes.sides.shape[0]):
            _add_room(graph, tones, sizes, start, chamber, sums[block, chamber], system, sections, room)
        for a in range(extra.shape[1]):
            length, _, area = _end(graph, tones, sizes, start, outer + a, sections)
            if graph.joints[outer + a, BY_HAND] == 0 and not tones.radiation:
                length = 0.0 * length
            store(extra, (block, a, 0), tones.air[0] * length / area)
