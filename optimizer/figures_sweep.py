"""Figures of a sweep along one key: scores of the types, and what stops the tones."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from optimizer.figures_sweep_map import map_figure, shares_map_figure, tick_text
from optimizer.figures_tones import LIMIT_WORDS
from optimizer.style import COLOURS, DASHES, GRID, INK, MARKERS, QUIET, WIDTH_IN, shortened
from optimizer.sweep_plan import is_axis
from optimizer.sweep_points import DONE
from optimizer.sweep_words import crossing, graph_words, unit_of

MOST_LINES = 6
"""Types that the figure of scores shows, the winners first."""

MOST_TICKS = 12

SHADE = 0.16
"""Strength of the colour behind the winner's region."""


def sweep_figures(table: Mapping[str, Any]) -> Iterator[tuple[str, Callable[[], Figure], str]]:
    """Every figure of a sweep: its name, how to draw it, and what it shows.

    Parameters
    ----------
    table : mapping
        Content of ``sweep.json`` [mixed].

    Yields
    ------
    tuple of str, callable and str
        Name of the file without suffix, a function that draws the figure, a caption [mixed].
    """
    rows = [row for row in table["rows"] if row["status"] == DONE and row["graph"]]
    keys = table["keys"]
    if len(rows) < 2:
        return
    if len(keys) == 1 or table["together"]:
        axis = SweepAxis(rows, keys)
        words = "Best score of the leading types; the shade has the colour of the winner."
        yield "score", partial(score_figure, axis), words
        words = "What stops the first-ranked box: share of the score's weight over tones and spaces."
        yield "binding", partial(binding_figure, axis), words
    elif len(keys) == 2:
        words = "Winning type (colour), best score (numbers), and lines of equal score."
        yield "map", partial(map_figure, rows, keys), words
        words = "Share of the score's weight that each limit stops."
        yield "binding", partial(shares_map_figure, rows, keys), words


