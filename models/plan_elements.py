"""Air of one plan in three dimensions, by finite elements of scikit-fem.

All walls of a plan stand upright, so its mesh of hexahedra is a mesh of the floor's quadrilaterals times
a line along the height: quadratic functions of 9 nodes times 3, so 27 a hexahedron. The line's own
discrete modes part the equations, exactly, into one problem on the floor each, and every one of these is
reduced to a Krylov basis of its loads (:mod:`models.air_response`). Across a mouth the nodes share one
pressure; what varies along the height has none there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy import sparse
from scipy.linalg import eigh

from models.air_response import BLOCKS, graded_lines, reduced
from models.plan_air import Face, Span

HIGHER_BLOCKS = 5
"""Blocks of the basis of what varies along the height, which dies out over some centimetres."""

NEAR = 1e-7
"""Distance below which places are the same [m]."""


def face_impedances(
    floor: np.ndarray,
    low: float,
    high: float,
    faces: Sequence[Face],
    wavenumber: np.ndarray,
    *,
    step: float,
    finest: float,
) -> np.ndarray:
    """Pressure on a face (of a piston its mean) per flow through another over j w rho, rigid walls elsewhere.

    Parameters
    ----------
    floor : ndarray, shape (n, 2, 2)
        Rectangles of air on the floor: axis, low and high [m].
    low, high : float
        Heights of floor and lid [m].
    faces : sequence of Face
        Rectangles that air flows through [list].
    wavenumber : ndarray, shape (n_k,)
        Wavenumbers [1/m].
    step, finest : float
        Largest cell, and largest cell beside walls and edges of faces [m].

    Returns
    -------
    ndarray, shape (n_k, n_faces, n_faces)
        Symmetric matrices [1/m].
    """
    marks = [
        np.concatenate([floor[:, axis].ravel(), [x for face in faces for x in face.spans[axis]]])
        for axis in (0, 1)
    ]
    basis = _floor_basis(floor, [graded_lines(m, step, finest) for m in marks])
    matrices = _matrices(basis)
    pistons = [i for i, face in enumerate(faces) if face.piston]
    mouths = [_mouth_nodes(basis, face.spans[0], face.spans[1]) for face in faces if not face.piston]
    order = np.array([*pistons, *[i for i, face in enumerate(faces) if not face.piston]])
    loads = np.zeros((basis.N, len(pistons)))
    for column, i in enumerate(pistons):
        loads[:, column] = _floor_load(basis, faces[i].spans[0], faces[i].spans[1])
    heights = np.array([low, high, *[x for face in faces for x in face.spans[2]]])
    squares, shares = _height_modes(
        graded_lines(heights, step, finest), [faces[i].spans[2] for i in pistons]
    )
    size = float(np.max(np.ptp(floor, axis=(0, 2))))
    result = np.zeros((wavenumber.size, len(faces), len(faces)))
    for number, (square, share) in enumerate(zip(squares, shares, strict=True)):
        even = number == 0
        tie = _tie(basis.N, mouths, even)
        stiffness, mass = (sparse.csc_matrix(tie.T @ matrix @ tie) for matrix in matrices)
        taken = tie.T @ (loads * share)
        if even:
            # the first mode is 1 over the root of the height; so is what a mouth's flow does to it
            ends = np.eye(len(mouths), tie.shape[1], tie.shape[1] - len(mouths)).T / np.sqrt(high - low)
            taken = np.concatenate([taken, ends], axis=1)
        if not taken.size:
            continue
        part = reduced(
            sparse.csc_matrix(stiffness + (0.0 if even else square) * mass),
            mass,
            taken,
            1.0 / size**2 if even else 0.0,
            BLOCKS if even else HIGHER_BLOCKS,
        ).impedance(wavenumber)
        place = order[: taken.shape[1]]
        result[:, place[:, None], place] += part
    return result


def _tie(count: int, mouths: Sequence[np.ndarray], even: bool) -> sparse.csc_matrix:
    """From free values to nodes: the nodes of a mouth share one value, the last ones; none if uneven."""
    free = np.setdiff1d(np.arange(count), np.concatenate([np.empty(0, dtype=int), *mouths]))
    rows, columns = [free], [np.arange(free.size)]
    for i, nodes in enumerate(mouths if even else ()):
        rows.append(nodes)
        columns.append(np.full(nodes.size, free.size + i))
    place = (np.concatenate(rows), np.concatenate(columns))
    shape = (count, free.size + (len(mouths) if even else 0))
    return sparse.csc_matrix((np.ones(place[0].size), place), shape=shape)


def _floor_basis(floor: np.ndarray, lines: list[np.ndarray]) -> Any:
    from skfem import Basis, ElementQuad2, MeshQuad

    mesh = MeshQuad.init_tensor(*lines)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    air = np.zeros(middle.shape[1], dtype=bool)
    for rectangle in floor:
        air |= np.all((middle > rectangle[:, :1]) & (middle < rectangle[:, 1:]), axis=0)
    return Basis(mesh.restrict(np.flatnonzero(air)), ElementQuad2())


def _matrices(basis: Any) -> tuple[sparse.csc_matrix, sparse.csc_matrix]:
    from skfem.models.poisson import laplace, mass

    return sparse.csc_matrix(laplace.assemble(basis)), sparse.csc_matrix(mass.assemble(basis))


def _within(u: Span, v: Span) -> Callable[[np.ndarray], np.ndarray]:
    spans = np.array([u, v])
    return lambda x: np.all((x > spans[:, :1] - NEAR) & (x < spans[:, 1:] + NEAR), axis=0)


def _floor_load(basis: Any, u: Span, v: Span) -> np.ndarray:
    """Means of the floor's functions over a piece of wall, or over a piece of floor."""
    from skfem import Basis, FacetBasis, LinearForm

    sizes = np.array([u[1] - u[0], v[1] - v[0]])
    if np.all(sizes > NEAR):
        part = Basis(basis.mesh, basis.elem, elements=basis.mesh.elements_satisfying(_within(u, v)))
    else:
        facets = basis.mesh.facets_satisfying(_within(u, v), boundaries_only=True)
        part = FacetBasis(basis.mesh, basis.elem, facets=facets)
    load = LinearForm(lambda v, w: 1.0 * v).assemble(part) / np.prod(sizes[sizes > NEAR])
    if abs(load.sum() - 1.0) > 1e-6:
        raise ValueError(f"the face at u {u}, v {v} does not lie on the air")
    return np.asarray(load)


