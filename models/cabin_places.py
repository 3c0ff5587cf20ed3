"""Where envelope, sites and openings lie in a cabin, and what cannot be there."""

from __future__ import annotations

import math

import numpy as np

from models.cabin_local import Port
from models.envelope import Envelope, Site, in_plane_axes, site_position, wall_axis
from models.radiation import reference_side
from models.spaces import Cabin, Opening


def envelope_box(cabin: Cabin, envelope: Envelope) -> np.ndarray:
    """Corners of the envelope in the cabin's axes.

    Parameters
    ----------
    cabin : Cabin
        The cabin [m].
    envelope : Envelope
        The enclosure's outer cuboid [m].

    Returns
    -------
    ndarray, shape (2, 3)
        Lowest and highest corner; within a millionth of a wall it is laid onto it [m].

    Raises
    ------
    ValueError
        Where the envelope or the microphone does not lie in the cabin, or the one in the other.
    """
    size, sides, slack = np.array(cabin.size), envelope.outer_sides, 1e-6 * max(cabin.size)
    low = np.array(cabin.enclosure_at) - 0.5 * sides
    box = np.array([low, low + sides])
    if np.any(size <= 0.0) or np.any(sides <= 0.0):
        raise ValueError(f"cabin '{cabin.name}': all sizes must be greater than 0")
    if np.any(box[0] < -slack) or np.any(box[1] > size + slack):
        raise ValueError(
            f"cabin '{cabin.name}': the envelope reaches from {_mm(box[0])} to {_mm(box[1])} mm, "
            f"outside the cabin of {_mm(size)} mm"
        )
    if np.all(box[1] - box[0] > size - slack):
        raise ValueError(f"cabin '{cabin.name}': the envelope of {_mm(sides)} mm leaves no air in it")
    box = np.where(np.abs(box) < slack, 0.0, box)
    box = np.where(np.abs(box - size) < slack, size, box)
    microphone = np.array(cabin.microphone_at)
    if np.any(microphone < 0.0) or np.any(microphone > size):
        raise ValueError(f"cabin '{cabin.name}': the microphone at {_mm(microphone)} mm is outside the cabin")
    if cabin.obstacle and np.all(microphone > box[0]) and np.all(microphone < box[1]):
        raise ValueError(f"cabin '{cabin.name}': the microphone at {_mm(microphone)} mm is in the enclosure")
    return box


def _mm(place: np.ndarray) -> str:
    return " x ".join(f"{1000.0 * value:.4g}" for value in place)


def site_port(site: Site, envelope: Envelope, box: np.ndarray) -> Port:
    """Make the reference patch of a site: a square on its face, shifted to stay inside it.

    Parameters
    ----------
    site : Site
        Place on the envelope [m].
    envelope : Envelope
        The envelope [m].
    box : ndarray, shape (2, 3)
        Its corners in the cabin [m].

    Returns
    -------
    Port
        The patch [m].
    """
    side = reference_side(envelope)
    centre = site_position(envelope, site)
    low, high = centre.copy(), centre.copy()
    for axis in in_plane_axes(site.wall):
        middle = np.clip(centre[axis], 0.5 * side, envelope.outer_sides[axis] - 0.5 * side)
        low[axis], high[axis] = middle - 0.5 * side, middle + 0.5 * side
    low, high = low + box[0], high + box[0]
    normal = wall_axis(site.wall)
    low[normal] = high[normal] = box[int(site.wall[1] == "+"), normal]
    return _port(low, high)


def _port(low: np.ndarray, high: np.ndarray) -> Port:
    a, b, c = (float(value) for value in low)
    d, e, f = (float(value) for value in high)
    return Port(low=(a, b, c), high=(d, e, f))


def opening_port(opening: Opening, cabin: Cabin, box: np.ndarray) -> Port:
    """Square of an opening on the cabin's wall, shifted to stay inside it.

    Parameters
    ----------
    opening : Opening
        The opening [m].
    cabin : Cabin
        The cabin [m].
    box : ndarray, shape (2, 3)
        Corners of the enclosure [m].

    Returns
    -------
    Port
        The square [m].

    Raises
    ------
    ValueError
        Where the centre is on no wall, the square is larger than the wall, or the enclosure covers it.
    """
    size, at = np.array(cabin.size), np.array(opening.at, dtype=float)
    name = f"cabin '{cabin.name}': the opening at {_mm(at)} mm"
    away = np.minimum(np.abs(at), np.abs(at - size))
    normal = int(np.argmin(away))
    if away[normal] > 1e-6 * max(cabin.size) or np.any(at < -1e-9) or np.any(at > size + 1e-9):
        raise ValueError(f"{name} lies on none of the walls of the cabin of {_mm(size)} mm")
    if opening.area <= 0.0:
        raise ValueError(f"{name} must have an area greater than 0")
    half = 0.5 * math.sqrt(opening.area)
    at[normal] = 0.0 if at[normal] < 0.5 * size[normal] else size[normal]
    low, high = at.copy(), at.copy()
    for axis in set(range(3)) - {normal}:
        if 2.0 * half > size[axis] * (1.0 + 1e-9):
            raise ValueError(f"{name}, {2000.0 * half:.4g} mm square, is larger than its wall")
        middle = np.clip(at[axis], half, size[axis] - half)
        low[axis], high[axis] = max(middle - half, 0.0), min(middle + half, size[axis])
    if cabin.obstacle:
        overlap = (low < box[1]) & (high > box[0])
        overlap[normal] = bool(np.any(box[:, normal] == at[normal]))
        if np.all(overlap):
            raise ValueError(f"{name} is covered by the enclosure")
    return _port(low, high)


def is_blocked(site: Site, cabin: Cabin, box: np.ndarray) -> bool:
    """Whether a site's face lies against a wall of the cabin."""
    axis = wall_axis(site.wall)
    at = box[int(site.wall[1] == "+"), axis]
    return bool(cabin.obstacle and (at == 0.0 or at == cabin.size[axis]))
