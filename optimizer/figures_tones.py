"""Figure: level at every tone and space, and how far each limit is from stopping the drive."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from optimizer.style import COLOURS, INK, MARKERS, QUIET, new_figure, shortened

LIMIT_WORDS = {
    "excursion": "excursion",
    "diaphragm": "diaphragm",
    "power": "power",
    "air_speed": "air speed",
    "voltage": "voltage",
    "current": "current",
}
"""Name of each limit as people read it."""

FAR_DB = 12.0
"""Margin from which a limit counts as far away and its cell stays white."""

MOST_NUMBERS = 10
"""Tones up to which the cells carry numbers."""

BINDING = "#7a120c"
"""Colour of the limit that stops the drive."""

_SHADES = LinearSegmentedColormap.from_list("margin", ["#f2b8a2", "#fbe6dc", "#ffffff"])


def tones_figure(title: str, evaluation: dict[str, Any], scale: float) -> Figure:
    """Draw levels as dots on stems, and below them a table of margins for every space.

    Parameters
    ----------
    title : str
        Heading [text].
    evaluation : dict
        Evaluation of the design [mixed].
    scale : float
        Full-size lengths over model lengths [1].

    Returns
    -------
    Figure
        The figure [record].
    """
    spaces = evaluation["spaces"]
    limits = [
        name
        for name in LIMIT_WORDS
        if any(t["margins_db"][name] is not None for s in spaces for t in s["tones"])
    ]
    table_height = 0.24 * len(limits) + 0.1
    heights = [height for _ in spaces for height in (1.35, table_height)]
    figure = new_figure(title, 0.95 + sum(heights) + 0.62 * len(heights))
    axes = figure.subplots(len(heights), 1, gridspec_kw={"height_ratios": heights}, squeeze=False)[:, 0]
    levels = [tone["level_db"] for space in spaces for tone in space["tones"] if tone["level_db"] is not None]
    span = (min(levels, default=0.0) - 6.0, max(levels, default=0.0) + 5.0)
    for index, space in enumerate(spaces):
        _levels(axes[2 * index], space, index, span)
        _margins(axes[2 * index + 1], space, limits, scale)
    return figure


def _levels(ax: Axes, space: dict[str, Any], index: int, span: tuple[float, float]) -> None:
    colour, marker = COLOURS[index % len(COLOURS)], MARKERS[index % len(MARKERS)]
    places = np.arange(len(space["tones"]))
    levels = np.array([np.nan if t["level_db"] is None else t["level_db"] for t in space["tones"]])
    ax.vlines(places, span[0], levels, color=colour, linewidth=2.2, alpha=0.45)
    ax.plot(places, levels, marker, color=colour, markersize=6)
    if len(places) <= MOST_NUMBERS:
        for place, level in zip(places, levels, strict=True):
            if np.isfinite(level):
                ax.annotate(
                    f"{level:.1f}",
                    (place, level),
                    (0, 6),
                    textcoords="offset points",
                    ha="center",
                    fontsize=8.5,
                    bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6},
                )
    if space["mean_db"] is not None:
        ax.axhline(space["mean_db"], color=INK, linewidth=0.9, linestyle=(0, (4, 2)))
    mean = "none" if space["mean_db"] is None else f"{space['mean_db']:.2f} dB"
    ax.set_title(f"{shortened(space['name'])}: mean {mean} (dashed)")
    ax.set_ylabel("level (dB)")
    ax.set_ylim(*span)
    ax.set_xlim(-0.5, len(places) - 0.5)
    ax.set_xticks(places, [""] * len(places))
    ax.grid(False, axis="x")


def _margins(ax: Axes, space: dict[str, Any], limits: list[str], scale: float) -> None:
    tones = space["tones"]
    values = np.array([[_value(tone["margins_db"][name]) for tone in tones] for name in limits])
    ax.imshow(np.minimum(values, FAR_DB), cmap=_SHADES, vmin=0.0, vmax=FAR_DB, aspect="auto")
    numbers = len(tones) <= MOST_NUMBERS
    for row, name in enumerate(limits):
        for column, tone in enumerate(tones):
            binds = tone["limit"] == name and values[row, column] < 0.005
            if numbers and np.isfinite(values[row, column]):
                text = "limit" if binds else _margin_words(values[row, column])
                weight = "bold" if binds else "normal"
                ax.text(
                    column,
                    row,
                    text,
                    ha="center",
                    va="center",
                    fontsize=8,
                    fontweight=weight,
                    color=BINDING if binds else INK,
                )
            elif binds:
                ax.plot(column, row, "s", color=BINDING, markersize=4)
    ax.set_yticks(range(len(limits)), [LIMIT_WORDS[name] for name in limits])
    step = -(-len(tones) // MOST_NUMBERS)
    shown = range(0, len(tones), step)
    full = "" if scale == 1.0 else "\n"
    labels = [
        f"{tones[i]['hz']:g}" + (f"{full}({tones[i]['hz'] / scale:.3g})" if full else "") for i in shown
    ]
    ax.set_xticks(list(shown), labels)
    ax.set_xlabel("tone (Hz)" if scale == 1.0 else "tone, model (Hz) and in brackets full size (Hz)")
    heading = "drive left before each limit (dB)" if numbers else "dark: no drive left; square: the limit met"
    ax.set_title(heading, fontweight="normal", color=QUIET, fontsize=8.5)
    ax.grid(False)
    ax.tick_params(length=0)
    for spine in ax.spines.values():
        spine.set_visible(False)


def _margin_words(margin: float) -> str:
    """Margin with one decimal; a limit that is met beside the one that stops the drive is not +0.0."""
    return "<0.1" if 0.0 <= margin < 0.05 else f"{margin:+.1f}"


def _value(margin: float | None) -> float:
    return np.nan if margin is None else margin
