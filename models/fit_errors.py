"""Residuals of a fitted impedance, and how sure fitted values are."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import OptimizeResult


def split_log(measured: np.ndarray, fitted: np.ndarray) -> np.ndarray:
    """Real parts, then imaginary parts, of ln(measured / fitted), shape (2 n,) [1]."""
    log = np.log(measured / fitted)
    return np.concatenate([log.real, log.imag])


def covariance(fit: OptimizeResult) -> np.ndarray:
    """Covariance of the parameters of a least-squares fit whose noise may differ from point to point.

    The estimator of J. G. MacKinnon and H. White, "Some heteroskedasticity-consistent covariance matrix
    estimators", J. Econometrics 29, 305-325 (1985), third form (from memory):
    (J^T J)^-1 J^T diag(r^2 / (1 - h)^2) J (J^T J)^-1 with the leverages h.

    Parameters
    ----------
    fit : OptimizeResult
        What :func:`scipy.optimize.least_squares` returned [record].

    Returns
    -------
    ndarray, shape (n_parameters, n_parameters)
        Covariance [squares of the parameters' units].
    """
    scale = np.linalg.norm(fit.jac, axis=0)
    scale[scale == 0.0] = 1.0
    unit = fit.jac / scale
    inverse = np.linalg.pinv(unit.T @ unit, rcond=1e-14)
    leverage = np.einsum("ij,jk,ik->i", unit, inverse, unit)
    weighted = unit * (fit.fun / np.maximum(1.0 - leverage, 1e-6))[:, None]
    return np.asarray(inverse @ (weighted.T @ weighted) @ inverse / np.outer(scale, scale))


def neighbour_correlation(residuals: np.ndarray, lengths: list[int]) -> float:
    """Correlation of residuals that follow each other within pieces of given lengths [1]."""
    pieces = np.split(residuals, np.cumsum(lengths)[:-1])
    total = sum(float(piece @ piece) for piece in pieces)
    return sum(float(piece[1:] @ piece[:-1]) for piece in pieces) / total if total > 0.0 else 0.0


def slopes_of(function: Callable[[np.ndarray], np.ndarray], x: np.ndarray) -> np.ndarray:
    """Derivatives by central differences, shape (n_values, n_parameters)."""
    steps = 1e-5 * np.maximum(np.abs(x), 1e-2)
    columns = []
    for i, step in enumerate(steps):
        up, down = x.copy(), x.copy()
        up[i] += step
        down[i] -= step
        columns.append((function(up) - function(down)) / (2.0 * step))
    return np.array(columns).T
