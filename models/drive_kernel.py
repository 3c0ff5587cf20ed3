"""Elimination and largest permitted drive of :mod:`models.drive`, compiled, designs and tones side by side.

The schedule of :mod:`models.elimination` comes as arrays: a row of ``steps`` holds a pivot, its diagonal
entry, and where its unknowns begin and end in ``others``; a row of ``others`` holds an unknown and its entry
with the pivot; ``targets`` lists the entries that the pairs of these change, in order.
"""

from __future__ import annotations

import math

import numpy as np

from models.duct_kernel import reciprocal, times
from models.jit import compiled
from models.kernel_records import Bounds, Graph, Scratch, State, Steps, System

_PEAK = math.sqrt(2.0)


@compiled
def eliminate_planes(plan: Steps, n: int, planes: np.ndarray, right: np.ndarray, factor: np.ndarray) -> None:
    """Eliminate the pivots of a schedule; diagonal entries of pivots become their reciprocals.

    Parameters
    ----------
    plan : Steps
        The schedule [record].
    n : int
        Designs and tones in work, the first ones of every row [1].
    planes : ndarray, shape (n_entries, 2, n)
        Real and imaginary parts of the entries, changed in place [any].
    right : ndarray, shape (n_unknowns, 2, n)
        Right side, changed in place [any].
    factor : ndarray, shape (2, n)
        Scratch [any].
    """
    target = 0
    for step in range(plan.steps.shape[0]):
        pivot, diagonal, start, end = plan.steps[step]
        for m in range(n):
            re, im = reciprocal(planes[diagonal, 0, m], planes[diagonal, 1, m])
            planes[diagonal, 0, m], planes[diagonal, 1, m] = re, im
        for a in range(start, end):
            one = plan.others[a, 1]
            for m in range(n):
                factor[0, m], factor[1, m] = times(
                    planes[one, 0, m], planes[one, 1, m], planes[diagonal, 0, m], planes[diagonal, 1, m]
                )
            for b in range(a, end):
                two, to = plan.others[b, 1], plan.targets[target]
                target += 1
                for m in range(n):
                    re, im = times(factor[0, m], factor[1, m], planes[two, 0, m], planes[two, 1, m])
                    planes[to, 0, m] -= re
                    planes[to, 1, m] -= im
            unknown = plan.others[a, 0]
            for m in range(n):
                re, im = times(factor[0, m], factor[1, m], right[pivot, 0, m], right[pivot, 1, m])
                right[unknown, 0, m] -= re
                right[unknown, 1, m] -= im


@compiled
def substitute_planes(plan: Steps, n: int, planes: np.ndarray, right: np.ndarray, flows: np.ndarray) -> None:
    """Recover the eliminated unknowns, last first.

    Parameters
    ----------
    plan : Steps
        The schedule [record].
    n : int
        Designs and tones in work [1].
    planes, right : ndarray
        As :func:`eliminate_planes` leaves them [any].
    flows : ndarray, shape (n_unknowns, 2, n)
        Unknowns, written in place [any].
    """
    for step in range(plan.steps.shape[0] - 1, -1, -1):
        pivot, diagonal, start, end = plan.steps[step]
        for m in range(n):
            flows[pivot, 0, m], flows[pivot, 1, m] = right[pivot, 0, m], right[pivot, 1, m]
        for a in range(start, end):
            unknown, one = plan.others[a, 0], plan.others[a, 1]
            for m in range(n):
                re, im = times(
                    planes[one, 0, m], planes[one, 1, m], flows[unknown, 0, m], flows[unknown, 1, m]
                )
                flows[pivot, 0, m] -= re
                flows[pivot, 1, m] -= im
        for m in range(n):
            re, im = times(
                flows[pivot, 0, m], flows[pivot, 1, m], planes[diagonal, 0, m], planes[diagonal, 1, m]
            )
            flows[pivot, 0, m], flows[pivot, 1, m] = re, im


