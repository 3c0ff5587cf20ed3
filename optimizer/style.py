"""One look for all figures: colours that colour-blind readers can tell apart, plain text, thin frames."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure

INK = "#22303c"
QUIET = "#6b7a86"
GRID = "#dde3e8"
LIMIT = "#b3261e"
LIMIT_LINE: dict[str, Any] = {"color": LIMIT, "linewidth": 2.6, "alpha": 0.45}
BAND = "#f1eee3"
"""Ground of the band from the lowest to the highest tone."""

COLOURS = ("#0072b2", "#d55e00", "#009e73", "#b5709f", "#8a6d00", "#3a9bc9", "#000000")
"""Line and marker colours; the hues are after M. Okabe and K. Ito, "Color Universal Design" (2008)."""

DASHES: tuple[Any, ...] = ("-", (0, (5, 1.6)), (0, (1.4, 1.2)), (0, (5, 1.4, 1.4, 1.4)))
"""Line patterns, so that curves differ in print without colour."""

MARKERS = ("o", "s", "^", "D", "v", "P", "X")

FIGURE_STYLE: Any = {
    "figure.facecolor": "white",
    "figure.constrained_layout.w_pad": 0.08,
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "text.color": INK,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 9.0,
    "ytick.labelsize": 9.0,
    "legend.frameon": False,
    "legend.fontsize": 9.0,
    "lines.linewidth": 1.6,
    "svg.hashsalt": "boxwright",
}
"""Matplotlib settings of every figure."""

WIDTH_IN = 5.6
"""Width of every figure, narrow enough to be read on a phone."""

DOTS_PER_INCH = 160


class NotebookFigure(Figure):
    """A figure that a notebook shows by itself, whatever its settings."""

    def _repr_png_(self) -> bytes:
        image = io.BytesIO()
        self.savefig(image, format="png", dpi=DOTS_PER_INCH)
        return image.getvalue()


def new_figure(title: str, height: float, width: float = WIDTH_IN) -> Figure:
    """An empty figure in the style of all: laid out by itself, its title bold and flush left.

    Parameters
    ----------
    title : str
        Title, cut where it is long [text].
    height, width : float
        Size [inch].

    Returns
    -------
    Figure
        The figure [record].
    """
    figure = NotebookFigure(figsize=(width, height), layout="constrained")
    figure.suptitle(shortened(title, 58), x=0.01, ha="left", fontweight="bold", fontsize=11.0)
    return figure


def legend_columns(labels: Sequence[str]) -> int:
    """Columns of a legend below a figure, so that it is no wider than the figure."""
    longest = max((len(label) for label in labels), default=1)
    return max(1, min(4, int(WIDTH_IN / (0.6 + 0.072 * longest))))


def shortened(text: str, length: int = 34) -> str:
    """Text cut to a length with an ellipsis, on one line."""
    line = " ".join(text.split())
    return line if len(line) <= length else line[: length - 1] + "…"
