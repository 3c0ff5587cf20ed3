"""Levels and limits of :mod:`models.linear_drive`, compiled, from flows, eight columns of one point.

Every one of them moves by the real part of some weights times what the flows move: the rows of ``pull``.
"""

from __future__ import annotations

import math

import numpy as np

from models.complex_lanes import get, join, pick, put
from models.jit import compiled, log
from models.kernel_records import Bounds
from models.lanes import choose, load_few, store
from models.linear_layout import BACK, ENDS, OMEGA, REACH, STILL

ROWS = 7
"""A level, then the limits in the order of :class:`models.linear_drive.Linear`."""

_DECIBEL = 20.0 / math.log(10.0)
_PEAK = math.sqrt(2.0)


@compiled
def _first_met(
    row: int, begin: int, end: int, limit: float, column: int, many: int, value: np.ndarray, factor: float,
    flows: np.ndarray, found: np.ndarray, pull: np.ndarray, share: np.ndarray, live: np.ndarray,
) -> None:  # fmt: skip
    """The limit of some equal parts, which the part that needs the least voltage meets.

    Its reach is ``limit`` times ``many`` sizes from ``column`` on, every second part's own.
    """
    least, best = math.inf + 0.0 * factor, 0.0 * factor
    for a in range(begin, end):
        flow, reach = get(flows, a), limit
        for q in range(many):
            reach *= value[column + 2 * (a - begin) + q]
        voltage = reach * factor / math.sqrt(flow.real * flow.real + flow.imag * flow.imag)
        first = voltage < least
        best, least = choose(first, float(a), best), choose(first, voltage, least)
    store(found, row, log(least))
    live[row] = 1
    for a in range(begin, end):
        own = best == float(a)
        put(pull, (row, a), pick(own, -1.0 / get(flows, a), 0j))
        for q in range(many):
            at = column + 2 * (a - begin) + q
            store(share, (row, at), load_few(share, (row, at)) + choose(own, 1.0 / value[at], 0.0))


@compiled
def _by_current(
    row: int, value: float, rate: complex, drivers: int, found: np.ndarray, pull: np.ndarray,
    live: np.ndarray,
) -> None:  # fmt: skip
    """A limit that moves with the sum of the drivers' flows."""
    store(found, row, value)
    live[row] = 1
    for a in range(drivers):
        put(pull, (row, a), rate)


@compiled
def measure(
    bounds: Bounds, firsts: np.ndarray, value: np.ndarray, tone: np.ndarray, volts: np.ndarray,
    transfer: np.ndarray, flows: np.ndarray, found: np.ndarray, pull: np.ndarray, share: np.ndarray,
    live: np.ndarray,
) -> None:  # fmt: skip
    """Levels and limits of a point, and what they move by.

    Parameters
    ----------
    bounds : Bounds
        Limits and numbers of elements [record].
    firsts : ndarray of int
        First columns of every kind of size [1].
    value : ndarray, shape (n_columns,)
        Sizes of the point [mixed].
    tone : ndarray, shape (n_rows, FEW)
        Planes of a medium [mixed].
    volts, transfer, flows : ndarray, shape (FEW,), (n_unknowns, 2, FEW), (n_unknowns, 2, FEW)
        Drives [V], pressures per flow [Pa s/m3], flows at one volt [m3/(s V)].
    found : ndarray, shape (ROWS, FEW)
        Level [dB] and logarithms of permitted voltages, infinite where there is no such limit, written
        in place [mixed].
    pull : ndarray, shape (ROWS, n_unknowns, 2, FEW)
        Weights of what flows move, zero before [mixed].
    share : ndarray, shape (ROWS, n_columns, FEW)
        Slopes over the columns, added to [mixed].
    live : ndarray of int, shape (ROWS,)
        1 where a row has slopes [1].
    """
    drivers, first, size = bounds.drivers, bounds.drivers + bounds.diaphragms, flows.shape[0]
    omega, back, current = load_few(tone, OMEGA), get(tone, (BACK, 0)), get(tone, (STILL, 0))
    pressure = 0.0 * back
    for a in range(size):
        pressure += get(transfer, a) * get(flows, a)
    amount = math.sqrt(pressure.real * pressure.real + pressure.imag * pressure.imag)
    store(found, 0, _DECIBEL * log(amount * load_few(volts, 0)))
    live[0] = 1
    over = _DECIBEL / pressure
    for a in range(size):
        put(pull, (0, a), get(transfer, a) * over)
    for a in range(drivers):
        current += back * get(flows, a)
    limit = bounds.excursion * bounds.area
    _first_met(1, 0, drivers, limit, 0, 0, value, omega / _PEAK, flows, found, pull, share, live)
    if bounds.diaphragms > 0:
        at = firsts[REACH]
        _first_met(2, drivers, first, 1.0, at, 2, value, omega / _PEAK, flows, found, pull, share, live)
    if bounds.ducts > 0 and bounds.air_speed < math.inf:
        limit, one = bounds.air_speed, 1.0 / _PEAK + 0.0 * omega
        _first_met(4, first, size, limit, firsts[ENDS], 1, value, one, flows, found, pull, share, live)
    amount = math.sqrt(current.real * current.real + current.imag * current.imag)
    # the real part alone moves: over a real number
    plain = join(current.real, 0.0 * omega) if bounds.kind == 0 else current
    if bounds.kind == 2:
        store(found, 3, 0.0 * omega + 0.5 * math.log(bounds.power / bounds.nominal))
    else:
        used = pick(bounds.kind == 0, current.real, amount)
        _by_current(3, 0.5 * log(bounds.power / used), -0.5 * back / plain, drivers, found, pull, live)
    store(found, 5, 0.0 * omega + math.log(bounds.voltage))
    if bounds.current < math.inf:
        _by_current(6, log(bounds.current / amount), -back / current, drivers, found, pull, live)
