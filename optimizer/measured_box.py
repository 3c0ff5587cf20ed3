"""A built box's impedance against its design: what differs, and what that costs in score."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from models.box_fit import GROUPS, BoxFit, Change, changed, fit_box
from models.cabin_modes import highest_frequency
from models.design import DesignBatch
from models.impedance_peak import Sweep
from models.rules import Rules
from models.score import Judge
from models.spaces import Cabin, HalfSpace
from models.topology import place_letter
from optimizer.cli_options import BadOption
from optimizer.cli_output import text_table
from optimizer.derive import with_uncertainty
from optimizer.evaluation import unique_names
from optimizer.faults import ConfigError, Fault
from optimizer.plain import number
from optimizer.season import Season

MOST_POINTS = 300
"""Points of a sweep that are fitted; of more, every second, third and so on is taken."""

BENCH = HalfSpace(name="bench")
"""Where a sweep is taken to be measured unless a space of the season is named: in the open."""

_CAUSES = (
    ("the fitted leaks", ("leak",)),
    ("the fitted duct lengths", ("length",)),
    ("the fitted driver", ("compliance", "coil", "loss")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredBox:
    """A sweep, the fit and its cost.

    Attributes
    ----------
    sweep : Sweep
        The points that were fitted [record].
    fit : BoxFit
        The fit [record].
    rows : list of dict
        Fitted quantities with the design's values, in the units of design files [mixed].
    scores : list of (str, float)
        What is changed, and the score with it [text], [dB].
    built : DesignBatch
        The design with the fitted leaks and duct lengths [record].
    """

    sweep: Sweep
    fit: BoxFit
    rows: list[dict[str, Any]]
    scores: list[tuple[str, float]]
    built: DesignBatch


def season_space(season: Season, name: str | None) -> Rules:
    """The season's rules with the one space in which the sweep was taken."""
    if name is None:
        return replace(season.rules, spaces=(BENCH,))
    for space in season.rules.spaces:
        if space.name == name:
            return replace(season.rules, spaces=(space,))
    names = ", ".join(repr(space.name) for space in season.rules.spaces)
    raise BadOption("--space", f"{name!r} is not a space of the season; it has {names}")


