"""Default places of connections on the walls of a chamber, where a design gives none.

The longest side of a chamber is its line. The first connection listed at a chamber (drivers first,
then ducts, then diaphragms) lies at the centre of the end wall on the low side of the line, every
later one at the centre of the opposite end wall. A place given as a fraction of the line is that end
wall at exactly 0 or 1, and a side wall between; the side walls are taken in turn.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from models import rooms
from models.design import Patch
from models.envelope import in_plane_axes, wall_axis

EQUAL = 1e-9
"""Share by which sides of a wall may differ and still count as equal: rounding must not turn a slot."""

SLOT_ASPECT = 4.0
"""Width over height of a slot whose height is not given."""


def line_axis(sides: np.ndarray) -> int:
    """Axis of the longest side, the first one where sides are equal.

    Parameters
    ----------
    sides : ndarray, shape (n_designs, 3)
        Inner sides of the chamber [m].

    Returns
    -------
    int
        0, 1 or 2 for x, y or z [1].

    Raises
    ------
    ValueError
        The axis is not the same for all designs.
    """
    axes = rooms.line_axis(np.asarray(sides, dtype=float))
    if axes.size == 0 or np.any(axes != axes[0]):
        found = ", ".join("xyz"[axis] for axis in np.unique(axes))
        raise ValueError(
            f"the longest side must lie along one axis for the whole batch, not {found or 'none'}"
        )
    return int(axes[0])


def section_sides(
    area: np.ndarray,
    shape: Literal["round", "slot"] = "round",
    slot_height: np.ndarray | None = None,
    aspect: float = SLOT_ASPECT,
) -> tuple[np.ndarray, np.ndarray]:
    """Long and short side of the rectangle that stands for a section.

    Parameters
    ----------
    area : ndarray, shape (n_designs,)
        Area of the section [m2].
    shape : str
        ``round``, a square of equal area, or ``slot`` [text].
    slot_height : ndarray, shape (n_designs,), or None
        Short side of a slot; None takes it from the aspect [m].
    aspect : float
        Width over height of such a slot [1].

    Returns
    -------
    tuple of two ndarrays, shape (n_designs,)
        Long and short side [m].
    """
    area = np.asarray(area)
    if shape == "round":
        return np.sqrt(area), np.sqrt(area)
    short = np.sqrt(area / aspect) if slot_height is None else np.asarray(slot_height)
    return area / short, short + np.zeros_like(area)


def default_wall(line: int, order: int, at: np.ndarray | None) -> str:
    """Wall of a connection by the rule above.

    Parameters
    ----------
    line : int
        Axis of the chamber's longest side [1].
    order : int
        Place of the connection in the chamber's list, from 0 [1].
    at : ndarray, shape (n_designs,), or None
        Given place as a fraction of the line [1].

    Returns
    -------
    str
        Wall of the chamber [text].

    Raises
    ------
    ValueError
        A fraction is outside 0 to 1, or the batch mixes ends and places between.
    """
    low, high = f"{'xyz'[line]}-", f"{'xyz'[line]}+"
    if at is None:
        return low if order == 0 else high
    at = np.asarray(at)
    least, most = at.min(initial=1.0), at.max(initial=0.0)
    if not (least >= 0.0 and most <= 1.0):
        raise ValueError("a place along the longest side must be 0 to 1")
    for value, end, wall in ((0.0, least, low), (1.0, most, high)):
        if end != value:
            continue
        if least == most:
            return wall
        if np.any(at == value):
            raise ValueError(f"a batch mixes the place {value:g}, which is an end wall, with others")
    side_walls = [f"{'xyz'[axis]}{side}" for axis in range(3) if axis != line for side in "-+"]
    return side_walls[order % 4]


def default_patch(
    sides: np.ndarray,
    order: int,
    at: np.ndarray | None,
    area: np.ndarray,
    *,
    shape: Literal["round", "slot"] = "round",
    slot_height: np.ndarray | None = None,
    aspect: float = SLOT_ASPECT,
    line: int | None = None,
) -> Patch:
    """Patch of a connection whose place is not given, or only along the longest side.

    A slot's long side lies along the longer side of its wall, the first of equals. A patch larger than its
    wall is clipped.

    Parameters
    ----------
    sides : ndarray, shape (n_designs, 3)
        Inner sides of the chamber [m].
    order : int
        Place of the connection in the chamber's list, from 0 [1].
    at : ndarray, shape (n_designs,), or None
        Given place as a fraction of the longest side [1].
    area : ndarray, shape (n_designs,)
        Area of the patch [m2].
    shape : str
        ``round`` or ``slot`` [text].
    slot_height : ndarray, shape (n_designs,), or None
        Short side of a slot [m].
    aspect : float
        Width over height of a slot whose height is not given [1].
    line : int or None
        Axis to take as the line, for batches where the longest side may change [1].

    Returns
    -------
    Patch
        Rectangle on a wall [record].

    Raises
    ------
    ValueError
        The longest side changes its axis within the batch, or places mix walls.
    """
    sides = np.asarray(sides)
    axis = line_axis(sides) if line is None else line
    wall = default_wall(axis, order, at)
    first, second = in_plane_axes(wall)
    long, short = section_sides(area, shape, slot_height, aspect)
    walls = sides[:, [first, second]]
    half = np.empty_like(walls, dtype=np.result_type(sides, long))
    half[:, 0], half[:, 1] = long, short
    if shape != "round":
        turned = walls[:, 0].real < walls[:, 1].real * (1.0 - EQUAL)
        half[turned] = half[turned, ::-1]
    centre = 0.5 * walls
    half = np.minimum(0.5 * half, centre)
    if at is not None and wall_axis(wall) != axis:
        column = (first, second).index(axis)
        wish = np.asarray(at) * sides[:, axis]
        centre[:, column] = np.clip(wish, half[:, column], walls[:, column] - half[:, column])
    return Patch(wall=wall, centre=centre, half=half)
