"""Levels and permitted drives with slopes of :mod:`models.linear_drive`, compiled, point by point.

Eight columns of a point are worked out side by side. Slopes are taken backwards: few levels and limits move
with many sizes, so what moves a flow is followed from each of them to all sizes at once, and from these to
the variables. With dZ the change of the network, dw that of the logarithms of its losses, Y its inverse
and h what a level moves by, d = -Re(h' Y dZ u) - y' s: the losses answer by dw = (1 + T)^-1 (s + Re(du/u)),
s what moves them besides, T their Newton matrix, and y solves the transposed system.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import empty, whole, zeros
from models.complex_lanes import get, put
from models.jit import compiled, entry_point
from models.kernel_records import FEW, Bounds
from models.lanes import load_few, store
from models.linear_drive import Linear
from models.linear_elements_kernel import elements
from models.linear_layout import ENDS, MODE, SOURCE
from models.linear_limits_kernel import ROWS, measure
from models.linear_state_kernel import find_state, newton_matrix, solve_real

_DECIBEL = 20.0 / math.log(10.0)


@compiled
def _gather(
    outside: np.ndarray, heard: np.ndarray, voltage: np.ndarray, begin: int, plain: np.ndarray,
    transfer: np.ndarray, volts: np.ndarray,
) -> None:  # fmt: skip
    """Outside and drives of some columns of a point side by side; the last column fills what is left."""
    for lane in range(FEW):
        column = min(begin + lane, voltage.size - 1)
        volts[lane] = voltage[column]
        for i in range(heard.shape[1]):
            transfer[i, 0, lane], transfer[i, 1, lane] = heard[column, i].real, heard[column, i].imag
            for j in range(heard.shape[1]):
                own = outside[column, i, j]
                plain[i, j, 0, lane], plain[i, j, 1, lane] = own.real, own.imag


@compiled
def _add_elements(tone: np.ndarray, places: np.ndarray, z: np.ndarray, plain: np.ndarray) -> None:
    """Add drivers and elements to the matrices."""
    size = plain.shape[0]
    for i in range(size):
        for j in range(size):
            own = get(tone, (SOURCE + 2 * (size + size * i + j), 0))
            put(plain, (i, j), get(plain, (i, j)) + own)
    for e in range(places.shape[0]):
        a, b, part = places[e, 0], places[e, 1], float(places[e, 2]) * get(z, e)
        put(plain, (a, b), get(plain, (a, b)) + part)
        if a != b:
            put(plain, (b, a), get(plain, (b, a)) + part)


@compiled
def _pull_back(
    inverse: np.ndarray, flows: np.ndarray, scale: np.ndarray, loss: np.ndarray, first: int, column: int,
    area: np.ndarray, live: np.ndarray, pull: np.ndarray, turn: np.ndarray, wish: np.ndarray,
    by_drive: np.ndarray, share: np.ndarray, felt: np.ndarray,
) -> None:  # fmt: skip
    """What rows feel of changes of the network, losses that follow included, as weights of changed flows."""
    size, ends = flows.shape[0], loss.shape[0]
    for row in range(ROWS):
        for end in range(ends):
            reached = 0.0 * get(flows, 0)
            for a in range(size):
                reached += get(inverse, (first + end, a)) * get(pull, (row, a))
            store(wish, (end, row), (reached * get(flows, first + end)).real)
    solve_real(turn, wish)
    for row in range(ROWS):
        drive = 0.0 * get(flows, 0).real
        for end in range(ends):
            flow, answer, at = get(flows, first + end), load_few(wish, (end, row)), column + 2 * end
            speed = load_few(scale, end) * math.sqrt(flow.real * flow.real + flow.imag * flow.imag)
            lost = answer * speed * loss[end]
            drive -= lost
            store(share, (row, at), load_few(share, (row, at)) + lost / area[end])
            store(share, (row, at + 1), load_few(share, (row, at + 1)) - answer * speed)
            put(pull, (row, first + end), get(pull, (row, first + end)) - lost / flow)
        store(by_drive, row, drive)
        if live[row] == 1:
            for a in range(size):
                reached = 0.0 * get(flows, 0)
                for b in range(size):
                    reached += get(inverse, (a, b)) * get(pull, (row, b))
                put(felt, (row, a), reached)


@compiled
def _to_columns(
    places: np.ndarray, by: np.ndarray, pairs: int, many: int, flows: np.ndarray, felt: np.ndarray,
    rates: np.ndarray, live: np.ndarray, share: np.ndarray,
) -> None:  # fmt: skip
    """From the elements to sizes; pairs of patches move with ``many`` of them, others with three."""
    for e in range(places.shape[0]):
        a, b, weight = places[e, 0], places[e, 1], -float(places[e, 2])
        for row in range(ROWS):
            if live[row] == 0:
                continue
            moved = get(felt, (row, a)) * get(flows, b)
            if a != b:
                moved += get(felt, (row, b)) * get(flows, a)
            moved = weight * moved
            for q in range(many if e < pairs else 3):
                at = row, by[e, q]
                store(share, at, load_few(share, at) + (moved * get(rates, (e, q))).real)


@compiled
def _to_variables(
    share: np.ndarray, begin: int, slope: np.ndarray, live: np.ndarray, result: np.ndarray
) -> None:
    """Add what some columns, from ``begin`` on, move by the variables."""
    for c in range(slope.shape[0]):
        for i in range(slope.shape[1]):
            rate = slope[c, i]
            for row in range(ROWS if rate != 0.0 else 0):
                if live[row] == 1:
                    change = load_few(share, (row, begin + c)) * rate
                    store(result, (row, i), load_few(result, (row, i)) + change)


@compiled
def _from_given(
    share: np.ndarray, begin: int, slope: np.ndarray, live: np.ndarray, result: np.ndarray
) -> None:
    """The same of ducts whose impedances are given, tone by tone, in two columns each."""
    ducts, parts, tones, n = slope.shape
    for k in range(ducts):
        for part in range(parts):
            at = share.shape[1] - 6 * (ducts - k) + 2 * part
            for lane in range(FEW):
                for i in range(n):
                    rate = slope[k, part, (begin + lane) % tones, i]
                    for row in range(ROWS):
                        change = share[row, at, lane] * rate.real + share[row, at + 1, lane] * rate.imag
                        result[row, i, lane] += change if live[row] == 1 else 0.0


@compiled
def _write(
    p: int, begin: int, now: np.ndarray, by_drive: np.ndarray, result: np.ndarray, level: np.ndarray,
    permitted: np.ndarray, d_level: np.ndarray, d_permitted: np.ndarray, level_by: np.ndarray,
    permitted_by: np.ndarray,
) -> None:  # fmt: skip
    """Write what was found for some columns of a point."""
    for lane in range(min(FEW, level.shape[1] - begin)):
        column = begin + lane
        level[p, column], level_by[p, column] = now[0, lane], by_drive[0, lane] + _DECIBEL
        for i in range(d_level.shape[2]):
            d_level[p, column, i] = result[0, i, lane]
        for row in range(ROWS - 1):
            permitted[p, column, row] = now[1 + row, lane]
            permitted_by[p, column, row] = by_drive[1 + row, lane]
            for i in range(d_level.shape[2]):
                d_permitted[p, column, row, i] = result[1 + row, i, lane]


@entry_point
def drive_points(
    bounds: Bounds, firsts: np.ndarray, places: np.ndarray, by: np.ndarray, ways: np.ndarray,
    air: np.ndarray, lossy: bool, planes: np.ndarray, value: np.ndarray, slope: np.ndarray,
    near: np.ndarray, d_near: np.ndarray, given: np.ndarray, d_given: np.ndarray, outside: np.ndarray,
    heard: np.ndarray, voltage: np.ndarray, found: Linear,
) -> None:  # fmt: skip
    """Levels and permitted drives with slopes, as :func:`models.linear_drive.linear_drive`.

    Parameters
    ----------
    bounds : Bounds
        Limits and numbers of elements [record].
    firsts, places, by, ways : ndarray of int
        Of a layout [1].
    air, lossy, planes : ndarray, bool, ndarray
        Of a medium [mixed].
    value, slope, near, d_near, given, d_given, outside, heard : ndarray
        The terms in turn; ``d_near`` of shape (n_points, 3 n_pairs, n) [mixed].
    voltage : ndarray, shape (n_points, n_columns)
        Given drives [V].
    found : Linear
        Results, written in place [record].
    """
    size, n, count, pairs = heard.shape[2], slope.shape[2], places.shape[0], near.shape[1]
    first, ends, sizes = bounds.drivers + bounds.diaphragms, 2 * bounds.ducts, slope.shape[1]
    z, rates = empty((count, 2, FEW)), zeros((count, by.shape[1], 2, FEW))
    plain, inverse = empty((size, size, 2, FEW)), empty((size, size, 2, FEW))
    source, flows, transfer = empty((size, 2, FEW)), empty((size, 2, FEW)), empty((size, 2, FEW))
    volts, scale, weight = empty((FEW,)), empty((ends, FEW)), zeros((ends, FEW))
    turn, short, wish = empty((ends, ends, FEW)), empty((ends, 1, FEW)), empty((ends, ROWS, FEW))
    area, loss = empty((ends,)), empty((ends,))
    felt, now, by_drive = empty((ROWS, size, 2, FEW)), empty((ROWS, FEW)), empty((ROWS, FEW))
    live, many = whole((ROWS,)), 12 if firsts[MODE] == 2 else 8
    for group in range(planes.shape[0]):
        begin, tone = group * FEW, planes[group]
        for i in range(size):
            put(source, i, get(tone, (SOURCE + 2 * i, 0)))
        for p in range(value.shape[0]):
            _gather(outside[p], heard[p], voltage[p], begin, plain, transfer, volts)
            elements(firsts, by, ways, value[p], near[p], given[p], air, lossy, tone, begin, z, rates)
            _add_elements(tone, places, z, plain)
            bends = False
            for end in range(ends):
                at = firsts[ENDS] + 2 * end
                area[end], loss[end] = value[p, at], value[p, at + 1]
                store(scale, end, math.sqrt(2.0) / area[end] * load_few(volts, 0))
                bends = bends or loss[end] > 0.0
            find_state(plain, source, scale, loss, bends, first, inverse, flows, weight, turn, short)
            pull, share = zeros((ROWS, size, 2, FEW)), zeros((ROWS, sizes + 3 * pairs + 3 * ends, FEW))
            result = zeros((ROWS, n, FEW))
            for row in range(ROWS):
                store(now, row, math.inf + 0.0 * load_few(volts, 0))
            measure(bounds, firsts, value[p], tone, volts, transfer, flows, now, pull, share, live)
            newton_matrix(inverse, flows, weight, first, True, turn)
            _pull_back(
                inverse, flows, scale, loss, first, firsts[ENDS], area, live, pull, turn, wish, by_drive,
                share, felt,
            )  # fmt: skip
            _to_columns(places, by, pairs, many, flows, felt, rates, live, share)
            _to_variables(share, 0, slope[p], live, result)
            _to_variables(share, sizes, d_near[p], live, result)
            _from_given(share, begin, d_given[p], live, result)
            _write(
                p, begin, now, by_drive, result, found.level, found.permitted, found.d_level,
                found.d_permitted, found.level_by_drive, found.permitted_by_drive,
            )  # fmt: skip
