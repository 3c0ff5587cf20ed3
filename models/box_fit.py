"""A built box's measured impedance against its design: leaks, duct lengths and the driver's drift.

The design's own network is fitted to the sweep at the voltage at which it was taken. Residuals and
uncertainties are those of :mod:`models.fit_errors`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from models.design import DesignBatch
from models.driver import Driver
from models.fit_errors import covariance, neighbour_correlation, split_log
from models.impedance_peak import Sweep
from models.rules import Rules
from models.score import Judge

GROUPS = ("leak", "length", "compliance", "coil", "loss")
"""What may be fitted: leak of every chamber, length of every duct, compliance of the driver's suspension,
resistance of its coil with the leads, its mechanical loss."""

SMALLEST_FACTOR, LARGEST_FACTOR = 0.2, 5.0
"""Range of the factors on lengths and driver values [1]."""

LARGEST_LEAK_HZ = 1000.0
"""Highest corner of a leak [Hz]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One fitted quantity.

    Attributes
    ----------
    group : str
        One of :data:`GROUPS` [text].
    index : int
        Chamber or duct; 0 for the driver [1].
    value : float
        Corner of the leak [Hz], or factor on the design's value [1].
    uncertainty : float
        Standard uncertainty of the same, from the scatter about the fit [Hz or 1].
    """

    group: str
    index: int
    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxFit:
    """What a sweep says about a built box.

    Attributes
    ----------
    changes : tuple of Change
        What was fitted [list].
    predicted, fitted : complex ndarray, shape (n,)
        Impedance of the design as drawn and of the fit [ohm].
    scatter_before, scatter : float
        Root mean square residual before and after, relative in magnitude and in radians of phase [1].
    memory : float
        Correlation of neighbouring residuals [1].
    """

    changes: tuple[Change, ...]
    predicted: np.ndarray
    fitted: np.ndarray
    scatter_before: float
    scatter: float
    memory: float


def changed(
    rules: Rules, batch: DesignBatch, changes: Sequence[tuple[str, int, float]]
) -> tuple[Rules, DesignBatch]:
    """Season and design with fitted values in them.

    Parameters
    ----------
    rules : Rules
        The season, whose driver may drift [record].
    batch : DesignBatch
        One design [record].
    changes : sequence of (str, int, float)
        Group, index and value as in :class:`Change` [mixed].

    Returns
    -------
    tuple of Rules and DesignBatch
        Both changed [record].
    """
    driver: Driver = rules.driver
    ducts = list(batch.ducts)
    chambers = range(batch.topology.chambers)
    leaks = [batch.leak_of(chamber) for chamber in chambers]
    for group, index, value in changes:
        if group == "leak":
            leaks[index] = np.full(batch.size, value)
        elif group == "length":
            ducts[index] = replace(ducts[index], length=batch.ducts[index].length * value)
        elif group == "compliance":
            driver = replace(driver, compliance=driver.compliance * value)
        elif group == "coil":
            driver = replace(driver, coil_resistance=driver.coil_resistance * value)
        else:
            driver = replace(driver, resistance_mechanical=driver.resistance_mechanical * value)
    own = tuple(leaks) if any(leak is not None for leak in leaks) else ()
    return replace(rules, driver=driver), replace(batch, ducts=tuple(ducts), leak=own)


def fit_box(
    rules: Rules, batch: DesignBatch, sweep: Sweep, voltage: float, groups: Sequence[str] = GROUPS[:4]
) -> BoxFit:
    """Fit a design to the impedance of the box built from it.

    Parameters
    ----------
    rules : Rules
        The season, with the one space in which the sweep was taken [record].
    batch : DesignBatch
        The design as drawn, a batch of one [record].
    sweep : Sweep
        Measured impedance at the terminals [record].
    voltage : float
        Amplifier voltage of the sweep, rms [V].
    groups : sequence of str
        What is fitted, of :data:`GROUPS` [text].

    Returns
    -------
    BoxFit
        Fitted values with uncertainties, and the impedances [record].

    Raises
    ------
    ValueError
        Nothing to fit, more to fit than points, or a fit that does not settle.
    """
    judge = Judge(rules, sweep.hz, backend="numpy")
    counts = {"leak": batch.topology.chambers, "length": len(batch.ducts)}
    names = [(group, index) for group in GROUPS if group in groups for index in range(counts.get(group, 1))]
    if not names:
        raise ValueError("there is nothing to fit: the design has no duct")
    if 2 * sweep.hz.size <= 2 * len(names):
        raise ValueError(f"{sweep.hz.size} points are too few for {len(names)} quantities")

    def impedance(values: np.ndarray) -> np.ndarray:
        changes = [(group, index, float(v)) for (group, index), v in zip(names, values, strict=True)]
        now, box = changed(rules, batch, changes)
        return np.asarray(judge.with_rules(now).respond(box, voltage).impedance[0, 0])

    is_leak = np.array([group == "leak" for group, _ in names])
    predicted = np.asarray(judge.respond(batch, voltage).impedance[0, 0])
    typical = float(np.sqrt(sweep.hz[0] * sweep.hz[-1])) / 50.0
    result = least_squares(
        lambda values: split_log(sweep.impedance, impedance(values)),
        np.where(is_leak, typical, 1.0),
        jac="3-point",
        bounds=(np.where(is_leak, 0.0, SMALLEST_FACTOR), np.where(is_leak, LARGEST_LEAK_HZ, LARGEST_FACTOR)),
        x_scale="jac",
        max_nfev=60,
    )
    if not result.success:
        raise ValueError("the fit did not settle; is this the sweep of this design?")
    sigma = np.sqrt(np.maximum(np.diag(covariance(result)), 0.0))
    before = split_log(sweep.impedance, predicted)
    return BoxFit(
        changes=tuple(
            Change(group=group, index=index, value=float(value), uncertainty=float(one))
            for (group, index), value, one in zip(names, result.x, sigma, strict=True)
        ),
        predicted=predicted,
        fitted=impedance(result.x),
        scatter_before=float(np.sqrt(np.mean(before**2))),
        scatter=float(np.sqrt(np.mean(result.fun**2))),
        memory=neighbour_correlation(result.fun, [sweep.hz.size] * 2),
    )
