"""Levels and limits with slopes of :mod:`models.linear_drive`, compiled, from flows and how they move."""

from __future__ import annotations

import math

import numpy as np

from models.drive_kernel import reciprocal, times
from models.jit import compiled
from models.linear_drive import Linear
from models.linear_layout import Layout, Medium
from models.linear_terms import Terms

_DECIBEL = 20.0 / math.log(10.0)
_PEAK = math.sqrt(2.0)


@compiled
def _growth(moved: np.ndarray, m: int, re: float, im: float, weight: float, slope: np.ndarray) -> float:
    """Weight times the real part of what moves over a number, into slopes; that of the drive is returned."""
    o_re, o_im = reciprocal(re, im)
    n = slope.size
    for i in range(n):
        slope[i] = weight * (moved[i, 0, m] * o_re - moved[i, 1, m] * o_im)
    last: float = moved[n, 0, m] * o_re - moved[n, 1, m] * o_im
    return weight * last


@compiled
def _limit(found: Linear, p: int, column: int, row: int, value: float, weight: float, re: float, im: float,
           moved: np.ndarray, m: int) -> None:  # fmt: skip
    """A limit whose logarithm moves by ``weight`` times the real part of moved over a number."""
    found.permitted[p, column, row] = value
    found.permitted_by_drive[p, column, row] = _growth(
        moved, m, re, im, weight, found.d_permitted[p, column, row]
    )


@compiled
def _add_columns(found: Linear, p: int, column: int, row: int, value: np.ndarray, slope: np.ndarray,
                 begin: int, end: int) -> None:  # fmt: skip
    """Add the slopes of the logarithms of some columns to those of a limit."""
    for at in range(begin, end):
        for i in range(slope.shape[1]):
            found.d_permitted[p, column, row, i] += slope[at, i] / value[at]


@compiled
def measure(layout: Layout, medium: Medium, terms: Terms, p: int, t: int, column: int, volts: float, m: int,
            flows: np.ndarray, moved: np.ndarray, heard: np.ndarray, found: Linear) -> None:  # fmt: skip
    """Level and limits of one lane; ``heard`` is scratch, shape (n + 1, 2, 1)."""
    bounds = layout.graph.bounds
    drivers, first, size = bounds.drivers, bounds.drivers + bounds.diaphragms, flows.shape[0]
    n = moved.shape[1] - 1
    value, slope, omega = terms.value[p], terms.slope[p], medium.omega[t]
    p_re, p_im = 0.0, 0.0
    for i in range(n + 1):
        heard[i, 0, 0], heard[i, 1, 0] = 0.0, 0.0
    for a in range(size):
        share = terms.transfer[p, column, a]
        if share == 0.0:
            continue
        re, im = times(share.real, share.imag, flows[a, 0, m], flows[a, 1, m])
        p_re, p_im = p_re + re, p_im + im
        for i in range(n + 1):
            re, im = times(share.real, share.imag, moved[a, i, 0, m], moved[a, i, 1, m])
            heard[i, 0, 0] += re
            heard[i, 1, 0] += im
    found.level[p, column] = _DECIBEL * math.log(math.sqrt(p_re * p_re + p_im * p_im) * volts)
    louder = _growth(heard, 0, p_re, p_im, _DECIBEL, found.d_level[p, column])
    found.level_by_drive[p, column] = louder + _DECIBEL
    c_re, c_im = medium.still[t].real, medium.still[t].imag
    b_re, b_im = medium.back[t].real, medium.back[t].imag
    for i in range(n + 1):
        heard[i, 0, 0], heard[i, 1, 0] = 0.0, 0.0
    top, most = 0, 0.0
    for a in range(drivers):
        re, im = flows[a, 0, m], flows[a, 1, m]
        if re * re + im * im > most:
            top, most = a, re * re + im * im
        re, im = times(b_re, b_im, re, im)
        c_re, c_im = c_re + re, c_im + im
        for i in range(n + 1):
            re, im = times(b_re, b_im, moved[a, i, 0, m], moved[a, i, 1, m])
            heard[i, 0, 0] += re
            heard[i, 1, 0] += im
    reach = bounds.excursion * bounds.area * omega / (_PEAK * math.sqrt(most))
    _limit(found, p, column, 0, math.log(reach), -1.0, flows[top, 0, m], flows[top, 1, m], moved[top], m)
    if bounds.diaphragms > 0:
        best, least = 0, math.inf
        for k in range(bounds.diaphragms):
            at, re, im = layout.reach + 2 * k, flows[drivers + k, 0, m], flows[drivers + k, 1, m]
            reach = value[at] * value[at + 1] * omega / (_PEAK * math.sqrt(re * re + im * im))
            if reach < least:
                best, least = k, reach
        a, at = drivers + best, layout.reach + 2 * best
        _limit(found, p, column, 1, math.log(least), -1.0, flows[a, 0, m], flows[a, 1, m], moved[a], m)
        _add_columns(found, p, column, 1, value, slope, at, at + 2)
    size_now = math.sqrt(c_re * c_re + c_im * c_im)
    if bounds.kind == 0:
        # the real part alone moves: over a real number
        _limit(found, p, column, 2, 0.5 * math.log(bounds.power / c_re), -0.5, c_re, 0.0, heard, 0)
    elif bounds.kind == 1:
        _limit(found, p, column, 2, 0.5 * math.log(bounds.power / size_now), -0.5, c_re, c_im, heard, 0)
    else:
        found.permitted[p, column, 2] = 0.5 * math.log(bounds.power / bounds.nominal)
    if bounds.ducts > 0 and bounds.air_speed < math.inf:
        best, least = 0, math.inf
        for end in range(2 * bounds.ducts):
            re, im = flows[first + end, 0, m], flows[first + end, 1, m]
            reach = bounds.air_speed * value[layout.ends + 2 * end] / (_PEAK * math.sqrt(re * re + im * im))
            if reach < least:
                best, least = end, reach
        a, at = first + best, layout.ends + 2 * best
        _limit(found, p, column, 3, math.log(least), -1.0, flows[a, 0, m], flows[a, 1, m], moved[a], m)
        _add_columns(found, p, column, 3, value, slope, at, at + 1)
    found.permitted[p, column, 4] = math.log(bounds.voltage)
    if bounds.current < math.inf:
        _limit(found, p, column, 5, math.log(bounds.current / size_now), -1.0, c_re, c_im, heard, 0)
