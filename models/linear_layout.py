"""Where the elements of a graph are, and what depends on the season alone, for levels with slopes."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from models.design import DesignBatch
from models.kernel_records import AXIS, FEW, HIGH, SIGN, UNKNOWN, Graph
from models.network import coil_planes, driver_planes
from models.rooms import line_axis
from models.rules import Rules
from models.structure import is_empty, is_plain, make_graph

MODE, DUCTS, DIAGONAL, ENDS, REACH = range(5)
"""What ``Layout.firsts`` holds."""

OMEGA, VISCOUS, THERMAL, LEAK, STILL, BACK, SOURCE = 0, 1, 3, 5, 6, 8, 10
"""First rows of ``Medium.planes``; after the sources come the drivers' impedances."""


class Layout(NamedTuple):
    """Where a graph's elements are, the same for all batches of one structure.

    Attributes
    ----------
    graph : Graph
        Joints, entries and limits [record].
    line : int
        Axis of every chamber's line [1].
    pairs : ndarray of int, shape (n_pairs, 6)
        Two unknowns, weight, chamber, and places of both patches among the chamber's, of every pair of
        patches in one chamber [1].
    columns : ndarray of int, shape (n_pairs, 8)
        Columns of both wall shares, volume, length, and both patches' centres and half widths [1].
    middle : ndarray of int, shape (n_pairs,)
        Column of the middle side of the pair's chamber [1].
    rooms : int
        Column of the first chamber's first side [1].
    patches : int
        Column of the first patch's first centre [1].
    ducts, diagonal, ends, reach : int
        First columns of ducts (area, length, height), of diagonal terms (inertance, resistance, stiffness
        of every unknown), of duct ends (area, loss) and of diaphragms (area, excursion limit) [1].
    ways : ndarray of int, shape (n_ducts, 4)
        Tubes, 1 for a slot, first and second unknown; no tubes where the impedance is given [1].
    places : ndarray of int, shape (n_elements, 3)
        Two unknowns and weight of every element: pairs of patches, z11, z12 and z22 of every duct, and the
        diagonal terms [1].
    mode : int
        Chambers as rooms (2), lines (1) or lumps (0) [1].
    firsts : ndarray of int, shape (5,)
        ``mode`` and first columns again, for compiled code [1].
    by : ndarray of int, shape (n_elements, 12)
        Columns that the slopes of an element are with respect to: of a pair of patches ``columns``,
        ``middle`` and three sums; of ducts and diagonal terms three. Sums, by pairs, come after all other
        columns, then real and imaginary parts of given ducts [1].
    """

    graph: Graph
    line: int
    pairs: np.ndarray
    columns: np.ndarray
    middle: np.ndarray
    rooms: int
    patches: int
    ducts: int
    diagonal: int
    ends: int
    reach: int
    ways: np.ndarray
    places: np.ndarray
    mode: int
    firsts: np.ndarray
    by: np.ndarray


class Medium(NamedTuple):
    """What depends on tone and season alone.

    Attributes
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    spaces : int
        Number of spaces [1].
    air : ndarray, shape (5,)
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].
    viscous, thermal : complex ndarray, shape (n_tones,)
        What wall shares add to density and compressibility [mixed].
    leak : ndarray, shape (n_tones,)
        What the leak adds to the compressibility, times -j [1].
    drivers : complex ndarray, shape (n_tones, n_unknowns, n_unknowns)
        Impedances of the drivers [Pa s/m3].
    source : complex ndarray, shape (n_tones, n_unknowns)
        Right side per volt [Pa/V].
    still, back : complex ndarray, shape (n_tones,)
        Current at one volt with all cones held, and what a driver's flow adds to it [1/ohm], [A s/m3].
    lossy : bool
        Whether walls take energy [flag].
    planes : ndarray, shape (n_groups, n_rows, FEW)
        All of these that are by tone, for every column (tones of one space after the other) in groups for
        compiled code, real and imaginary parts in turn; the last column fills the last group [mixed].
    """

    omega: np.ndarray
    spaces: int
    air: np.ndarray
    viscous: np.ndarray
    thermal: np.ndarray
    leak: np.ndarray
    drivers: np.ndarray
    source: np.ndarray
    still: np.ndarray
    back: np.ndarray
    lossy: bool
    planes: np.ndarray


