"""Lines of a workshop drawing on a sheet measured in millimetres: sections, dimensions, tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path

THICK, MEDIUM, THIN = 0.9, 0.5, 0.25
"""Widths of lines [points]: cut edges, frames, dimensions."""

TEXT, SMALL = 6.4, 5.4
HATCHES = ("//////", "\\\\\\\\\\\\")
"""Of the body and of the lid."""

INK = "#101820"
DIMENSION = "#1f4e79"


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A view at its place on the sheet.

    Attributes
    ----------
    axes : Axes
        The sheet [record].
    origin : tuple of two floats
        Where the view's zero lies on the sheet [mm].
    scale : float
        Drawn over real lengths [1].
    """

    axes: Axes
    origin: tuple[float, float]
    scale: float

    def at(self, point: Sequence[float]) -> tuple[float, float]:
        """Place on the sheet of a real point [mm]."""
        return (self.origin[0] + self.scale * point[0], self.origin[1] + self.scale * point[1])

    def section(self, contours: Sequence[np.ndarray], hatch: str, face: str = "#f4f4f1") -> None:
        """Cut faces with their hatching."""
        if not contours:
            return
        points, codes = [], []
        for contour in contours:
            drawn = np.asarray(contour) * self.scale + np.array(self.origin)
            points.append(np.concatenate([drawn, drawn[:1]]))
            codes += [Path.MOVETO, *[Path.LINETO] * (len(drawn) - 1), Path.CLOSEPOLY]
        shape = Path(np.concatenate(points), codes)
        style: dict[str, Any] = {"facecolor": face, "edgecolor": "#7c8894", "linewidth": 0.0}
        self.axes.add_patch(PathPatch(shape, hatch=hatch, zorder=2, **style))
        self.axes.add_patch(PathPatch(shape, fill=False, edgecolor=INK, linewidth=THICK, zorder=3))

    def hollows(self, contours: Sequence[np.ndarray], outline: np.ndarray) -> None:
        """Air within a cut face: contours may overlap; their common edge is drawn within an outline."""
        within = Path(np.asarray(outline) * self.scale + np.array(self.origin), closed=False)
        for contour in contours:
            drawn = np.asarray(contour) * self.scale + np.array(self.origin)
            edge = Polygon(drawn, facecolor="white", edgecolor=INK, linewidth=2.0 * THICK, zorder=3.2)
            self.axes.add_patch(edge).set_clip_path(within, self.axes.transData)
            self.axes.add_patch(Polygon(drawn, facecolor="white", linewidth=0.0, zorder=3.4))

    def line(self, points: Any, width: float = THIN, dashes: Any = "-", **style: Any) -> None:
        """A line through real points."""
        drawn = np.array([self.at(point) for point in points])
        look: dict[str, Any] = {"color": INK, "zorder": 4} | style
        self.axes.plot(drawn[:, 0], drawn[:, 1], linewidth=width, linestyle=dashes, **look)

    def circle(self, centre: Sequence[float], radius: float, **style: Any) -> None:
        """A circle."""
        turn = np.linspace(0.0, 2.0 * np.pi, 97)
        self.line(
            np.stack([centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)], axis=1), **style
        )

    def text(self, point: Sequence[float], words: str, size: float = TEXT, **style: Any) -> None:
        """Words centred at a real point."""
        self.words(self.at(point), words, size, **style)

    def words(self, place: Sequence[float], words: str, size: float = TEXT, **style: Any) -> None:
        """Words centred at a place on the sheet [mm]."""
        x, y = place
        look: dict[str, Any] = {"ha": "center", "va": "center", "color": INK, "zorder": 6} | style
        self.axes.text(x, y, words, fontsize=size, **look)

    def dimension(
        self,
        first: float,
        second: float,
        *,
        at: float,
        along: int,
        words: str | None = None,
        out: float = 0.0,
    ) -> None:
        """A dimension line with arrows.

        Parameters
        ----------
        first, second : float
            Real positions along the measured axis [mm].
        at : float
            Place of the line on the sheet across it, from the view's zero [mm].
        along : int
            0 for a horizontal dimension, 1 for an upright one [1].
        words : str or None
            Text; None for the length [text].
        out : float
            Where the extension lines start on the sheet, from the view's zero [mm].
        """
        a = self.origin[along] + self.scale * first
        b = self.origin[along] + self.scale * second
        across = self.origin[1 - along] + at
        start = self.origin[1 - along] + out
        sign = 1.0 if at >= out else -1.0

        def place(along_value: float, across_value: float) -> tuple[float, float]:
            return (along_value, across_value) if along == 0 else (across_value, along_value)

        for value in (a, b):
            ends = np.array([place(value, start + sign * 0.8), place(value, across + sign * 1.0)])
            self.axes.plot(ends[:, 0], ends[:, 1], color=DIMENSION, linewidth=THIN, zorder=4)
        self.axes.annotate(
            "",
            xy=place(b, across),
            xytext=place(a, across),
            arrowprops={"arrowstyle": "<|-|>,head_width=0.11,head_length=0.3", "color": DIMENSION,
                        "linewidth": THIN, "shrinkA": 0, "shrinkB": 0},
            zorder=4,
        )  # fmt: skip
        text = words or f"{abs(second - first):.1f}".removesuffix(".0")
        x, y = place(0.5 * (a + b), across + 0.9)
        if along == 1:
            x = across - 0.9
        self.axes.text(
            x, y, text, fontsize=TEXT, color=DIMENSION, rotation=90 * along, zorder=6,
            ha="center" if along == 0 else "right", va="bottom" if along == 0 else "center",
        )  # fmt: skip


