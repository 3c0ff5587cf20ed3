"""Why a candidate is what it is, in short sentences whose numbers come from its own evaluation."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.catalogue import named_topology, short_name
from models.design import DesignBatch
from models.fit import used_volume
from models.rules import Limits
from models.score import Judge
from optimizer.results import TopologyBest
from optimizer.season import Season

LIMIT_WORDS = {
    "excursion": "cone excursion",
    "diaphragm": "diaphragm excursion",
    "power": "the power ceiling",
    "air_speed": "air speed in a duct",
    "voltage": "amplifier voltage",
    "current": "amplifier current",
}
"""Limits in words."""

RULE_UNITS = {
    "excursion": ("limits.excursion_mm", "mm", 1e3),
    "power": ("limits.power_w", "W", 1.0),
    "air_speed": ("limits.air_speed_m_s", "m/s", 1.0),
    "voltage": ("limits.amplifier_v", "V", 1.0),
    "current": ("limits.amplifier_a", "A", 1.0),
}
"""Field of the limits to its key in a season, its unit, and units per SI unit."""

STEP_SHARE = 0.01
"""Share by which a limit is raised to find its price."""

MET_DB = 1e-3
"""A limit this near counts as met."""

NOTABLE_DB = 0.05
"""Differences below this are not spoken of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A candidate before its reasons are written.

    Attributes
    ----------
    rank : int
        Place in the ranking [1].
    graph : str
        Graph id [text].
    design : DesignBatch
        A batch of one [record].
    objectives : dict of str to float
        Objectives by key [mixed].
    evaluation : dict
        Its evaluation as plain data [mixed].
    """

    rank: int
    graph: str
    design: DesignBatch
    objectives: dict[str, float]
    evaluation: dict[str, Any]


def same_box_prices(judge: Judge, design: DesignBatch) -> tuple[dict[str, Any], ...]:
    """What one more unit of each limit would give this very box, its dimensions unchanged.

    Each price is the change of the score when the limit is raised by one hundredth and the box is
    driven anew. A box redesigned for the new limit gains at least as much.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    design : DesignBatch
        A batch of one [record].

    Returns
    -------
    tuple of dict
        ``rule``, ``db_per_unit``, ``unit``, ``box`` and ``verified`` (False: not re-optimised) [mixed].
    """
    limits = judge.rules.limits
    before = float(judge.scores(judge.respond(design))[0])
    prices = []
    for field, (rule, unit, per_si) in RULE_UNITS.items():
        value = getattr(limits, field)
        if value is None:
            continue
        raised: Limits = replace(limits, **{field: value * (1.0 + STEP_SHARE)})
        moved = judge.with_limits(raised)
        after = float(moved.scores(moved.respond(design))[0])
        step = value * STEP_SHARE * per_si
        price = {"rule": rule, "db_per_unit": (after - before) / step, "unit": unit}
        prices.append({**price, "box": "unchanged", "verified": False})
    return tuple(prices)


def reasons_for(
    standing: Standing,
    champion: Standing,
    topologies: Iterable[TopologyBest],
    prices: tuple[dict[str, Any], ...],
    season: Season,
) -> tuple[str, ...]:
    """Reasons of a candidate: what binds, what more would help, the box itself, the others.

    Parameters
    ----------
    standing, champion : Standing
        The candidate and the one with the highest output [record].
    topologies : iterable of TopologyBest
        Best of every graph [record].
    prices : tuple of dict
        Prices of :func:`same_box_prices` [mixed].
    season : Season
        The season [record].

    Returns
    -------
    tuple of str
        Sentences [text].
    """
    found = list(topologies)
    result = [_what_binds(standing)]
    result += _second_limits(standing)
    result += _what_more_would_help(prices, season)
    result.append(_the_box(standing, season))
    result += _against(standing, champion) if standing.rank > 1 else _against_simple(standing, found)
    result.append(_restarts(standing, found))
    result += [f"Less sure: {warning}." for warning in standing.evaluation["warnings"]]
    return tuple(result)


def _tones(standing: Standing) -> list[tuple[str, dict[str, Any]]]:
    return [(space["name"], tone) for space in standing.evaluation["spaces"] for tone in space["tones"]]


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def _what_binds(standing: Standing) -> str:
    """Which limit stops which tone, tones that agree in all spaces said once."""
    spaces = standing.evaluation["spaces"]
    by_limit: dict[str, list[str]] = {}
    for i, first in enumerate(spaces[0]["tones"]):
        limits = [_met(space["tones"][i]) for space in spaces]
        if len(set(limits)) == 1 and limits[0] is not None:
            by_limit.setdefault(limits[0], []).append(f"{first['hz']:g} Hz")
            continue
        for space, limit in zip(spaces, limits, strict=True):
            if limit is not None:
                by_limit.setdefault(limit, []).append(f"{first['hz']:g} Hz ({space['name']})")
    parts = [f"{LIMIT_WORDS[limit]} at {_listed(tones)}" for limit, tones in by_limit.items()]
    return f"Stopped by {'; by '.join(parts)}."


def _met(tone: dict[str, Any]) -> str | None:
    """The limit that a tone's drive meets; None where another tone stops a setting they share."""
    margin = tone["margins_db"][tone["limit"]]
    return str(tone["limit"]) if margin is not None and margin < MET_DB else None


def _second_limits(standing: Standing) -> list[str]:
    """Tones where two limits nearly meet, which marks a box that uses its rules fully."""
    tight = []
    for space, tone in _tones(standing):
        margins = {k: v for k, v in tone["margins_db"].items() if v is not None and k != tone["limit"]}
        if margins and _met(tone) and min(margins.values()) < 0.5:
            second = min(margins, key=lambda k: margins[k])
            tight.append(
                f"{tone['hz']:g} Hz in {space!r} ({LIMIT_WORDS[second]} {margins[second]:.2f} dB behind)"
            )
    return [f"Two limits nearly meet at {_listed(tight)}."] if tight else []