class SweepAxis:
    """Points in their order along a horizontal axis, to scale where the values are numbers.

    Parameters
    ----------
    rows : sequence of dict
        Finished points [mixed].
    keys : sequence of str
        Swept keys, the first one on the axis [text].
    """

    def __init__(self, rows: Sequence[Any], keys: Sequence[str]) -> None:
        self.key = key = keys[0]
        self.numeric = is_axis(row["values"][key] for row in rows)
        self.rows = sorted(rows, key=lambda row: row["values"][key]) if self.numeric else list(rows)
        values = [row["values"][key] for row in self.rows]
        self.at = np.array(values, dtype=float) if self.numeric else np.arange(len(values), dtype=float)
        self.logarithmic = self.numeric and _is_geometric(self.at)
        self.labels = [" / ".join(tick_text(v) for v in row["values"].values()) for row in self.rows]
        unit = unit_of(key) if self.numeric and len(keys) == 1 else ""
        self.name = " / ".join(keys) + (f" ({unit})" if unit else "")

    @property
    def edges(self) -> np.ndarray:
        """Limits of every point's region, half way to the next."""
        at = np.log(self.at) if self.logarithmic else self.at
        middle = (at[1:] + at[:-1]) / 2.0
        ends = np.concatenate([[2.0 * at[0] - middle[0]], middle, [2.0 * at[-1] - middle[-1]]])
        return np.exp(ends) if self.logarithmic else ends

    @property
    def borders(self) -> np.ndarray:
        """The same, but where the winner changes the place where both types' scores cross, if it is known."""
        borders = self.edges
        for i, (a, b) in enumerate(pairwise(self.rows), start=1):
            at = crossing(a, b, self.key) if self.numeric and a["graph"] != b["graph"] else None
            borders[i] = borders[i] if at is None else at
        return borders

    def dress(self, ax: Axes) -> None:
        """Scale, ticks at the points, and name of the axis."""
        if self.logarithmic:
            ax.set_xscale("log")
        step = -(-len(self.labels) // MOST_TICKS)
        shown = slice(None, None, step)
        texts = self.labels[shown]
        long = sum(len(text) for text in texts) > 60
        ax.set_xticks(self.at[shown], texts, rotation=30 if long else 0, ha="right" if long else "center")
        ax.minorticks_off()
        ax.set_xlim(self.edges[0], self.edges[-1])
        ax.set_xlabel(shortened(self.name, 70))


def score_figure(axis: SweepAxis) -> Figure:
    """Draw the best score of the leading types, with the winner's regions behind.

    Parameters
    ----------
    axis : SweepAxis
        The points [record].

    Returns
    -------
    Figure
        The figure [record].
    """
    shown, others = _leading(axis.rows)
    figure = Figure(figsize=(WIDTH_IN, 4.0), layout="constrained")
    figure.suptitle("Best score of the leading types", x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    ax = figure.subplots()
    borders = axis.borders
    for left, right, row in zip(borders[:-1], borders[1:], axis.rows, strict=True):
        colour = COLOURS[shown.index(row["graph"])] if row["graph"] in shown else QUIET
        ax.axvspan(left, right, color=colour, alpha=SHADE, linewidth=0)
    scores = [{one["graph"]: one["best_db"] for one in row["topologies"]} for row in axis.rows]
    for index, graph in enumerate(shown):
        ax.plot(
            axis.at,
            [score.get(graph, np.nan) for score in scores],
            marker=MARKERS[index % len(MARKERS)],
            markersize=5,
            color=COLOURS[index],
            linestyle=DASHES[index % len(DASHES)] if axis.numeric else "",
            label=graph_words(graph, axis.rows),
        )
    ax.plot(
        axis.at,
        [row["score_db"] for row in axis.rows],
        "o",
        markersize=10,
        markerfacecolor="none",
        markeredgecolor=INK,
        markeredgewidth=1.0,
        label="winner",
    )
    axis.dress(ax)
    ax.set_ylabel("score (dB)")
    ax.margins(y=0.08)
    _bounds(ax, axis)
    note = f"; {others} more {'type' if others == 1 else 'types'} in sweep.json" if others else ""
    ax.set_title(f"shade: colour of the winner{note}", fontweight="normal", color=QUIET, fontsize=8.5)
    figure.legend(loc="outside lower left", ncols=2)
    return figure


def binding_figure(axis: SweepAxis) -> Figure:
    """Draw stacked shares of the score's weight by the limit that stops it.

    Parameters
    ----------
    axis : SweepAxis
        The points [record].

    Returns
    -------
    Figure
        The figure [record].
    """
    figure = Figure(figsize=(WIDTH_IN, 3.4), layout="constrained")
    figure.suptitle("What stops the first-ranked box", x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    ax = figure.subplots()
    low = np.zeros(len(axis.rows))
    handles = []
    for index, (limit, name) in enumerate(LIMIT_WORDS.items()):
        share = np.array([row["shares"].get(limit, 0.0) for row in axis.rows])
        if not share.any():
            continue
        colour = COLOURS[index]
        ax.bar(
            axis.edges[:-1],
            share,
            np.diff(axis.edges),
            low,
            align="edge",
            color=colour,
            alpha=0.8,
            edgecolor="white",
            linewidth=0.8,
        )
        for left, right, at, base, one in zip(
            axis.edges[:-1], axis.edges[1:], axis.at, low, share, strict=True
        ):
            wide = (right - left) / (axis.edges[-1] - axis.edges[0]) > 0.06 or axis.logarithmic
            if one >= 0.1 and wide and len(axis.rows) <= MOST_TICKS:
                ax.text(at, base + one / 2, f"{one:.0%}", ha="center", va="center", fontsize=8, color="white")
        handles.append(Patch(color=colour, alpha=0.8, label=name))
        low = low + share
    axis.dress(ax)
    ax.set_ylim(0.0, 1.0)
    ax.set_yticks(np.linspace(0.0, 1.0, 5), [f"{share:.0%}" for share in np.linspace(0.0, 1.0, 5)])
    ax.set_ylabel("share of the score's weight")
    ax.grid(False, axis="x")
    for (a, b), edge in zip(pairwise(axis.rows), axis.edges[1:-1], strict=True):
        if a["graph"] != b["graph"]:
            ax.axvline(edge, color=INK, linewidth=1.1, linestyle=(0, (4, 2)))
    if len({row["graph"] for row in axis.rows}) > 1:
        words = "dashed: another type wins"
        ax.set_title(words, fontweight="normal", color=QUIET, fontsize=8.5)
    if np.any(low < 1.0 - 1e-6):
        handles.append(Patch(facecolor="white", edgecolor=GRID, label="another tone stops the shared drive"))
    figure.legend(handles=handles, loc="outside lower left", ncols=3)
    return figure


def _bounds(ax: Axes, axis: SweepAxis) -> None:
    """Write above every point what no enclosure at all can pass; it lies too high to be drawn to scale."""
    bounds = [row["bound_db"] for row in axis.rows]
    if len(bounds) > MOST_TICKS or any(bound is None for bound in bounds):
        return
    top = ax.secondary_xaxis("top")
    top.set_xticks(axis.at, [f"{bound:.1f}" for bound in bounds])
    top.minorticks_off()
    top.tick_params(length=0)
    top.spines["top"].set_visible(False)
    top.set_xlabel("bound for any enclosure (dB)", color=QUIET, fontsize=8.5, loc="left")


def _is_geometric(values: np.ndarray) -> bool:
    """Whether steps of rising values are more equal as ratios than as differences."""
    if len(values) < 3 or values[0] <= 0.0:
        return False
    ratios, steps = np.diff(np.log(values)), np.diff(values)
    return bool(np.std(ratios) / np.mean(ratios) < np.std(steps) / np.mean(steps) - 1e-9)


def _leading(rows: Sequence[Any]) -> tuple[list[str], int]:
    """Types to show, winners first, then by their highest score; and how many are left out."""
    wins: dict[str, int] = {}
    highest: dict[str, float] = {}
    for row in rows:
        wins[row["graph"]] = wins.get(row["graph"], 0) + 1
        for one in row["topologies"]:
            highest[one["graph"]] = max(highest.get(one["graph"], -np.inf), one["best_db"])
    ordered = sorted(highest, key=lambda graph: (-wins.get(graph, 0), -highest[graph]))
    return ordered[:MOST_LINES], len(ordered) - len(ordered[:MOST_LINES])