def ordinates(view: View, values: Sequence[float], *, along: int, at: float, out: float) -> None:
    """Positions from zero, each with a line and its value, spread so that texts do not meet.

    Parameters
    ----------
    view : View
        The view [record].
    values : sequence of float
        Real positions [mm].
    along : int
        0 where they lie beside each other, 1 where above each other [1].
    at : float
        Where texts start on the sheet across, from the view's zero [mm].
    out : float
        Where lines start on the sheet, from the view's zero [mm].
    """
    gap = 2.7
    wanted = np.array([view.origin[along] + view.scale * v for v in values])
    places = wanted.copy()
    for _ in range(200):
        for i in range(1, len(places)):
            push = gap - (places[i] - places[i - 1])
            if push > 1e-6:
                places[i] += 0.5 * push
                places[i - 1] -= 0.5 * push
    base = view.origin[1 - along]
    sign = -1.0 if at < out else 1.0
    for value, true, shown in zip(values, wanted, places, strict=True):
        across = [base + out + sign * 0.8, base + out + sign * 2.5, base + at - sign * 1.5, base + at]
        points = np.array([(true, across[0]), (true, across[1]), (shown, across[2]), (shown, across[3])])
        if along == 1:
            points = points[:, ::-1]
        view.axes.plot(points[:, 0], points[:, 1], color=DIMENSION, linewidth=THIN, zorder=4)
        x, y = points[-1]
        style: dict[str, Any] = (
            {"rotation": 90, "ha": "center", "va": "top" if sign < 0 else "bottom"}
            if along == 0
            else {"rotation": 0, "va": "center", "ha": "right" if sign < 0 else "left"}
        )
        offset = sign * 0.5
        x, y = (x, y + offset) if along == 0 else (x + offset, y)
        view.axes.text(x, y, f"{value:.1f}", fontsize=SMALL, color=DIMENSION, zorder=6, **style)


def table(
    axes: Axes, corner: tuple[float, float], widths: Sequence[float], rows: Sequence[Sequence[str]]
) -> float:
    """Ruled table from its upper left corner; its first row is the head.

    Returns
    -------
    float
        Lower edge on the sheet [mm].
    """
    x0, y0 = corner
    height = 4.6
    right = x0 + sum(widths)
    for i, row in enumerate(rows):
        y = y0 - (i + 1) * height
        x = x0
        for width, words in zip(widths, row, strict=True):
            weight = "bold" if i == 0 else "normal"
            axes.text(
                x + 1.2, y + 0.5 * height - 0.1, words, fontsize=TEXT, va="center", color=INK, weight=weight
            )
            x += width
        axes.plot([x0, right], [y, y], color=INK, linewidth=MEDIUM if i == 0 else THIN)
    bottom = y0 - len(rows) * height
    axes.plot([x0, right], [y0, y0], color=INK, linewidth=MEDIUM)
    for x in np.cumsum([0.0, *widths]):
        axes.plot([x0 + x, x0 + x], [y0, bottom], color=INK, linewidth=THIN)
    return float(bottom)
