"""Air volumes by finite elements, reduced: graded grids, Krylov bases of the loads, impedances among them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import sparse
from scipy.linalg import eigh

from models.cabin_local import factor

BLOCKS = 12
"""Blocks of the Krylov basis."""


def graded_lines(marks: np.ndarray, step: float, finest: float, growth: float = 2.0) -> np.ndarray:
    """Cell ends of one axis, the cells growing from every mark, from the finest to the step.

    Parameters
    ----------
    marks : ndarray
        Places that must be cell ends; the first and last are the walls [m].
    step : float
        Largest cell [m].
    finest : float
        Largest cell beside a mark [m].
    growth : float
        Ratio of neighbouring cells [1].

    Returns
    -------
    ndarray, shape (n_cells + 1,)
        Cell ends, rising [m].
    """
    ends = np.unique(np.round(marks, 9))
    lines = [ends[:1]]
    for low, high in pairwise(ends):
        sizes, size, rest = [], finest, float(high - low)
        while size < step and 2.5 * size < rest:
            sizes.append(size)
            rest -= 2.0 * size
            size *= growth
        middle = max(int(np.ceil(rest / min(size, step) - 1e-9)), 1)
        cells = np.array([*sizes, *[rest / middle] * middle, *sizes[::-1]])
        lines.append(low + np.cumsum(cells))
        lines[-1][-1] = high
    return np.concatenate(lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """A reduced air volume: geometry only, no air.

    Attributes
    ----------
    stiffness, mass : ndarray, shape (n, n)
        Reduced matrices [m], [m3].
    loads : ndarray, shape (n, n_patches)
        Means over the patches of the basis [1].
    nodes : int
        Nodes of the full grid [1].
    """

    stiffness: np.ndarray
    mass: np.ndarray
    loads: np.ndarray
    nodes: int

    def impedance(self, wavenumber: np.ndarray) -> np.ndarray:
        """Mean pressure at a patch per flow into another over j w rho, shape (n_k, n, n) [1/m]."""
        squares = np.asarray(wavenumber)[:, None, None] ** 2
        return np.asarray(
            self.loads.T @ np.linalg.solve(self.stiffness - squares * self.mass, self.loads[None])
        )

    def wavenumbers(self) -> np.ndarray:
        """Wavenumbers of the modes with every patch shut, rising; those of low modes are right [1/m]."""
        squares = eigh(self.stiffness, self.mass, eigvals_only=True)
        return np.asarray(np.sqrt(np.maximum(squares, 0.0)))


def reduced(
    stiffness: sparse.csc_matrix,
    mass: sparse.csc_matrix,
    loads: np.ndarray,
    shift: float,
    blocks: int = BLOCKS,
) -> Response:
    """Reduced response on a block Krylov basis of the loads, by one factorisation.

    Parameters
    ----------
    stiffness, mass : sparse matrices
        Of the full grid, symmetric [m], [m3].
    loads : ndarray, shape (n_nodes, n_patches)
        Means over the patches of the grid's functions [1].
    shift : float
        Share of the mass that is added to the stiffness before it is factored [1/m2].
    blocks : int
        Blocks of the basis [1].

    Returns
    -------
    Response
        Reduced matrices [record].
    """
    solve = factor(sparse.csc_matrix(stiffness + shift * mass))
    basis = np.empty((loads.shape[0], 0))
    block = loads
    for _ in range(blocks):
        block = np.column_stack([solve(column) for column in block.T])
        for _ in range(2):
            block = block - basis @ (basis.T @ (mass @ block))
        block = block / np.sqrt(np.sum(block * (mass @ block), axis=0))
        left, scale, _ = np.linalg.svd(block.T @ (mass @ block))
        keep = scale > 1e-10 * scale[0]
        block = block @ (left[:, keep] / np.sqrt(scale[keep]))
        basis = np.column_stack([basis, block])
        block = mass @ block
    return Response(
        stiffness=basis.T @ (stiffness @ basis),
        mass=basis.T @ (mass @ basis),
        loads=basis.T @ loads,
        nodes=loads.shape[0],
    )
