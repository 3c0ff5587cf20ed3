"""Empty plots of the exploring part, as bokeh's plain data; the page's script fills them."""

from __future__ import annotations

import json
import re
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from optimizer.style import GRID, INK, LIMIT, QUIET

CURVE_TITLES = {
    "level_db": "Level (dB)",
    "excursion_mm": "Cone excursion, peak (mm)",
    "air_speed_m_s": "Air speed in the fastest duct, peak (m/s)",
    "impedance_ohm": "Impedance (ohm)",
}
"""Curves by name, with their titles."""

LIMITED = {"excursion_mm": "excursion_mm", "air_speed_m_s": "air_speed_m_s"}
"""Curves under a limit of the season, and its key."""

MOST_TICKS = 8
"""Tones that are marked on the frequency axis at most."""


def load_library() -> None:
    """Load bokeh where it is installed, for a page that will be made soon."""
    if find_spec("bokeh") is not None:
        import_module("bokeh.plotting")
        import_module("bokeh.embed")


def plot_items(source: dict[str, Any], hz: list[float]) -> Any:
    """Every plot as the plain data that bokeh embeds, by the end of its element's name.

    Parameters
    ----------
    source : dict
        The season's source [mixed].
    hz : list of float
        Frequencies of the curves [Hz].

    Returns
    -------
    dict
        ``points``, ``sizes`` and the curves of :data:`CURVE_TITLES` [mixed].
    """
    from bokeh.embed import json_item

    items = {"points": _points(), "sizes": _sizes()}
    for name in CURVE_TITLES:
        items[name] = _curves(name, source, hz)
    return _numbered({name: json_item(plot) for name, plot in items.items()})


def _numbered(items: dict[str, Any]) -> Any:
    """The same plots with their parts numbered from 1, so that equal runs have equal pages."""
    numbers: dict[str, str] = {}

    def number(found: re.Match[str]) -> str:
        return numbers.setdefault(found[0], f'"p{len(numbers) + 1}"')

    return json.loads(re.sub(r'"p\d+"', number, json.dumps(items)))


def _plot(height: int, tools: str, **options: Any) -> Any:
    """A plot in the look of the report."""
    from bokeh.plotting import figure

    plot = figure(
        height=height, sizing_mode="stretch_width", tools=tools, toolbar_location="above" if tools else None,
        outline_line_color=None, min_border_right=12, **options,
    )  # fmt: skip
    plot.toolbar.logo = None
    for axis in (plot.xaxis, plot.yaxis):
        axis.axis_line_color = axis.major_tick_line_color = QUIET
        axis.minor_tick_line_color = None
        axis.axis_label_text_color = axis.major_label_text_color = INK
        axis.axis_label_text_font_style = "normal"
        axis.axis_label_text_font_size = axis.major_label_text_font_size = "12px"
    plot.grid.grid_line_color = GRID
    return plot


def _models() -> Any:
    """Bokeh's models, whose generated classes no type checker reads aright."""
    return import_module("bokeh.models")


def _source(*columns: str, name: str) -> Any:
    return _models().ColumnDataSource({column: [] for column in columns}, name=name)


def _points() -> Any:
    models = _models()
    plot = _plot(380, "box_select,lasso_select,tap,pan,wheel_zoom,reset", active_drag="box_select")
    plot.min_border_left = 60
    plot.xaxis.name, plot.yaxis.name = "points-x", "points-y"
    source = _source("x", "y", "colour", "shape", "name", "design", name="points")
    marks = plot.scatter(
        "x", "y", source=source, size=7, marker={"field": "shape"}, fill_color={"field": "colour"},
        line_color={"field": "colour"}, fill_alpha=0.75, line_alpha=0.75,
        nonselection_fill_alpha=0.12, nonselection_line_alpha=0.12,
    )  # fmt: skip
    ranked = _source("x", "y", "rank", name="ranked")
    plot.scatter("x", "y", source=ranked, size=18, fill_color="white", line_color=INK, fill_alpha=0.85)
    plot.text(
        "x", "y", text="rank", source=ranked, text_align="center", text_baseline="middle",
        text_font_size="11px", text_font_style="bold", text_color=INK,
    )  # fmt: skip
    chosen = _source("x", "y", name="chosen-point")
    plot.scatter("x", "y", source=chosen, size=15, fill_color=None, line_color=INK, line_width=2.5)
    for kind in (models.BoxSelectTool, models.LassoSelectTool):
        plot.select_one({"type": kind}).renderers = [marks]
    plot.add_tools(models.HoverTool(renderers=[marks], tooltips=[("", "@name"), ("score", "@y{0.00} dB")]))
    return plot


def _sizes() -> Any:
    models = _models()
    factors = models.FactorRange(factors=[], name="sizes-range")
    plot = _plot(422, "", x_range=factors, y_range=models.Range1d(-0.1, 1.1))
    plot.min_border_left = 60
    plot.yaxis.visible = False
    plot.ygrid.visible = False
    plot.xaxis.major_label_orientation = 0.8
    _lines(plot, "sizes")
    dots = _source("x", "y", "colour", name="sizes-dots")
    plot.scatter("x", "y", source=dots, size=5, fill_color={"field": "colour"}, line_color=None)
    ends = _source("x", "y", "text", name="sizes-ends")
    plot.text(
        "x", "y", text="text", source=ends, text_align="center", text_baseline="middle",
        text_font_size="11px", text_color=INK, background_fill_color="white", background_fill_alpha=0.8,
    )  # fmt: skip
    return plot


def _curves(name: str, source: dict[str, Any], hz: list[float]) -> Any:
    models = _models()
    plot = _plot(250, "", x_axis_type="log", x_range=models.Range1d(hz[0], hz[-1]), x_axis_label="Hz")
    tones = sorted({float(tone["hz"]) for tone in source["tones"]})
    if len(tones) <= MOST_TICKS:
        plot.xaxis.ticker = models.FixedTicker(ticks=[round(hz[0]), *tones, round(hz[-1])])
    for tone in tones:
        plot.add_layout(models.Span(location=tone, dimension="height", line_color=QUIET, line_dash="dotted"))
    limit = source["limits"].get(LIMITED.get(name, ""))
    if limit is not None:
        plot.add_layout(models.Span(location=limit, dimension="width", line_color=LIMIT, line_dash="dashed"))
    _lines(plot, name)
    return plot


def _lines(plot: Any, name: str) -> None:
    """Lines of the selected designs, and of the chosen one above them."""
    selected = _source("x", "y", "colour", "dash", name=f"{name}-lines")
    plot.multi_line(
        "x", "y", source=selected, line_color={"field": "colour"}, line_dash={"field": "dash"},
        line_width=1.4, line_alpha=0.6,
    )  # fmt: skip
    chosen = _source("x", "y", name=f"{name}-chosen")
    plot.multi_line("x", "y", source=chosen, line_color=INK, line_width=3)
