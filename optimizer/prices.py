"""What a rule is worth to a box: the change of its best score when the rule moves, found by solving again."""

from __future__ import annotations

from collections.abc import Sequence
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

STATIONARY, SETTLINGS, WIDE = 0.01, 3, 0.01
"""Share of the score's slope that an optimum may leave unexplained; how often a box that leaves more is
sought again, and how far around it [1]."""

BETTER_BASES = 4
"""How often the box is replaced by a better one that its neighbours under moved rules lead to."""

HELD = "type and places of its mouths"
"""What of a box stays when a rule moves; all its other sizes and its drives are chosen anew."""

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
        Whether to start again from many sides where both prices disagree, and from a better box that
        these lead to [flag].

    Returns
    -------
    tuple of Points and tuple of dict
        The best box near the point, and for each rule ``rule``, ``db_per_unit``, ``unit``, ``verified``,
        ``box``, ``of``, ``held``, ``base_db``, ``step``, ``db_per_unit_more``, ``db_per_unit_less``,
        ``unique``, ``multiplier_db_per_unit`` and ``multiplier_misfit`` [mixed].
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


def settled(variant: Variant, graph: str, starts: Points) -> Points:
    """The best box near some points, sought again from around it where its slopes say that it is none."""
    best = variant.solve(graph, starts)
    for _ in range(SETTLINGS):
        if multipliers_at(variant, graph, best).misfit < STATIONARY:
            break
        best = variant.solve(graph, joined([best, _scattered(variant, graph, best, WIDE)]))
    return best


def multiplier_prices(variant: Variant, graph: str, best: Points) -> tuple[dict[str, Any], ...]:
    """Prices of all rules from the multipliers of an optimum, nothing solved again.

    Parameters
    ----------
    variant : Variant
        The season as it is [record].
    graph : str
        Graph of the point [text].
    best : Points
        The optimum [record].

    Returns
    -------
    tuple of dict
        As those of :func:`verified_prices`, as far as they are known, with ``verified`` False [mixed].
    """
    multipliers = multipliers_at(variant, graph, best)
    result = []
    for rule, value in rules_of(variant.rules):
        price = multiplier_price(variant, graph, best, multipliers, rule, value)
        result.append(
            {"rule": rule.key, "db_per_unit": price, "unit": rule.unit, "verified": False}
            | _of_anew(best)
            | {"multiplier_db_per_unit": price, "multiplier_misfit": multipliers.misfit}
        )
    return tuple(result)


def prices_by_side(prices: Sequence[dict[str, Any]]) -> dict[str, tuple[float, float]]:
    """Price of one unit more and of one unit less of each rule, by its key [dB per unit]."""
    return {
        p["rule"]: (p["db_per_unit_more"], p["db_per_unit_less"])
        if p["verified"]
        else (p["db_per_unit"], p["db_per_unit"])
        for p in prices
    }


def _of_anew(best: Points) -> dict[str, Any]:
    """What a price is of."""
    return {"box": "designed anew", "of": "free network", "held": HELD, "base_db": output_of(best)}


def unchanged_gains(judge: Judge, design: DesignBatch) -> dict[str, float]:
    """What one more unit of each limit would give a very box, its dimensions unchanged.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    design : DesignBatch
        A batch of one [record].

    Returns
    -------
    dict of str to float
        By the key of the limit [dB per unit].
    """
    before = float(judge.scores(judge.respond(design))[0])
    gains = {}
    for rule, value in rules_of(judge.rules):
        if rule.droppable:
            step = rule.step * value
            moved = judge.with_rules(rule.move(judge.rules, value + step))
            gains[rule.key] = (float(moved.scores(moved.respond(design))[0]) - before) / step
    return gains


def solved_under(
    variant: Variant, graph: str, point: Points, rule: PricedRule, value: float | None
) -> Points:
    """The best box near a point when a rule has another value, or none."""
    moved = variant.under(rule.move(variant.rules, value))
    return moved.solve(graph, moved.carried(graph, point, variant))


def dropped_rules(
    variant: Variant, graph: str, starts: list[Points], patient: bool = True
) -> list[dict[str, Any]]:
    """What a graph's best box would gain at least if a limit were dropped altogether.

    Parameters
    ----------
    variant : Variant
        The season as it is [record].
    graph : str
        The graph [text].
    starts : list of Points
        Points from which the sizes are optimised again, the best first [list].
    patient : bool
        Whether to climb from around where they were, too, of which the better way counts [flag].

    Returns
    -------
    list of dict
        ``rule``, ``best_db`` and ``gain_db`` of each limit [mixed].
    """
    base = output_of(starts[0])
    found = []
    for rule, _ in rules_of(variant.rules):
        if rule.droppable:
            moved = variant.under(rule.move(variant.rules, None))
            best = best_freed(variant, moved, graph, starts, patient)
            found.append({"rule": rule.key, "best_db": best, "gain_db": best - base})
    return found


def best_freed(
    variant: Variant, moved: Variant, graph: str, starts: list[Points], patient: bool = True
) -> float:
    """Score that a graph reaches at least when a rule sets it free; several starts, as there are many optima.

    Parameters
    ----------
    variant : Variant
        The season as it is [record].
    moved : Variant
        The season under looser rules, which permit the starts still [record].
    graph : str
        The graph [text].
    starts : list of Points
        Points from which the sizes are optimised again, the best first [list].
    patient : bool
        Whether to climb from around where they were, too, of which the better way counts [flag].

    Returns
    -------
    float
        Averaged output, at least that of the best start [dB].
    """
    base = output_of(starts[0])
    far = moved.carried(graph, joined(starts), variant)
    near = moved.follow(graph, far, base)
    if output_of(near) <= base + IDLE_DB:  # nothing met this rule
        return base
    best = output_of(moved.solve(graph, near))
    if patient:
        around = _scattered(moved, graph, far, WIDE)
        best = max(best, output_of(moved.solve(graph, joined([far, around]))))
    return max(base, best)


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
        above, below = high.follow(graph, above, base), low.follow(graph, below, base)
    more, less = (output_of(above) - base) / step, (base - output_of(below)) / step
    if not _agree(more, less, step):  # one side may be stuck: climb, also from where the other side points to
        above = high.solve(graph, joined([above, _beyond(high, graph, best, below, low, variant)]))
        below = low.solve(graph, joined([below, _beyond(low, graph, best, above, high, variant)]))
        if patient and not _agree((output_of(above) - base) / step, (base - output_of(below)) / step, step):
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
        **_of_anew(best),
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


def _scattered(to: Variant, graph: str, point: Points, far: float = SCATTER) -> Points:
    """Points close around one, always the same."""
    x = np.repeat(point.x, SCATTERED, axis=0)
    x = np.clip(x + np.random.default_rng(0).normal(0.0, far, x.shape), 0.0, 1.0)
    return to.cell(graph).evaluate(x, np.repeat(point.site, SCATTERED, axis=0))


def _beyond(to: Variant, graph: str, best: Points, other: Points, under: Variant, season: Variant) -> Points:
    """The best box moved away from another one's sizes, as far again."""
    here, there = to.carried(graph, best, season), to.carried(graph, other, under)
    return to.cell(graph).evaluate(2.0 * here.x - there.x, here.site)
