"""Where another topology overtakes: confirmed, bracketed, and silent where nothing does."""

from dataclasses import replace

import pytest

from optimizer.priced_rules import PRICED_RULES
from optimizer.prices import solved_under, verified_prices
from optimizer.takeover import Rival, takeovers
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant, output_of

AIR_SPEED = next(rule for rule in PRICED_RULES if rule.key == "limits.air_speed_m_s")


def rival(variant: Variant, graph: str) -> Rival:
    point, prices = verified_prices(variant, graph, variant.seek(graph, "quick", 1))
    only = {p["rule"]: p["db_per_unit"] for p in prices if p["rule"] == AIR_SPEED.key}
    return Rival(graph=graph, topology=graph, point=point, prices=only)


@pytest.fixture
def variant(season) -> Variant:
    """A season whose slow air makes ducts hardly worth their room."""
    rules = AIR_SPEED.move(season.rules, 1.0)
    return Variant(TaskRunner(replace(season, rules=rules)))


def test_slower_air_turns_the_order(variant) -> None:
    closed, vented = rival(variant, "oA"), rival(variant, "oA/Ao")
    best, other = sorted((closed, vented), key=lambda r: -output_of(r.point))
    found = takeovers(variant, best, other, 9)
    assert len(found) == 1
    at = found[0]
    assert at["other_db"] > at["best_db"]
    assert at["graph"] == other.graph and at["from"] == 1.0
    levels = [output_of(solved_under(variant, r.graph, r.point, AIR_SPEED, at["to"])) for r in (best, other)]
    assert levels[1] > levels[0] - 0.05
    back = at["from"] + 0.75 * (at["to"] - at["from"])  # short of it the order still holds
    levels = [output_of(solved_under(variant, r.graph, r.point, AIR_SPEED, back)) for r in (best, other)]
    assert levels[0] > levels[1] - 0.05


def test_nothing_overtakes_itself(variant) -> None:
    closed = rival(variant, "oA")
    assert takeovers(variant, closed, closed, 9) == []
