"""Level-dependent losses and drive of :mod:`models.drive`, compiled: the fixed point on the air speeds.

A vector of systems, a design at a tone in a space each, is in work at once, wherever they come from. One that
has settled makes room for the next, so that no lane idles while there is work.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from models.arrays import empty, whole, zeros
from models.drive import LEAST_SPEED, MAX_STEPS, SECANT_STEPS, TOLERANCE
from models.drive_kernel import answer, exceeded, square_size
from models.jit import compiled, exp, log
from models.kernel_records import Graph, Rows
from models.lanes import WIDTH, any_lane, choose, load, store

NEGLIGIBLE = 0.01 * TOLERANCE
"""Largest change of a speed at which a state counts as its own answer; above, another one follows."""

_FLOOR = math.log(LEAST_SPEED)


class Pool(NamedTuple):
    """Systems in work, side by side.

    Attributes
    ----------
    table : ndarray, shape (n_rows, WIDTH)
        The systems, drivers and diaphragms eliminated [any].
    speeds : ndarray, shape (2 n_ducts, WIDTH)
        Peak air speeds from which losses are taken [m/s].
    logs : ndarray, shape (4, 2 n_ducts, WIDTH)
        Logarithms of speeds assumed and found, now and one step before [1].
    steps : ndarray, shape (WIDTH,)
        Steps done; -1 while speeds count as none [1].
    last : ndarray, shape (WIDTH,)
        0 for systems in work; 1 where the next state is the last one, 2 where it is although nothing has
        settled; 3 and 4 for the same at their last state [1].
    origin : ndarray of int, shape (WIDTH,)
        Which systems they are, -1 for none [1].
    work, flows, over : ndarray
        Room to work in [any].
    """

    table: np.ndarray
    speeds: np.ndarray
    logs: np.ndarray
    steps: np.ndarray
    last: np.ndarray
    origin: np.ndarray
    work: np.ndarray
    flows: np.ndarray
    over: np.ndarray


@compiled
def make_pool(graph: Graph, rows: Rows) -> Pool:
    """A pool without systems."""
    ends, unknowns = 2 * graph.bounds.ducts, graph.entries.shape[0]
    pool = Pool(
        empty((rows.number, WIDTH)), zeros((ends, WIDTH)), zeros((4, ends, WIDTH)), zeros((WIDTH,)),
        zeros((WIDTH,)), whole((WIDTH,)), empty((rows.number, WIDTH)),
        empty((2 * unknowns, WIDTH)), empty((6, WIDTH)),
    )  # fmt: skip
    for at in range(WIDTH):
        pool.origin[at] = -1
    for row in range(rows.number):
        store(pool.table, row, 1.0)
    return pool


@compiled
def put_in(graph: Graph, pool: Pool, at: int, table: np.ndarray, lane: int, origin: int) -> None:
    """Put one system of a table into a free place."""
    for row in range(table.shape[0]):
        pool.table[row, at] = table[row, lane]
    pool.origin[at] = origin
    pool.steps[at] = -1.0
    pool.last[at] = 0.0 if graph.bounds.losses and graph.bounds.ducts > 0 else 3.0
    for end in range(pool.speeds.shape[0]):
        pool.speeds[end, at] = 0.0


@compiled
def _step(graph: Graph, rows: Rows, pool: Pool, square: float) -> None:
    """One secant step on the logarithms of the speeds, for a square of the voltage."""
    first = graph.bounds.drivers + graph.bounds.diaphragms
    steps, change = load(pool.steps, 0), 0.0 * square
    for end in range(pool.speeds.shape[0]):
        size = square_size(pool.flows, first + end, load(pool.table, rows.scale + first + end))
        found = 0.5 * log(max(size * square, LEAST_SPEED * LEAST_SPEED))
        change = max(change, abs(found - load(pool.logs, (0, end))))
        store(pool.logs, (1, end), found)
    begun = steps >= 0.0
    done = begun & (change < TOLERANCE)
    known = (steps > 0.0) & (steps < float(SECANT_STEPS))
    ending = done | (steps >= float(MAX_STEPS - 1))
    for end in range(pool.speeds.shape[0]):
        now, found = load(pool.logs, (0, end)), load(pool.logs, (1, end))
        run = now - load(pool.logs, (2, end))
        wide = known & (abs(run) > 1e-13)
        slope = (found - load(pool.logs, (3, end))) / choose(wide, run, 1.0)
        slope = choose(wide, min(max(slope, -1.5), 0.6), -0.5)
        coming = max(now + (found - now) / (1.0 - slope), _FLOOR)
        coming = choose(begun & ~ending, coming, found)
        store(pool.logs, (2, end), now)
        store(pool.logs, (3, end), found)
        store(pool.logs, (0, end), coming)
        store(pool.speeds, end, exp(coming))
    last = load(pool.last, 0)
    exact = begun & (change < NEGLIGIBLE)
    coming = choose(done, 1.0, choose(ending, 2.0, 0.0))
    store(pool.last, 0, choose(last > 0.0, last + 2.0, choose(exact, 3.0, coming)))
    store(pool.steps, 0, steps + 1.0)


@compiled
def advance(graph: Graph, rows: Rows, pool: Pool, use_fixed: bool, free: np.ndarray, count: int,
            results: np.ndarray) -> int:  # fmt: skip
    """One more state of every system in work.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    rows : Rows
        Where parts of the systems begin [record].
    pool : Pool
        The systems [record].
    use_fixed : bool
        Whether the voltage is given [flag].
    free : ndarray of int, shape (WIDTH,)
        Free places, those of systems that leave are added [1].
    count : int
        How many are free [1].
    results : ndarray, shape (n, 2 n_unknowns + 1, WIDTH)
        Flows of the systems that leave and whether they have settled, by vectors of systems, written in
        place [mixed].

    Returns
    -------
    int
        How many places are free now [1].
    """
    answer(graph, rows, pool.table, pool.speeds, pool.work, pool.flows)
    if pool.speeds.shape[0] > 0 and graph.bounds.losses:
        square = 1.0 / exceeded(graph.bounds, pool.table, rows, pool.flows, pool.over)
        if use_fixed:
            square = load(pool.table, rows.fixed)
        _step(graph, rows, pool, square)
    if any_lane(load(pool.last, 0) > 2.0):
        for at in range(WIDTH):
            origin = pool.origin[at]
            if origin >= 0 and pool.last[at] > 2.0:
                for row in range(pool.flows.shape[0]):
                    results[origin // WIDTH, row, origin % WIDTH] = pool.flows[row, at]
                settled = 1.0 if pool.last[at] == 3.0 else 0.0
                results[origin // WIDTH, pool.flows.shape[0], origin % WIDTH] = settled
                pool.origin[at] = -1
                free[count] = at
                count += 1
    return count
