"""Finite elements on a tensor grid: a cuboid of air with a rigid block cut out of it.

The elements are hexahedra with quadratic functions along each axis (27 nodes). On a tensor
grid their matrices are Kronecker products of one-dimensional ones, and so are point values
and patch averages, so that no loop over elements is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

STIFFNESS_1D = np.array([[7.0, -8.0, 1.0], [-8.0, 16.0, -8.0], [1.0, -8.0, 7.0]]) / 3.0
"""Integral of products of slopes of the quadratic functions on a unit cell."""

MASS_1D = np.array([[4.0, 2.0, -1.0], [2.0, 16.0, 2.0], [-1.0, 2.0, 4.0]]) / 30.0
"""Integral of products of the quadratic functions on a unit cell."""

Lines = tuple[np.ndarray, np.ndarray, np.ndarray]


def shape_functions(u: np.ndarray) -> np.ndarray:
    """Three quadratic functions of a cell at local places 0..1, shape u.shape + (3,) [1]."""
    return np.stack([(1 - u) * (1 - 2 * u), 4 * u * (1 - u), u * (2 * u - 1)], axis=-1)


def line_nodes(lines: np.ndarray) -> np.ndarray:
    """Nodes of one axis: cell ends and middles, shape (2 n_cells + 1,) [m]."""
    nodes = np.empty(2 * len(lines) - 1)
    nodes[::2] = lines
    nodes[1::2] = 0.5 * (lines[:-1] + lines[1:])
    return nodes


def point_row(lines: np.ndarray, at: np.ndarray) -> sparse.csr_matrix:
    """Matrix that takes node values of one axis to values at places, shape (n_at, n_nodes) [1]."""
    at = np.atleast_1d(np.asarray(at, dtype=float))
    cell = np.clip(np.searchsorted(lines, at, side="right") - 1, 0, len(lines) - 2)
    local = (at - lines[cell]) / (lines[cell + 1] - lines[cell])
    columns = (2 * cell[:, None] + np.arange(3)).ravel()
    rows = np.repeat(np.arange(len(at)), 3)
    values = shape_functions(local).ravel()
    return sparse.csr_matrix((values, (rows, columns)), shape=(len(at), 2 * len(lines) - 1))


def average_row(lines: np.ndarray, low: float, high: float) -> sparse.csr_matrix:
    """Mean over low..high of the functions of one axis, exact by Gauss points, shape (1, n_nodes) [1]."""
    inside = lines[(lines > low) & (lines < high)]
    ends = np.concatenate([[low], inside, [high]])
    points, weights = np.polynomial.legendre.leggauss(2)
    middle, half = 0.5 * (ends[1:] + ends[:-1]), 0.5 * np.diff(ends)
    at = (middle[:, None] + half[:, None] * points).ravel()
    weight = (half[:, None] * weights).ravel() / (high - low)
    return sparse.csr_matrix(weight[None, :] @ point_row(lines, at))


def _matrices_1d(lines: np.ndarray, cells: np.ndarray) -> tuple[sparse.csr_matrix, sparse.csr_matrix]:
    """Stiffness and mass of the flagged cells of one axis, on all its nodes."""
    steps = np.diff(lines)
    chosen = np.flatnonzero(cells)
    rows = 2 * chosen[:, None, None] + np.arange(3)[:, None] + np.zeros(3, dtype=int)
    columns = rows.transpose(0, 2, 1)
    shape = (2 * len(lines) - 1,) * 2
    place = (rows.ravel(), columns.ravel())
    stiffness = (STIFFNESS_1D / steps[chosen, None, None]).ravel()
    mass = (MASS_1D * steps[chosen, None, None]).ravel()
    return sparse.csr_matrix((stiffness, place), shape=shape), sparse.csr_matrix((mass, place), shape=shape)


def _kron(a: sparse.csr_matrix, b: sparse.csr_matrix) -> sparse.csr_matrix:
    return sparse.kron(a, b, format="csr")


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A tensor grid of air cells with a rigid block left out.

    Attributes
    ----------
    lines : tuple of three ndarrays
        Rising cell ends along x, y, z; the block's faces lie on lines [m].
    block : ndarray, shape (2, 3), or None
        Lowest and highest corner of the block [m].
    """

    lines: Lines
    block: np.ndarray | None

    def _block_cells(self) -> list[np.ndarray]:
        """For each axis, which of its cells lie within the block's extent."""
        if self.block is None:
            return [np.zeros(len(line) - 1, dtype=bool) for line in self.lines]
        middles = [0.5 * (line[1:] + line[:-1]) for line in self.lines]
        return [(m > self.block[0, i]) & (m < self.block[1, i]) for i, m in enumerate(middles)]

    def air_nodes(self) -> np.ndarray:
        """List the nodes that touch air, as indices of all tensor nodes (z fastest), shape (n_air,) [1]."""
        shape = [2 * len(line) - 1 for line in self.lines]
        touched = np.ones(shape, dtype=bool)
        cells = self._block_cells()
        if all(c.any() for c in cells):
            lost = []
            for c in cells:
                node = np.zeros(2 * len(c) + 1, dtype=bool)
                low, high = 2 * int(np.flatnonzero(c)[0]), 2 * int(np.flatnonzero(c)[-1]) + 2
                # a face against the outer wall has no air behind it: its nodes go too
                node[low + (low > 0) : high + (high == len(node) - 1)] = True
                lost.append(node)
            touched[np.ix_(*lost)] = False
        return np.flatnonzero(touched.ravel())

    def matrices(self) -> tuple[sparse.csc_matrix, sparse.csc_matrix]:
        """Stiffness and mass matrix on the air nodes, each of shape (n_air, n_air) [m, m3]."""
        whole = [_matrices_1d(line, np.ones(len(line) - 1, dtype=bool)) for line in self.lines]
        part = [_matrices_1d(line, c) for line, c in zip(self.lines, self._block_cells(), strict=True)]
        keep = self.air_nodes()
        pairs = []
        for (kx, mx), (ky, my), (kz, mz) in (whole, part):
            across = _kron(mx, my)
            pairs.append((_kron(_kron(kx, my) + _kron(mx, ky), mz) + _kron(across, kz), _kron(across, mz)))
        stiffness, mass = (sparse.csc_matrix((a - b)[keep][:, keep]) for a, b in zip(*pairs, strict=True))
        return stiffness, mass

    def point_load(self, at: np.ndarray) -> np.ndarray:
        """Values of all functions of the air nodes at a point, shape (n_air,) [1]."""
        return self._load([point_row(line, np.array([at[i]])) for i, line in enumerate(self.lines)])

    def patch_load(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Mean of all functions over a rectangle (low = high along its normal), shape (n_air,) [1]."""
        rows = [
            average_row(line, low[i], high[i]) if high[i] > low[i] else point_row(line, np.array([low[i]]))
            for i, line in enumerate(self.lines)
        ]
        return self._load(rows)

    def _load(self, rows: list[sparse.csr_matrix]) -> np.ndarray:
        """Products of a row of each axis, over the air nodes."""
        x, y, z = (row.toarray().ravel() for row in rows)
        return np.asarray((x[:, None, None] * y[:, None] * z).ravel()[self.air_nodes()])

    def prolongation(self, finer: Grid) -> sparse.csr_matrix:
        """Matrix from this grid's air nodes to another's that subdivides (part of) it [1]."""
        x, y, z = (point_row(a, line_nodes(b)) for a, b in zip(self.lines, finer.lines, strict=True))
        return _kron(_kron(x, y), z)[finer.air_nodes()][:, self.air_nodes()]
