"""Assembly of :mod:`models.network`, compiled: near fields, ducts and rooms of a block of designs."""

from __future__ import annotations

import math

import numpy as np

from models.duct_kernel import duct_impedance, end_lengths
from models.jit import compiled, entry_point
from models.kernel_records import (
    AXIS,
    BY_HAND,
    ELEMENT,
    HIGH,
    KIND,
    SIDE,
    SIGN,
    UNKNOWN,
    YIELDS,
    Graph,
    Sizes,
    Tones,
)
from models.lanes import WIDTH, load
from models.near_field_kernel import near_block
from models.near_field_modes_kernel import first_axis, longest, second_axis
from models.room_kernel import along_line, line_impedance, patch_waves, room_medium
from models.rooms import NEAREST


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
    lanes = near.shape[1]
    first = graph.bounds.drivers + graph.bounds.diaphragms
    column = np.empty((5, lanes))
    s, f, g, z = np.empty(lanes), np.empty((2, lanes)), np.empty((2, lanes)), np.empty((6, lanes))
    last = sizes.sides.shape[0] - 1
    for k in range(graph.ducts.shape[0]):
        count, slot, given = graph.ducts[k]
        for c in range(5):
            _load(sizes.ducts, k, c, start, column[c])
        a, b = first + 2 * k, first + 2 * k + 1
        for side in range(2):
            for lane in range(lanes):
                end_area[2 * k + side, lane] = column[side, lane]
            end_lengths(
                column[side], column[2], column[3], count, slot == 1, near[2 * k + side], patch[2 * k + side]
            )
        for t in range(tones.omega.size):
            if given < 0:
                duct_impedance(
                    tones.omega[t], column[0], column[2], column[3], count, slot == 1, tones.lossy, tones.air,
                    s, f, g, z,
                )  # fmt: skip
                for lane in range(lanes):
                    z[4, lane], z[5, lane] = z[0, lane], z[1, lane]
            else:
                for part in range(3):
                    for lane in range(lanes):
                        value = sizes.given_ducts[given + part, min(start + lane, last), t]
                        z[2 * part, lane], z[2 * part + 1, lane] = value.real, value.imag
            for part in range(2):
                for lane in range(lanes):
                    planes[graph.entries[a, a], part, t, lane] += z[part, lane]
                    planes[graph.entries[a, b], part, t, lane] -= z[2 + part, lane]
                    planes[graph.entries[b, b], part, t, lane] += z[4 + part, lane]


@compiled
def _add_moving(graph: Graph, tones: Tones, sizes: Sizes, start: int, planes: np.ndarray) -> None:
    """Impedances of drivers and diaphragms."""
    lanes = planes.shape[3]
    drivers = graph.bounds.drivers
    for i in range(drivers):
        for j in range(i, drivers if graph.bounds.series else i + 1):
            row = 0 if i == j else 1
            for part in range(2):
                for t in range(tones.omega.size):
                    for lane in range(lanes):
                        planes[graph.entries[i, j], part, t, lane] += tones.driver[row, part, t]
    column = np.empty((5, lanes))
    for k in range(graph.bounds.diaphragms):
        for c in range(5):
            _load(sizes.diaphragms, k, c, start, column[c])
        e = graph.entries[drivers + k, drivers + k]
        for t in range(tones.omega.size):
            w = tones.omega[t]
            for lane in range(lanes):
                mass, give = column[1, lane], column[2, lane]
                over = 1.0 / (column[0, lane] * column[0, lane])
                planes[e, 0, t, lane] += over * math.sqrt(mass / give) / column[3, lane]
                planes[e, 1, t, lane] += over * (w * mass - 1.0 / (w * give))


@compiled
def _end(graph: Graph, tones: Tones, sizes: Sizes, start: int, joint: int, near: np.ndarray,
         patch: np.ndarray, end_area: np.ndarray, out: np.ndarray) -> None:  # fmt: skip
    """Near-field length of the real end, of its patch, and area of a joint, rows of ``out``."""
    lanes = out.shape[1]
    kind, element, side = graph.joints[joint, KIND], graph.joints[joint, ELEMENT], graph.joints[joint, SIDE]
    last = sizes.sides.shape[0] - 1
    if kind == 2:
        row = 2 * element + side
        for lane in range(lanes):
            out[0, lane], out[1, lane], out[2, lane] = near[row, lane], patch[row, lane], end_area[row, lane]
    else:
        for lane in range(lanes):
            area = graph.bounds.area
            if kind == 1:
                area = sizes.diaphragms[element, 0, min(start + lane, last)]
            size = math.sqrt(area)
            out[0, lane], out[1, lane], out[2, lane] = tones.disc * size, tones.square * size, area
    if graph.joints[joint, BY_HAND]:
        for lane in range(lanes):
            out[0, lane] = sizes.by_hand[joint, min(start + lane, last)]


