"""What can be measured on a closed mesh: walls by rays, overhangs, air spaces (extra ``mesh``)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from models.solids import triangles_of

RAYS = 3000
"""Rays of a wall check."""

MOST_FACES = 20000
"""Faces up to which each gets a ray of its own."""

OVERHANG = np.cos(np.radians(45.0)) + 1e-3
"""Downward part of a unit normal beyond which a face overhangs too far."""

SLIVER_MM = 0.02
"""Height of a triangle below which its normal says nothing: files of single precision move corners by
10 nm, which turns it by up to a thousandth and decides about 45 degrees [mm]."""

LEAST_AIR_MM3 = 20.0
"""Air spaces smaller than this are gaps of joints, not chambers [mm3]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Walls:
    """Thickness behind points spread over a mesh.

    Attributes
    ----------
    points : ndarray, shape (n, 3)
        Where rays enter [mm].
    normals : ndarray, shape (n, 3)
        Outward unit normals there [1].
    thickness : ndarray, shape (n,)
        To where they leave [mm].
    spread : slice
        Which of them are spread by area [record].
    """

    points: np.ndarray
    normals: np.ndarray
    thickness: np.ndarray
    spread: slice


def wall_thickness(solid: Any, rays: int = RAYS, seed: int = 1) -> Walls:
    """Thickness along the inward normal from points spread evenly over a solid's surface.

    Every face gets at least one ray from its middle, so that no small face is missed, unless there are
    more than :data:`MOST_FACES`. Slivers without a sure normal get none.

    Parameters
    ----------
    solid : Manifold
        Closed solid [mm].
    rays : int
        Rays beside the one a face [1].
    seed : int
        Root of the random points [1].

    Returns
    -------
    Walls
        Points and thickness [record].
    """
    vertices, triangles = triangles_of(solid)
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    keep = area > SLIVER_MM * _longest(a, b, c)
    a, b, c, normal, area = a[keep], b[keep], c[keep], normal[keep], area[keep]
    normal = normal / area[:, None]
    rng = np.random.default_rng(seed)
    middles = area.size if area.size <= MOST_FACES else 0
    face = np.concatenate([np.arange(middles), rng.choice(area.size, rays, p=area / area.sum())])
    r, s = rng.random((2, face.size))
    flip = r + s > 1.0
    r, s = np.where(flip, 1.0 - r, r), np.where(flip, 1.0 - s, s)
    r[:middles] = s[:middles] = 1.0 / 3.0
    points = a[face] + r[:, None] * (b - a)[face] + s[:, None] * (c - a)[face]
    low = np.array(solid.bounding_box())
    reach = float(np.linalg.norm(low[3:] - low[:3])) + 1.0
    start = points - 1e-4 * normal[face]
    thickness = np.full(face.size, np.inf)
    for i, (origin, inward) in enumerate(zip(start, -normal[face], strict=True)):
        hits = solid.ray_cast(origin, origin + reach * inward)
        if hits:
            thickness[i] = hits[0].distance * reach
    return Walls(points=points, normals=normal[face], thickness=thickness, spread=slice(middles, None))


def _longest(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Longest side of triangles by their corners [mm]."""
    return np.asarray(np.max([np.linalg.norm(side, axis=1) for side in (b - a, c - b, a - c)], axis=0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Overhang:
    """A patch of faces that look down too steeply.

    Attributes
    ----------
    low, high : ndarray, shape (3,)
        Cuboid around it [mm].
    area : float
        Its area [mm2].
    """

    low: np.ndarray
    high: np.ndarray
    area: float

    @property
    def span(self) -> float:
        """Longer horizontal side of the cuboid [mm]."""
        return float(max(self.high[:2] - self.low[:2]))


def overhangs(solid: Any) -> list[Overhang]:
    """Patches that overhang by more than 45 degrees when printed upwards from the lowest point.

    Parameters
    ----------
    solid : Manifold
        Closed solid in its print orientation [mm].

    Returns
    -------
    list of Overhang
        Largest first; what lies on the bed and slivers are left out [list].
    """
    vertices, triangles = triangles_of(solid)
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    bed = vertices[:, 2].min()
    down = (-normal[:, 2] > OVERHANG * area) & (area > SLIVER_MM * _longest(a, b, c))
    down &= ~np.all(vertices[triangles, 2] < bed + 0.01, axis=1)
    faces = np.nonzero(down)[0]
    owner = {int(f): int(f) for f in faces}

    def root(f: int) -> int:
        while owner[f] != f:
            owner[f] = owner[owner[f]]
            f = owner[f]
        return f

    by_vertex: dict[int, int] = {}
    for f in owner:
        for vertex in triangles[f]:
            if int(vertex) in by_vertex:
                owner[root(f)] = root(by_vertex[int(vertex)])
            by_vertex[int(vertex)] = f
    groups: dict[int, list[int]] = {}
    for f in owner:
        groups.setdefault(root(f), []).append(f)
    result = []
    for members in groups.values():
        corners = vertices[triangles[members]].reshape(-1, 3)
        total = 0.5 * float(area[members].sum())
        result.append(Overhang(low=corners.min(axis=0), high=corners.max(axis=0), area=total))
    return sorted(result, key=lambda one: -one.area)


def air_spaces(hull: Any, *taken: Any) -> list[Any]:
    """Connected spaces of a hull that none of the solids takes, largest first."""
    air = hull
    for solid in taken:
        air = air - solid
    pieces = [piece for piece in air.decompose() if piece.volume() > LEAST_AIR_MM3]
    return sorted(pieces, key=lambda piece: -float(piece.volume()))


def edge_faults(triangles: np.ndarray) -> tuple[int, int]:
    """Edges that keep triangles from closing.

    Parameters
    ----------
    triangles : ndarray, shape (m, 3)
        Indexes of vertices [1].

    Returns
    -------
    tuple of two int
        Edges without a partner, and edges that more than two triangles share or that run the same way
        twice [1].
    """
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    _, directed = np.unique(edges, axis=0, return_counts=True)
    _, shared = np.unique(np.sort(edges, axis=1), axis=0, return_counts=True)
    return int(np.sum(shared == 1)), int(max(np.sum(shared > 2), np.sum(directed > 1)))
