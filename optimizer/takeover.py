"""At what change of a rule another topology overtakes the best one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.cell import Points, joined
from optimizer.priced_rules import PRICED_RULES, PricedRule
from optimizer.variants import Variant, output_of

WIDEST = 4.0
"""Largest factor by which a rule is raised in the search for a takeover; its inverse the least."""

REACHES = (1.0, 1.5, 2.5)
"""How many times the change that prices suggest is tried."""

STARTS = 3
"""Boxes at the nearest values of a rule that a new one is sought from."""

HALVINGS = 4
"""Halvings between a change that is not enough and one that is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """A topology's best box with its prices.

    Attributes
    ----------
    graph : str
        Graph id [text].
    topology : str
        Its name [text].
    point : Points
        Its best box [record].
    prices : dict of str to float
        Price of each rule by its key [dB per unit].
    """

    graph: str
    topology: str
    point: Points
    prices: dict[str, float]


def takeovers(variant: Variant, best: Rival, other: Rival, most: int) -> list[dict[str, Any]]:
    """Changes of one rule at which another topology overtakes the best one.

    Each is estimated from the prices of both boxes and confirmed by optimising both again under the
    changed rule; only those that are confirmed are returned.

    Parameters
    ----------
    variant : Variant
        The season [record].
    best, other : Rival
        The best topology and the one behind it [record].
    most : int
        Number of rules tried, those with the smallest estimated change first [1].

    Returns
    -------
    list of dict
        ``rule``, ``unit``, ``from``, ``to``, ``topology``, ``graph``, ``over``, ``best_db`` and
        ``other_db`` at the changed rule [mixed].
    """
    gap = output_of(best.point) - output_of(other.point)
    tries = []
    for rule in PRICED_RULES:
        value = rule.read(variant.rules)
        gain = other.prices.get(rule.key, 0.0) - best.prices.get(rule.key, 0.0)
        if value is None or abs(gain) * value < 1e-3:
            continue
        change = min(max(gap / gain, value / WIDEST - value), value * WIDEST - value)
        tries.append((abs(gap / gain) / value, rule, value, change))
    found = []
    for _, rule, value, change in sorted(tries, key=lambda t: t[0])[:most]:
        confirmed = _confirmed(variant, best, other, rule, value, change)
        if confirmed is not None:
            found.append(confirmed)
    return found


def _confirmed(
    variant: Variant, best: Rival, other: Rival, rule: PricedRule, value: float, change: float
) -> dict[str, Any] | None:
    """The least change tried at which the other topology leads, or None."""
    tracks = [_Track(variant, rival, rule, value) for rival in (best, other)]
    short = 0.0
    farthest = value * (WIDEST - 1.0 if change > 0.0 else 1.0 / WIDEST - 1.0) / change
    for reach in [*(r for r in REACHES if r < farthest), farthest]:
        levels = [track.level(value + reach * change) for track in tracks]
        if levels[1] > levels[0]:
            break
        short = reach
    else:
        return None
    enough = reach
    for _ in range(HALVINGS):
        middle = 0.5 * (short + enough)
        there = [track.level(value + middle * change) for track in tracks]
        if there[1] > there[0]:
            enough, levels = middle, there
        else:
            short = middle
    return {
        "rule": rule.key,
        "unit": rule.unit,
        "from": value,
        "to": value + enough * change,
        "topology": other.topology,
        "graph": other.graph,
        "over": best.topology,
        "best_db": levels[0] if np.isfinite(levels[0]) else None,
        "other_db": levels[1],
    }


class _Track:
    """Best boxes of one topology as a rule moves, each sought from those at the nearest values."""

    def __init__(self, variant: Variant, rival: Rival, rule: PricedRule, value: float) -> None:
        self.variant, self.graph, self.rule = variant, rival.graph, rule
        self.known = {value: (rival.point, variant)}

    def level(self, value: float) -> float:
        """Output of the best box at a value of the rule [dB]."""
        moved = self.variant.under(self.rule.move(self.variant.rules, value))
        nearest = sorted(self.known, key=lambda other: abs(other - value))[:STARTS]
        starts = [moved.carried(self.graph, *self.known[other]) for other in nearest]
        found = moved.solve(self.graph, joined(starts))
        if not np.isfinite(output_of(found)):  # no box near the known ones fits
            found = moved.seek(self.graph, "survey", moved.runner.season.search.seed) or found
        self.known[value] = (found, moved)
        return output_of(found)
