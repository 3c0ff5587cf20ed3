"""The floor plan of a candidate as a small figure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from models.solid_steps import MM
from optimizer.design_file import read_design
from optimizer.plan_file import read_plan_file
from optimizer.season import season_from_data
from optimizer.sheet_lines import View
from optimizer.sheet_plan import PlanDrawing
from optimizer.style import WIDTH_IN

INCH_MM = 25.4

MOST_HIGH_MM = 120.0
"""Largest height of the drawn plan."""

LEFT_MM, RIGHT_MM, BELOW_MM, ABOVE_MM = 13.0, 13.0, 11.0, 22.0
"""Margins around the drawn plan, for dimensions and names of the faces."""


def plan_figure(title: str, folder: Path, source: dict[str, Any]) -> Figure:
    """Draw the floor plan of a candidate.

    Parameters
    ----------
    title : str
        Title of the figure [text].
    folder : Path
        The candidate's folder, with its plan and design [path].
    source : dict
        Season as plain data [mixed].

    Returns
    -------
    Figure
        The figure [record].
    """
    rules = season_from_data(source, folder / "plan.json").rules
    plan = read_plan_file(folder / "plan.json", rules)
    design = read_design(folder / "design.toml", rules)
    u, v, _ = plan.outer * MM
    width = WIDTH_IN * INCH_MM
    scale = min((width - LEFT_MM - RIGHT_MM) / u, MOST_HIGH_MM / v)
    height = scale * v + BELOW_MM + ABOVE_MM
    with matplotlib.rc_context({"hatch.linewidth": 0.25}):
        figure = Figure(figsize=(WIDTH_IN, height / INCH_MM))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(0.0, width)
        axes.set_ylim(0.0, height)
        axes.axis("off")
        axes.text(2.0, height - 2.0, title, va="top", fontsize=9.5, fontweight="bold")
        axis = "xyz"[plan.arrangement.height_axis]
        wall, inner = plan.envelope.wall * MM, plan.height * MM
        words = f"floor plan, lid off; inner height {inner:g} mm along {axis}; all walls {wall:g} mm"
        axes.text(2.0, height - 7.0, words, va="top", fontsize=8)
        left = LEFT_MM + 0.5 * (width - LEFT_MM - RIGHT_MM - scale * u)
        PlanDrawing(plan, design, scale).draw_small(View(axes=axes, origin=(left, BELOW_MM), scale=scale))
    return figure
