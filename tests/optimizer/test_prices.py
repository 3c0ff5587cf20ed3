"""Prices of rules against closed forms, multipliers, and solutions found by another solver."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import differential_evolution, minimize

from optimizer.cell import Points
from optimizer.ladder import rule_rungs
from optimizer.multipliers import multipliers_at
from optimizer.priced_rules import PRICED_RULES, RULES, rules_of
from optimizer.prices import (
    STATIONARY,
    dropped_rules,
    multiplier_prices,
    prices_by_side,
    settled,
    unchanged_gains,
    verified_prices,
)
from optimizer.season import Season, load_season
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant, encoded, output_of

WORST_ERROR = 0.005
"""Worst difference of a limit's price from another solver's, as a share of the larger; measured: 0.0001."""

WORST_MISS_DB = 0.01
"""Most that the other solver finds beyond ours after an envelope's side has moved; measured: 0.004 dB."""


@pytest.fixture
def season(season_path) -> Season:
    return load_season(season_path)


def independent(variant: Variant, graph: str, point: Points) -> float:
    """Best output near a point by a simplex search over the sizes, which knows no slopes."""
    cell = variant.cell(graph)

    def loss(x: np.ndarray) -> float:
        tried = cell.evaluate(x[None], point.site)
        return -output_of(tried) if tried.excess[0] <= 0.0 else 1e3 * (1.0 + float(tried.excess[0]))

    x = point.x[0]
    for size in (0.01, 0.001):
        simplex = np.clip(np.vstack([x, x + size * np.eye(x.size)]), 0.0, 1.0)
        options = {"initial_simplex": simplex, "xatol": 1e-8, "fatol": 1e-8, "maxiter": 500}
        x = minimize(loss, x, method="Nelder-Mead", options=options).x
    return -loss(x)


@pytest.mark.parametrize("graph", ["oA", "oA/Ao"])
def test_prices_are_those_of_another_solver(season, graph: str) -> None:
    variant = Variant(TaskRunner(season))
    start = variant.seek(graph, "quick", 3)
    best, prices = verified_prices(variant, graph, start)
    base = independent(variant, graph, best)
    assert base == pytest.approx(output_of(best), abs=1e-3)
    rules = dict((rule.key, (rule, value)) for rule, value in rules_of(season.rules))
    for price in prices:
        if graph == "oA/Ao" and price["rule"] in (
            "limits.amplifier_v",
            "envelope.height_mm",
            "envelope.depth_mm",
        ):
            continue  # as the others of their kind
        rule, value = rules[price["rule"]]
        moved = variant.under(rule.move(season.rules, value + price["step"]))
        gain = independent(moved, graph, moved.carried(graph, best, variant)) - base
        ours = price["db_per_unit_more"] * price["step"]
        if price["rule"] == "envelope.width_mm":
            assert gain == pytest.approx(ours, abs=WORST_MISS_DB)
        else:
            assert gain == pytest.approx(ours, rel=WORST_ERROR, abs=1e-5)
    assert {p["rule"] for p in prices} == {rule.key for rule in PRICED_RULES}
    assert all(p["verified"] for p in prices)


def from_scratch(variant: Variant, graph: str, site: np.ndarray) -> float:
    """Best output at given sites by differential evolution over the whole space, from no design at all."""
    cell = variant.cell(graph)

    def loss(x: np.ndarray) -> np.ndarray:
        tried = cell.evaluate(x.T.copy(), np.repeat(site, x.shape[1], axis=0))
        short = 1e3 * (1.0 + np.minimum(tried.excess, 1e3))
        return np.where(tried.excess > 0.0, short, -np.nan_to_num(tried.columns["output_db"]))

    bounds = [(0.0, 1.0)] * cell.space.dimensions
    options = {"popsize": 20, "maxiter": 400, "tol": 1e-10, "atol": 1e-9, "rng": 5, "polish": False}
    found = differential_evolution(loss, bounds, vectorized=True, updating="deferred", **options)
    return -float(found.fun)


