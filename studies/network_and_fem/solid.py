"""A rigid air volume made of cuboids, by finite elements on a tensor grid.

The cells of the grid that lie in a union of cuboids are quadratic hexahedra (27 nodes). Patches on
the walls let air in with uniform velocity and read the mean pressure. One factorisation and a block
Krylov basis of the loads reduce the equations to a few dozen unknowns, after which a frequency costs
nothing and poles are eigenvalues.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import sparse
from scipy.linalg import eigh

from models.cabin_grid import MASS_1D, STIFFNESS_1D, average_row, point_row
from models.cabin_modes import factor

Box = tuple[tuple[float, float, float], tuple[float, float, float]]
"""Lowest and highest corner of a cuboid, or of a rectangle whose corners agree along its normal [m]."""

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
        return np.sqrt(np.maximum(eigh(self.stiffness, self.mass, eigvals_only=True), 0.0))


def solve_solid(
    cuboids: Sequence[Box], patches: Sequence[Box], *, step: float, finest: float, blocks: int = BLOCKS
) -> Response:
    """Reduced response of the air in a union of cuboids.

    Parameters
    ----------
    cuboids : sequence of boxes
        Cuboids of air; those that share a part of a face are joined there [m].
    patches : sequence of boxes
        Rectangles on rigid walls that air flows through evenly [m].
    step : float
        Largest cell [m].
    finest : float
        Largest cell beside the faces of cuboids and the edges of patches, where the flow is singular [m].
    blocks : int
        Blocks of the Krylov basis [1].

    Returns
    -------
    Response
        Reduced matrices [record].
    """
    corners = np.array(cuboids)
    marks = np.concatenate([corners, np.array(patches)])
    lines = [graded_lines(marks[:, :, axis].ravel(), step, finest) for axis in range(3)]
    middles = [0.5 * (line[1:] + line[:-1]) for line in lines]
    air = np.zeros([m.size for m in middles], dtype=bool)
    for low, high in corners:
        inside = [(m > low[i]) & (m < high[i]) for i, m in enumerate(middles)]
        air[np.ix_(*inside)] = True
    stiffness, mass, nodes = _matrices(lines, air)
    loads = np.column_stack([_load(lines, np.array(box), nodes) for box in patches])
    return _reduce(stiffness, mass, loads, float(np.max(corners[:, 1] - corners[:, 0])), blocks)


def _matrices(
    lines: list[np.ndarray], air: np.ndarray
) -> tuple[sparse.csc_matrix, sparse.csc_matrix, np.ndarray]:
    """Stiffness and mass on the nodes that touch air, and the places of those among all nodes."""
    cells = np.argwhere(air)
    shape = [2 * line.size - 1 for line in lines]
    local = np.stack(np.meshgrid(*[np.arange(3)] * 3, indexing="ij"), axis=-1).reshape(27, 3)
    index = np.ravel_multi_index(tuple((2 * cells[:, None, :] + local).transpose(2, 0, 1)), shape)
    nodes, numbers = np.unique(index, return_inverse=True)
    numbers = numbers.reshape(index.shape)
    h = np.stack([np.diff(line)[cells[:, axis]] for axis, line in enumerate(lines)], axis=1)
    volume = np.prod(h, axis=1)

    def block(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
        return np.asarray(np.kron(np.kron(a, b), c)).ravel()

    k, m = STIFFNESS_1D, MASS_1D
    parts = [block(k, m, m), block(m, k, m), block(m, m, k)]
    stiff = sum((volume / h[:, axis] ** 2)[:, None] * part for axis, part in enumerate(parts))
    heavy = volume[:, None] * block(m, m, m)
    place = (np.repeat(numbers, 27, axis=1).ravel(), np.tile(numbers, (1, 27)).ravel())
    size = (nodes.size, nodes.size)
    return (
        sparse.csc_matrix((np.asarray(stiff).ravel(), place), shape=size),
        sparse.csc_matrix((heavy.ravel(), place), shape=size),
        nodes,
    )


def _load(lines: list[np.ndarray], box: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    rows = [
        average_row(line, low, high) if high > low else point_row(line, np.array([low]))
        for line, low, high in zip(lines, *box, strict=True)
    ]
    whole = sparse.kron(sparse.kron(rows[0], rows[1]), rows[2]).toarray().ravel()
    if abs(whole[nodes].sum() - 1.0) > 1e-6:
        raise ValueError(f"patch {box.tolist()} does not lie on the air")
    return np.asarray(whole[nodes])


def _reduce(
    stiffness: sparse.csc_matrix, mass: sparse.csc_matrix, loads: np.ndarray, size: float, blocks: int
) -> Response:
    solve = factor(sparse.csc_matrix(stiffness + mass / size**2))
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