@compiled
def _load_room(graph: Graph, sizes: Sizes, start: int, chamber: int, sides: np.ndarray, line: np.ndarray,
               centre: np.ndarray, half: np.ndarray) -> None:  # fmt: skip
    """Sides and line of a block of chambers, places and sizes of their patches."""
    lanes = line.size
    begin, last = graph.starts[chamber], sizes.sides.shape[0] - 1
    for lane in range(lanes):
        d = min(start + lane, last)
        for axis in range(3):
            sides[axis, lane] = sizes.sides[d, chamber, axis]
        line[lane] = longest(sides[0, lane], sides[1, lane], sides[2, lane])
    for a in range(centre.shape[0]):
        for column in range(2):
            for lane in range(lanes):
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
    sums : ndarray, shape (n_blocks, n_chambers, 3, n_patches, n_patches, n_lanes)
        M, N and P among the patches of each chamber, written in place [mixed].
    """
    lanes = sums.shape[5]
    sides, line = np.empty((3, WIDTH)), np.empty(WIDTH)
    for chamber in range(sizes.sides.shape[1]):
        if graph.rooms[chamber] >= 0:
            continue
        first, count = graph.starts[chamber], graph.starts[chamber + 1] - graph.starts[chamber]
        centre, half = np.empty((count, 2, WIDTH)), np.empty((count, 2, WIDTH))
        axes, highs, yields = np.empty(count, np.int64), np.empty(count, np.bool_), np.empty(count, np.bool_)
        for a in range(count):
            axes[a], highs[a] = graph.joints[first + a, AXIS], graph.joints[first + a, HIGH] == 1
            yields[a] = graph.joints[first + a, YIELDS] == 1
        for start in range(begin, end, WIDTH):
            _load_room(graph, sizes, start, chamber, sides, line, centre, half)
            block, place = (start - begin) // lanes, (start - begin) % lanes
            near_block(
                sides, load(line, 0), axes, highs, centre, half, yields, sums[block, chamber], place
            )  # fmt: skip


@compiled
def _add_room(graph: Graph, tones: Tones, sizes: Sizes, start: int, chamber: int, sums: np.ndarray,
              planes: np.ndarray, near: np.ndarray, patch: np.ndarray,
              end_area: np.ndarray) -> None:  # fmt: skip
    """Impedances among the joints of one chamber."""
    lanes = planes.shape[3]
    begin, count = graph.starts[chamber], graph.starts[chamber + 1] - graph.starts[chamber]
    last = sizes.sides.shape[0] - 1
    sides, volume, line = np.empty((3, lanes)), np.empty(lanes), np.empty(lanes)
    centre, half = np.empty((count, 2, lanes)), np.empty((count, 2, lanes))
    x, h, ends = np.empty((count, lanes)), np.empty((count, lanes)), np.empty(count, np.int64)
    wave, waves, z = np.empty((9, lanes)), np.empty((count, 10, lanes)), np.empty((2, lanes))
    rest, end, lowest = np.empty((count, lanes)), np.empty((3, lanes)), np.empty(lanes)
    _load_room(graph, sizes, start, chamber, sides, line, centre, half)
    for lane in range(lanes):
        s0, s1, s2 = sides[0, lane], sides[1, lane], sides[2, lane]
        volume[lane] = s0 * s1 * s2
        lowest[lane] = (math.pi / max(min(s0, s1), min(max(s0, s1), s2))) ** 2
    for a in range(count):
        axis, by_hand = graph.joints[begin + a, AXIS], graph.joints[begin + a, BY_HAND] == 1
        if graph.joints[begin + a, KIND] == 0 and graph.joints[begin + a, SIDE] == 1:
            for lane in range(lanes):
                volume[lane] -= tones.displaced
        _end(graph, tones, sizes, start, begin + a, near, patch, end_area, end)
        u, v = first_axis(axis), second_axis(axis)
        for lane in range(lanes):
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
                    for lane in range(lanes):
                        fourth = square * square / (1.0 - min(square / lowest[lane], NEAREST))
                        own = (
                            sums[0, a, b, lane] + square * sums[1, a, b, lane] + fourth * sums[2, a, b, lane]
                        )
                        z[1, lane] += w * tones.air[0] * own
                else:
                    for lane in range(lanes):
                        value = sizes.given_rooms[pair, min(start + lane, last), t]
                        z[0, lane], z[1, lane] = value.real, value.imag
                    pair += 1
                e = graph.entries[one, two]
                sign = float(sign_one * sign_two) * (2.0 if a != b and one == two else 1.0)
                for part in range(2):
                    for lane in range(lanes):
                        planes[e, part, t, lane] += sign * z[part, lane]
            for lane in range(lanes):
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
    planes : ndarray, shape (n_blocks, n_planes, 2, n_tones, n_lanes)
        Real and imaginary parts of the system, written in place [Pa s/m3].
    end_area : ndarray, shape (n_blocks, 2 n_ducts, n_lanes)
        Cross-sections of duct ends, written in place [m2].
    extra : ndarray, shape (n_blocks, n_mouths, n_lanes)
        Inertance of the near field of each end outside, written in place [kg/m4].
    """
    lanes = planes.shape[4]
    outer_begin = graph.starts[graph.starts.size - 2]
    near, patch = np.empty((end_area.shape[1], lanes)), np.empty((end_area.shape[1], lanes))
    lengths = np.empty((3, lanes))
    for start in range(begin, end, lanes):
        block = (start - begin) // lanes
        system, areas = planes[block], end_area[block]
        for e in range(system.shape[0]):
            for part in range(2):
                for t in range(system.shape[2]):
                    for lane in range(lanes):
                        system[e, part, t, lane] = 0.0
        _add_ducts(graph, tones, sizes, start, system, near, patch, areas)
        _add_moving(graph, tones, sizes, start, system)
        for chamber in range(sizes.sides.shape[1]):
            _add_room(graph, tones, sizes, start, chamber, sums[block, chamber], system, near, patch, areas)
        for a in range(extra.shape[1]):
            _end(graph, tones, sizes, start, outer_begin + a, near, patch, areas, lengths)
            counts = 1.0 if graph.joints[outer_begin + a, BY_HAND] == 1 or tones.radiation else 0.0
            for lane in range(lanes):
                extra[block, a, lane] = counts * tones.air[0] * lengths[0, lane] / lengths[2, lane]
