"""Bounds over boxes of sizes: exact for single designs, never below any design, right in closed cases."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.certified import Boxes, Family, lossless
from models.driver_bound import driver_bound_db, most_power_out
from models.score import Judge
from models.site_groups import group_sites
from optimizer.cell import Cell, Points
from optimizer.season import Season, load_season
from optimizer.tasks import TaskRunner

CONFIGS = Path(__file__).parent.parent.parent / "configs"
CHANGES = {
    "half_space": {},
    "common drive": {"drive": "common"},
    "real power": {"limits": {"power_kind": "real", "voltage": 9.0, "current": 2.5}},
    "apparent power": {"limits": {"power_kind": "apparent"}},
    "worst tone": {"mean": "worst"},
    "energy": {"mean": "energy", "drive": "per_tone"},
}
"""Changes of the half-space season that reach every limit, drive and mean."""


def plain_season(change: str) -> Season:
    """The half-space season in the bounds' model, with a change."""
    season = load_season(CONFIGS / "half_space.toml")
    changes = dict(CHANGES[change])
    rules = replace(season.rules, physics=lossless(season.rules.physics))
    if "limits" in changes:
        rules = replace(rules, limits=replace(rules.limits, **changes.pop("limits")), drive="per_tone")
    return replace(season, rules=replace(rules, **changes))


def designs(season: Season, graph: str, count: int = 1500) -> tuple[Points, TaskRunner, np.ndarray]:
    """Random designs that fit, and their sizes."""
    runner = TaskRunner(season)
    space = runner.space(graph)
    cell = Cell(runner.judge, space, ("output",))
    rng = np.random.default_rng(5)
    x = rng.random((count, space.dimensions))
    points = cell.evaluate(x, rng.integers(0, len(runner.sites), (count, len(space.site_slots))))
    points = points.take(np.nonzero(points.excess <= 0.0)[0])
    assert points.excess.size > 30
    names = ("volume 0", "area 0", "length 0") if graph == "oA/Ao" else ("volume 0",)
    columns = {v.name: v.value(points.x[:, i]) for i, v in enumerate(space.variables)}
    return points, runner, np.stack([columns[name] for name in names], axis=1)


def family(season: Season, runner: TaskRunner, sites: np.ndarray, graph: str) -> tuple[Family, np.ndarray]:
    """Family over the sites of some designs, and the leaf of the tree that each design's sites are."""
    choices, leaf_of = np.unique(sites, axis=0, return_inverse=True)
    table = runner.judge.outside(runner.sites)
    groups = group_sites(table, runner.judge.omega, choices, np.full(len(choices), 1.0))
    leaves = np.nonzero(groups.children[:, 0] < 0)[0]
    places = [leaves[np.all(groups.example[leaves] == choice, axis=1)][0] for choice in choices]
    slots = season.search.duct_shape == "slot"
    return Family(season.rules, groups, graph == "oA/Ao", slots), np.array(places)[leaf_of.ravel()]


@pytest.mark.parametrize("graph", ["oA", "oA/Ao"])
@pytest.mark.parametrize("change", CHANGES)
def test_single_designs_score_as_the_network_says(change: str, graph: str) -> None:
    season = plain_season(change)
    points, runner, sizes = designs(season, graph)
    made, leaf = family(season, runner, points.site, graph)
    found = made.bound(Boxes(group=leaf, low=sizes, high=sizes))
    excess = found - points.columns["output_db"]
    assert np.all(excess >= 0.0)
    if season.rules.drive == "per_tone" or season.rules.mean == "level":
        assert np.all(excess < 1e-6)


@pytest.mark.parametrize("graph", ["oA", "oA/Ao"])
@pytest.mark.parametrize("change", CHANGES)
def test_no_design_exceeds_the_bound_of_a_box_that_holds_it(change: str, graph: str) -> None:
    season = plain_season(change)
    points, runner, sizes = designs(season, graph)
    made, leaf = family(season, runner, points.site, graph)
    rng = np.random.default_rng(8)
    for widest in (1e-6, 1e-3, 0.03, 0.3):
        down, up = widest * rng.random((2, *sizes.shape))
        for group in (leaf, np.zeros_like(leaf)):  # their own sites, or all sites together
            found = made.bound(Boxes(group=group, low=sizes * (1.0 - down), high=sizes * (1.0 + up)))
            assert np.all(found >= points.columns["output_db"])


def test_bounds_tighten_with_the_boxes() -> None:
    season = plain_season("half_space")
    points, runner, sizes = designs(season, "oA/Ao")
    made, leaf = family(season, runner, points.site, "oA/Ao")
    medians = [
        np.median(
            made.bound(Boxes(group=leaf, low=sizes * (1 - w), high=sizes * (1 + w)))
            - points.columns["output_db"]
        )
        for w in (1e-2, 1e-3, 1e-4)
    ]
    assert medians[1] < 0.2 * medians[0] and medians[2] < 0.2 * medians[1]


@pytest.mark.parametrize("graph", ["oA", "oA/Ao", "AB/Ao.Bo", "AB/AB.Ao.Bo"])
def test_no_box_exceeds_what_the_driver_and_the_cabin_allow(graph: str) -> None:
    """Random boxes of the demo season with the whole physics, tone by tone."""
    season = load_season(CONFIGS / "demo.toml")
    points, runner, _ = designs(season, graph, 300)
    judge = runner.judge
    limit = driver_bound_db(season.rules, judge.outside(runner.sites), judge.omega)
    assert limit is not None
    level = judge.respond(runner.space(graph).decode(points.x, points.site)).level_db
    assert np.all(level.reshape(level.shape[0], -1) <= limit)
    assert limit.mean() < 155.0


def test_open_ground_has_no_finite_bound_for_many_sites() -> None:
    season = load_season(CONFIGS / "half_space.toml")
    runner = TaskRunner(season)
    assert driver_bound_db(season.rules, runner.judge.outside(runner.sites), runner.judge.omega) is None


def test_power_of_a_matched_load_is_the_most() -> None:
    """Brute force over loads: the share of the power that a resistance takes, reactance cancelled or not."""
    rules = load_season(CONFIGS / "demo.toml").rules
    omega = 2.0 * np.pi * np.array([112.0])
    driver = rules.driver
    resistance, reactance = np.meshgrid(np.geomspace(1e-3, 1e3, 4001), np.linspace(-5.0, 5.0, 21))
    load = driver.resistance_mechanical + resistance + 1j * reactance  # all of the cone's impedance
    current = load / driver.force_factor  # per unit of cone velocity
    going_in = np.abs(current) ** 2 * driver.coil_impedance(omega)[0].real + load.real
    share = (resistance / going_in).max()
    free = replace(rules, limits=replace(rules.limits, voltage=None))
    assert most_power_out(free, omega)[0] == pytest.approx(rules.limits.power * share, rel=1e-5)


def test_bounds_are_for_one_driver() -> None:
    season = load_season(CONFIGS / "half_space.toml")
    judge = Judge(season.rules)
    runner = TaskRunner(season)
    groups = group_sites(judge.outside(runner.sites), judge.omega, np.array([[0]]), np.zeros(1))
    with pytest.raises(ValueError, match="one driver"):
        Family(replace(season.rules, driver_count=2), groups, vented=False)
