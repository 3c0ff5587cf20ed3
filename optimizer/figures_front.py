"""Figures of the whole run: the front of the objectives, and the best design of every topology."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from models.catalogue import short_label
from optimizer.objectives import OBJECTIVES
from optimizer.style import COLOURS, INK, MARKERS, QUIET, legend_columns, new_figure

LABEL_SIZE, LABEL_HEIGHT = 17.0, 17.0
"""Room for a number and its height above its point, in points of 1/72 inch."""

RING = 4.0
"""Radius of the ring on a candidate, in the same unit."""

PANEL_SIZE = (335.0, 150.0)
"""Width and height of a panel, about, in the same unit."""

PUSHES = 200
"""Rounds in which labels are pushed apart, at most."""

MOST_TOPOLOGIES = 30
"""Topologies that the figure shows; the table holds all."""


def front_figure(
    front: Sequence[dict[str, str]], candidates: Sequence[dict[str, Any]], objectives: Sequence[str]
) -> Figure:
    """Draw the first objective against each of the others, candidates numbered.

    Parameters
    ----------
    front : sequence of dict
        Rows of ``front.csv`` [text].
    candidates : sequence of dict
        Content of ``candidates.json`` [mixed].
    objectives : sequence of str
        Names of the season's objectives, at least two [text].

    Returns
    -------
    Figure
        The figure [record].
    """
    others = objectives[1:]
    figure = new_figure("What can be traded for what", 0.9 + 2.9 * len(others))
    axes = figure.subplots(len(others), 1, squeeze=False)[:, 0]
    groups = _groups(front)
    first = OBJECTIVES[objectives[0]].key
    for ax, other in zip(axes, others, strict=True):
        second = OBJECTIVES[other].key
        for index, (_, rows) in enumerate(groups):
            x, y = ([float(row[key]) for row in rows] for key in (second, first))
            last = index == len(COLOURS) - 1
            colour, marker = (QUIET if last else COLOURS[index]), MARKERS[index % len(MARKERS)]
            ax.plot(x, y, marker, color=colour, markersize=4.5, alpha=0.85, markeredgewidth=0)
        ax.set_xlabel(_axis_words(other))
        ax.set_ylabel(_axis_words(objectives[0], "\n"))
        ax.margins(0.08, 0.16)
        _number_candidates(ax, candidates, second, first)
    handles = [
        Line2D(
            [],
            [],
            linestyle="",
            marker=MARKERS[i % len(MARKERS)],
            color=QUIET if i == len(COLOURS) - 1 else COLOURS[i],
        )
        for i in range(len(groups))
    ]
    handles.append(
        Line2D([], [], linestyle="", marker="o", markerfacecolor="none", markeredgecolor=INK, markersize=6.5)
    )
    labels = [name for name, _ in groups] + ["numbered: ranked candidate"]
    figure.legend(handles, labels, loc="outside lower left", ncols=legend_columns(labels))
    return figure


def _axis_words(name: str, between: str = ", ") -> str:
    objective = OBJECTIVES[name]
    better = "more" if objective.sign > 0.0 else "less"
    return f"{objective.label} ({objective.unit}){between}{better} is better"


def _number_candidates(ax: Axes, candidates: Sequence[dict[str, Any]], x_key: str, y_key: str) -> None:
    """A ring on every candidate, and its number beside it where no other number is."""
    x, y = (np.array([float(c["objectives"][key]) for c in candidates]) for key in (x_key, y_key))
    ax.plot(x, y, "o", markersize=6.5, markerfacecolor="none", markeredgecolor=INK, markeredgewidth=1.3)
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    points = np.stack([(x - left) / (right - left), (y - low) / (high - low)], axis=1) * PANEL_SIZE
    for candidate, place, offset in zip(candidates, zip(x, y, strict=True), _apart(points), strict=True):
        ax.annotate(
            str(candidate["rank"]),
            place,
            offset,
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=8.5,
            fontweight="bold",
            bbox={"boxstyle": "circle,pad=0.22", "facecolor": "white", "edgecolor": INK, "linewidth": 0.9},
            arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.9, "shrinkB": 3.0},
            zorder=5,
        )


def _apart(points: np.ndarray) -> np.ndarray:
    """Offsets of labels of points, shape (n, 2): above them, pushed sideways until none covers another."""
    labels = points + np.array([0.0, LABEL_HEIGHT])
    order = np.argsort(points[:, 0], kind="stable")
    for _ in range(PUSHES):
        before = labels.copy()
        for position, i in enumerate(order):
            for j in order[position + 1 :]:
                overlap = LABEL_SIZE - np.hypot(*(labels[j] - labels[i]))
                if overlap > 0.0:
                    labels[[i, j], 0] += 0.5 * (overlap + 0.5) * np.array([-1.0, 1.0])
            for j in order:
                away = labels[i] - points[j]
                overlap = 0.5 * LABEL_SIZE + RING - np.hypot(*away)
                if j != i and overlap > 0.0:
                    labels[i, 0] += (overlap + 0.5) * (1.0 if away[0] >= 0.0 else -1.0)
        if np.array_equal(before, labels):
            break
    return np.asarray(labels - points)


def _groups(front: Sequence[dict[str, str]]) -> list[tuple[str, list[dict[str, str]]]]:
    """Points by topology, the most frequent first, the rare ones together at the end."""
    by_name: dict[str, list[dict[str, str]]] = {}
    for row in front:
        by_name.setdefault(short_label(row["topology"], row["graph"]), []).append(row)
    ordered = sorted(by_name.items(), key=lambda item: -len(item[1]))
    if len(ordered) <= len(COLOURS):
        return ordered
    kept, rest = ordered[: len(COLOURS) - 1], ordered[len(COLOURS) - 1 :]
    kept.append((f"{len(rest)} other topologies", [row for _, rows in rest for row in rows]))
    return kept


def topologies_figure(topologies: Sequence[dict[str, str]]) -> Figure:
    """Draw the best score of every topology and where its restarts ended.

    Parameters
    ----------
    topologies : sequence of dict
        Rows of ``topologies.csv`` in order of falling score [text].

    Returns
    -------
    Figure
        The figure [record].
    """
    found = [row for row in topologies if row["best_db"]]
    shown = found[:MOST_TOPOLOGIES]
    figure = new_figure("Best score of every topology", 1.5 + 0.235 * max(2, len(shown)))
    ax = figure.subplots()
    for place, row in enumerate(shown):
        best = float(row["best_db"])
        restarts = np.array([float(score) for score in row["restart_scores_db"].split()])
        if restarts.size:
            ax.plot([restarts.min(), best], [place, place], color=COLOURS[0], linewidth=1.0, alpha=0.5)
            ax.plot(restarts, np.full(restarts.size, place), "|", color=COLOURS[0], markersize=8)
        ax.plot(best, place, "o", color=COLOURS[1], markersize=5.5)
        ax.annotate(f"{best:.1f}", (best, place), (6, 0), textcoords="offset points", va="center", fontsize=8)
    ax.set_yticks(range(len(shown)), [short_label(row["topology"], row["graph"]) for row in shown])
    ax.set_ylim(len(shown) - 0.4, -0.6)
    ax.margins(x=0.16)
    ax.grid(False, axis="y")
    ax.set_xlabel("score (dB)")
    notes = [f"{len(found) - len(shown)} more in topologies.csv"] if len(found) > len(shown) else []
    if len(topologies) > len(found):
        notes.append(f"{len(topologies) - len(found)} without a design that fits")
    if notes:
        ax.set_title("; ".join(notes), fontweight="normal", color=QUIET, fontsize=8.5)
    handles = [
        Line2D([], [], linestyle="", marker="o", color=COLOURS[1]),
        Line2D([], [], linestyle="", marker="|", color=COLOURS[0], markersize=8),
    ]
    figure.legend(handles, ["best found", "best of one restart"], loc="outside lower left", ncols=2)
    return figure
