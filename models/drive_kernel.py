"""Elimination and largest permitted drive of :mod:`models.drive`, compiled, a few designs side by side.

Systems are a table, a row a vector: two rows (real, imaginary) an entry of the matrix, two an
unknown's right side, and what :class:`~models.kernel_records.Rows` counts. The schedule of
:mod:`models.elimination` comes as arrays: a row of ``steps`` holds a pivot, its diagonal entry, and where its
unknowns begin and end in ``others``; a row of ``others`` holds an unknown and its entry with the pivot;
``targets`` lists the entries that the pairs of these change, in order.
"""

from __future__ import annotations

import math

import numpy as np

from models.jit import compiled, inlined
from models.kernel_records import Bounds, Graph, Rows, Steps
from models.lanes import load, store


@inlined
def reciprocal(re: float, im: float) -> tuple[float, float]:
    """One over a complex number."""
    over = 1.0 / (re * re + im * im)
    return re * over, -im * over


@inlined
def times(a_re: float, a_im: float, b_re: float, b_im: float) -> tuple[float, float]:
    """Product of two complex numbers."""
    return a_re * b_re - a_im * b_im, a_re * b_im + a_im * b_re


@inlined
def pair(table: np.ndarray, number: int) -> tuple[float, float]:
    """A complex number of a table."""
    return load(table, 2 * number), load(table, 2 * number + 1)


@inlined
def set_pair(table: np.ndarray, number: int, re: float, im: float) -> None:
    """Store a complex number in a table."""
    store(table, 2 * number, re)
    store(table, 2 * number + 1, im)


@inlined
def _take_off(table: np.ndarray, number: int, re: float, im: float) -> None:
    set_pair(table, number, load(table, 2 * number) - re, load(table, 2 * number + 1) - im)


@compiled
def eliminate(plan: Steps, right: int, table: np.ndarray) -> None:
    """Eliminate the pivots of a schedule; diagonal entries of pivots become their reciprocals.

    Parameters
    ----------
    plan : Steps
        The schedule [record].
    right : int
        Where right sides begin, behind the entries [1].
    table : ndarray, shape (n_rows, WIDTH)
        The systems, changed in place [any].
    """
    target = 0
    for step in range(plan.steps.shape[0]):
        pivot, diagonal, start, end = plan.steps[step]
        d_re, d_im = pair(table, diagonal)
        d_re, d_im = reciprocal(d_re, d_im)
        set_pair(table, diagonal, d_re, d_im)
        r_re, r_im = pair(table, right + pivot)
        for a in range(start, end):
            e_re, e_im = pair(table, plan.others[a, 1])
            f_re, f_im = times(e_re, e_im, d_re, d_im)
            for b in range(a, end):
                e_re, e_im = pair(table, plan.others[b, 1])
                e_re, e_im = times(f_re, f_im, e_re, e_im)
                _take_off(table, plan.targets[target], e_re, e_im)
                target += 1
            e_re, e_im = times(f_re, f_im, r_re, r_im)
            _take_off(table, right + plan.others[a, 0], e_re, e_im)


@compiled
def substitute(plan: Steps, right: int, table: np.ndarray, flows: np.ndarray) -> None:
    """Recover the eliminated unknowns, last first.

    Parameters
    ----------
    plan : Steps
        The schedule [record].
    right : int
        Where right sides begin [1].
    table : ndarray, shape (n_rows, WIDTH)
        As :func:`eliminate` leaves it [any].
    flows : ndarray, shape (2 n_unknowns, WIDTH)
        Unknowns, written in place [any].
    """
    for step in range(plan.steps.shape[0] - 1, -1, -1):
        pivot, diagonal, start, end = plan.steps[step]
        r_re, r_im = pair(table, right + pivot)
        for a in range(start, end):
            e_re, e_im = pair(table, plan.others[a, 1])
            q_re, q_im = pair(flows, plan.others[a, 0])
            q_re, q_im = times(e_re, e_im, q_re, q_im)
            r_re, r_im = r_re - q_re, r_im - q_im
        d_re, d_im = pair(table, diagonal)
        r_re, r_im = times(r_re, r_im, d_re, d_im)
        set_pair(flows, pivot, r_re, r_im)