def test_a_price_is_that_of_a_search_from_scratch(season) -> None:
    """Differential evolution (Storn and Price 1997, as scipy has it) with the rule up and down."""
    variant = Variant(TaskRunner(season))
    best, prices = verified_prices(variant, "oA/Ao", variant.seek("oA/Ao", "quick", 3))
    price = next(p for p in prices if p["rule"] == "limits.excursion_mm")
    assert price["unique"] and price["db_per_unit"] > 0.1
    assert price["base_db"] == output_of(best)
    rule = RULES["limits.excursion_mm"]
    value = rule.read(season.rules)
    up, down = (
        from_scratch(variant.under(rule.move(season.rules, value + way * price["step"])), "oA/Ao", best.site)
        for way in (1.0, -1.0)
    )
    assert price["db_per_unit"] == pytest.approx((up - down) / (2.0 * price["step"]), rel=0.01)


@pytest.mark.parametrize(
    ("key", "share"),
    [
        ("limits.power_w", 0.99),
        ("limits.excursion_mm", 1.3),
        ("envelope.width_mm", 0.995),
        ("envelope.width_mm", 0.93),
        ("envelope.depth_mm", 1.1),
    ],
)
def test_following_a_rule_ends_where_a_climb_does(season, key: str, share: float) -> None:
    variant, graph = Variant(TaskRunner(season)), "oA/AB.Bo"
    best = settled(variant, graph, variant.seek(graph, "survey", 3))
    assert multipliers_at(variant, graph, best).misfit < STATIONARY
    rule = RULES[key]
    moved = variant.under(rule.move(season.rules, share * rule.read(season.rules)))
    carried = moved.carried(graph, best, variant)
    followed = output_of(moved.follow(graph, carried, output_of(best)))
    assert followed == pytest.approx(output_of(moved.solve(graph, carried)), abs=0.02)
    assert followed != pytest.approx(output_of(best), abs=1e-4)


def test_multipliers_alone_are_marked_as_such(season) -> None:
    variant = Variant(TaskRunner(season))
    best, prices = verified_prices(variant, "oA/Ao", variant.seek("oA/Ao", "quick", 3))
    alone = multiplier_prices(variant, "oA/Ao", best)
    assert [p["multiplier_db_per_unit"] for p in alone] == [p["multiplier_db_per_unit"] for p in prices]
    assert not any(p["verified"] for p in alone) and all(p["of"] == "free network" for p in alone)
    sides = prices_by_side(prices)
    for p, q in zip(prices, alone, strict=True):
        assert sides[p["rule"]] == (p["db_per_unit_more"], p["db_per_unit_less"])
        assert prices_by_side(alone)[q["rule"]] == (q["db_per_unit"], q["db_per_unit"])


def test_this_very_box_gains_no_more_than_one_designed_anew(season) -> None:
    variant = Variant(TaskRunner(season))
    best, prices = verified_prices(variant, "oA/Ao", variant.seek("oA/Ao", "quick", 3))
    unchanged = unchanged_gains(variant.judge, variant.cell("oA/Ao").space.decode(best.x, best.site))
    felt = 0
    for price in prices:
        if price["rule"] in unchanged:
            assert unchanged[price["rule"]] <= price["db_per_unit_more"] + 1e-3 / price["step"]
            felt += unchanged[price["rule"]] > 0.01
    assert felt >= 1


@pytest.mark.parametrize("graph", ["oA", "oA/Ao"])
def test_unique_prices_agree_with_the_multipliers(season, graph: str) -> None:
    variant = Variant(TaskRunner(season))
    _, prices = verified_prices(variant, graph, variant.seek(graph, "quick", 3))
    unique = [p for p in prices if p["unique"] and p["rule"].startswith("limits.")]
    assert len(unique) >= 3
    for price in unique:
        noise = 1e-3 / price["step"]
        assert price["multiplier_db_per_unit"] == pytest.approx(price["db_per_unit"], rel=0.05, abs=noise)


