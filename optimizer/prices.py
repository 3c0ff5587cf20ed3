"""What a rule is worth to a box: the change of its best score when the rule moves, found by solving again."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.design import DesignBatch
from models.score import Judge
from optimizer.cell import Points, joined
from optimizer.multipliers import Multipliers, multiplier_price, multipliers_at
from optimizer.priced_rules import PricedRule, rules_of
from optimizer.variants import Variant, output_of

KINK_SHARE = 0.1
"""Prices of a step up and a step down that differ by more than this share of the larger are a kink."""

SCATTERED, SCATTER = 4, 2e-3
"""Points around a solution that it is sought from again where both sides disagree, and how far away [1]."""

BETTER_BASES = 4
"""How often the box is replaced by a better one that its neighbours under moved rules lead to."""

IDLE_DB = 1e-9
"""Change of a score below which a rule that has no multiplier has no price."""

NOISE_DB = 2e-4
"""Change of the score that a new solution may show without meaning anything [dB]."""


def verified_prices(
    variant: Variant, graph: str, point: Points, patient: bool = True
) -> tuple[Points, tuple[dict[str, Any], ...]]:
    """Prices of all rules of a season at the best box near a point.

    Every rule is moved up and down by a small step, and the sizes are optimised again from the box, its
    sites kept. The price from multipliers is given beside as a check.

    Parameters
    ----------
    variant : Variant
        The season as it is [record].
    graph : str
        Graph of the point [text].
    point : Points
        One point that fits [record].
    patient : bool
        Whether to start again where both sides disagree, until it is sure to be a kink [flag].

    Returns
    -------
    tuple of Points and tuple of dict
        The best box near the point, and for each rule ``rule``, ``db_per_unit``, ``unit``, ``verified``,
        ``box``, ``step``, ``db_per_unit_more``, ``db_per_unit_less``, ``unique``,
        ``multiplier_db_per_unit`` and ``multiplier_misfit`` [mixed].
    """
    best = variant.solve(graph, point)
    for turn in range(BETTER_BASES if patient else 1):
        better = None
        prices = []
        multipliers = multipliers_at(variant, graph, best)
        for rule, value in rules_of(variant.rules):
            price, better = _price(
                variant, graph, best, multipliers, rule, value, patient, turn + 1 < BETTER_BASES
            )
            if better is not None:
                break
            prices.append(price)
        if better is None:
            break
        best = better
    return best, tuple(prices)


def same_box_prices(judge: Judge, design: DesignBatch) -> tuple[dict[str, Any], ...]:
    """What one more unit of each limit would give this very box, its dimensions unchanged.

    A box designed anew for the wider limit gains at least as much.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    design : DesignBatch
        A batch of one [record].

    Returns
    -------
    tuple of dict
        ``rule``, ``db_per_unit``, ``unit``, ``box``, ``step`` and ``verified`` (False) [mixed].
    """
    before = float(judge.scores(judge.respond(design))[0])
    prices = []
    for rule, value in rules_of(judge.rules):
        if not rule.droppable:
            continue
        step = rule.step * value
        moved = judge.with_rules(rule.move(judge.rules, value + step))
        gain = float(moved.scores(moved.respond(design))[0]) - before
        price = {"rule": rule.key, "db_per_unit": gain / step, "unit": rule.unit, "verified": False}
        prices.append(price | {"box": "unchanged", "step": step})
    return tuple(prices)


def solved_under(
    variant: Variant, graph: str, point: Points, rule: PricedRule, value: float | None
) -> Points:
    """The best box near a point when a rule has another value, or none."""
    moved = variant.under(rule.move(variant.rules, value))
    return moved.solve(graph, moved.carried(graph, point, variant))


def dropped_rules(variant: Variant, graph: str, starts: list[Points]) -> list[dict[str, Any]]:
    """What a graph's best box would gain if a limit were dropped altogether.

    Parameters
    ----------
    variant : Variant
        The season as it is [record].
    graph : str
        The graph [text].
    starts : list of Points
        Points from which the sizes are optimised again, the best first [list].

    Returns
    -------
    list of dict
        ``rule``, ``best_db`` and ``gain_db`` of each limit [mixed].
    """
    base = output_of(starts[0])
    found = []
    for rule, _ in rules_of(variant.rules):
        if not rule.droppable:
            continue
        best = output_of(solved_under(variant, graph, joined(starts), rule, None))
        found.append({"rule": rule.key, "best_db": best, "gain_db": best - base})
    return found


def _price(
    variant: Variant,
    graph: str,
    best: Points,
    multipliers: Multipliers,
    rule: PricedRule,
    value: float,
    patient: bool,
    again: bool,
) -> tuple[dict[str, Any], Points | None]:
    """Price of a rule; or a better box than the one given, where its neighbours lead to one."""
    base, step = output_of(best), rule.step * value
    high, low = (variant.under(rule.move(variant.rules, value + side * step)) for side in (1.0, -1.0))
    multiplier = multiplier_price(variant, graph, best, multipliers, rule, value)
    above, below = high.carried(graph, best, variant), low.carried(graph, best, variant)
    idle = min(output_of(above), output_of(below)) >= base - IDLE_DB and abs(multiplier) * step < IDLE_DB
    if not idle:  # else the box keeps its score on both sides, and no constraint of this rule is met
        above, below = high.solve(graph, above), low.solve(graph, below)
    more, less = (output_of(above) - base) / step, (base - output_of(below)) / step
    if patient and not _agree(
        more, less, step
    ):  # one side may be stuck: start it again where the other side points to
        above = high.solve(graph, joined([above, _beyond(high, graph, best, below, low, variant)]))
        below = low.solve(graph, joined([below, _beyond(low, graph, best, above, high, variant)]))
        if not _agree((output_of(above) - base) / step, (base - output_of(below)) / step, step):
            above = high.solve(graph, joined([above, _scattered(high, graph, above)]))
            below = low.solve(graph, joined([below, _scattered(low, graph, below)]))
        more, less = (output_of(above) - base) / step, (base - output_of(below)) / step
    unique = _agree(more, less, step)
    if patient and not unique and again:  # or the box itself was stuck
        back = [variant.carried(graph, p, v) for p, v in ((above, high), (below, low))]
        better = variant.solve(graph, joined(back))
        if output_of(better) > base + NOISE_DB:
            return {}, better
    price = {
        "rule": rule.key,
        "db_per_unit": 0.5 * (more + less) if unique else more,
        "unit": rule.unit,
        "verified": True,
        "box": "designed anew",
        "step": step,
        "db_per_unit_more": more,
        "db_per_unit_less": less,
        "unique": unique,
        "multiplier_db_per_unit": multiplier,
        "multiplier_misfit": multipliers.misfit,
    }
    return price, None


def _agree(more: float, less: float, step: float) -> bool:
    return abs(more - less) <= max(KINK_SHARE * max(abs(more), abs(less)), NOISE_DB / step)


def _scattered(to: Variant, graph: str, point: Points) -> Points:
    """Points close around one, always the same."""
    x = np.repeat(point.x, SCATTERED, axis=0)
    x = np.clip(x + np.random.default_rng(0).normal(0.0, SCATTER, x.shape), 0.0, 1.0)
    return to.cell(graph).evaluate(x, np.repeat(point.site, SCATTERED, axis=0))


def _beyond(to: Variant, graph: str, best: Points, other: Points, under: Variant, season: Variant) -> Points:
    """The best box moved away from another one's sizes, as far again."""
    here, there = to.carried(graph, best, season), to.carried(graph, other, under)
    return to.cell(graph).evaluate(2.0 * here.x - there.x, here.site)
