"""Exact slopes of real algebra: one variable a row moves by a tiny imaginary number.

Where a function is made of sums, products, powers and elementary functions, its value at x + jh has the
slope times h as its imaginary part, with no difference taken and so no digit lost (W. Squire, G. Trapp,
SIAM Review 40, 1998, 110-112, from memory). Least and largest of several numbers, and sorting, look at
imaginary parts where real ones are equal: there, each slope is that of a step upwards.
"""

from __future__ import annotations

import numpy as np

STEP = 1e-30
"""The imaginary number, so small that its square is lost [1]."""


def stepped(x: np.ndarray) -> np.ndarray:
    """Every point once for every variable, that one moved.

    Parameters
    ----------
    x : ndarray, shape (n_points, n)
        Variables of points [1].

    Returns
    -------
    complex ndarray, shape (n_points * n, n)
        The points, each repeated n times [1].
    """
    count, n = x.shape
    rows = np.repeat(x[:, None], n, axis=1).astype(complex)
    rows[:, np.arange(n), np.arange(n)] += 1j * STEP
    return rows.reshape(count * n, n)


def parted(values: np.ndarray, points: int) -> tuple[np.ndarray, np.ndarray]:
    """Values and slopes of functions of :func:`stepped` rows.

    Parameters
    ----------
    values : ndarray, shape (n_functions, n_points * n)
        What the functions gave [any].
    points : int
        Number of points [1].

    Returns
    -------
    tuple of two ndarrays, shape (n_points, n_functions) and (n_points, n_functions, n)
        Values, and slopes with respect to every variable [any].
    """
    grid = np.asarray(values).reshape(values.shape[0], points, -1)
    slope = np.ascontiguousarray((grid.imag / STEP).transpose(1, 0, 2))
    return np.ascontiguousarray(grid[..., 0].real.T), slope


def cube_root(x: np.ndarray) -> np.ndarray:
    """Cube root of positive numbers, which may have been :func:`stepped`."""
    if not np.iscomplexobj(x):
        return np.asarray(np.cbrt(x))
    root = np.cbrt(x.real)
    return np.asarray(root + 1j * x.imag / (3.0 * root**2))
