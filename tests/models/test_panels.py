"""Panels to cut: what they add up to, and where their cut-outs lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.design import DesignBatch
from models.panels import Panel, chamber_panels, plan_panels
from models.rules import Rules
from models.spaces import HalfSpace
from models.topology import parse_graph_id
from optimizer.season import load_season
from studies.plans.study import SEASON
from tests.builders import random_batch, worked_driver
from tests.models.test_plans import plan_of


@pytest.fixture(scope="module")
def rules() -> Rules:
    return replace(load_season(SEASON).rules, spaces=(HalfSpace(name="open air"),))


def volume(panels: list[Panel]) -> float:
    return sum(p.count * p.length * p.width * p.thickness for p in panels)


@pytest.mark.parametrize("graph", ["oA", "AB/Ao.Bo"])
def test_walls_of_closed_boxes_fill_what_is_outside_the_air(graph: str) -> None:
    """Sheet of each chamber: (a + 2 t)(b + 2 t)(c + 2 t) - a b c, so no edge is missed or counted twice."""
    batch, t = random_batch(parse_graph_id(graph), 3, n=1), 0.018
    panels = chamber_panels(batch, worked_driver(), t)
    expected = sum(np.prod(sides + 2.0 * t) - np.prod(sides) for sides in batch.sides[0])
    assert volume(panels) == pytest.approx(expected, rel=1e-12)
    assert all(p.length >= p.width and p.thickness == t for p in panels)


def test_cut_outs_of_a_closed_box_lie_where_the_patches_do(rules: Rules) -> None:
    """A driver 40 and 50 mm from the inner corner of wall z-, which no other panel covers."""
    batch = random_batch(parse_graph_id("oA"), 3, n=1)
    front, rear = batch.driver_ends[0]
    rear = replace(rear, wall="z-", centre=np.array([[0.04, 0.05]]), half=np.array([[0.02, 0.02]]))
    batch = replace(batch, sides=np.array([[[0.2, 0.3, 0.4]]]), driver_ends=((front, rear),))
    walls = {p.name[-2:]: p for p in chamber_panels(batch, rules.driver, 0.01)}
    panel, hole = walls["z-"], walls["z-"].holes[0]
    assert (panel.length, panel.width) == pytest.approx((0.3, 0.2))
    assert hole.at == pytest.approx((0.05, 0.04)) and hole.size[0] == rules.driver.cutout

    def centre_on(wall: str) -> tuple[float, float]:
        moved: DesignBatch = replace(batch, driver_ends=((front, replace(rear, wall=wall)),))
        found = [h for p in chamber_panels(moved, rules.driver, 0.01) for h in p.holes]
        return found[0].at

    # x- covers both its neighbours' edges: 40 + 10 along y, 50 + 10 along z, its longer side
    assert centre_on("x-") == pytest.approx((0.06, 0.05))
    # y- covers the edges along z only: 40 along x, 50 + 10 along z
    assert centre_on("y-") == pytest.approx((0.06, 0.04))


@pytest.mark.parametrize("lanes", [1, 2, 3])
def test_panels_of_a_plan_fill_the_envelope_but_for_its_air(rules: Rules, lanes: int) -> None:
    """Outer volume less the room's and the lanes' air, which is read off the plan, not the panels."""
    plan = plan_of(rules, lanes)
    wall = rules.envelope.wall
    panels = plan_panels(plan, wall)
    (room, duct), width = plan.rects[0], float(plan.lane_widths[0, 0])
    floor = np.prod(room[:, 1] - room[:, 0]) + np.prod(duct[:, 1] - duct[:, 0])
    partitions = (lanes - 1) * wall * (plan.run_length(0)[0] - width)
    air = (floor - partitions) * plan.height
    assert volume(panels) == pytest.approx(np.prod(rules.envelope.outer_sides) - air, rel=1e-12)


def test_cut_outs_of_a_plan(rules: Rules) -> None:
    """The driver's hole in its outer wall, both mouths of the duct in the walls that they pass."""
    plan = plan_of(rules, 2)
    found = {hole.what: (p, hole) for p in plan_panels(plan, rules.envelope.wall) for hole in p.holes}
    panel, hole = found["the driver"]
    assert panel.name.endswith("face y-") and hole.size[0] == rules.driver.cutout
    # 77 mm + 3 mm of the envelope's corner along x less the 3 mm that the wall x- covers
    assert hole.at[0 if panel.length < 0.17 else 1] == pytest.approx(0.077)
    mouths = [p.name for p in plan_panels(plan, rules.envelope.wall) for h in p.holes if "mouth" in h.what]
    assert sorted(mouths) == ["inner wall 1", "outer wall, face x-"]