@compiled
def permitted_drive(bounds: Bounds, n: int, system: System, use_fixed: bool, state: State) -> None:
    """Magnitudes at one volt, voltages at which each limit is met, and the drive, from the flows.

    Parameters
    ----------
    bounds : Bounds
        Driver and limits [record].
    n : int
        Designs and tones in work [1].
    system : System
        What they are [record].
    use_fixed : bool
        Whether the voltage is given [flag].
    state : State
        Flows at one volt; everything else is written in place [record].
    """
    omega, coil, passive, reach = system.omega, system.coil, system.passive, system.reach
    area, fixed = system.area, system.fixed
    flows, size, current = state.flows, state.size, state.current
    permitted, voltage = state.permitted, state.voltage
    drivers, first = bounds.drivers, bounds.drivers + bounds.diaphragms
    back = bounds.force_factor / bounds.area
    for m in range(n):
        current[0, m], current[1, m] = 0.0, 0.0
        permitted[0, m], permitted[1, m], permitted[3, m] = 0.0, math.inf, 0.0
    for i in range(drivers):
        for m in range(n):
            re, im = flows[i, 0, m], flows[i, 1, m]
            size[i, m] = _PEAK * math.sqrt(re * re + im * im) / (bounds.area * omega[m])
            permitted[0, m] = max(permitted[0, m], size[i, m])
            current[0, m] += back * re
            current[1, m] += back * im
    whole = 1.0 if bounds.series else float(drivers)
    share = 1.0 / drivers if bounds.series else 1.0
    for m in range(n):
        re, im = times(whole - current[0, m], -current[1, m], coil[0, m], coil[1, m])
        re, im = share * re, share * im
        current[0, m], current[1, m] = re, im
        amount = math.sqrt(re * re + im * im)
        power = re if bounds.kind == 0 else (amount if bounds.kind == 1 else bounds.nominal)
        permitted[0, m] = bounds.excursion / permitted[0, m]
        permitted[2, m] = math.sqrt(bounds.power / power)
        permitted[4, m] = bounds.voltage
        permitted[5, m] = bounds.current / amount
    for i in range(drivers, first):
        for m in range(n):
            re, im = flows[i, 0, m], flows[i, 1, m]
            size[i, m] = _PEAK * math.sqrt(re * re + im * im) / (passive[i - drivers, m] * omega[m])
            permitted[1, m] = min(permitted[1, m], reach[i - drivers, m] / size[i, m])
    for i in range(first, size.shape[0]):
        for m in range(n):
            re, im = flows[i, 0, m], flows[i, 1, m]
            size[i, m] = _PEAK * math.sqrt(re * re + im * im) / area[i - first, m]
            permitted[3, m] = max(permitted[3, m], size[i, m])
    for m in range(n):
        permitted[3, m] = bounds.air_speed / permitted[3, m] if bounds.ducts else math.inf
        least = min(permitted[0, m], permitted[1, m])
        least = min(least, min(permitted[2, m], permitted[3, m]))
        least = min(least, min(permitted[4, m], permitted[5, m]))
        voltage[m] = fixed[m] if use_fixed else least


@compiled
def answer(
    graph: Graph, n: int, system: System, speeds: np.ndarray, use_fixed: bool, scratch: Scratch, state: State
) -> None:
    """State with the end losses of given air speeds, drivers and diaphragms already eliminated.

    Parameters
    ----------
    graph : Graph
        Structure [record].
    n : int
        Designs and tones in work [1].
    system : System
        What is left of their systems [record].
    speeds : ndarray, shape (2 n_ducts, n)
        Peak air speeds at duct ends [m/s].
    use_fixed : bool
        Whether the voltage is given [flag].
    scratch : Scratch
        Room to work in [record].
    state : State
        Written in place [record].
    """
    work, right = scratch.work, scratch.right
    first = graph.bounds.drivers + graph.bounds.diaphragms
    for k in range(graph.kept.size):
        e = graph.kept[k]
        for m in range(n):
            work[e, 0, m], work[e, 1, m] = system.planes[e, 0, m], system.planes[e, 1, m]
    for end in range(speeds.shape[0]):
        e = graph.diagonals[end]
        for m in range(n):
            work[e, 0, m] += system.loss[end, m] * speeds[end, m]
            right[first + end, 0, m] = system.right[first + end, 0, m]
            right[first + end, 1, m] = system.right[first + end, 1, m]
    eliminate_planes(graph.inner, n, work, right, scratch.factor)
    substitute_planes(graph.inner, n, work, right, state.flows)
    substitute_planes(graph.outer, n, system.planes, system.right, state.flows)
    permitted_drive(graph.bounds, n, system, use_fixed, state)
