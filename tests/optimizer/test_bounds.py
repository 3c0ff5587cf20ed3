"""Branch and bound against closed forms, dense grids and random designs in the same model."""

from dataclasses import replace

import numpy as np
import pytest

from models.score import REFERENCE_PRESSURE
from optimizer.bounds import CLOSED, VENTED, certify, lossless_season
from optimizer.cell import Cell
from optimizer.season import Season, load_season
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant


@pytest.fixture
def season(season_path) -> Season:
    return load_season(season_path)


def test_closed_box_at_one_low_tone_is_what_the_formula_says(season) -> None:
    """Excursion stops every box: |p| = rho w^2 Sd x/(sqrt 2 2 pi r), computed from the stated formula."""
    rules = season.rules
    limits = replace(rules.limits, power=1e6, voltage=None, current=None)
    rules = replace(
        rules,
        limits=limits,
        tones_hz=np.array([30.0]),
        tone_weights=np.ones(1),
        spaces=rules.spaces[:1],
        physics=replace(rules.physics, radiation=False),
    )
    found = certify(replace(season, rules=rules), CLOSED, most_boxes=2000)
    omega, air = 2.0 * np.pi * 30.0, rules.air
    pressure = air.density * omega**2 * rules.driver.area * limits.excursion / (np.sqrt(2.0) * 2.0 * np.pi)
    nearest = 20.0 * np.log10(pressure / REFERENCE_PRESSURE)
    assert found.closed
    # sites differ in their distance to the microphone; the nearest is the front's centre at 1 m
    assert found.upper_db == pytest.approx(nearest, abs=0.021)
    assert found.upper_db >= nearest


def test_vented_bound_closes_on_the_best_of_a_dense_grid(season) -> None:
    plain = lossless_season(season)
    runner = TaskRunner(plain)
    point = Variant(runner).seek(VENTED, "quick", 1)
    assert point is not None
    found = certify(season, VENTED, near=point, most_boxes=150_000, tolerance_db=0.2)
    assert found.closed and found.gap_db <= 0.2 * (1 + 1e-9)
    space = runner.space(VENTED)
    steps = np.stack(np.meshgrid(*[np.linspace(0.0, 1.0, 31)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    x = np.full((len(steps), space.dimensions), 0.5)
    x[:, :3] = steps
    grid = Cell(runner.judge, space, ("output",)).evaluate(x, np.repeat(point.site, len(x), axis=0))
    best = np.nanmax(grid.columns["output_db"])
    assert best <= found.upper_db <= best + 0.5  # the grid's own coarseness
    assert found.lower_db is not None and found.lower_db >= best - 1e-6


@pytest.mark.parametrize("graph", [CLOSED, VENTED])
def test_an_unfinished_bound_is_honest(season, graph: str) -> None:
    found = certify(season, graph, most_boxes=4 if graph == CLOSED else 6000, tolerance_db=1e-12)
    assert not found.closed
    assert found.gap_db > 1e-12
    runner = TaskRunner(lossless_season(season))
    space = runner.space(graph)
    rng = np.random.default_rng(2)
    x = rng.random((4000, space.dimensions))
    site = rng.integers(0, len(runner.sites), (4000, len(space.site_slots)))
    random = Cell(runner.judge, space, ("output",)).evaluate(x, site)
    assert np.nanmax(random.columns["output_db"]) <= found.upper_db


def test_more_boxes_never_loosen_a_bound(season) -> None:
    uppers = [certify(season, VENTED, most_boxes=n).upper_db for n in (2000, 8000, 32000)]
    assert uppers[0] >= uppers[1] >= uppers[2]
    assert uppers[2] < uppers[0] - 1.0


def test_other_graphs_have_no_bound(season) -> None:
    with pytest.raises(ValueError, match=r"AB/Ao\.Bo"):
        certify(season, "AB/Ao.Bo", most_boxes=10)
