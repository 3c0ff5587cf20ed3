"""The same evaluation by dense linear algebra: numpy.linalg.solve on every design, tone and step.

Kept plain on purpose: one matrix a design and tone, solved whole, the level-dependent losses
iterated with the same secant step on the whole batch until every entry has settled. It serves as
a check of the elimination and as the yardstick of its speed.
"""

from __future__ import annotations

import numpy as np

from models.design import DesignBatch
from models.drive import MAX_STEPS, TOLERANCE
from models.network import Network
from models.rules import Rules
from models.score import REFERENCE_PRESSURE, Judge


def dense_matrix(network: Network) -> np.ndarray:
    """Impedance matrices at small level, shape (n_designs, n_tones, n_unknowns, n_unknowns) [Pa s/m3]."""
    shape = next(iter(network.planes.values())).shape
    matrix = np.zeros((*shape, network.size, network.size), dtype=complex)
    for (i, j), plane in network.planes.items():
        matrix[..., i, j] = plane
        matrix[..., j, i] = plane
    return matrix


def dense_levels(judge: Judge, batch: DesignBatch) -> np.ndarray:
    """Levels at the largest permitted drive of boxes without diaphragms, by dense solves.

    Parameters
    ----------
    judge : Judge
        The season's evaluator; drive is sought per tone [record].
    batch : DesignBatch
        Designs of one topology [record].

    Returns
    -------
    ndarray, shape (n_designs, n_spaces * n_tones)
        Levels [dB].
    """
    network = judge.network(batch)
    rules, omega = judge.rules, judge.omega
    matrix = dense_matrix(network)
    source = np.zeros((*matrix.shape[:3], 1), dtype=complex)
    for unknown, plane in network.source.items():
        source[..., unknown, 0] = plane
    first = network.first_duct
    ends = np.arange(first, network.size)
    area = network.duct_area.T[:, None, :]
    loss = network.end_loss.T[:, None, :]

    def answer(speed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        loaded = matrix.copy()
        loaded[..., ends, ends] += loss * speed
        flows = np.linalg.solve(loaded, source)[..., 0]
        return flows, _permitted_voltage(flows, network, rules, omega, area)

    speed = np.zeros((*matrix.shape[:2], ends.size))
    flows, voltage = answer(speed)
    old_log = old_new = None
    for step in range(MAX_STEPS if ends.size else 0):
        new = np.sqrt(2.0) * np.abs(flows[..., first:]) * voltage[..., None] / area
        if step == 0:
            speed = new
        else:
            log, log_new = np.log(speed), np.log(new)
            if np.max(np.abs(log_new - log)) < TOLERANCE:
                break
            slope = np.full_like(log, -0.5)
            if old_log is not None and old_new is not None:
                run = log - old_log
                with np.errstate(divide="ignore", invalid="ignore"):
                    slope = np.where(np.abs(run) > 1e-13, (log_new - old_new) / run, -0.5)
                slope = np.clip(slope, -1.5, 0.6)
            old_log, old_new = log, log_new
            speed = np.exp(log + (log_new - log) / (1.0 - slope))
        flows, voltage = answer(speed)
    pressure = np.zeros(matrix.shape[:2], dtype=complex)
    for unknown, transfer in network.transfer.items():
        pressure += transfer * flows[..., unknown] * voltage
    return np.asarray(20.0 * np.log10(np.abs(pressure) / REFERENCE_PRESSURE))


def _permitted_voltage(
    flows: np.ndarray, network: Network, rules: Rules, omega: np.ndarray, area: np.ndarray
) -> np.ndarray:
    driver, limits = rules.driver, rules.limits
    velocity = flows[..., : network.driver_count] / driver.area
    current = ((1.0 - driver.force_factor * velocity) / driver.coil_impedance(omega)[:, None]).sum(axis=-1)
    peak = np.sqrt(2.0)
    candidates = [
        limits.excursion / (peak * np.abs(velocity).max(axis=-1) / omega),
        np.sqrt(limits.power / current.real),
    ]
    if limits.air_speed is not None and network.duct_count:
        speed = peak * np.abs(flows[..., network.first_duct :]) / area
        candidates.append(limits.air_speed / speed.max(axis=-1))
    if limits.voltage is not None:
        candidates.append(np.full(current.shape, limits.voltage))
    if limits.current is not None:
        candidates.append(limits.current / np.abs(current))
    return np.asarray(np.min(candidates, axis=0))