def make_layout(batch: DesignBatch, rules: Rules) -> Layout:
    """Layout of a batch.

    Parameters
    ----------
    batch : DesignBatch
        Designs of one topology [record].
    rules : Rules
        Driver, limits and switches [record].

    Returns
    -------
    Layout
        The same for every batch of equal :func:`models.structure.structure_key` [record].

    Raises
    ------
    ValueError
        A chamber has a lining or a leak of its own, or the chambers' longest sides differ in axis: no
        search space makes such designs.
    """
    chambers = batch.topology.chambers
    lines = np.unique(line_axis(batch.sides.reshape(-1, 3)))
    if lines.size != 1 or not all(is_empty(batch, chamber) for chamber in range(chambers)):
        raise ValueError("slopes are for empty chambers whose longest sides lie along one axis")
    graph, line = make_graph(batch, rules), int(lines[0])
    inner = int(graph.starts[chambers])
    rooms, shares = 1, 1 + 3 * chambers
    patches = shares + 4 * chambers
    size, first = graph.entries.shape[0], graph.bounds.drivers + graph.bounds.diaphragms
    ducts = patches + 4 * inner
    diagonal = ducts + 3 * len(batch.ducts)

    def along(joint: int, chamber: int) -> tuple[int, int]:
        axis = graph.joints[joint, AXIS]
        if axis == line:
            return (rooms + 3 * chamber + line if graph.joints[joint, HIGH] else 0), 0
        column = [a for a in range(3) if a != axis].index(line)
        return patches + 4 * joint + column, patches + 4 * joint + 2 + column

    pairs, columns, middle = [], [], []
    for chamber in range(chambers):
        begin, end = graph.starts[chamber : chamber + 2]
        for a in range(begin, end):
            for b in range(a, end):
                one, two = graph.joints[a], graph.joints[b]
                double = 2 if a != b and one[UNKNOWN] == two[UNKNOWN] else 1
                weight = one[SIGN] * two[SIGN] * double
                pairs.append((one[UNKNOWN], two[UNKNOWN], weight, chamber, a - begin, b - begin))
                own = [shares + row * chambers + chamber for row in range(4)]
                length = rooms + 3 * chamber + line
                columns.append((*own[:3], length, *along(a, chamber), *along(b, chamber)))
                middle.append(own[3])
    ways = [
        (duct.count if is_plain(duct) else 0, duct.slot_height is not None, first + 2 * k, first + 2 * k + 1)
        for k, duct in enumerate(batch.ducts)
    ]
    places = [pair[:3] for pair in pairs]
    for _, _, a, b in ways:
        places += [(a, a, 1), (a, b, -1), (b, b, 1)]
    places += [(i, i, 1) for i in range(size)]
    ends, mode = diagonal + 3 * size, ("lump", "line", "room").index(rules.physics.chambers)
    reach = ends + 4 * len(batch.ducts)
    sums = reach + 2 * len(batch.diaphragms)
    given = sums + 3 * len(pairs)
    by = [(*row, middle[k], *range(sums + 3 * k, sums + 3 * k + 3)) for k, row in enumerate(columns)]
    for k, way in enumerate(ways):
        for part in range(3):
            at, many = (ducts + 3 * k, 3) if way[0] else (given + 6 * k + 2 * part, 2)
            by.append((*range(at, at + many), *[0] * (12 - many)))
    by += [(*range(diagonal + 3 * i, diagonal + 3 * i + 3), *[0] * 9) for i in range(size)]
    return Layout(
        graph=graph,
        line=line,
        pairs=np.array(pairs, dtype=np.int64).reshape(-1, 6),
        columns=np.array(columns, dtype=np.int64).reshape(-1, 8),
        middle=np.array(middle, dtype=np.int64),
        rooms=rooms,
        patches=patches,
        ducts=ducts,
        diagonal=diagonal,
        ends=ends,
        reach=reach,
        ways=np.array(ways, dtype=np.int64).reshape(-1, 4),
        places=np.array(places, dtype=np.int64),
        mode=mode,
        firsts=np.array([mode, ducts, diagonal, ends, reach], dtype=np.int64),
        by=np.array(by, dtype=np.int64).reshape(-1, 12),
    )


def make_medium(rules: Rules, omega: np.ndarray, layout: Layout) -> Medium:
    """Constants of a season for one structure.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    layout : Layout
        The structure [record].

    Returns
    -------
    Medium
        The constants [record].
    """
    air, physics, count = rules.air, rules.physics, layout.graph.bounds.drivers
    size = layout.graph.entries.shape[0]
    own, coupling, source = (plane[0] for plane in driver_planes(rules, count, omega))
    drivers = np.zeros((omega.size, size, size), dtype=complex)
    if rules.wiring == "series":
        drivers[:, :count, :count] = coupling[:, None, None]
    drivers[:, np.arange(count), np.arange(count)] = own[:, None]
    right = np.zeros((omega.size, size), dtype=complex)
    right[:, :count] = source[:, None]
    coil = coil_planes(rules, omega)[0] * (count if rules.wiring == "series" else 1)
    lossy = float(physics.wall_losses)
    viscous = lossy * (1.0 - 1j) * np.sqrt(2.0 * air.kinematic_viscosity / omega)
    thermal = lossy * (air.heat_ratio - 1.0) * (1.0 - 1j) * np.sqrt(2.0 * air.thermal_diffusivity / omega)
    leak = 2.0 * math.pi * physics.leak_corner_hz / omega
    still = (1.0 if rules.wiring == "series" else float(count)) / coil
    back = -rules.driver.force_factor / rules.driver.area / coil
    rows = [omega]
    for one in (viscous, thermal):
        rows += [one.real, one.imag]
    rows.append(leak)
    for one in (still, back, *right.T, *drivers.reshape(omega.size, -1).T):
        rows += [one.real, one.imag]
    columns = omega.size * len(rules.spaces)
    at = np.minimum(np.arange(-(-columns // FEW) * FEW), columns - 1) % omega.size
    planes = np.array(rows)[:, at].reshape(len(rows), -1, FEW).transpose(1, 0, 2)
    return Medium(
        omega=np.asarray(omega, dtype=float),
        spaces=len(rules.spaces),
        air=np.array(
            [air.density, air.sound_speed, air.kinematic_viscosity, air.heat_ratio, math.sqrt(air.prandtl)]
        ),
        viscous=viscous,
        thermal=thermal,
        leak=leak,
        drivers=drivers,
        source=right,
        still=still,
        back=back,
        lossy=physics.wall_losses,
        planes=np.ascontiguousarray(planes),
    )