def fitted_points(rules: Rules, sweep: Sweep, span_hz: tuple[float, float] | None, path: Path) -> Sweep:
    """The part of a sweep that the model of the box knows.

    Parameters
    ----------
    rules : Rules
        The season with the space of the sweep [record].
    sweep : Sweep
        Everything that was measured [record].
    span_hz : tuple of float or None
        Lowest and highest frequency; None ends at twice the highest tone [Hz].
    path : Path
        File of the sweep, named in faults [path].

    Returns
    -------
    Sweep
        At most about :data:`MOST_POINTS` points [record].

    Raises
    ------
    ConfigError
        Too few points are left.
    """
    low, high = (0.0, 2.0 * float(rules.tones_hz.max())) if span_hz is None else span_hz
    for space in rules.spaces:
        if isinstance(space, Cabin):
            high = min(high, highest_frequency(space.size, rules.air.sound_speed))
    used = sweep.between(low, high)
    if used.hz.size < 12:
        words = f"{used.hz.size} points from {low:.4g} to {high:.4g} Hz are too few to fit"
        raise ConfigError([Fault(str(path), 1, "frequency", words)])
    step = -(-used.hz.size // MOST_POINTS)
    return Sweep(hz=used.hz[::step], impedance=used.impedance[::step])


def measure_box(
    season: Season,
    rules: Rules,
    batch: DesignBatch,
    sweep: Sweep,
    voltage: float,
    groups: tuple[str, ...],
    path: Path,
) -> MeasuredBox:
    """Fit a sweep and score what it says.

    Parameters
    ----------
    season : Season
        Under which the design is scored [record].
    rules : Rules
        The same with the space of the sweep [record].
    batch : DesignBatch
        The design as drawn [record].
    sweep : Sweep
        Points to fit [record].
    voltage : float
        Voltage of the sweep, rms [V].
    groups : tuple of str
        What is fitted, of :data:`models.box_fit.GROUPS` [text].
    path : Path
        File of the sweep, named in faults [path].

    Returns
    -------
    MeasuredBox
        Fit and cost [record].

    Raises
    ------
    ConfigError
        The fit fails.
    """
    try:
        fit = fit_box(rules, batch, sweep, voltage, groups)
    except ValueError as error:
        raise ConfigError([Fault(str(path), 1, "impedance", str(error))]) from None
    judge = Judge(season.rules, backend="numpy")

    def score(wanted: tuple[str, ...]) -> float:
        now, box = changed(season.rules, batch, _triples(fit, wanted))
        other = judge.with_rules(now)
        return float(other.scores(other.respond(box))[0])

    found = {change.group for change in fit.changes}
    scores = [("nothing: as drawn", score(()))]
    scores += [(words, score(causes)) for words, causes in _CAUSES if found & set(causes)]
    scores.append(("all together", score(GROUPS)))
    return MeasuredBox(
        sweep=sweep,
        fit=fit,
        rows=[_row(change, rules, batch) for change in fit.changes],
        scores=scores,
        built=changed(season.rules, batch, _triples(fit, ("leak", "length")))[1],
    )


def _triples(fit: BoxFit, groups: tuple[str, ...]) -> list[tuple[str, int, float]]:
    return [(c.group, c.index, c.value) for c in fit.changes if c.group in groups]


def _row(change: Change, rules: Rules, batch: DesignBatch) -> dict[str, Any]:
    """A fitted quantity beside the design's value, in the units of the files."""
    driver = rules.driver
    if change.group == "leak":
        own = batch.leak_of(change.index)
        drawn = 0.0 if own is None else float(own[0])
        return {
            "quantity": f"leak of chamber {place_letter(change.index)}",
            "unit": "Hz",
            "as_drawn": drawn,
            "fitted": change.value,
            "standard_uncertainty": change.uncertainty,
        }
    if change.group == "length":
        name = unique_names([duct.name for duct in batch.ducts])[change.index]
        words, unit, drawn = f"length of {name}", "mm", float(batch.ducts[change.index].length[0]) * 1e3
    else:
        words, unit, drawn = {
            "compliance": ("compliance of the driver", "mm/N", driver.compliance * 1e3),
            "coil": ("resistance of coil and leads", "ohm", driver.coil_resistance),
            "loss": ("mechanical loss of the driver", "kg/s", driver.resistance_mechanical),
        }[change.group]
    return {
        "quantity": words,
        "unit": unit,
        "as_drawn": drawn,
        "fitted": drawn * change.value,
        "standard_uncertainty": drawn * change.uncertainty,
    }


def box_record(found: MeasuredBox) -> dict[str, Any]:
    """The result as plain data that is valid JSON [record]."""
    fit = found.fit
    return {
        "fitted": found.rows,
        "scores": [{"changed": words, "score_db": number(score)} for words, score in found.scores],
        "scatter_as_drawn": fit.scatter_before,
        "scatter_fitted": fit.scatter,
        "neighbour_correlation": fit.memory,
        "points": found.sweep.hz.size,
        "range_hz": [float(found.sweep.hz[0]), float(found.sweep.hz[-1])],
        "curve": [
            {"hz": float(hz), "measured_ohm": _pair(m), "as_drawn_ohm": _pair(p), "fitted_ohm": _pair(f)}
            for hz, m, p, f in zip(
                found.sweep.hz, found.sweep.impedance, fit.predicted, fit.fitted, strict=True
            )
        ],
    }


def _pair(value: np.complexfloating[Any, Any]) -> list[float]:
    return [float(value.real), float(value.imag)]


def box_text(found: MeasuredBox, where: str, voltage: float, season_leak_hz: float) -> str:
    """What is printed for a person.

    Parameters
    ----------
    found : MeasuredBox
        Fit and cost [record].
    where : str
        Space of the sweep [text].
    voltage : float
        Its voltage, rms [V].
    season_leak_hz : float
        Corner of the leak that the season gives every chamber [Hz].

    Returns
    -------
    str
        Several lines [text].
    """
    fit, table = found.fit, []
    for row in found.rows:
        value, sigma = with_uncertainty(row["fitted"], row["standard_uncertainty"])
        table.append([f"{row['quantity']}, {row['unit']}", f"{row['as_drawn']:.5g}", value, sigma])
    drawn = found.scores[0][1]
    scores = [[words, f"{score:.2f}", f"{score - drawn:+.2f}"] for words, score in found.scores]
    lines = [
        text_table(["quantity", "as drawn", "fitted", "standard uncertainty"], table),
        "",
        text_table(["changed", "score dB", "difference"], scores),
        "",
        f"Fitted {found.sweep.hz.size} points from {found.sweep.hz[0]:.4g} to {found.sweep.hz[-1]:.4g} Hz, "
        f"taken {where} at {voltage:g} V.",
        f"The measured points lie {fit.scatter_before * 100:.2g} % (rms) from the design as drawn and "
        f"{fit.scatter * 100:.2g} % from the fit.",
    ]
    if any(change.group == "leak" for change in fit.changes):
        lines.append("A leak is given by its corner: its Q at a frequency is that frequency over the corner.")
        if season_leak_hz:
            lines.append(f"It comes on top of the season's own leak with a corner of {season_leak_hz:g} Hz.")
    for row, change in zip(found.rows, fit.changes, strict=True):
        unsure = change.uncertainty > (0.3 if change.group != "leak" else max(2.0, change.value))
        if unsure:
            lines.append(f"caution: this sweep hardly tells the {row['quantity']}.")
    if fit.memory > 0.3:
        lines.append(
            f"caution: neighbouring residuals are alike (correlation {fit.memory:.2f}): something else "
            "differs too, and the uncertainties are too small."
        )
    return "\n".join(lines)
