"""Elimination and largest permitted drive of :mod:`models.drive`, compiled, designs and tones side by side.

The schedule of :mod:`models.elimination` comes as arrays: a row of ``steps`` holds a pivot, its diagonal
entry, and where its unknowns begin and end in ``others``; a row of ``others`` holds an unknown and its entry
with the pivot; ``targets`` lists the entries that the pairs of these change, in order.
"""

from __future__ import annotations

import math

import numpy as np

from models.drive import MAX_STEPS, SECANT_STEPS, TOLERANCE
from models.duct_kernel import reciprocal, times
from models.jit import compiled, exp, log
from models.kernel_records import Bounds, Steps

_LEAST = 1e-12
_PEAK = math.sqrt(2.0)


@compiled
def eliminate_planes(plan: Steps, planes: np.ndarray, right: np.ndarray, factor: np.ndarray) -> None:
    """Eliminate the pivots of a schedule; diagonal entries of pivots become their reciprocals.

    Parameters
    ----------
    plan : Steps
        The schedule [record].
    planes : ndarray, shape (n_entries, 2, n)
        Real and imaginary parts of the entries, changed in place [any].
    right : ndarray, shape (n_unknowns, 2, n)
        Right side, changed in place [any].
    factor : ndarray, shape (2, n)
        Scratch [any].
    """
    n = planes.shape[2]
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
def substitute_planes(plan: Steps, planes: np.ndarray, right: np.ndarray, flows: np.ndarray) -> None:
    """Recover the eliminated unknowns, last first.

    Parameters
    ----------
    plan : Steps
        The schedule [record].
    planes, right : ndarray
        As :func:`eliminate_planes` leaves them [any].
    flows : ndarray, shape (n_unknowns, 2, n)
        Unknowns, written in place [any].
    """
    n = planes.shape[2]
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
def permitted_drive(
    bounds: Bounds, flows: np.ndarray, omega: np.ndarray, coil: np.ndarray, passive: np.ndarray,
    reach: np.ndarray, area: np.ndarray, fixed: np.ndarray, use_fixed: bool, size: np.ndarray,
    current: np.ndarray, permitted: np.ndarray, voltage: np.ndarray,
) -> None:  # fmt: skip
    """Magnitudes at one volt, voltages at which each limit is met, and the drive.

    Parameters
    ----------
    bounds : Bounds
        Driver and limits [record].
    flows : ndarray, shape (n_unknowns, 2, n)
        Flows at one volt [m3/(s V)].
    omega : ndarray, shape (n,)
        Angular frequencies [rad/s].
    coil : ndarray, shape (2, n)
        Impedance of one coil [ohm].
    passive, reach : ndarray, shape (n_diaphragms, n)
        Areas and excursion limits of diaphragms [m2], [m].
    area : ndarray, shape (2 n_ducts, n)
        Cross-sections of duct ends [m2].
    fixed : ndarray, shape (n,)
        Given voltage, where there is one [V].
    use_fixed : bool
        Whether the voltage is given [flag].
    size : ndarray, shape (n_unknowns, n)
        Peak excursions of drivers and diaphragms, peak air speeds, written in place [m], [m/s].
    current : ndarray, shape (2, n)
        Amplifier current at one volt, written in place [A].
    permitted : ndarray, shape (6, n)
        Voltages of the limits, written in place [V].
    voltage : ndarray, shape (n,)
        The drive, written in place [V].
    """
    n = omega.size
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
        over_re, over_im = reciprocal(coil[0, m], coil[1, m])
        re, im = times(whole - current[0, m], -current[1, m], over_re, over_im)
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
def next_speeds(
    size: np.ndarray, first: int, voltage: np.ndarray, step: int, logs: np.ndarray, done: np.ndarray,
    speeds: np.ndarray,
) -> int:  # fmt: skip
    """One secant step on the logarithms of the air speeds; how many entries are still open.

    Parameters
    ----------
    size : ndarray, shape (n_unknowns, n)
        Peak air speeds at one volt, from the first duct on [m/s].
    first : int
        First duct's first flow [1].
    voltage : ndarray, shape (n,)
        Drive [V].
    step : int
        Steps taken before [1].
    logs : ndarray, shape (4, 2 n_ducts, n)
        Logarithms of speeds assumed and found, now and one step before [log m/s].
    done : ndarray, shape (2, n)
        1 where an entry has settled; largest change [1].
    speeds : ndarray, shape (2 n_ducts, n)
        Speeds assumed, written in place; those found where an entry settles [m/s].

    Returns
    -------
    int
        Entries that have not settled [1].
    """
    n = voltage.size
    ends = speeds.shape[0]
    for m in range(n):
        done[1, m] = 0.0
    for end in range(ends):
        for m in range(n):
            logs[1, end, m] = log(max(size[first + end, m] * voltage[m], _LEAST))
            done[1, m] = max(done[1, m], abs(logs[1, end, m] - logs[0, end, m]))
    left = 0
    for m in range(n):
        left += 0 if done[0, m] == 1.0 or done[1, m] < TOLERANCE else 1
    for end in range(ends):
        for m in range(n):
            now, found = logs[0, end, m], logs[1, end, m]
            run = now - logs[2, end, m]
            wide = abs(run) > 1e-13 and 0 < step < SECANT_STEPS
            slope = (found - logs[3, end, m]) / (run if wide else 1.0) if wide else -0.5
            slope = min(max(slope, -1.5), 0.6) if wide else slope
            coming = max(now + (found - now) / (1.0 - slope), math.log(_LEAST))
            logs[2, end, m], logs[3, end, m], logs[0, end, m] = now, found, coming
            settled = done[1, m] < TOLERANCE
            new = size[first + end, m] * voltage[m] if settled else exp(coming)
            speeds[end, m] = speeds[end, m] if done[0, m] == 1.0 else new
    for m in range(n):
        done[0, m] = 1.0 if done[0, m] == 1.0 or done[1, m] < TOLERANCE else 0.0
    return left


