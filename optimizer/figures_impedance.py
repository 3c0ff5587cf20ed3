"""Figure: measured and fitted impedance, magnitude and phase, with what is left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from models.impedance_peak import Sweep
from optimizer.style import COLOURS, DASHES, INK, QUIET, WIDTH_IN, shortened


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One sweep and what describes it.

    Attributes
    ----------
    label : str
        Name in the legend [text].
    sweep : Sweep
        The measured points [record].
    fitted : complex ndarray, shape (n,)
        Fit at the same frequencies [ohm].
    predicted : complex ndarray, shape (n,), or None
        What was expected before the fit [ohm].
    """

    label: str
    sweep: Sweep
    fitted: np.ndarray
    predicted: np.ndarray | None = None


def impedance_figure(title: str, curves: Sequence[Curve]) -> Figure:
    """Draw sweeps with their fits; residuals below.

    Parameters
    ----------
    title : str
        Heading [text].
    curves : sequence of Curve
        The sweeps [list].

    Returns
    -------
    Figure
        The figure [record].
    """
    figure = Figure(figsize=(WIDTH_IN, 7.6), layout="constrained")
    figure.suptitle(shortened(title, 62), x=0.01, ha="left", fontweight="bold", fontsize=10.5)
    axes = figure.subplots(4, 1, sharex=True, height_ratios=[2.2, 1.6, 1.0, 1.0])
    headings = (
        ("Magnitude", "ohm"), ("Phase", "degree"),
        ("Residual of the magnitude", "%"), ("Residual of the phase", "degree"),
    )  # fmt: skip
    for ax, (heading, label) in zip(axes, headings, strict=True):
        ax.set_title(heading)
        ax.set_ylabel(label)
    handles, labels = [], []
    for index, curve in enumerate(curves):
        colour, hz = COLOURS[index % len(COLOURS)], curve.sweep.hz
        measured, fitted = curve.sweep.impedance, curve.fitted
        for ax, part in ((axes[0], np.abs), (axes[1], _degrees)):
            points = ax.plot(
                hz, part(measured), "o", color=colour, markersize=2.6, alpha=0.45, markeredgewidth=0
            )
            line = ax.plot(hz, part(fitted), color=colour if len(curves) > 1 else INK, linewidth=1.2)
            if curve.predicted is not None:
                style = {"color": COLOURS[1], "linestyle": DASHES[1], "linewidth": 1.2}
                drawn = ax.plot(hz, part(curve.predicted), **style)
        handles += [points[0], line[0]]
        labels += [f"{curve.label}, measured", f"{curve.label}, fitted"]
        if curve.predicted is not None:
            handles.append(drawn[0])
            labels.append(f"{curve.label}, as drawn")
        rest = np.log(measured / fitted)
        axes[2].plot(hz, 100.0 * rest.real, color=colour, linewidth=0.9)
        axes[3].plot(hz, np.degrees(rest.imag), color=colour, linewidth=0.9)
    for ax in axes[1:]:
        ax.axhline(0.0, color=QUIET, linewidth=0.7, zorder=0.5)
    axes[0].set_yscale("log")
    axes[0].yaxis.set_major_locator(FixedLocator(_round_values(*axes[0].get_ylim())))
    axes[0].yaxis.set_minor_locator(NullLocator())
    plain = FuncFormatter(lambda value, _: f"{value:g}")
    axes[0].yaxis.set_major_formatter(plain)
    low = min(curve.sweep.hz[0] for curve in curves)
    high = max(curve.sweep.hz[-1] for curve in curves)
    axes[-1].set_xscale("log")
    axes[-1].set_xlim(low, high)
    axes[-1].xaxis.set_major_locator(FixedLocator(_round_values(low, high)))
    axes[-1].xaxis.set_minor_locator(NullLocator())
    axes[-1].xaxis.set_major_formatter(plain)
    axes[-1].set_xlabel("frequency (Hz)")
    figure.legend(handles, labels, loc="outside lower left", ncols=2 if len(handles) % 3 else 3)
    return figure


def _degrees(values: np.ndarray) -> np.ndarray:
    return np.asarray(np.degrees(np.angle(values)))


def _round_values(low: float, high: float) -> list[float]:
    return [v * 10.0**e for e in range(-3, 6) for v in (1.0, 2.0, 5.0) if low <= v * 10.0**e <= high]
