"""The search for a floor plan trades score for another objective."""

from __future__ import annotations

import numpy as np
import pytest

from models.arrangement import neighbours
from models.catalogue import named_topology
from models.plan_checks import faults
from models.plan_reading import read_plan
from models.score import Judge
from optimizer.cell import Goal
from optimizer.laid_out import LaidOut
from optimizer.layout import FACES, altered, random_arrangement, turned
from optimizer.layout_cells import PlanCell, resized
from optimizer.layout_efforts import LayoutEffort, rounds
from optimizer.layout_search import TRADED_DB, lay_out
from optimizer.layout_words import apart, random_word, tree_of, word_of
from optimizer.sites import search_sites

LITTLE = LayoutEffort(
    fitting=rounds((40, 12, 6), (8, 24, 16)), scoring=rounds((3, 16, 4)), finishing=rounds((1, 24, 8))
)


def test_relatives_are_arrangements_of_the_same_parts() -> None:
    """Some with the same cuts, some with others; every mouth opens to a leaf that lies beside its duct."""
    topology, walls = turned(named_topology("AB/AB.Ao")), frozenset({"x-", "y+", "z+"})
    rng = np.random.default_rng(4)
    same = other = 0
    for _ in range(4000):
        first = random_arrangement(topology, walls, rng, (True,))
        if isinstance(first, str):
            continue
        new = altered(first, topology, walls, rng, (True,))
        if isinstance(new, str):
            continue
        assert (new.leaves, new.height_axis) == (first.leaves, first.height_axis)
        assert new.topology.graph_id == "AB/AB.Ao" and new.dimensions == first.dimensions
        around = neighbours(new.tree, len(new.leaves))
        for i, block in enumerate(new.blocks):
            for opening in block.openings:
                assert opening.leaf in around[new.leaf_of("duct", i), opening.face]
        same += new.tree == first.tree
        other += new.tree != first.tree
    assert same > 5 and other > 5


def test_rich_graphs_are_joined_as_often_as_plain_ones() -> None:
    """Of random cuts hardly one in a hundred lets four ducts touch what they join; changed, half of them."""
    walls = frozenset(f"{axis}{side}" for axis in "xyz" for side in "+-")
    rng = np.random.default_rng(4)
    for graph in ("AB/Ao.Bo", "AB/AB.Ao.BC.Co", "oA/AB.AC.Bo.Co"):
        topology = turned(named_topology(graph))
        drawn = [random_arrangement(topology, walls, rng, (True,)) for _ in range(200)]
        joined = {one for one in drawn if not isinstance(one, str)}
        assert len(joined) >= 80, graph
        for one in joined:
            around = neighbours(one.tree, len(one.leaves))
            for duct, block in enumerate(one.blocks):
                leaf = one.leaf_of("duct", duct)
                for opening in block.openings:
                    assert opening.leaf in around[leaf, opening.face]


def test_plans_trade_score_for_less_material(season, designs) -> None:
    """From one seed: at most the stated score less, less material, and still a plan that can be built."""
    judge = Judge(season.rules)
    best = lay_out(judge, designs[1], LITTLE, 3)
    traded = lay_out(judge, designs[1], LITTLE, 3, wanted=Goal(key="material_cm3", sign=-1.0))
    assert isinstance(best, LaidOut) and isinstance(traded, LaidOut)
    assert best.score_db - TRADED_DB - 0.06 <= traded.score_db <= best.score_db + 1e-9
    assert faults(traded.plan) == []
    material = [
        PlanCell(judge, designs[1], [one.plan.arrangement], one.design.sites)
        .evaluate(one.x[None], np.zeros((1, 0), dtype=int))
        .columns["material_cm3"][0]
        for one in (best, traded)
    ]
    assert material[1] < material[0] - 1.0
    drawn = read_plan(traded.plan, season.rules, None, designs[1].diaphragms)
    assert judge.scores(judge.respond(drawn))[0] == pytest.approx(traded.score_db, abs=1e-9)


def test_words_are_trees_and_touch_as_their_leaves_do() -> None:
    rng = np.random.default_rng(2)
    for count in (1, 2, 5, 8):
        for _ in range(50):
            word = random_word(rng.permutation(count).tolist(), rng)
            tree = tree_of(word)
            assert word_of(tree) == word
            around = neighbours(tree, count)
            for leaf in range(count):
                beside = {one for face in FACES for one in around[leaf, face]}
                met = [one for one in range(-1, count) if not apart([(leaf, one)], word, count)]
                assert met == sorted(beside)


def test_a_likeness_has_the_volumes_and_inertances_of_its_plan(season, designs) -> None:
    """Volumes, sections and sites as drawn; the length of a duct with the corrections of all its bends."""
    topology, rng = turned(designs[1].topology), np.random.default_rng(5)
    sites = search_sites(season.rules)
    walls = frozenset(site.wall for site in sites)
    drawn = [random_arrangement(topology, walls, rng, (True,)) for _ in range(30)]
    arrangements = [one for one in drawn if not isinstance(one, str)]
    cell = PlanCell(Judge(season.rules), designs[1], arrangements, sites)
    x = rng.uniform(0.3, 0.7, (len(arrangements), cell.codes.cut_node.shape[1] + 2))
    plans = cell.plans(x)
    alike = resized(designs[1], plans, sites)
    for i, arrangement in enumerate(arrangements):
        plan = plans.of(arrangement, np.array([i]))
        read = read_plan(plan, season.rules, sites)
        assert alike.driver_ends[0][0].site[i] == read.driver_ends[0][0].site[0]
        assert np.prod(alike.sides[i], axis=1) == pytest.approx(np.prod(read.sides[0], axis=1))
        for mine, its in zip(alike.ducts, read.ducts, strict=True):
            length = its.length[0] + sum(float(correction[0]) for _, correction in its.bends)
            assert mine.ends[1].site[i] == its.ends[1].site[0]
            assert mine.area[i] == pytest.approx(its.area[0])
            assert mine.length[i] == pytest.approx(max(length, season.rules.envelope.wall))
