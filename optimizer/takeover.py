"""At what change of a rule another topology overtakes one that leads, both optimised again there.

A topology is followed from its best box as one rule moves, its mouths kept where they are. Which ones may
overtake is foreseen from the prices of the rule; what is reported has been solved at the moved rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq

from optimizer.priced_rules import RULES, PricedRule, rules_of
from optimizer.rival import Rival, Track
from optimizer.variants import Variant, output_of

BUILT, FREE = "as built, what building costs each type kept", "free networks"
"""What is compared: scores of plans, or of networks."""

WAYS = (1, -1)
"""Up and down."""

PARTS = (1 / 3, 2 / 3, 1.0)
"""Parts of a rule's reach, in its logarithm, at which the topologies are compared."""

CLOSE = 0.005
"""How well the change is found at which two topologies are even, as a share of the rule's value [1]."""

MOST_DB = 10.0
"""Leads count as no more, so that they are finite where no box fits [dB]."""

TURNS = 3
"""How often a takeover is sought again where a fresh climb finds a better box there."""

AHEAD_DB = 1e-3
"""Lead that counts as one [dB]."""

SLACK_DB = 0.5
"""A topology that is foreseen to stay this far behind is not followed; foreseen leads were up to 0.3 dB off
in the wrong direction on the demo [dB]."""

IDLE_DB = 1e-3
"""A rule whose whole reach changes less is not felt [dB]."""

DIGITS = 3
"""Digits of a rule's value at which a takeover is confirmed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What moving one rule does to an order.

    Attributes
    ----------
    defence : tuple of dict
        The first takeover from the leader, of either direction where there is one [list].
    attacks : dict of str to tuple of dict
        The same for single graphs that may have to go further, by graph [list].
    """

    defence: tuple[dict[str, Any], ...]
    attacks: dict[str, tuple[dict[str, Any], ...]]


def takeovers(
    variant: Variant,
    best: Rival,
    others: Sequence[Rival],
    own: Sequence[str],
    rule: PricedRule,
) -> Found:
    """Smallest changes of a rule, up and down, at which topologies overtake the leader.

    Parameters
    ----------
    variant : Variant
        The season [record].
    best : Rival
        The leader [record].
    others : sequence of Rival
        Those behind it [list].
    own : sequence of str
        Graphs among them whose own takeover is wanted even where another one comes first [text].
    rule : PricedRule
        The rule, which the season sets [record].

    Returns
    -------
    Found
        Takeovers as dicts of ``rule``, ``unit``, ``from``, ``to``, ``topology``, ``graph``, ``over``,
        ``over_graph``, ``best_db`` (of the one overtaken; None where no box of it fits), ``other_db``,
        both at the changed rule, and ``verified`` [record].
    """
    value = rule.read(variant.rules)
    assert value is not None
    defence: list[dict[str, Any]] = []
    attacks: dict[str, tuple[dict[str, Any], ...]] = {graph: () for graph in own}
    for way in WAYS:
        reach = way * float(np.log(rule.reach))
        leader = Track(variant, best, rule, value)
        nearest = sorted(others, key=lambda o: _foreseen_lead(best, o, rule, value, reach))
        first: dict[str, Any] | None = None
        least = reach
        for other in sorted(nearest, key=lambda o: o.graph not in own):
            far = reach if other.graph in own else least
            if not _may_overtake(variant, best, other, rule, value, far):
                continue
            found = _overtaking(leader, Track(variant, other, rule, value), value, far)
            if found is None:
                continue
            if other.graph in own:
                attacks[other.graph] += (found,)
            if first is None or _distance(found) < _distance(first):
                first, least = found, way * _distance(found)
        defence += [] if first is None else [first]
    return Found(defence=tuple(defence), attacks=attacks)


def foreseen(variant: Variant, best: Rival, other: Rival) -> list[dict[str, Any]]:
    """Changes at which prices alone, taken as lasting, let a topology overtake; nothing is solved again.

    Parameters
    ----------
    variant : Variant
        The season [record].
    best, other : Rival
        The leader and one behind it [record].

    Returns
    -------
    list of dict
        As those of :func:`takeovers`, not verified, the smallest change first [list].
    """
    result = []
    lead = best.level_db - other.level_db
    for rule, value in rules_of(variant.rules):
        for reach in (way * float(np.log(rule.reach)) for way in WAYS):
            left = _foreseen_lead(best, other, rule, value, reach)
            if left < 0.0:
                part = reach * lead / (lead - left)
                levels = [rival.level_db + rival.promised(rule, value, part) for rival in (best, other)]
                to = _outward(value * float(np.exp(part)), value)
                result.append(_record(rule, value, to, best, other, levels))
    return sorted([found | {"verified": False} for found in result], key=share_of_reach)


