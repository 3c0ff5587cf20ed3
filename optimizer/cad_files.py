"""STEP files of parts (extra ``cad``: build123d), from the same steps as the meshes."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from models.solid_steps import Hull, Prism, Rod, Shape, Step


def has_cad() -> bool:
    """Whether the extra ``cad`` is installed."""
    from importlib.util import find_spec

    return find_spec("build123d") is not None


def step_bytes(steps: list[Step], contours: Any) -> tuple[bytes, float]:
    """STEP of a part in the assembled position, in millimetres, and the volume that CAD finds.

    Parameters
    ----------
    steps : list of Step
        The part [list].
    contours : callable
        Union of overlapping polygons as plain ones, holes clockwise [record].

    Returns
    -------
    tuple of bytes and float
        Content of the file, and its solid's volume [mm3].
    """
    import build123d as cad

    solid: Any = None
    for step in steps:
        shape = _shape(cad, step.shape, contours)
        solid = shape if solid is None else (solid + shape if step.adds else solid - shape)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.step"
        cad.export_step(solid, str(path))
        return path.read_bytes(), float(solid.volume)


def _shape(cad: Any, shape: Shape, contours: Any) -> Any:
    if isinstance(shape, Rod):
        turn = {0: (0.0, 90.0, 0.0), 1: (-90.0, 0.0, 0.0), 2: (0.0, 0.0, 0.0)}[shape.axis]
        rod = cad.Solid.make_cylinder(shape.radius, shape.length)
        return cad.Part() + rod.moved(cad.Location(shape.start, turn))
    if isinstance(shape, Hull):
        return _hull(cad, shape.points)
    assert isinstance(shape, Prism)
    plain = [np.asarray(c) for c in contours(shape.contours)]
    full = [c for c in plain if _area(c) > 0.0]
    holes = [c for c in plain if _area(c) < 0.0]
    part: Any = None
    for group, adds in ((full, True), (holes, False)):
        for contour in group:
            wire = cad.Wire.make_polygon([(float(u), float(v), shape.low) for u, v in contour], close=True)
            upwards = cad.Vector(0.0, 0.0, shape.high - shape.low)
            prism = cad.Part() + cad.Solid.extrude(cad.Face(wire), upwards)
            part = prism if part is None else (part + prism if adds else part - prism)
    return part


def _area(contour: np.ndarray) -> float:
    u, v = contour[:, 0], contour[:, 1]
    return float(0.5 * (u * np.roll(v, -1) - np.roll(u, -1) * v).sum())


def _hull(cad: Any, points: np.ndarray) -> Any:
    """Convex solid of triangles."""
    from scipy.spatial import ConvexHull

    faces = [
        cad.Face(cad.Wire.make_polygon([tuple(float(x) for x in points[i]) for i in triangle], close=True))
        for triangle in ConvexHull(points).simplices
    ]
    return cad.Part() + cad.Solid(cad.Shell(faces))
