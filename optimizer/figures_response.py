"""Figure: level, excursion, air speed and impedance over frequency at the permitted drive."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from optimizer.style import (
    BAND,
    COLOURS,
    DASHES,
    LIMIT,
    LIMIT_LINE,
    QUIET,
    legend_columns,
    new_figure,
    shortened,
)

MOST_TONES = 8
"""Tones up to which each is named."""

FOOT = 0.14
"""Share of the first panel that the names of the tones take."""

PANELS = (
    ("level_db", "level (dB)", "Level at the microphone", None),
    ("drive_v_rms", "rms (V)", "Drive", "amplifier_v"),
    ("excursion_mm", "peak (mm)", "Driver excursion", "excursion_mm"),
    ("air_speed_m_s", "peak (m/s)", "Air speed in the fastest duct", "air_speed_m_s"),
    ("impedance_ohm", "magnitude (ohm)", "Impedance at the amplifier", None),
)
"""Column, axis label, heading, and the limit that is drawn, of every panel."""

ROUND = np.array([1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0])
"""First digits of frequencies that an axis names."""


def response_figure(
    title: str,
    rows: list[dict[str, str]],
    tones_hz: list[float],
    limits: dict[str, Any],
    scale: float,
    levels_only: bool = False,
) -> Figure:
    """Draw a candidate's response curves, one panel a quantity and one line a space.

    Parameters
    ----------
    title : str
        Heading [text].
    rows : list of dict
        Rows of ``response.csv`` [text].
    tones_hz : list of float
        The season's tones [Hz].
    limits : dict
        The season's ``[limits]`` table [mixed].
    scale : float
        Full-size lengths over model lengths [1].
    levels_only : bool
        Whether to leave out all panels but that of the level [flag].

    Returns
    -------
    Figure
        The figure [record].
    """
    ducts = [key for key in rows[0] if key.startswith("air_speed_m_s ")]
    panels = [panel for panel in PANELS if ducts or panel[0] != "air_speed_m_s"]
    if levels_only:
        panels = panels[:1]
    figure = new_figure(title, 1.5 + 1.55 * len(panels))
    axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
    spaces = list(dict.fromkeys(row["space"] for row in rows))
    handles: list[Any] = []
    for index, space in enumerate(spaces):
        look = {"color": COLOURS[index % len(COLOURS)], "linestyle": DASHES[index % len(DASHES)]}
        mine = [row for row in rows if row["space"] == space]
        frequency = np.array([float(row["hz"]) for row in mine])
        for ax, (key, *_) in zip(axes, panels, strict=True):
            ax.plot(frequency, _column(mine, ducts if key == "air_speed_m_s" else [key]), **look)
        handles.append(Line2D([], [], **look))
    labels = [shortened(space) for space in spaces]
    _frequency_axes(axes, scale)
    for ax, (key, label, heading, limit) in zip(axes, panels, strict=True):
        ax.set_title(heading)
        ax.set_ylabel(label)
        if key != "level_db":
            ax.set_ylim(bottom=0.0)
        named = key == "level_db" and len(tones_hz) <= MOST_TONES
        _mark_tones(ax, tones_hz, FOOT if named else 0.0)
        if named:
            _name_tones(ax, tones_hz)
        if limit is not None and limits.get(limit) is not None:
            _mark_limit(ax, limits[limit], label)
    handles.append(Line2D([], [], **LIMIT_LINE))
    handles.append(Line2D([], [], color=QUIET, linewidth=0.9, linestyle=(0, (1, 1.5))))
    labels += ["limit", "tone (Hz, model)" if scale != 1.0 else "tone (Hz)"]
    if len(set(tones_hz)) > 1:
        handles.append(Patch(facecolor=BAND))
        labels.append("band of the tones")
    figure.legend(handles, labels, loc="outside lower left", ncols=legend_columns(labels))
    return figure


def _column(rows: list[dict[str, str]], keys: list[str]) -> np.ndarray:
    table = [[float(row[key]) if row[key] else np.nan for key in keys] for row in rows]
    return np.asarray(np.array(table).max(axis=1))


def _mark_tones(ax: Axes, tones_hz: list[float], foot: float = 0.0) -> None:
    ax.axvspan(min(tones_hz), max(tones_hz), facecolor=BAND, zorder=0.2)
    for hz in tones_hz:
        ax.axvline(hz, foot, color=QUIET, linewidth=0.9, linestyle=(0, (1, 1.5)), zorder=0.5)


def _name_tones(ax: Axes, tones_hz: list[float]) -> None:
    """Frequency of every tone at the foot of its line, below all curves."""
    low, high = ax.get_ylim()
    ax.set_ylim(low - FOOT / (1.0 - FOOT) * (high - low), high)
    for hz in tones_hz:
        place = (hz, 0.03)
        ax.annotate(f"{hz:g}", place, xycoords=("data", "axes fraction"), ha="center", fontsize=8.0)


def _mark_limit(ax: Axes, limit: float, label: str) -> None:
    ax.axhline(limit, **LIMIT_LINE, zorder=1.5)
    low, high = ax.get_ylim()
    ax.set_ylim(low, max(high, limit * 1.25))
    unit = label.partition("(")[2].rstrip(")")
    ax.annotate(
        f"limit {limit:g} {unit}",
        (1.0, limit),
        (-2, 3),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        ha="right",
        fontsize=8.0,
        color=LIMIT,
    )


def _round_frequencies(low: float, high: float) -> list[float]:
    decades = 10.0 ** np.arange(np.floor(np.log10(low)), np.ceil(np.log10(high)) + 1)
    every = np.sort(np.outer(decades, ROUND).ravel())
    return [float(f) for f in every if low <= f <= high]


def _frequency_axes(axes: np.ndarray, scale: float) -> None:
    plain = FuncFormatter(lambda value, _: f"{value:g}")
    for ax in axes:
        ax.set_xscale("log")
        ax.margins(x=0.0)
        ax.autoscale(axis="x")
    low, high = axes[0].get_xlim()
    for ax in axes:
        ax.xaxis.set_major_locator(FixedLocator(_round_frequencies(low, high)))
        ax.xaxis.set_minor_locator(NullLocator())
        ax.xaxis.set_major_formatter(plain)
    axes[-1].set_xlabel("frequency (Hz)" if scale == 1.0 else "frequency, model (Hz)")
    if scale == 1.0:
        return
    top = axes[0].secondary_xaxis("top", functions=(lambda f: f / scale, lambda f: f * scale))
    top.xaxis.set_major_locator(FixedLocator(_round_frequencies(low / scale, high / scale)))
    top.xaxis.set_minor_locator(NullLocator())
    top.xaxis.set_major_formatter(plain)
    top.set_xlabel("frequency, full size (Hz)")
    axes[0].spines["top"].set_visible(True)
