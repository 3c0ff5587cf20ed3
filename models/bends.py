"""Bends of channels as corrections to the length of their centre line.

At low frequency the air in a bend moves as a potential flow, which cuts the corner: its inertance is
that of a shorter straight channel, while its volume stays that of the centre line. So a correction
belongs at its place, as an inertance taken off (``bends`` of :class:`models.design.Ducts`), not into the
duct's length. Heights do not matter, so all of this is flow in a plane.

The forms of mitred bends and of folds about a thin partition are exact conformal maps
(Schwarz-Christoffel), computed here; a corner of equal widths comes to 0.5587 squares, the value known
from sheet resistances (from memory). The bridge between thin and thick partitions is fitted to finite
elements, as is shown in ``studies/network_and_fem``.
"""

from __future__ import annotations

import numpy as np

_BRIDGE, _BRIDGE_POWER = 3.5, 0.8
"""Fitted: share exp(-3.5 (t/g)^0.8) of a thin partition in a fold of partition t and gap g."""

Sizes = np.ndarray | float


def smooth_bend_correction(width: Sizes, radius: Sizes, angle: Sizes) -> np.ndarray:
    """Correction of a bend of concentric walls, whose flow has velocities like 1/r.

    Parameters
    ----------
    width : ndarray or float
        Width of the channel in the plane of the bend [m].
    radius : ndarray or float
        Radius of the centre line, more than half the width [m].
    angle : ndarray or float
        Angle that the channel turns through [rad].

    Returns
    -------
    ndarray
        Length to add to that of the centre line, negative [m].

    Raises
    ------
    ValueError
        A radius is not more than half the width.
    """
    width, radius = np.asarray(width, dtype=float), np.asarray(radius, dtype=float)
    if np.any(radius <= 0.5 * width):
        raise ValueError(f"radius {np.min(radius):g} m is not more than half the width, {np.max(width):g} m")
    turns = np.log((radius + 0.5 * width) / (radius - 0.5 * width))
    return np.asarray(angle * (width / turns - radius))


def mitred_bend_correction(width: Sizes, width_out: Sizes | None = None) -> np.ndarray:
    """Correction of a right-angled bend with sharp corners.

    The centre line runs along the middle of one leg to its crossing with the middle of the other.

    Parameters
    ----------
    width : ndarray or float
        Width of the first leg in the plane of the bend [m].
    width_out : ndarray, float or None
        Width of the second leg; None for the same [m].

    Returns
    -------
    ndarray
        Length to add to that of the first leg's centre line, negative: -2 ln 2/pi widths for equal
        widths. The second leg's centre line counts with its own width [m].
    """
    a = np.asarray(width, dtype=float)
    b = a if width_out is None else np.asarray(width_out, dtype=float)
    ratio = b / a
    squares = 0.5 * (ratio + 1.0 / ratio) - (_leg(ratio) + _leg(1.0 / ratio)) / np.pi
    return np.asarray(a * squares)


def _leg(ratio: np.ndarray) -> np.ndarray:
    """Pi times what a leg lacks in squares to the outer corner, for the other leg's width over its own."""
    return np.asarray(2.0 * ratio * np.arctan(ratio) + np.log(4.0 / (1.0 + ratio**2)))


def fold_correction(
    width: Sizes, gap: Sizes, partition: Sizes, width_back: Sizes | None = None
) -> np.ndarray:
    """Correction of a fold by 180 degrees about the end of a partition.

    The centre line runs along the middle of the first leg to the middle of the gap, square across and
    back along the middle of the second leg: gap + partition + half of either width beyond the
    partition's end.

    Parameters
    ----------
    width : ndarray or float
        Width of the first leg [m].
    gap : ndarray or float
        Distance from the partition's end to the end wall [m].
    partition : ndarray or float
        Thickness of the partition [m].
    width_back : ndarray, float or None
        Width of the second leg; None for the same [m].

    Returns
    -------
    ndarray
        Length to add to that of the centre line, where all of it counts with the first leg's width; for
        a second leg of another width only what lies beyond the partition's end [m].
    """
    w, g, t = (np.asarray(x, dtype=float) for x in (width, gap, partition))
    back = w if width_back is None else np.asarray(width_back, dtype=float)
    thin = np.exp(-_BRIDGE * (t / g) ** _BRIDGE_POWER)
    squares = t / g
    for leg in (w, back):
        mitred = mitred_bend_correction(leg, g) / leg + 0.5 * (g / leg + leg / g)
        around = g / leg - 2.0 / np.pi * np.log(np.sinh(0.5 * np.pi * g / leg))
        squares = squares + thin * around + (1.0 - thin) * mitred
    return np.asarray(w * squares - (g + t + 0.5 * (w + back)))
