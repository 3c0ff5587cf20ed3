"""A sketch of a graph: chambers, the outside, and what joins them."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyBboxPatch

from models.topology import OUTSIDE, Edge, Topology, place_letter
from optimizer.style import COLOURS, INK, new_figure

KINDS = ("driver", "duct", "diaphragm")


def graph_figure(title: str, topology: Topology) -> Figure:
    """Draw a graph: chambers in a row, the outside below them, every connection a bow of its own.

    Parameters
    ----------
    title : str
        Title of the figure [text].
    topology : Topology
        The graph [record].

    Returns
    -------
    Figure
        The figure [record].
    """
    figure = new_figure(title, 2.7, max(3.4, 1.4 + 1.5 * topology.chambers))
    ax = figure.subplots()
    last = 1.6 * (topology.chambers - 1)
    ax.add_patch(FancyBboxPatch((-0.5, -1.75), last + 1.0, 0.4, boxstyle="round,pad=0.05", fc="none", ec=INK))
    ax.annotate("outside", (0.5 * last, -1.55), ha="center", va="center", fontsize=8.5)
    for chamber in range(topology.chambers):
        ax.add_patch(Circle((1.6 * chamber, 0.0), 0.33, fc="white", ec=INK, lw=1.4, zorder=3))
        ax.annotate(
            place_letter(chamber),
            (1.6 * chamber, 0.0),
            ha="center",
            va="center",
            fontsize=11,
            fontweight="bold",
            zorder=4,
        )
    drawn: dict[frozenset[int], int] = {}
    highest = 0.33
    named: set[str] = set()
    for kind, edges in zip(KINDS, (topology.drivers, topology.ducts, topology.diaphragms), strict=True):
        for edge in edges:
            key = frozenset(edge)
            x, y = _bow(edge, drawn.setdefault(key, 0))
            drawn[key] += 1
            highest = max(highest, float(y.max()))
            colour = COLOURS[KINDS.index(kind)]
            style = {"driver": "-", "duct": "-", "diaphragm": (0, (4, 2))}[kind]
            label = None if kind in named else kind
            named.add(kind)
            ax.plot(x, y, color=colour, lw=2.6 if kind == "driver" else 1.8, ls=style, label=label, zorder=1)
            middle = len(x) // 2
            if kind == "driver":
                ax.plot(x[middle], y[middle], "D", color=colour, markersize=8, zorder=2)
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, 0.0), ncols=3, frameon=False, fontsize=8)
    ax.set_aspect("equal")
    ax.set_xlim(-0.9, last + 0.9)
    ax.set_ylim(-1.85, highest + 0.12)
    ax.axis("off")
    return figure


def _bow(edge: Edge, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Points of a connection; several between the same places lie side by side."""
    along = np.linspace(0.0, 1.0, 41)
    shift = (0.0, 0.22, -0.22, 0.38, -0.38)[number % 5]
    if OUTSIDE in edge:
        chamber = edge[0] if edge[1] == OUTSIDE else edge[1]
        x = 1.6 * chamber + shift * np.sin(np.pi * np.minimum(2.0 * along, 1.0) / 2.0)
        return np.broadcast_to(x, along.shape).copy(), -1.3 * along
    one, two = (1.6 * place for place in sorted(edge))
    height = 0.75 * shift + (0.5 if two - one > 1.7 else 0.0)
    return one + (two - one) * along, 4.0 * height * along * (1.0 - along)
