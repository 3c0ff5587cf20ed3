"""The figure of the atlas: scores of the best graphs of one season."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure

from optimizer.style import COLOURS, QUIET, WIDTH_IN

SHOWN = 18


def atlas_figure(name: str, rows: Sequence[Any]) -> Figure:
    """Best score of the leading graphs with uniform and with tapered ducts, simple boxes always shown."""
    best: dict[str, float] = {}
    for row in rows:
        if row.best_db is not None:
            best[row.graph] = max(best.get(row.graph, row.best_db), row.best_db)
    leaders = sorted(best, key=lambda graph: -best[graph])
    shown = leaders[:SHOWN] + [graph for graph in ("AB/Ao", "oA/Ao", "oA") if graph in leaders[SHOWN:]]
    figure = Figure(figsize=(WIDTH_IN, 1.6 + 0.22 * len(shown)), layout="constrained")
    title = f"{name}: the leading {min(SHOWN, len(leaders))} of {len(leaders)} graphs, and simple boxes"
    figure.suptitle(title, x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    ax = figure.subplots()
    for colour, marker, profile in zip(COLOURS, "os", ("uniform", "conical"), strict=False):
        points = {
            row.graph: row.best_db for row in rows if row.profile == profile and row.best_db is not None
        }
        places = [i for i, graph in enumerate(shown) if graph in points]
        scores = [points[shown[i]] for i in places]
        ax.plot(scores, places, marker, color=colour, markersize=5.5, label=f"{profile} ducts")
    ax.set_yticks(range(len(shown)), shown, family="monospace", fontsize=8)
    ax.set_ylim(len(shown) - 0.4, -0.6)
    ax.set_xlabel("score (dB)")
    ax.grid(True, axis="y", color=QUIET, alpha=0.2)
    figure.legend(loc="outside lower left", ncols=2)
    return figure
