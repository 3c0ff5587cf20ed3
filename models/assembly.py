"""Parts of unknown origin put together, and the air and openings of what they make (extra ``mesh``)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Any

import numpy as np

from models.mesh_checks import air_spaces
from models.plan_voids import rectangle
from models.solids import prism

SKIN_MM = 0.2
"""Thickness of the plates that close openings while air is counted [mm]."""

LEAST_OPENING_MM2 = 6.0
LEAST_SPACE_MM3 = 1000.0
OVERLAP_SHARE = 0.002
"""Share of a part's volume that may overlap another when parts are put together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceOpening:
    """A hole in an outer face, measured at half the wall's depth.

    Attributes
    ----------
    face : str
        Face of the assembled box, in the coordinates of its first part [text].
    centre : tuple of two floats
        Along the face's two axes in their order, from the box's lowest corner [mm].
    size : tuple of two floats
        Of the rectangle around it [mm].
    area : float
        Its area [mm2].
    """

    face: str
    centre: tuple[float, float]
    size: tuple[float, float]
    area: float

    def is_round(self, diameter_mm: float) -> bool:
        """Whether it is a disc of a diameter, within a millimetre."""
        around = all(abs(s - diameter_mm) < 1.0 for s in self.size)
        return around and abs(self.area / (0.25 * np.pi * diameter_mm**2) - 1.0) < 0.05


def put_together(solids: list[Any], sizes_mm: np.ndarray) -> tuple[Any, str] | None:
    """One solid of parts as given, or with each further part laid on the first one.

    Parameters
    ----------
    solids : list of Manifold
        Closed parts [mm].
    sizes_mm : ndarray, shape (3,)
        Outer sizes that the whole should have [mm].

    Returns
    -------
    tuple of Manifold and str, or None
        The whole and how it was put together; None where no way was found [record].
    """
    if len(solids) == 1:
        return solids[0], "one part"
    whole = solids[0]
    overlap = 0.0
    for solid in solids[1:]:
        overlap += max(0.0, float((whole ^ solid).volume()))
        whole = whole + solid
    sizes = np.sort(_sizes(whole))
    if overlap <= OVERLAP_SHARE * whole.volume() and np.all(sizes <= np.sort(sizes_mm) + 0.5):
        return whole, "as given"
    order = sorted(solids, key=lambda s: -float(np.prod(_sizes(s))))
    whole = order[0]
    for solid in order[1:]:
        placed = _laid_on(whole, solid, sizes_mm)
        if placed is None:
            return None
        whole = whole + placed
    return whole, "smaller parts laid on the largest one as lids"


def _sizes(solid: Any) -> np.ndarray:
    box = np.array(solid.bounding_box()).reshape(2, 3)
    return np.asarray(box[1] - box[0])


def _laid_on(base: Any, part: Any, sizes_mm: np.ndarray) -> Any | None:
    """A part on top of another so that both make one of the wanted sizes, without overlap."""
    low = np.array(base.bounding_box()).reshape(2, 3)
    best: tuple[float, Any] | None = None
    for turn in ((0.0, 0.0, 0.0), (180.0, 0.0, 0.0), (0.0, 180.0, 0.0), (0.0, 0.0, 180.0)):
        for quarter in (0.0, 90.0):
            turned = part.rotate(turn).rotate((0.0, 0.0, quarter))
            box = np.array(turned.bounding_box()).reshape(2, 3)
            if np.abs((box[1] - box[0])[:2] - (low[1] - low[0])[:2]).max() > 1.0:
                continue
            for total in sizes_mm:
                if not 0.0 < total - (low[1, 2] - low[0, 2]) <= box[1, 2] - box[0, 2] + 0.01:
                    continue
                shift = np.append(low[0, :2] - box[0, :2], low[0, 2] + total - box[1, 2])
                moved = turned.translate(tuple(float(x) for x in shift))
                overlap = max(0.0, float((moved ^ base).volume()))
                if overlap <= OVERLAP_SHARE * part.volume() and (best is None or overlap < best[0]):
                    best = (overlap, moved)
    return None if best is None else best[1]


def face_openings(solid: Any, wall_mm: float) -> list[FaceOpening]:
    """Openings in the six outer faces of a box, the largest first.

    Parameters
    ----------
    solid : Manifold
        The assembled box [mm].
    wall_mm : float
        Thickness of its walls [mm].

    Returns
    -------
    list of FaceOpening
        Every opening of more than :data:`LEAST_OPENING_MM2` [list].
    """
    import manifold3d

    box = np.array(solid.bounding_box()).reshape(2, 3)
    result = []
    for axis, order in ((0, (1, 2)), (1, (2, 0)), (2, (0, 1))):
        lying = solid.transform(_to_floor(order, axis))
        for sign, at in (("-", box[0, axis] + 0.5 * wall_mm), ("+", box[1, axis] - 0.5 * wall_mm)):
            frame = rectangle(*(float(box[k, a]) for a in order for k in (0, 1)))
            free = manifold3d.CrossSection([frame]) - lying.slice(float(at) + 1e-4)
            for piece in free.decompose():
                u0, v0, u1, v1 = piece.bounds()
                if piece.area() < LEAST_OPENING_MM2 or min(u1 - u0, v1 - v0) < 0.5:
                    continue
                centre = {
                    order[0]: 0.5 * (u0 + u1) - box[0, order[0]],
                    order[1]: 0.5 * (v0 + v1) - box[0, order[1]],
                }
                size = {order[0]: u1 - u0, order[1]: v1 - v0}
                first, second = sorted(order)
                result.append(
                    FaceOpening(
                        face=f"{'xyz'[axis]}{sign}",
                        centre=(float(centre[first]), float(centre[second])),
                        size=(float(size[first]), float(size[second])),
                        area=float(piece.area()),
                    )
                )
    return sorted(result, key=lambda one: -one.area)


def _to_floor(order: tuple[int, int], axis: int) -> np.ndarray:
    """Transform, shape (3, 4), that turns two axes to x and y and a third to z."""
    turn = np.zeros((3, 4))
    for row, source in enumerate((*order, axis)):
        turn[row, source] = 1.0
    return turn


def enclosed_air(solid: Any) -> list[Any]:
    """Air spaces of a box with all its outer openings closed by thin plates, largest first."""
    low, high = np.array(solid.bounding_box()).reshape(2, 3)
    hull = prism((rectangle(low[0], high[0], low[1], high[1]),), float(low[2]), float(high[2]))
    inner = prism(
        (rectangle(low[0] + SKIN_MM, high[0] - SKIN_MM, low[1] + SKIN_MM, high[1] - SKIN_MM),),
        float(low[2]) + SKIN_MM,
        float(high[2]) - SKIN_MM,
    )
    return [space for space in air_spaces(hull, hull - inner, solid) if space.volume() > LEAST_SPACE_MM3]


def fits_envelope(size_mm: np.ndarray, outer_mm: np.ndarray) -> bool:
    """Whether a box fits an envelope in some orientation, within a hundredth of a millimetre."""
    return any(np.all(size_mm[list(order)] <= outer_mm + 0.01) for order in permutations(range(3)))
