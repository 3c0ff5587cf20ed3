"""Texts that the commands print: tables for people on standard output."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from models.catalogue import graph_name
from models.rules import Rules
from models.spaces import HalfSpace, Space
from models.topology import parse_graph_id
from optimizer.exposure import exposure_sentence
from optimizer.season import Season


def text_table(head: Sequence[str], rows: Sequence[Sequence[str]], left: Collection[int] = ()) -> str:
    """Columns set in line: the first and those of ``left`` flush left, the others flush right."""
    columns = list(zip(head, *rows, strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]

    def line(cells: Sequence[str]) -> str:
        set_ = [
            cell.ljust(width) if i == 0 or i in left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ]
        return "  ".join(set_).rstrip()

    return "\n".join([line(head), *(line(row) for row in rows)])


def season_record(season: Season, graphs: Sequence[str]) -> dict[str, Any]:
    """A season as ``check --json`` prints it.

    Parameters
    ----------
    season : Season
        The season [record].
    graphs : sequence of str
        Graph ids that its search covers [text].

    Returns
    -------
    dict
        Name, hash, what it says with every default filled in, the graphs, warnings [mixed].
    """
    return {
        "name": season.name,
        "config_hash": season.config_hash,
        "source": season.source,
        "topologies": [{"topology": graph_name(parse_graph_id(graph)), "graph": graph} for graph in graphs],
        "warnings": season_warnings(season.rules),
    }


def season_summary(season: Season, graphs: Sequence[str]) -> str:
    """Readable summary of a season.

    Parameters
    ----------
    season : Season
        The season [record].
    graphs : sequence of str
        Graph ids that its search covers [text].

    Returns
    -------
    str
        Several lines [text].
    """
    rules, search = season.rules, season.search
    envelope = rules.envelope
    depth, width, height = envelope.outer_sides * 1e3
    tones = [
        [f"tone {i}", f"{hz:g}", f"{hz / season.scale:.4g}", f"{weight:g}"]
        for i, (hz, weight) in enumerate(zip(rules.tones_hz, rules.tone_weights, strict=True), start=1)
    ]
    lines = [
        f"{season.name}: scale 1:{season.scale:g}, config hash {season.config_hash[:12]}",
        "",
        *_driver_lines(rules),
        "",
        f"envelope: {width:g} wide x {height:g} high x {depth:g} deep mm outside, "
        f"wall {envelope.wall * 1e3:g} mm, {envelope.inner_volume * 1e3:.3f} l inside",
        f"limits: {_limits(rules)}",
        f"drive: {_DRIVES[rules.drive]}; mean over tones: {rules.mean}",
        "",
        text_table(["tones", "model Hz", "full-size Hz", "weight"], tones),
        "",
        *(_space(space) for space in rules.spaces),
        "",
        f"search: {search.candidates} candidates for {', '.join(search.objectives)}; seed {search.seed}; "
        f"effort {search.effort}; {search.duct_shape} {search.duct_profile} ducts; {len(graphs)} topologies:",
        *(f"  {graph}  {graph_name(parse_graph_id(graph))}" for graph in graphs),
    ]
    warnings = season_warnings(rules)
    if warnings:
        lines += ["", *(f"warning: {warning}" for warning in warnings)]
    return "\n".join(lines)


_DRIVES = {
    "per_tone": "the largest permitted one, sought for each tone",
    "per_space": "one setting for all tones of a space",
    "common": "one setting for all tones and spaces",
}


def _driver_lines(rules: Rules) -> list[str]:
    driver, air = rules.driver, rules.air
    count = "" if rules.driver_count == 1 else f"{rules.driver_count} in {rules.wiring}, each: "
    heat = []
    if driver.thermal_resistance is not None:
        most = driver.coil_temperature_max_c
        bears = "" if most is None else f"; the coil bears {most:g} degC"
        heat = [f"  coil to air {driver.thermal_resistance:.4g} K/W{bears}"]
    return [
        f"driver: {count}{driver.name}",
        f"  fs {driver.fs:.4g} Hz, Qms {driver.qms:.4g}, Qes {driver.qes:.4g}, Qts {driver.qts:.4g}, "
        f"Vas {driver.vas(air) * 1e3:.4g} l, eta0 {driver.reference_efficiency(air) * 100:.4g} %",
        f"  Sd {driver.area * 1e4:.4g} cm2, Mms {driver.mass * 1e3:.4g} g, "
        f"Cms {driver.compliance * 1e3:.4g} mm/N, Rms {driver.resistance_mechanical:.4g} kg/s, "
        f"Bl {driver.force_factor:.4g} T m",
        f"  Re {driver.coil_resistance:.4g} ohm, Le {driver.coil_inductance * 1e3:.4g} mH, "
        f"nominal {driver.nominal_resistance:.4g} ohm",
        f"  displaces {driver.displaced_volume * 1e6:.4g} cm3; cut-out {driver.cutout * 1e3:.4g} mm, "
        f"frame {driver.frame * 1e3:.4g} mm, depth {driver.depth * 1e3:.4g} mm",
        *heat,
    ]


def _limits(rules: Rules) -> str:
    limits = rules.limits
    parts = [f"power {limits.power:g} W ({limits.power_kind})"]
    parts.append(f"excursion {limits.excursion * 1e3:g} mm peak")
    for value, words, unit in (
        (limits.air_speed, "air speed", "m/s peak"),
        (limits.voltage, "amplifier", "V rms"),
        (limits.current, "amplifier", "A rms"),
    ):
        if value is not None:
            parts.append(f"{words} {value:g} {unit}")
    return ", ".join(parts)


def _space(space: Space) -> str:
    if isinstance(space, HalfSpace):
        return f"space: {space.name}: half space at {space.distance:g} m, weight {space.weight:g}"
    sides = " x ".join(f"{side * 1e3:g}" for side in space.size)
    openings = sum(opening.area for opening in space.openings)
    opened = f", open area {openings * 1e4:g} cm2" if space.openings else ", shut"
    stands = "enclosure stands in it" if space.obstacle else "empty room of reduced volume"
    cabin = f"cabin {sides} mm, damping {space.damping:g}{opened}"
    return f"space: {space.name}: {cabin}, {stands}, weight {space.weight:g}"


def season_warnings(rules: Rules) -> list[str]:
    """Things in a valid season that may not be meant, as sentences.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].

    Returns
    -------
    list of str
        Sentences; empty where there is nothing to say [text].
    """
    warnings = []
    cross = rules.air.sound_speed / (2.0 * float(np.sort(rules.envelope.inner_sides)[1]))
    highest = float(rules.tones_hz.max())
    if rules.physics.chambers == "room" and highest > 0.8 * cross:
        warnings.append(
            f"the highest tone, {highest:g} Hz, is near or above {cross:.0f} Hz, the first cross mode of a "
            "chamber that fills the envelope; its level is less sure"
        )
    weightless = [space.name for space in rules.spaces if space.weight == 0.0]
    warnings += [f"space {name!r} has weight 0 and does not count" for name in weightless]
    if rules.limits.air_speed is None:
        warnings.append("limits.air_speed_m_s is not set; ducts may come out very narrow")
    return warnings


def evaluation_text(name: str, one: dict[str, Any], scale: float) -> str:
    """Readable evaluation of one design.

    Parameters
    ----------
    name : str
        File of the design [text].
    one : dict
        Its evaluation [mixed].
    scale : float
        Full-size lengths over model lengths [1].

    Returns
    -------
    str
        Several lines [text].
    """
    lines = [f"{name}: {one['topology']} ({one['graph']}), score {_fixed(one['score_db'], 2)} dB"]
    lines += [f"  does not fit: {reason}" for reason in one["reasons_not"]] or ["  fits the envelope"]
    if not one["settled"]:
        lines.append("  warning: drive and duct losses did not agree within the tolerance at every tone")
    lines += [f"  warning: {warning}" for warning in one["warnings"]]
    lines += [f"  heat: {sentence}" for sentence in one.get("heat", [])]
    if caution := exposure_sentence(one["spaces"], scale):
        lines.append(f"  caution, hearing: {caution}")
    warm = "hot_score_db" in one
    head = ["Hz", "full-size Hz", "level dB", *(["hot dB", "coil degC"] if warm else []), "drive V"]
    head += ["current A", "real W", "excursion mm", "air m/s", "|Z| ohm", "nearest limit"]
    for space in one["spaces"]:
        lines += ["", f"{space['name']}: mean {_fixed(space['mean_db'], 2)} dB, weight {space['weight']:g}"]
        rows = [
            [
                f"{tone['hz']:.5g}",
                f"{tone['hz'] / scale:.4g}",
                _fixed(tone["level_db"], 2),
                *([_fixed(tone["hot_level_db"], 2), _fixed(tone["coil_temperature_c"], 0)] if warm else []),
                _fixed(tone["drive_v_rms"], 3),
                _fixed(tone["current_a_rms"], 3),
                _fixed(tone["real_power_w"], 2),
                _fixed(max(tone["excursion_mm"]), 3),
                _fixed(max(tone["air_speed_m_s"].values(), default=None), 2),
                _fixed(_size(tone["impedance_ohm"]), 2),
                nearest_limit(tone),
            ]
            for tone in space["tones"]
        ]
        lines.append(text_table(head, rows))
    return "\n".join(lines)


def nearest_limit(tone: dict[str, Any]) -> str:
    """The limit that a tone's drive comes nearest to, and by how much a drive set by hand passes it."""
    name, margin = tone["limit"].replace("_", " "), tone["margins_db"][tone["limit"]]
    return name if margin is None or margin > -0.05 else f"{name}, passed by {-margin:.1f} dB"


def _fixed(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _size(impedance: list[float | None]) -> float | None:
    real, imaginary = impedance
    return None if real is None or imaginary is None else float(np.hypot(real, imaginary))
