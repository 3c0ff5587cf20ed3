"""Outside, drive and levels of a batch, compiled: what :class:`models.score.Judge` asks for.

Designs are taken in blocks (:mod:`models.packing`), whose arrays stay in the cache.
"""

from __future__ import annotations

import math

import numpy as np

from models.fixed_point_kernel import drive_group
from models.jit import compiled, entry_point, log
from models.kernel_records import SIGN, UNKNOWN, Found, Graph, Scratch, Sizes, State, System, Tones

GROUP = 8
"""Columns (tones in a space) that are solved side by side."""

REFERENCE = 20e-6
_DECIBEL = 20.0 / math.log(10.0)


@compiled
def _add_outside(graph: Graph, impedance: np.ndarray, site: np.ndarray, extra: np.ndarray,
                 inertance: np.ndarray, omega: float, column: int, at: int,
                 planes: np.ndarray) -> None:  # fmt: skip
    """Impedances among the openings at one column, into lanes from ``at`` on."""
    lanes = site.shape[1]
    begin = graph.starts[graph.starts.size - 2]
    for a in range(site.shape[0]):
        one, sign_one = graph.joints[begin + a, UNKNOWN], graph.joints[begin + a, SIGN]
        for b in range(a, site.shape[0]):
            two, sign_two = graph.joints[begin + b, UNKNOWN], graph.joints[begin + b, SIGN]
            e = graph.entries[one, two]
            sign = float(sign_one * sign_two) * (2.0 if a != b and one == two else 1.0)
            for lane in range(lanes):
                z = impedance[site[a, lane], site[b, lane], column]
                planes[e, 0, at + lane] += sign * z.real
                planes[e, 1, at + lane] += sign * z.imag
        e = graph.entries[one, one]
        for lane in range(lanes):
            planes[e, 1, at + lane] += omega * (extra[a, lane] - inertance[site[a, lane], column])


@compiled
def _room_for(graph: Graph, n: int) -> System:
    bounds, unknowns = graph.bounds, graph.entries.shape[0]
    ends = 2 * bounds.ducts
    return System(
        np.empty((graph.planes, 2, n)), np.empty((unknowns, 2, n)), np.empty(n), np.empty((2, n)),
        np.empty((bounds.diaphragms, n)), np.empty((bounds.diaphragms, n)), np.empty((ends, n)),
        np.empty((ends, n)), np.empty(n),
    )  # fmt: skip


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
    lanes = planes.shape[4]
    bounds = graph.bounds
    n, count = sizes.sides.shape[0], tones.omega.size
    columns = count * tones.spaces
    unknowns, first, ends = graph.entries.shape[0], bounds.drivers + bounds.diaphragms, 2 * bounds.ducts
    outer_begin = graph.starts[graph.starts.size - 2]
    mouths = graph.starts[graph.starts.size - 1] - outer_begin
    site = np.empty((mouths, lanes), np.int64)
    wide = GROUP * lanes
    system, other = _room_for(graph, wide), _room_for(graph, wide)
    planes_now, right, omega, coil, passive, reach, area, loss, fixed = system
    scratch = Scratch(np.empty((graph.planes, 2, wide)), np.empty((unknowns, 2, wide)), np.empty((2, wide)))
    flows, size, voltage = np.empty((unknowns, 2, wide)), np.empty((unknowns, wide)), np.empty(wide)
    current, permitted = np.empty((2, wide)), np.empty((6, wide))
    state = State(flows, size, current, permitted, voltage)
    speeds, settled = np.empty((ends, wide)), np.empty(wide)
    pressure = np.empty((2, wide))
    use_fixed = sizes.voltage.shape[0] > 0
    for start in range(begin_at, end_at, lanes):
        block = (start - begin_at) // lanes
        for a in range(mouths):
            for lane in range(lanes):
                site[a, lane] = sizes.site[outer_begin + a, min(start + lane, n - 1)]
        for group in range(GROUP):
            for lane in range(lanes):
                d, at = min(start + lane, n - 1), group * lanes + lane
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
                t, at = column % count, group * lanes
                for e in range(graph.planes):
                    for part in range(2):
                        for lane in range(lanes):
                            planes_now[e, part, at + lane] = planes[block, e, part, t, lane]
                for i in range(unknowns):
                    for part in range(2):
                        for lane in range(lanes):
                            right[i, part, at + lane] = tones.source[part, t] if i < bounds.drivers else 0.0
                for lane in range(lanes):
                    omega[at + lane] = tones.omega[t]
                    coil[0, at + lane], coil[1, at + lane] = tones.coil[0, t], tones.coil[1, t]
                    fixed[at + lane] = sizes.voltage[min(start + lane, n - 1), column] if use_fixed else 0.0
                _add_outside(
                    graph, impedance, site, extra[block], inertance, tones.omega[t], column, at, planes_now
                )
            drive_group(graph, system, other, use_fixed, scratch, state, speeds, settled)
            for at in range(wide):
                pressure[0, at], pressure[1, at] = 0.0, 0.0
            for group in range(min(GROUP, columns - begin)):
                for a in range(mouths):
                    sign = float(graph.joints[outer_begin + a, SIGN])
                    unknown = graph.joints[outer_begin + a, UNKNOWN]
                    for lane in range(lanes):
                        at = group * lanes + lane
                        per_flow = transfer[site[a, lane], begin + group]
                        re, im = sign * flows[unknown, 0, at], sign * flows[unknown, 1, at]
                        pressure[0, at] += per_flow.real * re - per_flow.imag * im
                        pressure[1, at] += per_flow.real * im + per_flow.imag * re
            for at in range(wide):
                re, im = pressure[0, at], pressure[1, at]
                pressure[0, at] = _DECIBEL * log(math.sqrt(re * re + im * im) * voltage[at] / REFERENCE)
            for group in range(min(GROUP, columns - begin)):
                column = begin + group
                for lane in range(min(lanes, n - start)):
                    d, at = start + lane, group * lanes + lane
                    volts = voltage[at]
                    found.level_db[d, column] = pressure[0, at]
                    found.voltage[d, column] = volts
                    found.current[d, column] = complex(current[0, at] * volts, current[1, at] * volts)
                    found.settled[d, column] = settled[at] == 1.0
                    for i in range(bounds.drivers):
                        found.excursion[d, column, i] = size[i, at] * volts
                    for i in range(bounds.diaphragms):
                        found.diaphragm_excursion[d, column, i] = size[bounds.drivers + i, at] * volts
                    for i in range(bounds.ducts):
                        fastest = max(size[first + 2 * i, at], size[first + 2 * i + 1, at])
                        found.air_speed[d, column, i] = fastest * volts
                    for k in range(6):
                        found.permitted[d, column, k] = permitted[k, at]