@compiled
def drive_group(
    outer: Steps, inner: Steps, kept: np.ndarray, diagonals: np.ndarray, bounds: Bounds,
    planes: np.ndarray, right: np.ndarray, work: np.ndarray, right_work: np.ndarray, flows: np.ndarray,
    omega: np.ndarray, coil: np.ndarray, passive: np.ndarray, reach: np.ndarray, area: np.ndarray,
    loss: np.ndarray, fixed: np.ndarray, use_fixed: bool, size: np.ndarray, current: np.ndarray,
    permitted: np.ndarray, voltage: np.ndarray, factor: np.ndarray, logs: np.ndarray, done: np.ndarray,
    speeds: np.ndarray,
) -> None:  # fmt: skip
    """Drive a group of designs and tones; states as in :func:`permitted_drive` are left behind.

    Parameters
    ----------
    outer, inner : Steps
        Schedules: drivers and diaphragms, then duct ends [record].
    kept : ndarray of int
        Entries that the inner schedule changes [1].
    diagonals : ndarray of int, shape (2 n_ducts,)
        Diagonal entries of the duct flows [1].
    bounds : Bounds
        Driver and limits [record].
    planes, right, work, right_work : ndarray
        System, changed in place, and scratch of the same shapes [any].
    flows, omega, coil, passive, reach, area, fixed, use_fixed, size, current, permitted, voltage
        As in :func:`permitted_drive` [mixed].
    loss : ndarray, shape (2 n_ducts, n)
        Level-dependent resistances per peak air speed [Pa s2/m4].
    factor, logs, done, speeds : ndarray
        Scratch; ``done[0]`` is 1 where the fixed point was found [mixed].
    """
    n = omega.size
    first = bounds.drivers + bounds.diaphragms
    ends = 2 * bounds.ducts
    eliminate_planes(outer, planes, right, factor)
    iterate = ends > 0 and bounds.losses
    for m in range(n):
        done[0, m] = 0.0 if iterate else 1.0
    for end in range(ends):
        for m in range(n):
            speeds[end, m] = 0.0
    # first without losses, then with those of the speeds found, and once more when all have settled
    for step in range(-1, MAX_STEPS + 1):
        for k in range(kept.size):
            e = kept[k]
            for m in range(n):
                work[e, 0, m], work[e, 1, m] = planes[e, 0, m], planes[e, 1, m]
        for end in range(ends):
            e = diagonals[end]
            for m in range(n):
                work[e, 0, m] += loss[end, m] * speeds[end, m]
                right_work[first + end, 0, m] = right[first + end, 0, m]
                right_work[first + end, 1, m] = right[first + end, 1, m]
        eliminate_planes(inner, work, right_work, factor)
        substitute_planes(inner, work, right_work, flows)
        substitute_planes(outer, planes, right, flows)
        permitted_drive(
            bounds,
            flows,
            omega,
            coil,
            passive,
            reach,
            area,
            fixed,
            use_fixed,
            size,
            current,
            permitted,
            voltage,
        )
        if not iterate or step == MAX_STEPS:
            return
        if step == -1:
            for end in range(ends):
                for m in range(n):
                    speeds[end, m] = size[first + end, m] * voltage[m]
                    logs[0, end, m] = log(max(speeds[end, m], _LEAST))
        else:
            iterate = next_speeds(size, first, voltage, step, logs, done, speeds) > 0
