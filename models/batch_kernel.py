"""Outside, drive and levels of a batch, compiled: what :class:`models.score.Judge` asks for."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty, whole
from models.drive_kernel import amplifier_current, eliminate, exceeded, square_size
from models.fixed_point_kernel import advance, make_pool, put_in
from models.jit import compiled, entry_point, log
from models.kernel_records import SIGN, UNKNOWN, Found, Graph, Rows, Sizes, Tones
from models.lanes import WIDTH, load, store

REFERENCE = 20e-6
_DECIBEL = 20.0 / math.log(10.0)


@compiled
def _make_rows(graph: Graph) -> Rows:
    unknowns = graph.entries.shape[0]
    scale = 2 * (graph.planes + unknowns)
    reach = scale + unknowns + 3
    loss = reach + graph.bounds.diaphragms
    return Rows(scale, scale + unknowns, reach - 1, reach, loss, loss + 2 * graph.bounds.ducts)


@compiled
def _describe_designs(graph: Graph, rows: Rows, sizes: Sizes, air: np.ndarray, start: int,
                      ends: np.ndarray, table: np.ndarray) -> None:  # fmt: skip
    """What of a table of systems depends on the designs alone."""
    bounds = graph.bounds
    for k in range(bounds.diaphragms):
        reach = load(sizes.diaphragms, (k, 4, start))
        store(table, rows.reach + k, 1.0 / (reach * reach))
    for k in range(2 * bounds.ducts):
        over = 1.0 / load(ends, (k, 2))
        # half of K at either end, by its fundamental (models.ducts.end_resistance_per_speed)
        share = 4.0 / (3.0 * math.pi) * air[0] * 0.5 * load(sizes.ducts, (k // 2, 4, start))
        store(table, rows.loss + k, share * over)
        store(table, rows.scale + bounds.drivers + bounds.diaphragms + k, 2.0 * over * over)


@compiled
def _describe_tone(graph: Graph, rows: Rows, tones: Tones, sizes: Sizes, start: int, column: int,
                   table: np.ndarray) -> None:  # fmt: skip
    """What of a table depends on the tone and the given drive, but for the matrix."""
    bounds, t = graph.bounds, column % tones.omega.size
    zero = 0.0 * load(sizes.sides, (0, 0, start))
    for i in range(bounds.drivers + bounds.diaphragms):
        area = zero + bounds.area
        if i >= bounds.drivers:
            area = load(sizes.diaphragms, (i - bounds.drivers, 0, start))
        moved = area * tones.omega[t]
        store(table, rows.scale + i, 2.0 / (moved * moved))
    store(table, rows.coil, zero + tones.coil[0, t])
    store(table, rows.coil + 1, zero + tones.coil[1, t])
    volts = zero
    if sizes.voltage.shape[0] > 0:
        volts = load(sizes.voltage, (column, start))
    store(table, rows.fixed, volts * volts)


@compiled
def _close(graph: Graph, tones: Tones, sizes: Sizes, start: int, planes: np.ndarray, extra: np.ndarray,
           impedance: np.ndarray, inertance: np.ndarray, column: int, table: np.ndarray) -> None:  # fmt: skip
    """Matrix and right side of a vector of designs at one tone in one space."""
    begin, t = graph.starts[graph.starts.size - 2], column % tones.omega.size
    for i in range(graph.entries.shape[0]):
        for part in range(2):
            right = tones.source[part, t] if i < graph.bounds.drivers else 0.0
            store(table, 2 * (graph.planes + i) + part, right + 0.0 * load(sizes.sides, (0, 0, start)))
    for e in range(graph.planes):
        for part in range(2):
            store(table, 2 * e + part, load(planes, (e, part, t)))
    for a in range(extra.shape[0]):
        one, sign_one = graph.joints[begin + a, UNKNOWN], graph.joints[begin + a, SIGN]
        e = 2 * graph.entries[one, one] + 1
        store(table, e, load(table, e) + tones.omega[t] * load(extra, a))
        for lane in range(WIDTH):
            table[e, lane] -= tones.omega[t] * inertance[sizes.site[begin + a, start + lane], column]
        for b in range(a, extra.shape[0]):
            two, sign_two = graph.joints[begin + b, UNKNOWN], graph.joints[begin + b, SIGN]
            e = 2 * graph.entries[one, two]
            sign = float(sign_one * sign_two) * (2.0 if a != b and one == two else 1.0)
            for lane in range(WIDTH):
                d = start + lane
                z = impedance[sizes.site[begin + a, d], sizes.site[begin + b, d], column]
                table[e, lane] += sign * z.real
                table[e + 1, lane] += sign * z.imag


@compiled
def _pressure(graph: Graph, sizes: Sizes, start: int, transfer: np.ndarray, column: int,
              flows: np.ndarray, out: np.ndarray) -> None:  # fmt: skip
    """Square of the pressure at the microphone at one volt, row 0 of ``out``."""
    begin = graph.starts[graph.starts.size - 2]
    for lane in range(WIDTH):
        re, im = 0.0, 0.0
        for a in range(graph.starts[graph.starts.size - 1] - begin):
            unknown, sign = graph.joints[begin + a, UNKNOWN], float(graph.joints[begin + a, SIGN])
            per_flow = transfer[sizes.site[begin + a, start + lane], column]
            q_re, q_im = sign * flows[2 * unknown, lane], sign * flows[2 * unknown + 1, lane]
            re += per_flow.real * q_re - per_flow.imag * q_im
            im += per_flow.real * q_im + per_flow.imag * q_re
        out[0, lane] = re * re + im * im


@compiled
def _write(
    graph: Graph, d: int, column: int, lane: int, out: np.ndarray, settled: bool, found: Found
) -> None:
    """Results of one design at one column."""
    bounds = graph.bounds
    first = bounds.drivers + bounds.diaphragms
    found.level_db[d, column], found.voltage[d, column] = out[0, lane], out[1, lane]
    found.current[d, column] = complex(out[2, lane], out[3, lane])
    found.settled[d, column] = settled
    for k in range(6):
        found.permitted[d, column, k] = out[4 + k, lane]
    for i in range(bounds.drivers):
        found.excursion[d, column, i] = out[10 + i, lane]
    for i in range(bounds.diaphragms):
        found.diaphragm_excursion[d, column, i] = out[10 + bounds.drivers + i, lane]
    for i in range(bounds.ducts):
        row = 10 + first + 2 * i
        found.air_speed[d, column, i] = max(out[row, lane], out[row + 1, lane])


@compiled
def _conclude(graph: Graph, rows: Rows, table: np.ndarray, use_fixed: bool, flows: np.ndarray,
              over: np.ndarray, out: np.ndarray) -> None:  # fmt: skip
    """Drive, level, current, permitted voltages and sizes of a vector of systems, rows of ``out``."""
    square = 1.0 / exceeded(graph.bounds, table, rows, flows, over)
    if use_fixed:
        square = load(table, (rows.fixed, 0))
    volts = math.sqrt(square)
    store(out, 0, 0.5 * _DECIBEL * log(load(out, 0) * square * (1.0 / (REFERENCE * REFERENCE))))
    store(out, 1, volts)
    re, im = amplifier_current(graph.bounds, flows, load(table, rows.coil), load(table, rows.coil + 1))
    store(out, 2, re * volts)
    store(out, 3, im * volts)
    for k in range(6):
        store(out, 4 + k, 1.0 / math.sqrt(load(over, k)))
    for i in range(graph.entries.shape[0]):
        store(out, 10 + i, math.sqrt(square_size(flows, i, load(table, rows.scale + i))) * volts)


@entry_point
def drive_planes(
    graph: Graph, tones: Tones, sizes: Sizes, begin_at: int, end_at: int, planes: np.ndarray,
    ends: np.ndarray, extra: np.ndarray, impedance: np.ndarray, transfer: np.ndarray,
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
        First design, and the one behind the last [1].
    planes, ends, extra : ndarray
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
    n, columns, rows = sizes.designs, tones.omega.size * tones.spaces, _make_rows(graph)
    unknowns, use_fixed = graph.entries.shape[0], sizes.voltage.shape[0] > 0
    table, over, out = empty((rows.number, WIDTH)), empty((6, WIDTH)), empty((10 + unknowns, WIDTH))
    results = empty(((end_at - begin_at + WIDTH - 1) // WIDTH * columns, 2 * unknowns + 1, WIDTH))
    pool, free = make_pool(graph, rows), whole((WIDTH,))
    count = WIDTH
    for at in range(WIDTH):
        free[at] = at
    last = results.shape[0]
    for number in range(last + 1):
        block, column = number // columns, number % columns
        start = begin_at + block * WIDTH
        systems = 1
        if number < last:
            systems = min(WIDTH, n - start)
            if column == 0:
                _describe_designs(graph, rows, sizes, tones.air, start, ends[block], table)
            _close(
                graph, tones, sizes, start, planes[block], extra[block], impedance, inertance, column, table
            )
            _describe_tone(graph, rows, tones, sizes, start, column, table)
            eliminate(graph.outer, graph.planes, table)
        for lane in range(systems):
            while count == 0 or (number == last and count < WIDTH):
                count = advance(graph, rows, pool, use_fixed, free, count, results)
            if number < last:
                count -= 1
                put_in(graph, pool, free[count], table, lane, number * WIDTH + lane)
    for start in range(begin_at, end_at, WIDTH):
        block = (start - begin_at) // WIDTH
        _describe_designs(graph, rows, sizes, tones.air, start, ends[block], table)
        for column in range(columns):
            flows = results[block * columns + column]
            _describe_tone(graph, rows, tones, sizes, start, column, table)
            _pressure(graph, sizes, start, transfer, column, flows, out)
            _conclude(graph, rows, table, use_fixed, flows, over, out)
            for lane in range(min(WIDTH, n - start)):
                _write(graph, start + lane, column, lane, out, flows[2 * unknowns, lane] == 1.0, found)