def rules_that_part(variant: Variant, rivals: Sequence[Rival]) -> list[PricedRule]:
    """The season's rules, those first whose prices differ most between topologies."""
    weighed = []
    for rule, value in rules_of(variant.rules):
        worth = [rival.promised(rule, value, float(np.log(rule.reach))) for rival in rivals]
        weighed.append((max(worth) - min(worth), rule))
    return [rule for _, rule in sorted(weighed, key=lambda w: -w[0])]


def share_of_reach(found: dict[str, Any]) -> float:
    """How far the rule of a takeover moves, as a share of how far it may move."""
    return _distance(found) / float(np.log(RULES[found["rule"]].reach))


def _distance(found: dict[str, Any]) -> float:
    return abs(float(np.log(found["to"] / found["from"])))


def _foreseen_lead(best: Rival, other: Rival, rule: PricedRule, value: float, reach: float) -> float:
    """Lead that prices leave the leader at the end of a rule's reach [dB]."""
    gained = other.promised(rule, value, reach) - best.promised(rule, value, reach)
    return best.level_db - other.level_db - gained


def _may_overtake(
    variant: Variant, best: Rival, other: Rival, rule: PricedRule, value: float, reach: float
) -> bool:
    """Whether a topology is worth following: prices promise it the lead, or nearly so.

    None that stays behind the leader's very box can lead. Where the leader does not feel the rule yet,
    its price tells nothing of how a narrower one will stop it.
    """
    moved = variant.under(rule.move(variant.rules, value * float(np.exp(reach))))
    unchanged = output_of(moved.carried(best.graph, best.point, variant)) + best.offset_db
    if other.level_db + max(0.0, other.promised(rule, value, reach)) + SLACK_DB < unchanged:
        return False
    unfelt = abs(best.promised(rule, value, reach)) < IDLE_DB and unchanged < best.level_db - IDLE_DB
    return unfelt or _foreseen_lead(best, other, rule, value, reach) < SLACK_DB


def _overtaking(leader: Track, other: Track, value: float, reach: float) -> dict[str, Any] | None:
    """The least change found at which the other topology leads, or None."""
    for _ in range(TURNS):
        to = _first_lead(leader, other, value, reach)
        if to is None:
            return None
        if not (leader.surprised(to) | other.surprised(to)):
            break
    assert to is not None
    levels = [leader.level(to), other.level(to)]
    if levels[1] - levels[0] <= AHEAD_DB:
        return None
    return _record(leader.rule, value, to, leader.rival, other.rival, levels)


def _record(
    rule: PricedRule, value: float, to: float, best: Rival, other: Rival, levels: list[float]
) -> dict[str, Any]:
    return {
        "rule": rule.key,
        "unit": rule.unit,
        "from": value,
        "to": to,
        "topology": other.topology,
        "graph": other.graph,
        "over": best.topology,
        "over_graph": best.graph,
        "best_db": levels[0] if np.isfinite(levels[0]) else None,
        "other_db": levels[1],
        "verified": True,
    }


def _first_lead(leader: Track, other: Track, value: float, reach: float) -> float | None:
    """The least value of the rule found at which the other topology leads."""

    def lead(way: float) -> float:
        found = _lead(leader, other, value * float(np.exp(way)))
        return float(np.clip(np.nan_to_num(found, nan=0.0), -MOST_DB, MOST_DB))

    short = 0.0
    for part in PARTS:
        enough = part * reach
        if lead(enough) < -AHEAD_DB:
            break
        short = enough
    else:
        return None
    even = brentq(lead, short, enough, xtol=CLOSE) if short == 0.0 or lead(short) > 0.0 else short
    for way in (even, even + np.sign(reach) * CLOSE):
        to = _outward(value * float(np.exp(way)), value)
        if _lead(leader, other, to) < -AHEAD_DB:
            return to
    return value * float(np.exp(enough))


def _lead(leader: Track, other: Track, value: float) -> float:
    """Lead of the leader at a value of the rule; nan, which is no takeover, where neither fits [dB]."""
    return leader.level(value) - other.level(value)


def _outward(to: float, value: float) -> float:
    """A value with few digits, no nearer to the rule's own than the one given."""
    unit = 10.0 ** (np.floor(np.log10(to)) - DIGITS + 1)
    steps = to / unit
    rounded = np.ceil(steps - 1e-9) if to > value else np.floor(steps + 1e-9)
    return float(f"{rounded * unit:.{DIGITS}g}")
