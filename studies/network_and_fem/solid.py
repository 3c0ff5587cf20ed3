"""A rigid air volume made of cuboids, by finite elements on a tensor grid.

The cells of the grid that lie in a union of cuboids are quadratic hexahedra (27 nodes). Patches on
the walls let air in with uniform velocity and read the mean pressure. One factorisation and a block
Krylov basis of the loads reduce the equations to a few dozen unknowns, after which a frequency costs
nothing and poles are eigenvalues.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import sparse

from models.air_response import BLOCKS, Response, graded_lines, reduced
from models.cabin_grid import MASS_1D, STIFFNESS_1D, average_row, point_row

Box = tuple[tuple[float, float, float], tuple[float, float, float]]
"""Lowest and highest corner of a cuboid, or of a rectangle whose corners agree along its normal [m]."""

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
    size = float(np.max(corners[:, 1] - corners[:, 0]))
    return reduced(stiffness, mass, loads, 1.0 / size**2, blocks)


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
