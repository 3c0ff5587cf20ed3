"""Where a room's label goes on a plan: within its room, beside what sits there."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

POINT_MM = 25.4 / 72.0
LINE_SPACING = 1.3
"""Distance of two lines over the size of the letters."""

WIDER = 1.1
"""Width of words in pictures of few dots an inch, where letters sit on whole dots, over that of outlines."""

CLEARANCE_MM = 0.8
"""Free strip around a label."""

OUTSIDE = 10.0
"""What a label costs that lies outside its room, over one that lies on something else."""

LESSER_FORM = 0.25
"""What the next form of a label costs, over one that lies on something else."""

PLACES = 13
"""Places tried along each direction of a room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label and how it is set.

    Attributes
    ----------
    words : str
        Text, lines parted by newlines [text].
    size : float
        Size of the letters [points].
    place : ndarray, shape (2,)
        Middle, on the sheet [mm].
    upright : bool
        Whether it reads upwards [bool].
    """

    words: str
    size: float
    place: np.ndarray
    upright: bool


def place_label(
    room: np.ndarray, others: Sequence[tuple[np.ndarray, float]], forms: Sequence[tuple[str, float]]
) -> Label:
    """The first form of a label that fits a room beside the others; else the one that disturbs least.

    Parameters
    ----------
    room : ndarray, shape (2, 2)
        Least and largest place of the room along both directions, on the sheet [mm].
    others : sequence of (ndarray of shape (2, 2), float)
        What the label should not cover, and how much it matters beside the others [mm, 1].
    forms : sequence of (str, float)
        Words and size of the letters, the preferred one first [text, points].

    Returns
    -------
    Label
        The label, as near the middle of the room as it goes [record].
    """
    tall = bool(room[1, 1] - room[1, 0] > 1.4 * (room[0, 1] - room[0, 0]))
    best: tuple[float, Label] | None = None
    for rank, (words, size) in enumerate(forms):
        extent = text_extent(words, size)
        for upright in (tall, not tall):
            half = 0.5 * (extent[::-1] if upright else extent) + CLEARANCE_MM
            place, hidden = _best_place(room, others, half)
            label = Label(words=words, size=size, place=place, upright=upright)
            if hidden <= 0.0:
                return label
            cost = hidden + LESSER_FORM * rank
            if best is None or cost < best[0]:
                best = (cost, label)
    if best is None:
        raise ValueError("a label needs at least one form")
    return best[1]


def _best_place(
    room: np.ndarray, others: Sequence[tuple[np.ndarray, float]], half: np.ndarray
) -> tuple[np.ndarray, float]:
    """Where a label of a half size disturbs least, nearest to the middle, and how much, over its own area."""
    middle, reach = room.mean(axis=1), 0.5 * (room[:, 1] - room[:, 0])
    steps = np.linspace(-1.0, 1.0, PLACES)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    places = middle + np.maximum(reach - half, 0.0) * grid
    area = 4.0 * float(np.prod(half))
    cost = np.full(len(places), OUTSIDE * (1.0 - 4.0 * float(np.prod(np.minimum(half, reach))) / area))
    for other, weight in others:
        sides = np.minimum(places + half, other[:, 1]) - np.maximum(places - half, other[:, 0])
        cost += weight * np.prod(np.maximum(sides, 0.0), axis=1) / area
    apart = np.sum((places - middle) ** 2, axis=1)
    cost = np.round(cost, 1)  # the margin of a label may be touched
    chosen = int(np.lexsort((apart, cost))[0])
    return places[chosen], float(cost[chosen])


@functools.cache
def text_extent(words: str, size: float) -> np.ndarray:
    """Width and height of words in bold letters, shape (2,) [mm].

    Parameters
    ----------
    words : str
        Text, lines parted by newlines [text].
    size : float
        Size of the letters [points].

    Returns
    -------
    ndarray, shape (2,)
        Width and height [mm].
    """
    lines = words.split("\n")
    font = FontProperties(weight="bold")
    width = max(TextPath((0.0, 0.0), line, size=size, prop=font).get_extents().width for line in lines)
    return POINT_MM * np.array([WIDER * width, LINE_SPACING * size * len(lines)])
