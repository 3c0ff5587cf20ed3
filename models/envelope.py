"""The outer envelope of an enclosure, its faces, and sites on them.

Axes, seen from the envelope's lowest corner: x is the depth, y the width, z the height.
A face is named by its outward normal: ``x-`` is the front, ``z-`` the base.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

WALLS = ("x-", "x+", "y-", "y+", "z-", "z+")
"""Names of the six faces of a cuboid, by outward normal."""


def wall_axis(wall: str) -> int:
    """Index of the axis that a wall is normal to: 0, 1 or 2."""
    return "xyz".index(wall[0])


def in_plane_axes(wall: str) -> tuple[int, int]:
    """The two axes that lie in a wall, in their order."""
    normal = wall_axis(wall)
    first, second = (axis for axis in range(3) if axis != normal)
    return first, second


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Outer cuboid that an enclosure must fit, and its wall thickness.

    Attributes
    ----------
    width, height, depth : float
        Outer sizes along y, z and x [m].
    wall : float
        Thickness of outer walls, partitions and duct walls [m].
    """

    width: float
    height: float
    depth: float
    wall: float

    @property
    def outer_sides(self) -> np.ndarray:
        """Outer sides along x, y, z, shape (3,) [m]."""
        return np.array([self.depth, self.width, self.height])

    @property
    def inner_sides(self) -> np.ndarray:
        """Inner sides along x, y, z, shape (3,) [m]."""
        return self.outer_sides - 2.0 * self.wall

    @property
    def inner_volume(self) -> float:
        """Volume inside the outer walls [m3]."""
        return float(np.prod(self.inner_sides))


@dataclass(frozen=True, slots=True)
class Site:
    """A place on the envelope's outer surface where a driver face or a duct mouth may lie.

    Attributes
    ----------
    wall : str
        Face of the envelope, one of :data:`WALLS` [text].
    at : tuple of two floats
        Centre along the two axes of that face in their order, from the lowest corner [m].
    """

    wall: str
    at: tuple[float, float]


def front_centre(envelope: Envelope) -> Site:
    """Centre of the front face ``x-``: the place of a driver face or mouth whose site is not given."""
    return Site("x-", (envelope.width / 2.0, envelope.height / 2.0))


def site_position(envelope: Envelope, site: Site) -> np.ndarray:
    """Position of a site from the envelope's lowest corner, shape (3,) [m]."""
    position = np.zeros(3)
    first, second = in_plane_axes(site.wall)
    position[first], position[second] = site.at
    if site.wall[1] == "+":
        axis = wall_axis(site.wall)
        position[axis] = envelope.outer_sides[axis]
    return position
