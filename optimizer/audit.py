"""What an organiser should know of a season before announcing it: what would change who wins.

Every rule is moved by a tenth up and down, every tone left out and moved by a twentieth, and the best boxes
of the leading types are optimised again under each change.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from models.cabin_modes import highest_frequency
from models.catalogue import named_topology, short_name
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.rules import Rules
from models.score import Judge
from models.spaces import Cabin
from optimizer.driver_options import compare_drivers
from optimizer.known import Known
from optimizer.priced_rules import rules_of
from optimizer.progress import Progress, silent
from optimizer.rematch import Match, rematch
from optimizer.season import Season
from optimizer.variants import Variant, encoded, output_of

RULE_MOVE, TONE_MOVE = 0.1, 0.05
"""Shares by which rules and tones are moved."""

PEAK_DB = 3.0
"""A tone is a narrow peak of the winner where a twentieth beside it less than half the power is left [dB]."""

APART_DB = 3.0
"""A tone sets types apart where the winner's lead over the next type is this much above its mean [dB]."""

LOUD_DB = 6.0
"""A tone carries the winner where it has twice the pressure of its other tones, or more [dB]."""

TURNS = 3
"""How often the rules are moved anew where that leads to a better box for the season as it is."""

LEAST_GAIN_DB = 5e-3
"""Gain of a better box [dB]."""

LIMIT_RULES = {
    "limits.excursion_mm": "excursion",
    "limits.power_w": "power",
    "limits.air_speed_m_s": "air_speed",
    "limits.amplifier_v": "voltage",
    "limits.amplifier_a": "current",
}
"""Limit that each rule sets."""

USED = 0.999
"""Share of a limit from which on it counts as used up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEffort:
    """How hard the types are sought again.

    Attributes
    ----------
    types : int
        Leading types that meet again [1].
    seek : str or None
        Effort of searches from nothing under each change; None for none [text].
    drivers : str
        Effort of those with another driver [text].
    """

    types: int
    seek: str | None
    drivers: str


AUDIT_EFFORTS = {
    "quick": AuditEffort(types=4, seek=None, drivers="survey"),
    "normal": AuditEffort(types=6, seek="survey", drivers="quick"),
    "thorough": AuditEffort(types=8, seek="quick", drivers="normal"),
}
"""Efforts by the name that a season gives."""


def audit(
    season: Season, variant: Variant, known: list[Known], progress: Progress = silent
) -> dict[str, Any]:
    """What would change who wins, and what other drivers would make of the season.

    Parameters
    ----------
    season : Season
        The season [record].
    variant : Variant
        Its search spaces and evaluator [record].
    known : list of Known
        Best box of every topology, at least one [list].
    progress : callable
        Told how many parts are done [any].

    Returns
    -------
    dict
        ``types``, ``rules``, ``tones``, ``uses`` and ``drivers`` [mixed].
    """
    effort, seed = AUDIT_EFFORTS[season.search.effort], season.search.seed
    ranked = sorted([k for k in known if not k.reduces_to] or known, key=lambda k: -k.best_db)
    points = {
        k.graph: variant.solve(k.graph, encoded(variant, k.graph, k.design)) for k in ranked[: effort.types]
    }
    base = Match(variant=variant, points=points)
    moves = _moves(season.rules)
    count = len(moves) + season.rules.tones_hz.size + len(season.driver_options) + 1
    for _ in range(TURNS):
        after = []
        for number, (key, _unit, value, to, moved) in enumerate(moves):
            progress(number, count, f"{key} at {to:g}")
            looser = (to > value) != (key == "envelope.wall_mm")
            after.append(rematch(base, variant.under(moved), effort.seek, seed, looser))
        better = _bettered(base, [match for match in after if match is not None])
        if better is None:
            break
        base = better
    rules = [
        {"rule": key, "unit": unit, "from": value, "to": to} | _change(base, match)
        for (key, unit, value, to, _), match in zip(moves, after, strict=True)
    ]
    tones = []
    for i, hz in enumerate(season.rules.tones_hz):
        progress(len(moves) + i, count, f"tone of {hz:g} Hz")
        tones.append(_tone(base, i, effort.seek, seed))

    def driver_done(number: int, _: int, name: str) -> None:
        progress(count - len(season.driver_options) - 1 + number, count, name)

    drivers = compare_drivers(season, variant, known, effort.drivers, driver_done)
    progress(count, count, "done")
    return {
        "types": [
            {"graph": graph, "topology": short_name(named_topology(graph)), "best_db": level}
            for graph, level in base.levels.items()
        ],
        "rules": rules,
        "tones": tones,
        "uses": _uses(base),
        "drivers": drivers,
    }


def _bettered(base: Match, others: list[Match]) -> Match | None:
    """The season's best boxes where those under moved rules lead to better ones; None where they do not."""
    points = dict(base.points)
    for match in others:
        for graph, point in match.points.items():
            back = base.variant.carried(graph, point, match.variant)
            if output_of(back) > output_of(points[graph]) + LEAST_GAIN_DB:
                points[graph] = base.variant.solve(graph, back)
    gained = any(points[graph] is not base.points[graph] for graph in points)
    return Match(variant=base.variant, points=points) if gained else None


