"""Plans: lengths and sections by closed forms, and solids against sums and the divergence theorem."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.arrangement import Arrangement, Block, Cut, Leaf, Mount, Opening, neighbours
from models.bends import (
    fold_correction,
    fold_skew,
    pair_correction,
    side_end_correction,
    side_end_skew,
)
from models.plan import PlanBatch, lay
from models.plan_checks import faults, shortfall
from models.plan_reading import read_plan
from models.rules import Rules
from models.score import Judge
from models.spaces import HalfSpace
from models.topology import OUTSIDE, Topology
from optimizer.season import load_season
from studies.plans.study import SEASON

VENTED = Topology(chambers=1, drivers=((OUTSIDE, 0),), ducts=((0, OUTSIDE),))


@pytest.fixture(scope="module")
def rules() -> Rules:
    return replace(load_season(SEASON).rules, spaces=(HalfSpace(name="open air"),))


def vented(lanes: int) -> Arrangement:
    """A room below, a duct of lanes along u above it; the driver in the room's front."""
    first = Opening(sideways=True, face=(1, False), leaf=0)
    high = lanes % 2 == 1
    second = Opening(sideways=False, face=(0, high), leaf=-1)
    block = Block(run=0, lanes=lanes, first_high=False, start_high=False, openings=(first, second))
    return Arrangement(
        topology=VENTED,
        height_axis=2,
        tree=Cut(1, 0, 1),
        leaves=(Leaf("room", 0), Leaf("duct", 0)),
        blocks=(block,),
        mounts=(Mount(leaf=0, face=(1, False), other=-1),),
    )


def plan_of(rules: Rules, lanes: int, cut: float = 0.75) -> PlanBatch:
    return lay(vented(lanes), rules, np.array([[cut, 0.5, 0.5]]))


@pytest.mark.parametrize("lanes", [1, 2, 3, 4])
def test_length_and_section_are_those_of_the_drawing(rules: Rules, lanes: int) -> None:
    """Demo envelope 160 x 240 mm on the floor, wall 3 mm: the centre line by hand.

    Lanes share 240 - 6 - 3 mm less the room; the inside along u is 154 mm; each fold costs a lane's
    width at both lanes and gives 2 w + 3 mm; both gaps through walls give 3 mm.
    """
    plan = plan_of(rules, lanes)
    assert faults(plan) == []
    duct = read_plan(plan, rules).ducts[0]
    across = (234.0 - 3.0) * 0.25
    width = (across - 3.0 * (lanes - 1)) / lanes
    folds = lanes - 1
    length = 154.0 * lanes - 2.0 * folds * width + folds * (2.0 * width + 3.0) + 6.0
    assert duct.length[0] == pytest.approx(length * 1e-3, rel=1e-12)
    assert duct.area[0] == pytest.approx(width * 174.0 * 1e-6, rel=1e-12)
    (at, turn), *rest = duct.bends
    w = width * 1e-3
    assert at[0] == pytest.approx(0.003 + 0.5 * w)
    assert len(rest) == folds
    # each bend alone, and what the odd mode between neighbours adds to either half and half
    end, fold = side_end_skew(w, 0.003), fold_skew(w, 0.003)
    apart = 0.154 - 2.0 * w
    pairs = [pair_correction(w, apart, end if i == 0 else fold, fold) for i in range(folds)]
    assert turn[0] == pytest.approx(side_end_correction(w, 0.003) + 0.5 * sum(pairs[:1]))
    for i, (where, correction) in enumerate(rest):
        assert correction[0] == pytest.approx(fold_correction(w, w, 0.003) + 0.5 * sum(pairs[i : i + 2]))
        assert at[0] < where[0] < duct.length[0]


def test_room_is_read_in_envelope_axes(rules: Rules) -> None:
    """The room's sides, and the driver's patch from the room's own corner."""
    batch = read_plan(plan_of(rules, 2), rules)
    assert batch.sides[0, 0] * 1e3 == pytest.approx([154.0, (234.0 - 3.0) * 0.75, 174.0])
    mouth, patch = batch.driver_ends[0]
    assert batch.sites[int(mouth.site[0])].wall == "y-" == patch.wall
    # from 34 (half the frame above the envelope's edge) to 145 (half the cut-out and a wall below the lid)
    assert patch.centre[0] * 1e3 == pytest.approx([77.0, 0.5 * (34.0 + 145.0) - 3.0])


def test_height_along_y_keeps_the_hand(rules: Rules) -> None:
    """With the height along y the floor is z, x, so that u, v, h stay right-handed."""
    arrangement = replace(vented(2), height_axis=1)
    axes = arrangement.axes
    frame = np.eye(3)[:, list(axes)]
    assert axes == (2, 0, 1) and np.linalg.det(frame) == pytest.approx(1.0)
    sides = read_plan(lay(arrangement, rules, np.array([[0.6, 0.5, 0.5]])), rules).sides[0, 0] * 1e3
    assert sides == pytest.approx([0.6 * (154.0 - 3.0), 234.0, 174.0])


def test_a_batch_equals_the_loop(rules: Rules) -> None:
    x = np.random.default_rng(3).uniform(0.3, 0.8, (6, 3))
    many = read_plan(lay(vented(3), rules, x), rules)
    judge = Judge(rules)
    together = judge.scores(judge.respond(many))
    for i in range(6):
        one = read_plan(lay(vented(3), rules, x[i : i + 1]), rules)
        assert judge.scores(judge.respond(one))[0] == pytest.approx(together[i], abs=1e-9)


@pytest.mark.parametrize(
    ("cut", "word"),
    [(0.10, "the driver is deeper than room A"), (0.999, "the lanes of duct 1 are too narrow")],
)
def test_what_cannot_be_built_is_told(rules: Rules, cut: float, word: str) -> None:
    plan = plan_of(rules, 2, cut)
    assert shortfall(plan)[0] > 0.0
    assert any(word in fault for fault in faults(plan)), faults(plan)


def test_neighbours_of_cuts() -> None:
    """Two leaves beside each other over a third."""
    around = neighbours(Cut(1, 2, Cut(0, 0, 1)), 3)
    assert around[2, (1, True)] == (0, 1)
    assert around[0, (1, False)] == (2,) == around[1, (1, False)]
    assert around[0, (0, True)] == (1,) and around[1, (0, True)] == (-1,)


def test_leaves_must_be_those_of_the_graph() -> None:
    with pytest.raises(ValueError, match="are not the rooms and ducts"):
        replace(vented(2), leaves=(Leaf("room", 0), Leaf("blank", 0)))


def test_some_plans_of_a_batch_are_as_laid_alone(rules: Rules) -> None:
    x = np.random.default_rng(4).uniform(0.2, 0.8, (6, 3))
    rows = np.array([4, 1])
    some, alone = lay(vented(3), rules, x).rows(rows), lay(vented(3), rules, x[rows])
    assert some.size == 2
    for key in ("rects", "lane_widths", "mounts", "spare"):
        assert np.array_equal(getattr(some, key), getattr(alone, key)), key
    assert np.array_equal(shortfall(some), shortfall(alone))
    for mine, its in zip(read_plan(some, rules).ducts, read_plan(alone, rules).ducts, strict=True):
        assert np.array_equal(mine.length, its.length) and np.array_equal(mine.area, its.area)