@inlined
def amplifier_current(
    bounds: Bounds, flows: np.ndarray, coil_re: float, coil_im: float
) -> tuple[float, float]:
    """Amplifier current at one volt, from the drivers' flows and the admittance of a coil."""
    back = bounds.force_factor / bounds.area
    whole = 1.0 if bounds.series else float(bounds.drivers)
    share = 1.0 / bounds.drivers if bounds.series else 1.0
    re, im = 0.0 * coil_re, 0.0 * coil_re
    for i in range(bounds.drivers):
        q_re, q_im = pair(flows, i)
        re, im = re + back * q_re, im + back * q_im
    return times(share * (whole - re), -share * im, coil_re, coil_im)


@inlined
def square_size(flows: np.ndarray, i: int, scale: float) -> float:
    """Square of the peak excursion or air speed of an unknown at one volt."""
    re, im = pair(flows, i)
    return (re * re + im * im) * scale


@compiled
def exceeded(bounds: Bounds, table: np.ndarray, rows: Rows, flows: np.ndarray, over: np.ndarray) -> float:
    """By what the squares of all that is limited exceed their limits at one volt.

    Parameters
    ----------
    bounds : Bounds
        Driver and limits [record].
    table : ndarray, shape (n_rows, WIDTH)
        The systems [any].
    rows : Rows
        Where their parts begin [record].
    flows : ndarray, shape (2 n_unknowns, WIDTH)
        Flows at one volt [m3/(s V)].
    over : ndarray, shape (6, WIDTH)
        The largest square ratio of each limit, inverse square of the voltage that meets it, written in
        place [1/V2].

    Returns
    -------
    lanes
        The largest of them [1/V2].
    """
    first = bounds.drivers + bounds.diaphragms
    re, im = amplifier_current(bounds, flows, load(table, rows.coil), load(table, rows.coil + 1))
    zero = 0.0 * re
    excursion, give, speed = zero, zero, zero
    for i in range(bounds.drivers):
        excursion = max(excursion, square_size(flows, i, load(table, rows.scale + i)))
    for i in range(bounds.drivers, first):
        square = square_size(flows, i, load(table, rows.scale + i))
        give = max(give, square * load(table, rows.reach + i - bounds.drivers))
    for i in range(first, first + 2 * bounds.ducts):
        speed = max(speed, square_size(flows, i, load(table, rows.scale + i)))
    amount = re * re + im * im
    power = zero + bounds.nominal
    if bounds.kind == 0:
        power = re
    elif bounds.kind == 1:
        power = math.sqrt(amount)
    excursion = excursion * (1.0 / (bounds.excursion * bounds.excursion))
    power = power * (1.0 / bounds.power)
    speed = speed * (1.0 / (bounds.air_speed * bounds.air_speed))
    fixed = zero + 1.0 / (bounds.voltage * bounds.voltage)
    amount = amount * (1.0 / (bounds.current * bounds.current))
    store(over, 0, excursion)
    store(over, 1, give)
    store(over, 2, power)
    store(over, 3, speed)
    store(over, 4, fixed)
    store(over, 5, amount)
    return max(max(max(excursion, give), max(power, speed)), max(fixed, amount))


@compiled
def answer(graph: Graph, rows: Rows, table: np.ndarray, speeds: np.ndarray, work: np.ndarray,
           flows: np.ndarray) -> None:  # fmt: skip
    """Flows with the end losses of given air speeds, drivers and diaphragms already eliminated.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    rows : Rows
        Where parts of the systems begin [record].
    table : ndarray, shape (n_rows, WIDTH)
        What is left of the systems [any].
    speeds : ndarray, shape (2 n_ducts, WIDTH)
        Peak air speeds at duct ends [m/s].
    work : ndarray, shape (n_rows, WIDTH)
        Room to work in [any].
    flows : ndarray, shape (2 n_unknowns, WIDTH)
        Flows at one volt, written in place [m3/(s V)].
    """
    first = graph.bounds.drivers + graph.bounds.diaphragms
    for k in range(graph.kept.size):
        re, im = pair(table, graph.kept[k])
        set_pair(work, graph.kept[k], re, im)
    for end in range(speeds.shape[0]):
        row = 2 * graph.diagonals[end]
        lost = load(table, rows.loss + end) * load(speeds, end)
        store(work, row, load(work, row) + lost)
        re, im = pair(table, graph.planes + first + end)
        set_pair(work, graph.planes + first + end, re, im)
    eliminate(graph.inner, graph.planes, work)
    substitute(graph.inner, graph.planes, work, flows)
    substitute(graph.outer, graph.planes, table, flows)