def _moves(rules: Rules) -> list[tuple[str, str, float, float, Rules]]:
    """Every rule, a tenth less and a tenth more: key, unit, its value, the new one, the rules then."""
    return [
        (rule.key, rule.unit, value, to, rule.move(rules, to))
        for rule, value in rules_of(rules)
        for to in (value * (1.0 - RULE_MOVE), value * (1.0 + RULE_MOVE))
    ]


def _change(base: Match, after: Match | None, kept_db: float | None = None) -> dict[str, Any]:
    """What a change of the season does to the contest, beside the score of the best box before."""
    if after is None:
        return {"best_db": None, "gain_db": None, "graph": None, "topology": None, "margin_db": None,
                "changes_winner": True, "order": []}  # fmt: skip
    winner = after.order[0]
    return {
        "best_db": after.best_db,
        "gain_db": after.best_db - (base.best_db if kept_db is None else kept_db),
        "graph": winner,
        "topology": short_name(named_topology(winner)),
        "margin_db": after.margin_db,
        "changes_winner": winner != base.order[0],
        "order": after.order,
    }


def _tone(base: Match, i: int, seek: str | None, seed: int) -> dict[str, Any]:
    """One tone left out and moved, and what the winner's box does at it."""
    rules, variant, winner = base.variant.rules, base.variant, base.order[0]
    hz = float(rules.tones_hz[i])
    others = [k for k in range(rules.tones_hz.size) if k != i and rules.tone_weights[k] > 0.0]
    left_out = None
    if others:
        fewer = variant.hearing(range(len(rules.spaces)), others)
        carried = fewer.carried(winner, base.points[winner], variant)
        left_out = _change(base, rematch(base, fewer, seek, seed), float(carried.columns["output_db"][0]))
    moved = []
    for share in (1.0 - TONE_MOVE, 1.0 + TONE_MOVE):
        tones = rules.tones_hz.copy()
        tones[i] = hz * share
        if _reached(rules, tones[i]):
            after = rematch(base, variant.at_tones(tones), seek, seed)
            moved.append({"to_hz": float(tones[i])} | _change(base, after))
    character = _character(base, i, others)
    marks = (
        ("peak", "peak_db", PEAK_DB),
        ("apart", "lead_above_mean_db", APART_DB),
        ("loud", "above_others_db", LOUD_DB),
    )
    why = [word for word, key, least in marks if character[key] is not None and character[key] > least]
    return {"hz": hz, "left_out": left_out, "moved": moved, "narrow": bool(why), "why": why} | character


def _reached(rules: Rules, hz: float) -> bool:
    """Whether a tone lies within what the models of all spaces reach."""
    cabins = [space for space in rules.spaces if isinstance(space, Cabin)]
    return all(hz <= highest_frequency(cabin.size, rules.air.sound_speed) for cabin in cabins)


def _character(base: Match, i: int, others: list[int]) -> dict[str, Any]:
    """The winner at a tone against its other tones, the next type, and frequencies beside it."""
    rules, order = base.variant.rules, base.order
    hz, boxes = float(rules.tones_hz[i]), [_design(base, graph) for graph in order[:2]]
    levels = [_levels(base.variant.judge, box) for box in boxes]
    beside = np.array([hz * (1.0 - TONE_MOVE), hz, hz * (1.0 + TONE_MOVE)])
    peak = None
    if _reached(rules, float(beside[-1])):
        low, here, high = _levels(Judge(rules, beside, backend="numpy"), boxes[0])
        peak = float(here - 0.5 * (low + high))
    weights = rules.tone_weights[others]
    rest = float((levels[0][others] * weights).sum() / weights.sum()) if others else None
    leads = levels[0] - levels[1] if len(levels) > 1 else None
    return {
        "level_db": float(levels[0][i]),
        "above_others_db": None if rest is None else float(levels[0][i]) - rest,
        "above_rival_db": None if leads is None else float(leads[i]),
        "lead_above_mean_db": None if leads is None else float(leads[i] - leads.mean()),
        "peak_db": peak,
    }


def _design(match: Match, graph: str) -> DesignBatch:
    point = match.points[graph]
    return match.variant.cell(graph).space.decode(point.x, point.site)


def _levels(judge: Judge, box: DesignBatch) -> np.ndarray:
    """Level at every tone, averaged over the spaces [dB]."""
    weights = np.array([space.weight for space in judge.rules.spaces])
    return np.asarray((judge.respond(box).level_db[0] * weights[:, None]).sum(axis=0) / weights.sum())


def _uses(base: Match) -> list[dict[str, Any]]:
    """How much of each limit the leading boxes use at most."""
    shares = []
    for graph in base.order:
        found = base.variant.judge.respond(_design(base, graph))
        shares.append((found.voltage[..., None] / found.permitted).max(axis=(0, 1, 2)))
    most = np.max(shares, axis=0)
    uses = []
    for rule, value in rules_of(base.variant.rules):
        if rule.key in LIMIT_RULES:
            name = LIMIT_RULES[rule.key]
            share = float(most[LIMIT_NAMES.index(name)]) ** (2 if name == "power" else 1)
            uses.append({"rule": rule.key, "unit": rule.unit, "limit": value, "most": value * share,
                         "binds": share > USED})  # fmt: skip
    return uses
