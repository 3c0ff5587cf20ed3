"""Ports of a cabin, and the near field of one that a coarse grid is too coarse to hold."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from models.cabin_grid import Grid

FINENESS = 0.55
"""Largest cell of the grid around a port, as a part of the port's side plus the distance from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """A rectangle on a wall through which air flows evenly, in the cabin's axes.

    Attributes
    ----------
    low, high : tuple of three floats
        Corners; equal along the rectangle's normal [m].
    """

    low: tuple[float, float, float]
    high: tuple[float, float, float]


def factor(matrix: sparse.csc_matrix, ordered: bool = False) -> Callable[[np.ndarray], np.ndarray]:
    """Solver of a symmetric matrix by its sparse factors; ``ordered`` keeps the order of its rows."""
    order = "NATURAL" if ordered else "MMD_AT_PLUS_A"
    solved = splu(matrix, permc_spec=order, diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return solved.solve  # type: ignore[no-any-return]


def _graded(a: float, b: float, low: float, high: float, fineness: float, side: float) -> np.ndarray:
    """Lay ends of cells from a (left out) to b that grow with the distance from low..high [m]."""
    away = max(low - b, a - high, 0.0)
    # cells of fineness * (side + distance) are even steps of log(side + distance)
    start, stop = side + away, side + away + (0.0 if low <= a and b <= high else b - a)
    if stop == start:
        even = max(1, math.ceil((b - a) / (fineness * side) - 1e-9))
        return np.asarray(a + (b - a) * np.arange(1, even + 1) / even)
    count = max(1, math.ceil(math.log(stop / start) / math.log1p(fineness) - 1e-9))
    steps = start * (stop / start) ** (np.arange(count + 1) / count) - start
    if a >= high:
        return np.asarray([*(a + steps[1:-1]), b])
    return np.asarray([*(b - steps[::-1][1:-1]), b])


def local_excess(
    grid: Grid, static: np.ndarray, volume: float, port: Port, fineness: float = FINENESS
) -> float:
    """Add up the static self energy of a port that a grid is too coarse to hold.

    A finer grid is laid around the port; the correction to the coarse solution is zero on its
    cut boundary and meets the equations inside. It makes the energy larger, never smaller, and
    stays below the exact value.

    Parameters
    ----------
    grid : Grid
        The coarse grid [m].
    static : ndarray, shape (n_air,)
        Its potential for unit flux through the port and an even sink in the air [1/m].
    volume : float
        Of the air [m3].
    port : Port
        The port [m].
    fineness : float
        Largest cell as a part of the port's side plus the distance from it [1].

    Returns
    -------
    float
        What is missing in the coarse self term [1/m].
    """
    low, high = np.array(port.low), np.array(port.high)
    side = float(np.max(high - low))
    lines, cut_low, cut_high = [], [], []
    for axis, line in enumerate(grid.lines):
        slack = 1e-9 * line[-1]
        first = max(int(np.searchsorted(line, low[axis] - 1.5 * side + slack, side="right")) - 1, 0)
        last = min(int(np.searchsorted(line, high[axis] + 1.5 * side - slack)), len(line) - 1)
        edges = [e for e in (low[axis], high[axis]) if np.min(np.abs(line - e)) > slack]
        marks = np.sort(np.concatenate([line[first : last + 1], edges]))
        fine = [float(marks[0])]
        for a, b in pairwise(marks):
            fine.extend(_graded(float(a), float(b), float(low[axis]), float(high[axis]), fineness, side))
        lines.append(np.array(fine))
        cut_low.append(first > 0)
        cut_high.append(last < len(line) - 1)
    local = Grid(lines=(lines[0], lines[1], lines[2]), block=grid.block)
    nodes = local.air_nodes()
    shape = [2 * len(line) - 1 for line in lines]
    free = np.ones(len(nodes), dtype=bool)
    for axis, index in enumerate(np.unravel_index(nodes, shape)):
        free &= ~((index == 0) & cut_low[axis]) & ~((index == shape[axis] - 1) & cut_high[axis])
    stiffness, mass = local.matrices()
    right = local.patch_load(low, high) - mass @ np.full(len(nodes), 1.0 / volume)
    right -= stiffness @ (grid.prolongation(local) @ static)
    right = right[free]
    inner = sparse.csc_matrix(stiffness[free][:, free])
    return float(right @ factor(inner)(right))
