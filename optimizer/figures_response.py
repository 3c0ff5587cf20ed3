"""Figure: level, excursion, air speed and impedance over frequency at the permitted drive."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from optimizer.style import COLOURS, DASHES, LIMIT, QUIET, WIDTH_IN, shortened

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
    panels = [
        ("level_db", "level (dB)", "Level at the microphone"),
        ("excursion_mm", "peak (mm)", "Driver excursion"),
    ]
    if ducts:
        panels.append(("air_speed_m_s", "peak (m/s)", "Air speed in the fastest duct"))
    panels.append(("impedance_ohm", "magnitude (ohm)", "Impedance at the amplifier"))
    if levels_only:
        panels = panels[:1]
    figure = Figure(figsize=(WIDTH_IN, 1.3 + 1.75 * len(panels)), layout="constrained")
    figure.suptitle(shortened(title, 62), x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
    spaces = list(dict.fromkeys(row["space"] for row in rows))
    handles = []
    for index, space in enumerate(spaces):
        colour, dash = COLOURS[index % len(COLOURS)], DASHES[index % len(DASHES)]
        mine = [row for row in rows if row["space"] == space]
        frequency = np.array([float(row["hz"]) for row in mine])
        for ax, (key, _, _) in zip(axes, panels, strict=True):
            ax.plot(
                frequency,
                _column(mine, ducts if key == "air_speed_m_s" else [key]),
                color=colour,
                linestyle=dash,
            )
        handles.append(Line2D([], [], color=colour, linestyle=dash))
    for ax, (key, label, heading) in zip(axes, panels, strict=True):
        ax.set_title(heading)
        ax.set_ylabel(label)
        _mark(ax, tones_hz, limits.get(key))
        if key != "level_db":
            ax.set_ylim(bottom=0.0)
    labels = [shortened(space) for space in spaces]
    if any(limits.get(key) is not None for key, _, _ in panels):
        handles.append(Line2D([], [], color=LIMIT, linewidth=2.6, alpha=0.45))
        labels.append("limit")
    handles.append(Line2D([], [], color=QUIET, linewidth=0.9, linestyle=(0, (1, 1.5))))
    labels.append("tone")
    figure.legend(handles, labels, loc="outside lower left", ncols=min(4, len(labels)))
    _frequency_axes(axes, scale)
    return figure


def _column(rows: list[dict[str, str]], keys: list[str]) -> np.ndarray:
    table = [[float(row[key]) if row[key] else np.nan for key in keys] for row in rows]
    return np.asarray(np.array(table).max(axis=1))


def _mark(ax: Axes, tones_hz: list[float], limit: float | None) -> None:
    for hz in tones_hz:
        ax.axvline(hz, color=QUIET, linewidth=0.9, linestyle=(0, (1, 1.5)), zorder=0.5)
    if limit is not None:
        ax.axhline(limit, color=LIMIT, linewidth=2.6, alpha=0.45, zorder=1.5)
        low, high = ax.get_ylim()
        ax.set_ylim(low, max(high, limit * 1.12))


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
    top.set_xlabel("full size (Hz)", fontsize=8.5)
    axes[0].spines["top"].set_visible(True)