def _mouth_nodes(basis: Any, u: Span, v: Span) -> np.ndarray:
    """Nodes of the floor on a piece of wall."""
    _floor_load(basis, u, v)  # refuses one that does not lie on the air
    facets = basis.mesh.facets_satisfying(_within(u, v), boundaries_only=True)
    return np.asarray(basis.get_dofs(facets).flatten())


def _height_modes(lines: np.ndarray, spans: Sequence[Span]) -> tuple[np.ndarray, np.ndarray]:
    """Squares of the line's discrete wavenumbers, and means of its modes over spans, (modes, spans)."""
    from skfem import Basis, ElementLineP2, LinearForm, MeshLine

    basis = Basis(MeshLine(lines), ElementLineP2())
    stiffness, mass = (matrix.toarray() for matrix in _matrices(basis))
    squares, modes = eigh(stiffness, mass)
    modes[:, 0] = np.abs(modes[:, 0])  # even along the height; its sign is open
    loads = []
    for low, high in spans:
        if high - low < NEAR:
            loads.append((np.abs(basis.doflocs[0] - low) < NEAR).astype(float))
            continue
        inside = basis.mesh.elements_satisfying(
            lambda x, a=low, b=high: (x[0] > a - NEAR) & (x[0] < b + NEAR)
        )
        part = Basis(basis.mesh, basis.elem, elements=inside)
        loads.append(LinearForm(lambda v, w: 1.0 * v).assemble(part) / (high - low))
    return squares, modes.T @ np.array(loads).reshape(len(spans), basis.N).T
