"""Prices and takeovers of all candidates: shared where boxes are one, like compared with like."""

import json
from dataclasses import replace

import pytest

from models.rules import Rules
from optimizer.price_words import price_sentences, written
from optimizer.priced_rules import PRICED_RULES
from optimizer.pricing import PRICE_EFFORTS, Contender, Priced, price
from optimizer.report_cards import price_text
from optimizer.season import Season, load_season
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant, output_of


@pytest.fixture
def season(season_path) -> Season:
    return load_season(season_path)


def contenders(runner: TaskRunner, *graphs: str) -> list[Contender]:
    variant = Variant(runner)
    starts = [variant.seek(graph, "survey", 1) for graph in graphs]
    return [Contender(graph=g, start=s, built_db=None) for g, s in zip(graphs, starts, strict=True)]


def plain(found: list[Priced]) -> str:
    return json.dumps([[one.prices, one.takeover] for one in found])


def test_one_process_and_two_price_the_same_to_the_last_digit(season) -> None:
    runner = TaskRunner(season)
    candidates = contenders(runner, "oA/Ao", "AB/Ao")
    others = contenders(runner, "oA")
    effort = replace(PRICE_EFFORTS["normal"], patient=False)
    assert effort.aside
    results = [price(runner, candidates, others, effort, workers) for workers in (1, 2)]
    assert plain(results[0]) == plain(results[1])
    for one in results[0]:
        assert {p["rule"] for p in one.prices} == {rule.key for rule in PRICED_RULES}
        assert all(p["verified"] for p in one.prices)
        assert all(("dropped_gain_db" in p) == p["rule"].startswith("limits.") for p in one.prices)
        assert one.takeover["types"] == 3 and one.takeover["verified"]
    lead, behind = sorted(results[0], key=lambda one: -one.takeover["ahead_db"])
    assert lead.takeover["leads"] and not behind.takeover["leads"]
    assert behind.takeover["ahead_db"] == -lead.takeover["ahead_db"] < 0.0


def test_quick_says_what_it_has_not_solved(season) -> None:
    runner = TaskRunner(season)
    candidates = contenders(runner, "oA/Ao", "AB/Ao")
    effort = replace(PRICE_EFFORTS["quick"], solved=1)
    first, second = price(runner, candidates, [], effort, 1)
    assert all(p["verified"] for p in first.prices) and not any(p["verified"] for p in second.prices)
    assert not first.takeover["verified"] and not any(c["verified"] for c in first.takeover["changes"])
    told = price_sentences(second.prices, season.rules, output_of(candidates[1].start), built=False)
    assert told[0].startswith("By the multipliers of the optimum, not solved again")
    assert "What dropping a rule would give it was not sought; effort normal does so." in told


def test_candidates_of_one_graph_and_sites_share_their_prices(season) -> None:
    runner = TaskRunner(season)
    (best,) = contenders(runner, "oA/Ao")
    cell = Variant(runner).cell("oA/Ao")
    poorer = replace(best, start=cell.evaluate(best.start.x * 0.97, best.start.site))
    assert output_of(poorer.start) < output_of(best.start)
    effort = replace(PRICE_EFFORTS["quick"], solved=2)
    found = price(runner, [best, poorer], [], effort, 1)
    assert found[0] == found[1]
    assert found[0].prices[0]["base_db"] >= output_of(best.start)
    told = price_sentences(found[1].prices, season.rules, output_of(poorer.start), built=False)
    loudest = f"the loudest free network of its type with its mouths, {found[1].prices[0]['base_db']:.2f} dB,"
    assert loudest in told[0]


def test_plans_are_compared_with_plans_and_networks_with_networks(season) -> None:
    """The vented network is louder, but as built the closed box leads."""
    runner = TaskRunner(season)
    vented, closed = contenders(runner, "oA/Ao", "oA")
    built = [replace(closed, built_db=110.0), replace(vented, built_db=109.0)]
    effort = PRICE_EFFORTS["quick"]
    first, second, third = price(runner, [*built, closed], [vented], effort, 1)
    assert first.takeover["leads"] and not second.takeover["leads"] and not third.takeover["leads"]
    assert first.takeover["ahead_db"] == pytest.approx(1.0, abs=1e-9)
    assert first.takeover["compared"] != third.takeover["compared"] == "free networks"
    assert third.takeover["against_graph"] == "oA/Ao"


PRICE = {
    "rule": "limits.excursion_mm", "db_per_unit": 0.96, "unit": "mm", "verified": True, "base_db": 136.3,
    "of": "free network", "held": "type and places of its mouths", "box": "designed anew", "unique": True,
    "db_per_unit_more": 0.95, "db_per_unit_less": 0.97, "dropped_gain_db": 1.44, "unchanged_db_per_unit": 1.4,
}  # fmt: skip
WALL = PRICE | {
    "rule": "envelope.wall_mm", "db_per_unit": -0.16, "db_per_unit_more": -0.16, "db_per_unit_less": -0.9,
    "unique": False, "dropped_gain_db": 0.0, "unchanged_db_per_unit": 0.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("value", "words"), [(174.3, "170"), (0.000312, "0.00031"), (-0.96, "-0.96"), (2.21e-7, "0.00000022")]
)
def test_numbers_of_prices_need_no_powers_of_ten(value: float, words: str) -> None:
    """As where an excursion of 0.05 mm costs 170 dB per mm."""
    assert written(value) == words
    assert price_text(PRICE | {"db_per_unit": 1743.21}) == "+1740 dB per mm"


def test_prices_in_words(season) -> None:
    rules: Rules = season.rules
    idle = PRICE | {"rule": "limits.air_speed_m_s", "db_per_unit": 0.0, "dropped_gain_db": 0.0,
                    "unchanged_db_per_unit": 0.0}  # fmt: skip
    assert price_sentences([PRICE, WALL, idle], rules, 136.3, built=True) == [
        "Designed anew with one rule moved and its mouths kept, its free network would gain 0.96 dB per mm "
        "of excursion, and lose 0.16 dB per mm of wall thickness.",
        "The price of wall thickness has a kink: -0.16 dB per mm for more of it, -0.9 dB per mm for less.",
        "More air speed would give it nothing.",
        "It would gain at least 1.4 dB without the excursion limit.",
        "Its plan as built, its sizes unchanged, would gain 1.4 dB per mm of excursion.",
    ]
    assert price_sentences([PRICE], rules, 136.0, built=False) == [
        "Designed anew with one rule moved, the loudest free network of its type with its mouths, 136.30 dB, "
        "would gain 0.96 dB per mm of excursion.",
        "It would gain at least 1.4 dB without the excursion limit.",
    ]
    assert price_sentences([], rules, 136.0, built=False) == []
