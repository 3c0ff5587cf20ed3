"""Figure: a track's level, excursion, air speed and power over time, with the season's limits."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from optimizer.style import COLOURS, DASHES, LIMIT_LINE, new_figure, shortened

PANELS = (
    ("level_db", "level (dB)", "Level at the microphone"),
    ("excursion_mm", "peak (mm)", "Driver excursion"),
    ("air_speed_m_s", "peak (m/s)", "Air speed in the fastest duct"),
    ("power_w", "mean (W)", "Power as the clamp reads it"),
)


def track_figure(
    title: str, rows: list[dict[str, Any]], limits: dict[str, Any], has_ducts: bool, moments: dict[str, float]
) -> Figure:
    """Draw a track over time, one panel a quantity and one line a space.

    Parameters
    ----------
    title : str
        Heading [text].
    rows : list of dict
        From :func:`optimizer.play.rows_over_time` [mixed].
    limits : dict
        The season's ``[limits]`` table [mixed].
    has_ducts : bool
        Whether air speed is shown [flag].
    moments : dict
        When the first limit is met in each space, by its name [s].

    Returns
    -------
    Figure
        The figure [record].
    """
    panels = [panel for panel in PANELS if has_ducts or panel[0] != "air_speed_m_s"]
    figure = new_figure(title, 1.3 + 1.55 * len(panels))
    axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
    spaces = list(dict.fromkeys(row["space"] for row in rows))
    handles, labels = [], []
    for index, space in enumerate(spaces):
        colour, dash = COLOURS[index % len(COLOURS)], DASHES[index % len(DASHES)]
        mine = [row for row in rows if row["space"] == space]
        time = np.array([row["track_s"] for row in mine])
        for ax, (key, _, _) in zip(axes, panels, strict=True):
            ax.plot(time, [row[key] for row in mine], color=colour, linestyle=dash, linewidth=1.1)
            if space in moments:
                ax.axvline(moments[space], color=colour, linestyle=(0, (1, 1.5)), linewidth=0.9, zorder=0.5)
        handles.append(Line2D([], [], color=colour, linestyle=dash))
        labels.append(shortened(space))
    for ax, (key, label, heading) in zip(axes, panels, strict=True):
        ax.set_title(heading)
        ax.set_ylabel(label)
        ax.set_xlim(0.0, max(row["track_s"] for row in rows))
        if key == "level_db":
            top = max(row[key] for row in rows)
            ax.set_ylim(top - 45.0, top + 3.0)
            continue
        most = limits.get(key)
        ax.set_ylim(0.0, 1.12 * max([row[key] for row in rows] + ([most] if most else [])))
        if most:
            ax.axhline(most, **LIMIT_LINE, zorder=1.5)
    handles += [
        Line2D([], [], **LIMIT_LINE),
        Line2D([], [], color=COLOURS[0], linewidth=0.9, linestyle=(0, (1, 1.5))),
    ]
    labels += ["limit", "first limit met"]
    axes[-1].set_xlabel("time in the track (s)")
    figure.legend(handles, labels, loc="outside lower left", ncols=min(4, len(labels)))
    return figure
