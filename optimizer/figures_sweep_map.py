"""Figures of a sweep over two keys: a map of the winning type, and maps of what stops the tones."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from optimizer.figures_tones import LIMIT_WORDS
from optimizer.style import COLOURS, INK, QUIET, WIDTH_IN, shortened
from optimizer.sweep_keys import is_number, value_text
from optimizer.sweep_plan import is_axis
from optimizer.sweep_words import graph_words, unit_of

MOST_NUMBERS = 9
"""Columns up to which cells carry numbers."""

LEAST_FOR_LINES = 4
"""Rows and columns from which lines of equal score are drawn."""

PALE = 0.42
"""Strength of a type's colour in its cells, so that numbers can be read on it."""

_MISSING = (0.93, 0.94, 0.95)


class SweepGrid:
    """Points in the cells of a grid, the first key across, the second upwards.

    Parameters
    ----------
    rows : sequence of dict
        Finished points [mixed].
    keys : sequence of str
        The two swept keys [text].
    """

    def __init__(self, rows: Sequence[Any], keys: Sequence[str]) -> None:
        self.keys = keys
        self.values = [_ordered(row["values"][key] for row in rows) for key in keys]
        self.numeric = all(is_axis(values) for values in self.values)
        places = [{repr(value): i for i, value in enumerate(values)} for values in self.values]
        self.cells = {
            (places[1][repr(row["values"][keys[1]])], places[0][repr(row["values"][keys[0]])]): row
            for row in rows
        }
        self.shape = (len(self.values[1]), len(self.values[0]))

    def numbers(self, read: Any) -> np.ndarray:
        """A number of every cell; nan where a point is missing."""
        found = np.full(self.shape, np.nan)
        for place, row in self.cells.items():
            found[place] = read(row)
        return found

    def dress(self, ax: Axes, *, names: bool = True) -> None:
        """Ticks and names of both axes; cells have equal size, whatever the steps of the values."""
        for axis, values, key in ((ax.xaxis, self.values[0], 0), (ax.yaxis, self.values[1], 1)):
            step = -(-len(values) // MOST_NUMBERS)
            texts = [tick_text(value) for value in values[::step]]
            axis.set_ticks(range(0, len(values), step), texts)
            if names:
                unit = unit_of(self.keys[key]) if is_axis(values) else ""
                axis.set_label_text(shortened(self.keys[key] + (f" ({unit})" if unit else ""), 60))
        ax.set_xlim(-0.5, self.shape[1] - 0.5)
        ax.set_ylim(-0.5, self.shape[0] - 0.5)
        ax.grid(False)
        ax.tick_params(length=0)


def map_figure(rows: Sequence[Any], keys: Sequence[str]) -> Figure:
    """Draw the winning type of every cell, its score, and lines of equal score.

    Parameters
    ----------
    rows : sequence of dict
        Finished points [mixed].
    keys : sequence of str
        The two swept keys [text].

    Returns
    -------
    Figure
        The figure [record].
    """
    grid = SweepGrid(rows, keys)
    count: dict[str, int] = {}
    for row in rows:
        count[row["graph"]] = count.get(row["graph"], 0) + 1
    graphs = sorted(count, key=lambda graph: -count[graph])
    figure = Figure(figsize=(WIDTH_IN, 1.7 + 0.55 * min(8, max(3, grid.shape[0]))), layout="constrained")
    figure.suptitle("Winning type and best score", x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    ax = figure.subplots()
    image = np.full((*grid.shape, 3), _MISSING)
    for place, row in grid.cells.items():
        image[place] = _shade(graphs.index(row["graph"]))
    ax.imshow(image, origin="lower", aspect="auto")
    scores = grid.numbers(lambda row: row["best_db"])
    numbered = grid.shape[1] <= MOST_NUMBERS
    note = "numbers: score (dB)" if numbered else "colour: winner"
    if numbered:
        for (y, x), row in grid.cells.items():
            back = {"facecolor": image[y, x], "edgecolor": "none", "pad": 1.0}
            words = f"{row['best_db']:.1f}"
            ax.text(x, y, words, ha="center", va="center", fontsize=8.5, color=INK, bbox=back)
    if grid.numeric and min(grid.shape) >= LEAST_FOR_LINES and np.ptp(scores[np.isfinite(scores)]) > 0.1:
        _contours(ax, scores, not numbered)
        note += "; lines: equal score"
    grid.dress(ax)
    ax.set_title(note, fontweight="normal", color=QUIET, fontsize=8.5)
    labels = [f"{graph_words(graph, rows)} ({count[graph]})" for graph in graphs]
    handles = [Patch(color=_shade(i), label=label) for i, label in enumerate(labels)]
    figure.legend(handles=handles, loc="outside lower left", ncols=2)
    return figure


def shares_map_figure(rows: Sequence[Any], keys: Sequence[str]) -> Figure:
    """Draw a small map of every limit's share.

    Parameters
    ----------
    rows : sequence of dict
        Finished points [mixed].
    keys : sequence of str
        The two swept keys [text].

    Returns
    -------
    Figure
        The figure [record].
    """
    grid = SweepGrid(rows, keys)
    limits = [name for name in LIMIT_WORDS if any(row["shares"].get(name) for row in rows)]
    across = 2 if len(limits) > 1 else 1
    down = max(1, -(-len(limits) // across))
    figure = Figure(figsize=(WIDTH_IN, 0.9 + down * 2.1), layout="constrained")
    figure.suptitle("What stops the first-ranked box", x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    axes = figure.subplots(down, across, squeeze=False, sharex=True, sharey=True).ravel()
    for index, (ax, limit) in enumerate(zip(axes, limits, strict=False)):
        shares = grid.numbers(lambda row, limit=limit: row["shares"].get(limit, 0.0))
        colour = COLOURS[list(LIMIT_WORDS).index(limit)]
        ramp = LinearSegmentedColormap.from_list("share", ["#ffffff", colour]).with_extremes(bad=_MISSING)
        ax.imshow(np.ma.masked_invalid(shares), origin="lower", aspect="auto", cmap=ramp, vmin=0.0, vmax=1.0)
        if grid.shape[1] <= MOST_NUMBERS:
            for (y, x), share in np.ndenumerate(shares):
                if share > 0.0:
                    ink = "white" if share > 0.6 else INK
                    ax.text(x, y, f"{share:.0%}", ha="center", va="center", fontsize=7.5, color=ink)
        grid.dress(ax, names=False)
        ax.set_title(LIMIT_WORDS[limit])
        ax.label_outer()
        if index + across >= len(limits):
            ax.tick_params(labelbottom=True)
    for ax in axes[len(limits) :]:
        ax.set_visible(False)
    figure.supxlabel(shortened(keys[0], 60), fontsize=9)
    figure.supylabel(shortened(keys[1], 40), fontsize=9)
    return figure


def tick_text(value: Any) -> str:
    """Value as a tick of an axis; of a path its last part."""
    return shortened(value_text(value).rsplit("/", 1)[-1], 18)


def _ordered(values: Any) -> list[Any]:
    """Different values: rising where they are numbers, else as they come."""
    found = list({repr(value): value for value in values}.values())
    return sorted(found) if all(is_number(value) for value in found) else found


def _shade(index: int) -> tuple[float, float, float]:
    colour = to_rgb(COLOURS[index] if index < len(COLOURS) else QUIET)
    red, green, blue = (1.0 - PALE * (1.0 - part) for part in colour)
    return red, green, blue


def _contours(ax: Axes, scores: np.ndarray, labelled: bool) -> None:
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="No contour levels were found")
        lines = ax.contour(np.ma.masked_invalid(scores), colors=INK, linewidths=0.9, levels=6, alpha=0.75)
    if labelled:
        ax.clabel(lines, fontsize=7, fmt="%g")
