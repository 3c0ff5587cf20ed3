"""Figure of how candidates spread with print, driver and day, and of what matters most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from models.catalogue import short_label
from optimizer.style import COLOURS, INK, QUIET, new_figure, shortened

MOST_CANDIDATES = 12
"""Candidates that the figure shows."""

MOST_CAUSES = 6
"""Causes that the figure shows, those that matter most to any candidate."""


def spread_candidates(candidates: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The candidates whose spread is known."""
    return [candidate for candidate in candidates if candidate.get("tolerance")]


def spread_figure(candidates: Sequence[dict[str, Any]]) -> Figure:
    """Draw the spread of every candidate's score, and the share of each cause in it.

    Parameters
    ----------
    candidates : sequence of dict
        Entries of ``candidates.json`` that have ``tolerance``, at least one [mixed].

    Returns
    -------
    Figure
        The figure [record].
    """
    shown = list(candidates[:MOST_CANDIDATES])
    causes = _leading_causes(shown)
    rows = len(shown)
    figure = new_figure("What becomes of them when built", 2.3 + 0.30 * rows + 0.36 * len(causes))
    heights = [0.8 + 0.30 * rows, 0.8 + 0.42 * len(causes)]
    above, below = figure.subplots(2, 1, height_ratios=heights)
    _spans(above, shown)
    _causes(below, shown, causes)
    handles = [
        Line2D([], [], color=COLOURS[0], linewidth=5, alpha=0.45),
        Line2D([], [], linestyle="", marker="|", color=INK, markersize=9),
        Line2D([], [], linestyle="", marker="o", color=COLOURS[1]),
        Line2D([], [], color=COLOURS[2], linewidth=6, alpha=0.55),
        Line2D([], [], linestyle="", marker="|", color=QUIET, markersize=9),
    ]
    labels = ["eight of ten built boxes", "their median", "as designed"]
    labels += [f"share: candidate {shown[0]['rank']}", "share: each other candidate"]
    figure.legend(handles, labels, loc="outside lower left", ncols=2)
    return figure


def _spans(ax: Any, shown: Sequence[dict[str, Any]]) -> None:
    for place, candidate in enumerate(shown):
        t = candidate["tolerance"]
        ax.plot([t["p10_db"], t["p90_db"]], [place, place], color=COLOURS[0], linewidth=6, alpha=0.45,
                solid_capstyle="butt")  # fmt: skip
        ax.plot(t["p50_db"], place, "|", color=INK, markersize=9)
        ax.plot(candidate["score_db"], place, "o", color=COLOURS[1], markersize=5)
        right = max(t["p90_db"], candidate["score_db"])
        words = f"keeps place: {100 * t['keeps_rank']:.0f} %"
        ax.annotate(words, (right, place), (7, 0), textcoords="offset points", va="center", fontsize=8)
    names = [f"{c['rank']}. {shortened(short_label(c['topology'], c['graph']), 30)}" for c in shown]
    ax.set_yticks(range(len(shown)), names)
    ax.set_ylim(len(shown) - 0.4, -0.6)
    low, high = ax.get_xlim()
    ax.set_xlim(low, high + 0.5 * (high - low))
    ax.grid(False, axis="y")
    ax.set_xlabel("score (dB)")


def _causes(ax: Any, shown: Sequence[dict[str, Any]], causes: Sequence[str]) -> None:
    for place, name in enumerate(causes):
        first, *others = (100.0 * _shares(c).get(name, 0.0) for c in shown)
        ax.barh(place, first, height=0.6, color=COLOURS[2], alpha=0.55)
        ax.plot(others, [place] * len(others), "|", color=QUIET, markersize=11)
    ax.set_yticks(range(len(causes)), [shortened(name, 34) for name in causes])
    ax.set_ylim(len(causes) - 0.4, -0.6)
    ax.set_xlim(0.0, 104.0)
    ax.grid(False, axis="y")
    ax.set_xlabel("share of the score's variance (%)")


def _shares(candidate: dict[str, Any]) -> dict[str, float]:
    return {cause["name"]: cause["share"] for cause in candidate["tolerance"]["causes"]}


def _leading_causes(shown: Sequence[dict[str, Any]]) -> list[str]:
    """Causes that matter most to any candidate, in the order in which they matter to the first."""
    most: dict[str, float] = {}
    for candidate in shown:
        for name, share in _shares(candidate).items():
            most[name] = max(share, most.get(name, 0.0))
    leading = sorted(most, key=lambda name: -most[name])[:MOST_CAUSES]
    return sorted(leading, key=lambda name: -_shares(shown[0]).get(name, 0.0))