def _what_more_would_help(prices: tuple[dict[str, Any], ...], season: Season) -> list[str]:
    paying = [p for p in prices if p["db_per_unit"] * _value(season, p["rule"]) * 0.1 > 0.005]
    paying.sort(key=lambda p: -p["db_per_unit"] * _value(season, p["rule"]))
    if not paying:
        return ["Raising any one limit a little would not help this box."]
    words = [f"{p['db_per_unit']:.2f} dB per {p['unit']} of {_rule_words(p['rule'])}" for p in paying]
    idle = [_rule_words(p["rule"]) for p in prices if abs(p["db_per_unit"]) < 1e-6]
    sentences = [f"Unchanged, it would gain {_listed(words)}."]
    if idle:
        sentences.append(f"More {_listed(idle)} would give it nothing.")
    return sentences


def _rule_words(rule: str) -> str:
    names = {
        "limits.excursion_mm": "excursion",
        "limits.power_w": "power",
        "limits.air_speed_m_s": "air speed",
        "limits.amplifier_v": "amplifier voltage",
        "limits.amplifier_a": "amplifier current",
    }
    return names[rule]


def _value(season: Season, rule: str) -> float:
    field, (_, _, per_si) = next((f, r) for f, r in RULE_UNITS.items() if r[0] == rule)
    return float(getattr(season.rules.limits, field)) * per_si


def _the_box(standing: Standing, season: Season) -> str:
    design = standing.design
    volumes = np.prod(design.sides[0], axis=1) * 1e3
    share = float(used_volume(design, season.rules)[0]) / season.rules.envelope.inner_volume
    chambers = _listed([f"{name} {v:.2f} l" for name, v in zip("ABCDEFGHIJKLMN", volumes, strict=False)])
    ducts = [f"{d.name} {d.area[0] * 1e4:.1f} cm2 by {d.length[0] * 1e3:.0f} mm" for d in design.ducts]
    with_ducts = f"; {_listed(ducts)}" if ducts else ""
    return f"Chambers: {chambers}{with_ducts}; {100 * share:.1f} % of the envelope's inside is taken."


def _against(standing: Standing, champion: Standing) -> list[str]:
    """Tone by tone and objective by objective against the highest output."""
    loss = champion.objectives["output_db"] - standing.objectives["output_db"]
    gains, losses = [], []
    for space, other in zip(standing.evaluation["spaces"], champion.evaluation["spaces"], strict=True):
        for tone, reference in zip(space["tones"], other["tones"], strict=True):
            difference = tone["level_db"] - reference["level_db"]
            words = f"{abs(difference):.1f} dB at {tone['hz']:g} Hz in {space['name']!r}"
            if difference > NOTABLE_DB:
                gains.append((difference, words))
            elif difference < -NOTABLE_DB:
                losses.append((-difference, words))
    sentences = [f"Its average is {loss:.2f} dB below candidate {champion.rank}."]
    best = [words for _, words in sorted(gains, key=lambda g: -g[0])[:2]]
    worst = [words for _, words in sorted(losses, key=lambda g: -g[0])[:2]]
    if best and worst:
        sentences.append(f"Against it, it gains most, {_listed(best)}, and gives up most, {_listed(worst)}.")
    elif worst:
        sentences.append(f"It gives up most, {_listed(worst)}, and gains at no tone.")
    sentences.append(_trade(standing.objectives, champion.objectives, champion.rank))
    return [s for s in sentences if s]


def _trade(mine: dict[str, float], other: dict[str, float], rank: int) -> str:
    parts = []
    even = other["evenness_db"] - mine["evenness_db"]
    if abs(even) > NOTABLE_DB:
        parts.append(f"its tones spread {mine['evenness_db']:.1f} dB, not {other['evenness_db']:.1f} dB")
    material = mine["material_cm3"] / other["material_cm3"] - 1.0
    if abs(material) > 0.01:
        word = "less" if material < 0 else "more"
        parts.append(f"it takes {abs(100 * material):.0f} % {word} material")
    if not parts:
        return ""
    sentence = _listed(parts)
    return f"Compared with candidate {rank}, {sentence}."


def _against_simple(standing: Standing, topologies: list[TopologyBest]) -> list[str]:
    """How far the plain boxes and the next graph stay behind the highest output."""
    score = standing.objectives["output_db"]
    plain = [t for t in topologies if t.topology in ("closed box", "vented box") and t.best_db is not None]
    behind = [
        f"the best {t.topology} reaches {t.best_db:.1f} dB, {score - t.best_db:.1f} dB less"
        for t in plain
        if t.best_db is not None and t.graph != standing.graph
    ]
    sentences = [_capital(_listed(behind)) + "."] if behind else []
    others = [t for t in topologies if t.graph != standing.graph and t.best_db is not None]
    if others and others[0].best_db is not None:
        gap = score - others[0].best_db
        name = short_name(named_topology(others[0].graph))
        sentences.append(f"The next type, {name}, comes within {gap:.2f} dB.")
    return sentences


def _restarts(standing: Standing, topologies: list[TopologyBest]) -> str:
    scores = next(t.restart_scores_db for t in topologies if t.graph == standing.graph)
    near = sum(score >= max(scores) - 0.1 for score in scores)
    best = f"{max(scores):.2f} dB"
    return f"{near} of {len(scores)} restarts of this type ended within 0.1 dB of its best, {best}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
