"""Meshes of steps by exact booleans (extra ``mesh``: manifold3d), and what is measured on them."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.solid_steps import Hull, Prism, Rod, Shape, Step

ROUND_SEGMENTS = 96
"""Chords of a round hole."""


def solid_of(steps: list[Step]) -> Any:
    """Solid of steps.

    Parameters
    ----------
    steps : list of Step
        To be done in order, the first puts on [list].

    Returns
    -------
    Manifold
        Watertight solid [mm].
    """
    import manifold3d

    solid = manifold3d.Manifold()
    for step in steps:
        shape = _shape(step.shape)
        solid = solid + shape if step.adds else solid - shape
    return solid


def prism(contours: tuple[np.ndarray, ...], low: float, high: float, grown: float = 0.0) -> Any:
    """Union of polygons between two heights, grown sideways by a length [mm]."""
    import manifold3d

    section = manifold3d.CrossSection([np.ascontiguousarray(c) for c in contours])
    if grown:
        section = section.offset(grown, manifold3d.JoinType.Miter)
    return section.extrude(high - low).translate((0.0, 0.0, low))


def plain_contours(contours: tuple[np.ndarray, ...]) -> list[np.ndarray]:
    """Union of overlapping anticlockwise polygons as plain ones, holes clockwise [mm]."""
    import manifold3d

    return list(manifold3d.CrossSection([np.ascontiguousarray(c) for c in contours]).to_polygons())


def _shape(shape: Shape) -> Any:
    import manifold3d

    if isinstance(shape, Prism):
        return prism(shape.contours, shape.low, shape.high)
    if isinstance(shape, Hull):
        return manifold3d.Manifold.hull_points(np.ascontiguousarray(shape.points))
    assert isinstance(shape, Rod)
    rod = manifold3d.Manifold.cylinder(shape.length, shape.radius, circular_segments=ROUND_SEGMENTS)
    turn = {0: (0.0, 90.0, 0.0), 1: (-90.0, 0.0, 0.0), 2: (0.0, 0.0, 0.0)}[shape.axis]
    return rod.rotate(turn).translate(shape.start)


def triangles_of(solid: Any) -> tuple[np.ndarray, np.ndarray]:
    """Vertices, shape (n, 3) [mm], and triangles as indexes of them, shape (m, 3)."""
    mesh = solid.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64)


def from_triangles(vertices: np.ndarray, triangles: np.ndarray) -> Any:
    """Solid of triangles; its ``status`` tells whether they close."""
    import manifold3d

    mesh = manifold3d.Mesh64(
        vert_properties=np.ascontiguousarray(vertices, dtype=np.float64),
        tri_verts=np.ascontiguousarray(triangles, dtype=np.uint64),
    )
    return manifold3d.Manifold(mesh)


def volume_of(vertices: np.ndarray, triangles: np.ndarray) -> float:
    """Volume inside triangles by the divergence theorem, negative where they face inwards [mm3]."""
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    middle = vertices.mean(axis=0)
    return float(np.einsum("ij,ij->i", a - middle, np.cross(b - middle, c - middle)).sum() / 6.0)
