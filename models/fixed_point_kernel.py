"""Level-dependent losses and drive of :mod:`models.drive`, compiled: the fixed point on the air speeds.

Designs and tones that have settled leave the work: once few enough are open, those move together.
"""

from __future__ import annotations

import math

import numpy as np

from models.drive import LEAST_SPEED, MAX_STEPS, SECANT_STEPS, TOLERANCE
from models.drive_kernel import answer, eliminate_planes
from models.jit import compiled, exp, log
from models.kernel_records import Graph, Scratch, State, System

_CROWDED = 0.75
"""Share of open entries below which they move together."""

_FLOOR = math.log(LEAST_SPEED)


@compiled
def _step(
    n: int, first: int, step: int, state: State, logs: np.ndarray, change: np.ndarray, speeds: np.ndarray
) -> None:
    """One secant step on the logarithms of the speeds, and the largest change of each entry.

    Rows of ``logs``: logarithms of speeds assumed and found, now and one step before.
    """
    for m in range(n):
        change[m] = 0.0
    for end in range(speeds.shape[0]):
        for m in range(n):
            logs[1, end, m] = log(max(state.size[first + end, m] * state.voltage[m], LEAST_SPEED))
            change[m] = max(change[m], abs(logs[1, end, m] - logs[0, end, m]))
        for m in range(n):
            now, found = logs[0, end, m], logs[1, end, m]
            run = now - logs[2, end, m]
            wide = abs(run) > 1e-13 and 0 < step < SECANT_STEPS
            slope = (found - logs[3, end, m]) / (run if wide else 1.0)
            slope = min(max(slope, -1.5), 0.6) if wide else -0.5
            coming = max(now + (found - now) / (1.0 - slope), _FLOOR)
            logs[2, end, m], logs[3, end, m], logs[0, end, m] = now, found, coming
            speeds[end, m] = exp(coming)


@compiled
def _move(rows: np.ndarray, keep: np.ndarray, n: int) -> None:
    """Move the kept entries of a row together, in place; as they rise, none is lost before it moves."""
    for m in range(n):
        rows[m] = rows[keep[m]]


@compiled
def _move_together(
    graph: Graph, system: System, keep: np.ndarray, n: int, logs: np.ndarray, speeds: np.ndarray
) -> None:
    for e in range(system.planes.shape[0]):
        for part in range(2):
            _move(system.planes[e, part], keep, n)
    for i in range(system.right.shape[0]):
        for part in range(2):
            _move(system.right[i, part], keep, n)
    for end in range(speeds.shape[0]):
        _move(system.area[end], keep, n)
        _move(system.loss[end], keep, n)
        _move(speeds[end], keep, n)
        for row in range(4):
            _move(logs[row, end], keep, n)
    for k in range(graph.bounds.diaphragms):
        _move(system.passive[k], keep, n)
        _move(system.reach[k], keep, n)
    _move(system.coil[0], keep, n)
    _move(system.coil[1], keep, n)
    _move(system.omega, keep, n)
    _move(system.fixed, keep, n)


@compiled
def find_speeds(
    graph: Graph, system: System, use_fixed: bool, scratch: Scratch, state: State, speeds: np.ndarray,
    settled: np.ndarray,
) -> None:  # fmt: skip
    """Peak air speeds at the duct ends that agree with their own losses.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    system : System
        Systems without drivers and diaphragms, used up [record].
    use_fixed : bool
        Whether the voltage is given [flag].
    scratch, state : Scratch, State
        Room to work in [record].
    speeds : ndarray, shape (2 n_ducts, n)
        Written in place [m/s].
    settled : ndarray, shape (n,)
        1 where the fixed point was found, else 0, written in place [1].
    """
    n = system.omega.size
    ends, first = speeds.shape[0], graph.bounds.drivers + graph.bounds.diaphragms
    logs, now, change = np.empty((4, ends, n)), np.empty((ends, n)), np.empty(n)
    origin, keep = np.empty(n, np.int64), np.empty(n, np.int64)
    for m in range(n):
        origin[m] = m
        settled[m] = 0.0
    for end in range(ends):
        for m in range(n):
            now[end, m] = 0.0
    answer(graph, n, system, now, use_fixed, scratch, state)
    for end in range(ends):
        for m in range(n):
            now[end, m] = state.size[first + end, m] * state.voltage[m]
            logs[0, end, m] = log(max(now[end, m], LEAST_SPEED))
            logs[2, end, m], logs[3, end, m] = 0.0, 0.0
    for step in range(MAX_STEPS):
        answer(graph, n, system, now, use_fixed, scratch, state)
        _step(n, first, step, state, logs, change, now)
        left = 0
        for m in range(n):
            at = origin[m]
            if settled[at] == 1.0:
                continue
            for end in range(ends):
                speeds[end, at] = state.size[first + end, m] * state.voltage[m]
            if change[m] < TOLERANCE:
                settled[at] = 1.0
            else:
                keep[left] = m
                left += 1
        if left == 0:
            return
        if left < _CROWDED * n:
            _move_together(graph, system, keep, left, logs, now)
            for m in range(left):
                origin[m] = origin[keep[m]]
            n = left


@compiled
def _copy(system: System, other: System) -> None:
    for e in range(system.planes.shape[0]):
        for part in range(2):
            for m in range(system.omega.size):
                other.planes[e, part, m] = system.planes[e, part, m]
    for i in range(system.right.shape[0]):
        for part in range(2):
            for m in range(system.omega.size):
                other.right[i, part, m] = system.right[i, part, m]
    for end in range(system.area.shape[0]):
        for m in range(system.omega.size):
            other.area[end, m], other.loss[end, m] = system.area[end, m], system.loss[end, m]
    for k in range(system.passive.shape[0]):
        for m in range(system.omega.size):
            other.passive[k, m], other.reach[k, m] = system.passive[k, m], system.reach[k, m]
    for m in range(system.omega.size):
        other.coil[0, m], other.coil[1, m] = system.coil[0, m], system.coil[1, m]
        other.omega[m], other.fixed[m] = system.omega[m], system.fixed[m]


@compiled
def drive_group(
    graph: Graph, system: System, other: System, use_fixed: bool, scratch: Scratch, state: State,
    speeds: np.ndarray, settled: np.ndarray,
) -> None:  # fmt: skip
    """Drive a group of designs and tones, to their first limits or with given voltages.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    system, other : System
        Assembled systems, from which drivers and diaphragms are eliminated, and room for a copy [record].
    use_fixed : bool
        Whether the voltage is given [flag].
    scratch : Scratch
        Room to work in [record].
    state : State
        Written in place [record].
    speeds : ndarray, shape (2 n_ducts, n)
        Peak air speeds from which losses were taken, written in place [m/s].
    settled : ndarray, shape (n,)
        1 where the fixed point was found, else 0, written in place [1].
    """
    n = system.omega.size
    eliminate_planes(graph.outer, n, system.planes, system.right, scratch.factor)
    if speeds.shape[0] > 0 and graph.bounds.losses:
        _copy(system, other)
        find_speeds(graph, other, use_fixed, scratch, state, speeds, settled)
    else:
        for m in range(n):
            settled[m] = 1.0
        for end in range(speeds.shape[0]):
            for m in range(n):
                speeds[end, m] = 0.0
    answer(graph, n, system, speeds, use_fixed, scratch, state)
