"""Figures of the whole run: the front of the objectives, and the best design of every topology."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from models.catalogue import short_label
from optimizer.objectives import OBJECTIVES
from optimizer.style import COLOURS, INK, MARKERS, QUIET, new_figure

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
        _number_candidates(ax, candidates, second, first)
        ax.set_xlabel(_axis_words(other))
        ax.set_ylabel(_axis_words(objectives[0]))
        ax.margins(0.08)
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
        Line2D([], [], linestyle="", marker="o", markerfacecolor="white", markeredgecolor=INK, markersize=9)
    )
    labels = [name for name, _ in groups] + ["numbered: ranked candidate"]
    figure.legend(handles, labels, loc="outside lower left", ncols=2)
    return figure


def _axis_words(name: str) -> str:
    objective = OBJECTIVES[name]
    better = "more" if objective.sign > 0.0 else "less"
    return f"{objective.label} ({objective.unit}), {better} is better"


def _number_candidates(ax: Any, candidates: Sequence[dict[str, Any]], x_key: str, y_key: str) -> None:
    for candidate in reversed(candidates):  # the first on top
        x, y = candidate["objectives"][x_key], candidate["objectives"][y_key]
        ax.plot(x, y, "o", markersize=11, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.0)
        ax.annotate(
            str(candidate["rank"]), (x, y), ha="center", va="center_baseline", fontsize=7.5, fontweight="bold"
        )


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
    ax.margins(x=0.12)
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