def test_excursion_alone_costs_what_the_logarithm_says(season) -> None:
    """A closed box whose every tone is stopped by excursion: 20/ln(10)/x dB per metre, closed form."""
    limits = replace(season.rules.limits, power=1e6, voltage=None, current=None)
    rules = replace(season.rules, limits=limits)
    variant = Variant(TaskRunner(replace(season, rules=rules)))
    _, prices = verified_prices(variant, "oA", variant.seek("oA", "quick", 1))
    by_rule = {p["rule"]: p for p in prices}
    exact = 20.0 / np.log(10.0) / (rules.limits.excursion * 1e3)
    price = by_rule["limits.excursion_mm"]
    assert price["unique"]
    assert price["db_per_unit"] == pytest.approx(
        exact, rel=1e-4
    )  # the mean of both sides is good to the step squared
    assert price["multiplier_db_per_unit"] == pytest.approx(exact, rel=1e-3)
    assert by_rule["limits.power_w"]["db_per_unit"] == pytest.approx(0.0, abs=1e-9)


def test_a_rule_on_the_verge_of_binding_is_a_kink(season) -> None:
    """At exactly the voltage that excursion asks for, less of it costs and more gives nothing."""
    tones = season.rules.tones_hz[:1]
    limits = replace(season.rules.limits, power=1e6, voltage=None, current=None)
    rules = replace(season.rules, limits=limits, tones_hz=tones, tone_weights=np.ones(1))
    free = Variant(TaskRunner(replace(season, rules=rules)))
    best = free.solve("oA", free.seek("oA", "quick", 1))
    judge = free.judge
    voltage = float(judge.respond(free.cell("oA").space.decode(best.x, best.site)).voltage.max())
    tight = replace(rules, limits=replace(limits, voltage=voltage))
    # one box only, so that no other box needs less voltage: every size at the value of the best
    variant = free.under(tight)
    _, prices = verified_prices(variant, "oA", variant.carried("oA", best, free))
    price = next(p for p in prices if p["rule"] == "limits.amplifier_v")
    assert price["db_per_unit_more"] <= price["db_per_unit_less"] + 1e-6


def test_dropping_a_rule_gives_at_least_what_a_step_gives(season) -> None:
    variant = Variant(TaskRunner(season))
    best, prices = verified_prices(variant, "oA/Ao", variant.seek("oA/Ao", "quick", 3))
    gains = {d["rule"]: d["gain_db"] for d in dropped_rules(variant, "oA/Ao", [best])}
    for price in prices:
        if price["rule"] in gains:
            assert gains[price["rule"]] >= price["db_per_unit_more"] * price["step"] - 1e-3


def test_ladder_and_prices_drop_a_limit_alike(season) -> None:
    """The rung without a limit is the best of what each type's price table says; several optima or not."""
    variant = Variant(TaskRunner(season))
    graphs = ("oA", "oA/AB.Bo")
    points = {graph: settled(variant, graph, variant.seek(graph, "survey", 3)) for graph in graphs}
    rungs = {key: rung.value_db for key, _, rung in rule_rungs(variant, points)}
    dropped = [d for graph, point in points.items() for d in dropped_rules(variant, graph, [point])]
    for key in {d["rule"] for d in dropped}:
        assert rungs[key] == max(d["best_db"] for d in dropped if d["rule"] == key)
    assert rungs["limits.power_w"] > max(map(output_of, points.values())) + 0.1


@pytest.mark.parametrize("graph", ["oA", "oA/Ao", "AB/AB.Ao.Bo", "oA//Ao"])
def test_designs_are_found_again_as_variables(season, graph: str) -> None:
    variant = Variant(TaskRunner(season))
    point = variant.seek(graph, "survey", 2)
    assert point is not None
    design = variant.cell(graph).space.decode(point.x, point.site)
    again = encoded(variant, graph, design)
    assert np.array_equal(again.site, point.site)
    assert output_of(again) == pytest.approx(output_of(point), abs=1e-9)


def test_a_mouth_at_no_site_is_refused(season) -> None:
    variant = Variant(TaskRunner(season))
    point = variant.seek("oA", "survey", 2)
    design = variant.cell("oA").space.decode(point.x, point.site)
    moved = replace(design, sites=tuple(replace(s, at=(s.at[0] + 0.004, s.at[1])) for s in design.sites))
    with pytest.raises(ValueError, match="none of the search's sites"):
        encoded(variant, "oA", moved)
