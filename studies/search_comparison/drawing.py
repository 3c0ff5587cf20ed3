"""The figure of a season: how far each method is below the best run, over time and over evaluations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from optimizer.style import COLOURS, DASHES, INK, QUIET, WIDTH_IN
from studies.search_comparison.runs import RACE, Run

LEAST_DB = 0.01
"""Smallest distance from the best of all runs that is drawn."""

STEPS = 120


def comparison_figure(name: str, runs: Sequence[Run], best_db: float, peers: Sequence[str]) -> Figure:
    """Median over the seeds of the distance from the best of all runs, over both measures of effort."""
    figure = Figure(figsize=(WIDTH_IN, 6.6), layout="constrained")
    title = f"{name}: distance from the best of all runs"
    figure.suptitle(title, x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    panels = figure.subplots(2, 1, sharey=True)
    races = [run for run in runs if run.method == RACE]
    labels = ("processor time (s)", "designs submitted (thousands)")
    for ax, column, label, unit in zip(panels, (0, 1), labels, (1.0, 1e3), strict=True):
        for number, method in enumerate((RACE, *peers)):
            mine = [run for run in runs if run.method == method]
            if not mine:
                continue
            at, gap = _median_gap(mine, column, best_db)
            race = method == RACE
            ax.plot(
                at / unit,
                gap,
                drawstyle="steps-post",
                color=INK if race else COLOURS[(number - 1) % 6],
                linestyle="-" if race else DASHES[(number - 1) % len(DASHES)],
                linewidth=2.4 if race else 1.5,
                label=method if column == 0 else None,
            )
        end = np.median([run.seconds if column == 0 else run.evaluations for run in races])
        ax.axvline(end / unit, color=QUIET, linewidth=0.8, linestyle=(0, (2, 2)))
        ax.set_xscale("log")
        ax.set_yscale("log")
        ax.xaxis.set_major_formatter(_plain)
        ax.yaxis.set_major_formatter(_plain)
        ax.set_xlabel(label)
        ax.set_ylabel("below the best run (dB)")
    panels[0].set_ylim(LEAST_DB, 20.0)
    panels[0].set_title("upright line: the race ends", loc="right", fontweight="normal", fontsize=8)
    figure.legend(loc="outside lower left", ncols=3)
    return figure


def _plain(value: float, place: int | None = None) -> str:
    """A tick as a plain number with thousands apart."""
    return f"{value:,.7g}".replace(",", " ")


def _median_gap(runs: Sequence[Run], column: int, best_db: float) -> tuple[np.ndarray, np.ndarray]:
    """Median distance from the best of all runs until the median end; shorter runs keep their last score."""
    end = np.median([run.seconds if column == 0 else run.evaluations for run in runs])
    first = max(min(run.trace[0, column] for run in runs if run.trace.size), 1e-2)
    at = np.geomspace(first, end, STEPS)
    budgets = [{("seconds", "evaluations")[column]: moment} for moment in at]
    reached = [[run.best_at(**budget) for run in runs] for budget in budgets]
    gap = best_db - np.median(np.array(reached), axis=1)
    return at, np.maximum(np.where(np.isfinite(gap), gap, np.nan), LEAST_DB)
