"""Bends of channels as corrections to the length of their centre line.

At low frequency the air in a bend moves as a potential flow, which cuts the corner: its inertance is
that of a shorter straight channel, while its volume stays that of the centre line. So a correction
belongs at its place, as an inertance taken off (``bends`` of :class:`models.design.Ducts`), not into the
duct's length. Heights do not matter, so all of this is flow in a plane.

The forms of mitred bends and of folds about a thin partition are exact conformal maps
(Schwarz-Christoffel), computed here; a corner of equal widths comes to 0.5587 squares, the value known
from sheet resistances (from memory). The bridge between thin and thick partitions, ends that a channel turns
into and what bends near each other do are fitted to finite elements, as is shown in
``studies/network_and_fem``.
"""

from __future__ import annotations

import numpy as np

_BRIDGE, _BRIDGE_POWER = 3.5, 0.8
"""Fitted: share exp(-3.5 (t/g)^0.8) of a thin partition in a fold of partition t and gap g."""

_SKEW, _SKEW_THIN, _SKEW_END = 0.329, 0.0985, 0.8
"""Fitted: first odd mode that a corner sends along a channel; more about a thin partition and at an end."""

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
    legs = [(w, 2.0)] if width_back is None else [(w, 1.0), (back, 1.0)]
    for leg, times in legs:
        mitred = mitred_bend_correction(leg, g) / leg + 0.5 * (g / leg + leg / g)
        around = g / leg - 2.0 / np.pi * np.log(np.sinh(0.5 * np.pi * g / leg))
        squares = squares + times * (thin * around + (1.0 - thin) * mitred)
    return np.asarray(w * squares - (g + t + 0.5 * (w + back)))


def side_end_correction(width: Sizes, wall: Sizes) -> np.ndarray:
    """Correction of a right-angled turn through a channel's side wall into the open.

    Parameters
    ----------
    width : ndarray or float
        Width of the channel and of the gap in its wall, which ends flush with the channel [m].
    wall : ndarray or float
        Thickness of that wall [m].

    Returns
    -------
    ndarray
        Length to add to that of the centre line, which turns in the middle and ends behind the wall [m].
    """
    return np.asarray(mitred_bend_correction(width) + end_share(width, wall))


def end_share(width: Sizes, wall: Sizes) -> np.ndarray:
    """What the near end takes off the corner before it, whose flow need not straighten [m].

    Parameters
    ----------
    width, wall : ndarray or float
        As in :func:`side_end_correction` [m].

    Returns
    -------
    ndarray
        Length to add, negative [m].
    """
    w, t = np.asarray(width, dtype=float), np.asarray(wall, dtype=float) / np.asarray(width, dtype=float)
    return np.asarray(-w * np.exp(-2.0 * np.pi * t) * (0.031 + 0.018 * np.exp(-14.0 * t)))


def fold_skew(width: Sizes, partition: Sizes) -> np.ndarray:
    """First odd mode that a fold of equal widths sends along its legs, for :func:`pair_correction` [1]."""
    ratio = np.asarray(partition, dtype=float) / np.asarray(width, dtype=float)
    return np.asarray(_SKEW + _SKEW_THIN * np.exp(-_BRIDGE * ratio**_BRIDGE_POWER))


def side_end_skew(width: Sizes, wall: Sizes) -> np.ndarray:
    """The same of a turn through the side wall into the open [1]."""
    return np.asarray(_SKEW - _SKEW_END * end_share(width, wall) / np.asarray(width, dtype=float))


def pair_correction(
    width: Sizes, straight: Sizes, first: Sizes, second: Sizes, same_way: bool = False
) -> np.ndarray:
    """What two bends add to the corrections that they have apart, by the odd mode that dies out between them.

    Parameters
    ----------
    width : ndarray or float
        Width of the channel [m].
    straight : ndarray or float
        Length of the straight piece between them [m].
    first, second : ndarray or float
        Skew of each bend; that of a plain corner is 0.329 [1].
    same_way : bool
        Whether they turn the same way, like a U; otherwise like an S [flag].

    Returns
    -------
    ndarray
        Length to add, positive for an S and negative for a U [m].
    """
    w = np.asarray(width, dtype=float)
    fade = np.exp(-np.pi * np.maximum(np.asarray(straight, dtype=float), 0.0) / w)
    size = w * np.asarray(first) * np.asarray(second) * fade
    if same_way:
        return np.asarray(-size / (1.0 - 0.16 * fade - 0.13 * fade**2))
    return np.asarray(size / (1.0 + 0.2 * fade))
