"""Figure: levels of a plan's openings by the network and by finite elements, and their difference."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from models.plan_comparison import BAND_HZ
from optimizer.air_check import MEDIAN_DB, WORST_DB, Compared
from optimizer.style import BAND, COLOURS, INK, LIMIT_LINE, QUIET, new_figure

DOT_STEP = 6
"""Frequencies between two dots of the curve by finite elements."""

MOST_DB = 2.0
"""Largest difference that the lower panels show, where no larger one counts [dB]."""


def air_figure(title: str, found: Compared) -> Figure:
    """Draw levels and differences, a pair of panels an opening.

    Parameters
    ----------
    title : str
        Heading [text].
    found : Compared
        Levels and agreement [record].

    Returns
    -------
    Figure
        The figure [record].
    """
    levels, count = found.levels, len(found.openings)
    figure = new_figure(title, 1.1 + 3.4 * count)
    axes = figure.subplots(2 * count, 1, sharex=True, height_ratios=[1.5, 1.0] * count)
    hz = levels.hz
    shown = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    for row, one in enumerate(found.openings):
        top, low = axes[2 * row], axes[2 * row + 1]
        off = levels.difference_db[row]
        top.plot(hz[shown], levels.network_db[row][shown], color=COLOURS[0])
        top.plot(hz[shown][::DOT_STEP], levels.elements_db[row][shown][::DOT_STEP], ".", color=INK, ms=4)
        top.set_title(f"{one.name}: median {one.median_db:.2f} dB, worst {one.worst_db:.2f} dB")
        top.set_ylabel("level at 1 V (dB)")
        reach = max(MOST_DB, 1.2 * one.worst_db)
        low.plot(hz[shown], np.clip(off, -reach, reach)[shown], color=COLOURS[1])
        for limit in (-WORST_DB, WORST_DB):
            low.axhline(limit, **LIMIT_LINE)
        for limit in (-MEDIAN_DB, MEDIAN_DB):
            low.axhline(limit, color=QUIET, linewidth=0.9, linestyle=(0, (1, 1.5)))
        low.set_ylim(-reach, reach)
        low.set_ylabel("difference (dB)")
        worst = int(np.argmin(np.abs(hz - one.worst_hz)))
        place = (one.worst_hz, float(off[worst]))
        low.plot(*place, "o", color=INK, ms=6, markerfacecolor="none")
        right = one.worst_hz > 0.5 * sum(BAND_HZ)
        low.annotate(
            f"worst, {one.worst_hz:.0f} Hz",
            place,
            (-8 if right else 8, 8 if place[1] < 0.0 else -12),
            textcoords="offset points",
            ha="right" if right else "left",
            fontsize=8.0,
        )
        for ax in (top, low):
            for start, end in _runs(hz, shown & ~levels.counted[row]):
                ax.axvspan(start, end, facecolor=BAND, zorder=0.2)
    axes[-1].set_xlabel("frequency (Hz)")
    axes[-1].set_xlim(*BAND_HZ)
    handles = [
        Line2D([], [], color=COLOURS[0]),
        Line2D([], [], color=INK, marker=".", linestyle="none"),
        Line2D([], [], color=COLOURS[1]),
        Patch(facecolor=BAND),
        Line2D([], [], **LIMIT_LINE),
        Line2D([], [], color=QUIET, linewidth=0.9, linestyle=(0, (1, 1.5))),
    ]
    labels = [
        "network",
        "finite elements",
        "network less finite elements",
        "left out, near a notch",
        f"{WORST_DB:g} dB",
        f"{MEDIAN_DB:g} dB",
    ]
    figure.legend(handles, labels, loc="outside lower left", ncols=3)
    return figure


def _runs(hz: np.ndarray, flags: np.ndarray) -> list[tuple[float, float]]:
    """Ends of the stretches of frequencies that are flagged [Hz]."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(float(hz[a]), float(hz[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
