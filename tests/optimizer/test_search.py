"""The search: search spaces, evolution, polish, sites, and whole runs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.fit import reasons_not, violation
from models.score import Judge
from models.spaces import HalfSpace
from optimizer.cell import Bound, Cell, Goal, joined, merit
from optimizer.climb import climb
from optimizer.evolution import best_rows, screen
from optimizer.history import hypervolume
from optimizer.inner import EFFORTS, seek
from optimizer.laid_out import LaidOut
from optimizer.objectives import OBJECTIVES, gains
from optimizer.outcomes import Task, unpack
from optimizer.parsimony import reducing
from optimizer.polish import drive_problems, polish, sweep_sites
from optimizer.searching import run_search
from optimizer.season import Season, load_season
from optimizer.spread import SAMPLES
from optimizer.tasks import TaskRunner, goals
from optimizer.variables import compact_sides

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


def _season(*topologies: str, **rules: object) -> Season:
    """The demo season in free air, which needs no cabin."""
    season = load_season(CONFIGS / "demo.toml")
    changed = replace(season.rules, spaces=(HalfSpace(name="yard"),), **rules)  # type: ignore[arg-type]
    search = replace(season.search, topologies=topologies or ("closed box",), effort="quick", candidates=5)
    return replace(season, rules=changed, search=search)


@pytest.fixture(scope="module")
def runner() -> TaskRunner:
    return TaskRunner(_season())


def _cell(runner: TaskRunner, graph: str) -> Cell:
    return Cell(runner.judge, runner.space(graph), ("output", "evenness", "material"))


def test_compact_sides_hold_their_volume_inside() -> None:
    inner = np.array([0.154, 0.234, 0.174])
    volume = np.geomspace(1e-4, np.prod(inner), 20)
    sides = compact_sides(volume, inner)
    assert np.allclose(np.prod(sides, axis=1), volume, rtol=1e-12)
    assert np.all(np.sort(sides, axis=1) <= np.sort(inner) * (1 + 1e-12))
    assert np.all(np.diff(sides, axis=1) <= 1e-12)


@pytest.mark.parametrize("graph", ["oA", "oA/Ao.Ao", "AB/AB.Ao", "oA//Ao", "AB/Bo/Ao"])
def test_designs_of_random_variables_evaluate(runner: TaskRunner, graph: str) -> None:
    cell = _cell(runner, graph)
    points = screen(cell, np.random.default_rng(3), 256)
    fits = points.excess <= 0.0
    assert fits.any()
    assert np.all(np.isfinite(points.columns["output_db"][fits]))
    batch = cell.space.decode(points.x, points.site)
    assert [not r for r in reasons_not(batch, runner.judge.rules)] == list(
        violation(batch, runner.judge.rules) <= 0.0
    )


@pytest.mark.parametrize(("profile", "shape"), [("conical", "round"), ("exponential", "slot")])
def test_tapered_ducts_hold_uniform_ones(profile: str, shape: str) -> None:
    """A flare of one is the uniform duct; searched, a taper reaches at least its output."""
    season = _season()
    plain = TaskRunner(replace(season, search=replace(season.search, duct_shape=shape)))
    runner = TaskRunner(
        replace(season, search=replace(season.search, duct_shape=shape, duct_profile=profile))
    )
    space, straight = runner.space("oA/Ao"), plain.space("oA/Ao")
    assert space.dimensions == straight.dimensions + 1
    x, site = np.random.default_rng(5).random((8, straight.dimensions)), np.tile([0, 3], (8, 1))
    column = next(i for i, v in enumerate(space.variables) if v.name == "flare 0")
    one = space.decode(np.insert(x, column, 0.5, axis=1), site)
    assert np.allclose(one.ducts[0].area_end, one.ducts[0].area, rtol=1e-12)
    levels = [r.judge.respond(d).level_db for r, d in ((runner, one), (plain, straight.decode(x, site)))]
    assert np.allclose(levels[0], levels[1], atol=0.02)
    best = [
        seek(_cell(r, "oA/Ao"), np.random.default_rng(6), EFFORTS["quick"], lambda: False)
        for r in (runner, plain)
    ]
    assert best[0].columns["output_db"][0] > best[1].columns["output_db"][0] - 0.2  # type: ignore[union-attr]


@pytest.mark.parametrize("graph", ["oA.oA/Ao", "oA.AB/Bo", "oA.BA"])
def test_two_drivers_have_search_spaces(graph: str) -> None:
    runner = TaskRunner(_season(driver_count=2))
    points = screen(_cell(runner, graph), np.random.default_rng(4), 256)
    assert np.nanmax(points.columns["output_db"]) > 80.0


def test_closed_box_agrees_with_a_scan(runner: TaskRunner) -> None:
    """One variable: the search must reach the best of a fine scan of volumes and sites."""
    found = seek(_cell(runner, "oA"), np.random.default_rng(0), EFFORTS["quick"], lambda: False)
    assert found is not None
    cell = _cell(runner, "oA")
    sites = len(cell.space.sites)
    x = np.repeat(np.linspace(0.0, 1.0, 201), sites)[:, None]
    scanned = cell.evaluate(x, np.tile(np.arange(sites), 201)[:, None])
    best = np.nanmax(scanned.columns["output_db"])
    assert found.columns["output_db"][0] >= best - 0.005


@pytest.mark.parametrize("graph", ["oA/Ao", "AB/Ao"])
def test_search_beats_plain_sampling(runner: TaskRunner, graph: str) -> None:
    cell = _cell(runner, graph)
    found = seek(cell, np.random.default_rng(5), EFFORTS["quick"], lambda: False)
    assert found is not None
    assert violation(cell.space.decode(found.x, found.site), runner.judge.rules)[0] == 0.0
    sampled = screen(_cell(runner, graph), np.random.default_rng(6), 8192)
    assert found.columns["output_db"][0] > np.nanmax(sampled.columns["output_db"])


@pytest.mark.parametrize("mean", ["level", "energy", "worst"])
@pytest.mark.parametrize("drive", ["per_tone", "common"])
def test_polish_gains_and_its_slopes_are_right(mean: str, drive: str) -> None:
    runner = TaskRunner(_season(mean=mean, drive=drive))
    cell = _cell(runner, "oA/Ao")
    points = screen(cell, np.random.default_rng(7), 128)
    point = points.take(best_rows(points, Goal(), 1))
    problem = drive_problems(cell, point)[0]
    y = problem.start.copy()
    y[: problem.dimensions] = np.clip(y[: problem.dimensions], 0.05, 0.95)
    slope, step = problem.slope(y), 1e-4
    for i in range(y.size):
        up, down = y.copy(), y.copy()
        up[i] += step
        down[i] -= step
        central = (problem.value(up) - problem.value(down)) / (2.0 * step)
        # a central difference is off by a sixth of its step's square times the third derivative
        assert slope[i] == pytest.approx(central, rel=1e-4, abs=1e-3)
    better = polish(cell, point)
    assert merit(better, Goal())[0] >= merit(point, Goal())[0]
    assert violation(cell.space.decode(better.x, better.site), runner.judge.rules)[0] == 0.0


def test_a_tone_without_weight_puts_no_floor_under_the_weakest() -> None:
    """The score of a polish is that of the tones that count, though another one is the weakest by far."""
    tones = np.append(load_season(CONFIGS / "demo.toml").rules.tones_hz, 10.0)
    weights = np.append(np.ones(4), 0.0)
    runner = TaskRunner(_season(mean="worst", tones_hz=tones, tone_weights=weights))
    cell = _cell(runner, "oA/Ao")
    points = screen(cell, np.random.default_rng(7), 128)
    points = points.take(best_rows(points, Goal(), 4))
    for i, problem in enumerate(drive_problems(cell, points)):
        assert -problem.value(problem.start) == pytest.approx(points.columns["output_db"][i], abs=1e-9)
        assert problem.room(problem.start).min() >= -1e-9
    ended = climb(cell, points, 15, lambda: False)
    assert np.median(merit(ended, Goal()) - merit(points, Goal())) > 0.5


def test_site_sweep_finds_the_best_pair(runner: TaskRunner) -> None:
    cell = _cell(runner, "oA/Ao")
    points = screen(cell, np.random.default_rng(8), 128)
    point = points.take(best_rows(points, Goal(), 1))
    best = sweep_sites(cell, point, Goal(), 1)
    rng = np.random.default_rng(9)
    site = rng.integers(0, len(cell.space.sites), (500, 2))
    others = cell.evaluate(np.repeat(point.x, 500, axis=0), site)
    assert best.columns["output_db"][0] >= np.nanmax(others.columns["output_db"]) - 1e-12


def test_one_worker_and_two_find_the_same(tmp_path: Path) -> None:
    season = _season("closed box", "vented box")
    results = []
    for workers in (1, 2):
        out = tmp_path / str(workers)
        out.mkdir()
        results.append(run_search(season, out, workers=workers))
        assert (out / "study.journal").stat().st_size > 0
    one, two = results
    assert [c.objectives for c in one.candidates] == [c.objectives for c in two.candidates]
    assert [c.reasons for c in one.candidates] == [c.reasons for c in two.candidates]
    assert [p.objectives for p in one.front] == [p.objectives for p in two.front]
    for a, b in zip(one.explored, two.explored, strict=True):
        assert a.graph == b.graph and np.array_equal(a.design.sides, b.design.sides)
        for row in np.nonzero(a.front)[0]:
            point = one.front[a.front[row] - 1]
            assert point.graph == a.graph
            assert point.objectives == {key: values[row] for key, values in a.objectives.items()}
    rows = sorted(row for a in one.explored for row in a.front if row)
    assert rows == list(range(1, len(one.front) + 1))
    assert len(rows) < sum(a.front.size for a in one.explored) <= 2010
    places = [(isinstance(c.laid_out, LaidOut), c.score_db) for c in one.candidates]
    assert places == sorted(places, reverse=True) and places[0][0]
    assert all(c.evaluation["fits"] for c in one.candidates)
    assert one.bound_db == two.bound_db


def test_richer_graph_within_the_margin_reduces() -> None:
    scores = {"oA": 100.0, "oA/Ao": 110.0, "oA/Ao.Ao": 110.05, "AB/Ao": 111.0}
    assert reducing("oA/Ao.Ao", scores) == "oA/Ao"
    assert reducing("oA/Ao", scores) == ""
    assert reducing("AB/Ao", scores) == ""


@pytest.mark.parametrize("mean", ["level", "energy", "worst"])
@pytest.mark.parametrize("drive", ["per_tone", "per_space", "common"])
def test_climb_gains_and_stays_within_the_rules(mean: str, drive: str) -> None:
    """Every point ends at least as high as it began, most of them clearly higher, and fits."""
    runner = TaskRunner(_season(mean=mean, drive=drive))
    cell = _cell(runner, "oA/AB.Bo")
    points = screen(cell, np.random.default_rng(3), 512)
    points = points.take(best_rows(points, Goal(), 6))
    ended = climb(cell, points, 15, lambda: False)
    gain = merit(ended, Goal()) - merit(points, Goal())
    assert np.all(gain >= 0.0)
    assert np.median(gain) > 0.5
    assert np.array_equal(ended.site, points.site)
    assert np.all(violation(cell.space.decode(ended.x, ended.site), runner.judge.rules) == 0.0)


def test_climb_ends_where_the_polish_ends(runner: TaskRunner) -> None:
    """Two methods, one local optimum of the vented box: within 0.02 dB."""
    cell = _cell(runner, "oA/Ao")
    points = screen(cell, np.random.default_rng(8), 512)
    point = climb(cell, points.take(best_rows(points, Goal(), 1)), 60, lambda: False)
    assert polish(cell, point).columns["output_db"][0] - point.columns["output_db"][0] < 0.02


@pytest.mark.parametrize("name", ["worst_tone", "evenness", "material", "outer_volume"])
@pytest.mark.parametrize("mean", ["level", "worst"])
def test_climb_towards_another_objective_keeps_its_bounds(name: str, mean: str) -> None:
    """The objective gains while output, and where there is one a third objective, keep their bounds."""
    runner = TaskRunner(_season(mean=mean))
    cell = _cell(runner, "oA/AB.Bo")
    points = screen(cell, np.random.default_rng(3), 512)
    points = climb(cell, points.take(best_rows(points, Goal(), 4)), 10, lambda: False)
    sought = OBJECTIVES[name]
    third = OBJECTIVES["material" if name == "evenness" else "evenness"]
    floor = Bound(key="output_db", sign=1.0, value=float(points.columns["output_db"].min()) - 2.0)
    worst = float((third.sign * points.columns[third.key]).min()) * third.sign
    limit = Bound(key=third.key, sign=third.sign, value=worst)
    for bounds in ((floor,), (floor, limit)):
        goal = Goal(key=sought.key, sign=sought.sign, bounds=bounds)
        ended = climb(cell, points, 12, lambda: False, goal)
        gain = sought.sign * (ended.columns[sought.key] - points.columns[sought.key])
        assert np.all(gain >= 0.0)
        assert np.max(gain) > 0.01
        for bound in bounds:
            assert np.all(bound.sign * (ended.columns[bound.key] - bound.value) >= -1e-6)


def test_goals_run_along_the_front(runner: TaskRunner) -> None:
    """Under the floor alone and under a second bound; more goals find a larger hypervolume."""
    task = Task(graph="oA/Ao", restart=0, effort="quick")
    known = {task: runner.run(task, {})}
    objectives = ("output", "evenness", "material")
    archive = unpack(known[task]["archive"])
    reference = gains(archive.columns, objectives).min(axis=0) - 1.0
    before = hypervolume(gains(archive.columns, objectives), reference)
    found = goals(replace(task, objective="material", effort="normal"), archive, objectives)
    assert {len(goal.bounds) for goal in found} == {1, 2}
    assert all(goal.key == "material_cm3" for goal in found)
    after = runner.run(replace(task, objective="material"), known)
    pool = joined([archive, unpack(after["archive"])])
    assert hypervolume(gains(pool.columns, objectives), reference) > before


def test_hypervolume_of_boxes() -> None:
    """Two boxes that overlap, by inclusion and exclusion; points below the reference count for nothing."""
    values = np.array([[2.0, 1.0, 1.0], [1.0, 3.0, 1.0], [-1.0, 9.0, 9.0]])
    assert hypervolume(values, np.zeros(3)) == pytest.approx(2.0 + 3.0 - 1.0)
    assert hypervolume(values[2:], np.zeros(3)) == 0.0


def test_tolerance_is_the_root_of_the_summed_squares(runner: TaskRunner) -> None:
    """Each deviation evaluated alone, by hand: duct, chamber, driver, leak, air."""
    cell = Cell(runner.judge, runner.space("oA/Ao"), ("output", "tolerance"))
    points = screen(cell, np.random.default_rng(3), 64)
    points = points.take(best_rows(points, Goal(), 2))
    batch = cell.space.decode(points.x, points.site)
    judge, duct, driver = runner.judge, batch.ducts[0], runner.judge.rules.driver
    area = np.pi / 4.0 * (np.sqrt(4.0 * duct.area / np.pi) + 0.2e-3) ** 2
    boxes = [
        replace(batch, ducts=(replace(duct, area=area),)),
        replace(batch, ducts=(replace(duct, length=duct.length + 0.5e-3),)),
        replace(batch, sides=batch.sides + 0.3e-3),
    ]
    drivers = [
        replace(driver, compliance=1.1 * driver.compliance),
        replace(driver, mass=1.03 * driver.mass),
        replace(driver, force_factor=1.03 * driver.force_factor),
        replace(driver, coil_resistance=1.03 * driver.coil_resistance),
    ]
    others = [Judge(replace(judge.rules, driver=changed)) for changed in drivers]
    others.append(Judge(replace(judge.rules, physics=replace(judge.rules.physics, leak_corner_hz=5.0))))
    step, air = judge.rules.tolerances.airs[3]
    load = 2.0 * 8.0 / 3.0 * driver.radius**3 * (air.density - judge.rules.air.density)
    others.append(Judge(replace(judge.rules, air=air, driver=replace(driver, mass=driver.mass + load))))
    scores = [judge.scores(judge.respond(box)) for box in boxes]
    scores += [other.scores(other.respond(batch)) for other in others]
    changes = np.stack(scores) - points.columns["output_db"]
    changes[-2] *= np.sqrt(1.0 - 2.0 / np.pi)  # leakage: half of a normal distribution
    changes[-1] /= step  # from the step of temperature that lies nearest to one standard deviation
    assert points.columns["tolerance_db"] == pytest.approx(np.sqrt((changes**2).sum(axis=0)), rel=1e-6)
    assert "tolerance_db" not in screen(_cell(runner, "oA"), np.random.default_rng(1), 8).columns


def test_search_for_tolerance_finds_a_less_sensitive_box(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And it ends with the spread of its candidates, where its effort has samples for that."""
    assert set(SAMPLES) == {"normal", "thorough"}
    monkeypatch.setitem(SAMPLES, "quick", 8)
    season = _season("vented box")
    season = replace(season, search=replace(season.search, objectives=("output", "tolerance")))
    result = run_search(season, tmp_path, plans=False)
    best = result.candidates[0]
    assert min(p.objectives["tolerance_db"] for p in result.front) < 0.8 * best.objectives["tolerance_db"]
    for candidate in result.candidates:
        assert candidate.tolerance["draws"] == 16
        assert candidate.tolerance["p10_db"] < candidate.tolerance["p90_db"]
