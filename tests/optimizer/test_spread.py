"""The spread of built boxes: indices of a known function, planted causes, the command and its files."""

from __future__ import annotations

import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from models.score import Judge
from models.tolerances import Tolerances, causes_of
from optimizer.box_names import box_names, first_kind
from optimizer.figures import figure_makers
from optimizer.run_folder import read_run, write_run
from optimizer.season import load_season, season_from_data
from optimizer.season_tolerances import temperature_steps
from optimizer.spread import indices, spread, with_spread
from optimizer.tolerance import Tolerance
from tests.optimizer.conftest import SEASON

NOTHING = Tolerances(
    duct_section=0.0, duct_length=0.0, chamber_side=0.0, compliance=0.0, moving_mass=0.0, force_factor=0.0,
    coil_resistance=0.0, leak_corner_hz=0.0,
)  # fmt: skip


def judge_with(season, tolerances) -> Judge:
    return Judge(replace(season.rules, tolerances=tolerances), backend="numpy")


def test_indices_of_the_ishigami_function() -> None:
    """T. Ishigami, T. Homma, ISUMA '90, 398-403 (1990), a = 7, b = 0.1.

    Indices from the function's variances in closed form, as handbooks print them (from memory): S1 0.3139,
    S2 0.4424, S3 0; ST1 0.5576, ST2 0.4424, ST3 0.2437.
    """
    a, b = 7.0, 0.1
    v1, v2, v13 = 0.5 * (1.0 + b * np.pi**4 / 5.0) ** 2, a**2 / 8.0, b**2 * np.pi**8 * 8.0 / 225.0
    whole = v1 + v2 + v13
    alone, total = np.array([v1, v2, 0.0]) / whole, np.array([v1 + v13, v2, v13]) / whole
    assert alone == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)

    def ishigami(u):
        x = np.pi * (2.0 * u - 1.0)
        return np.sin(x[:, 0]) * (1.0 + b * x[:, 2] ** 4) + a * np.sin(x[:, 1]) ** 2

    from scipy.stats import qmc

    draws = qmc.Sobol(d=6, seed=np.random.default_rng(1)).random(16384)
    values, found_alone, found_total = indices(ishigami, draws[:, :3], draws[:, 3:])
    assert values.size == 32768
    assert found_alone == pytest.approx(alone, abs=0.01)
    assert found_total == pytest.approx(total, abs=0.01)


def test_a_constant_function_has_no_causes() -> None:
    u = np.random.default_rng(1).random((8, 2))
    _, alone, total = indices(lambda points: np.full(points.shape[0], 3.0), u, u[::-1])
    assert np.all(alone == 0.0) and np.all(total == 0.0)


def test_a_planted_cause_takes_all_the_variance(season, designs) -> None:
    judge = judge_with(season, replace(NOTHING, duct_length=3e-3))
    found = [one.record() for one in spread(judge, designs[1:2], 64, seed=1)]
    assert [cause["name"] for cause in found[0]["causes"]] == ["the length of port"]
    assert found[0]["matters"][0]["share"] == pytest.approx(1.0, abs=0.05)
    assert found[0]["p10_db"] < found[0]["p50_db"] < found[0]["p90_db"]


def test_boxes_of_a_draw_share_driver_and_day(season, designs) -> None:
    """The same box twice: alike in every draw where driver and day deviate, not where its print does."""
    vented = designs[1]
    airs = season.rules.tolerances.airs
    shared = judge_with(season, replace(NOTHING, force_factor=0.05, compliance=0.1, airs=airs))
    one, two = spread(shared, [vented, vented], 32, seed=1)
    assert np.array_equal(one.scores_db, two.scores_db) and np.ptp(one.scores_db) > 0.1
    assert one.keeps_rank == two.keeps_rank == 1.0
    own = judge_with(season, replace(NOTHING, duct_section=0.5e-3))
    one, two = spread(own, [vented, vented], 32, seed=1)
    assert not np.array_equal(one.scores_db, two.scores_db)
    assert one.best_share + two.best_share == pytest.approx(1.0)
    assert 0.2 < one.best_share < 0.8


def test_boxes_far_apart_keep_their_places(season, designs) -> None:
    found = spread(Judge(season.rules, backend="numpy"), designs, 128, seed=2)
    assert [one.keeps_rank for one in found] == [1.0, 1.0, 1.0]
    assert [one.best_share for one in found] == [0.0, 1.0, 0.0]
    for one in found:
        assert np.sum(one.total) == pytest.approx(1.0, abs=0.2)  # the causes nearly add up
    again = spread(Judge(season.rules, backend="numpy"), designs, 128, seed=2)
    assert all(np.array_equal(a.scores_db, b.scores_db) for a, b in zip(found, again, strict=True))


def test_spread_and_objective_have_the_same_distributions(season, designs) -> None:
    """Small deviations add up: the sampled standard deviation is the first-order sensitivity.

    The cut at three standard deviations takes 1.3 % of a normal distribution's, and 2 % of its half.
    """
    t = season.rules.tolerances
    airs = season_from_data(
        season.source | {"tolerances": {"temperature_c": 0.3}}, season.path
    ).rules.tolerances.airs
    small = Tolerances(
        duct_section=t.duct_section / 10.0,
        duct_length=t.duct_length / 10.0,
        chamber_side=t.chamber_side / 10.0,
        compliance=0.01,
        moving_mass=0.003,
        force_factor=0.003,
        coil_resistance=0.003,
        leak_corner_hz=0.1,
        airs=airs,
    )
    judge = judge_with(season, small)
    for design in designs[:2]:
        scores = judge.scores(judge.respond(design))
        first_order = Tolerance(judge).measure(design, scores)[0]
        sampled = spread(judge, [design], 512, seed=3)[0].scores_db.std()
        assert first_order == pytest.approx(sampled, rel=0.04)
        assert len(Tolerance(judge).changes(design, scores)) == len(causes_of(design, small))


def test_candidates_carry_their_spread_into_the_run_folder(season, result, tmp_path) -> None:
    told = with_spread(Judge(season.rules, backend="numpy"), result.candidates, 8, seed=1)
    assert [c.tolerance["draws"] for c in told] == [16, 16, 16]
    assert [replace(c, tolerance={}) for c in told] == list(result.candidates)
    records = write_run(tmp_path, season, replace(result, candidates=told)).candidates
    assert [r["tolerance"] for r in records] == [c.tolerance for c in told]


def test_boxes_compete_with_their_kind(season, designs) -> None:
    """A louder free network does not take the place of a box with a plan, which is ranked before it."""
    judge = Judge(season.rules, backend="numpy")
    together = spread(judge, designs, 16, 1)
    apart = spread(judge, designs, 16, 1, built=[True, False, False])
    by_design = [float(judge.scores(judge.respond(box))[0]) for box in designs]
    assert by_design[0] < min(by_design[1:]) and together[0].best_share == 0.0
    assert (apart[0].best_share, apart[0].keeps_rank) == (1.0, 1.0)
    assert apart[1].best_share + apart[2].best_share == 1.0
    told = [{"rank": 1, "plan": {"cost_db": 0.5}}, {"rank": 2, "plan": {"cost_db": None}}, {"rank": 3}]
    assert box_names(told) == ["candidate 1", "candidate 2 (free network)", "candidate 3 (free network)"]
    assert box_names(told[1:]) == ["candidate 2", "candidate 3"] and first_kind(told) == [0]


def test_temperature_steps_have_mean_0_and_deviation_1() -> None:
    steps = np.array(temperature_steps())
    assert np.all(np.diff(steps) > 0.0)
    assert steps.mean() == pytest.approx(0.0, abs=1e-12)
    assert steps.std() == pytest.approx(1.0, rel=1e-12)


def test_temperatures_stay_where_the_models_reach(tmp_path) -> None:
    text = SEASON.replace(
        "[search]", "[air]\ntemperature_c = 49.0\n[tolerances]\ntemperature_c = 5.0\n[search]"
    )
    path = tmp_path / "hot.toml"
    path.write_text(text, encoding="utf-8")
    airs = load_season(path).rules.tolerances.airs
    speeds = [air.sound_speed for _, air in airs]
    assert speeds == sorted(speeds) and speeds[-1] == speeds[-2] > speeds[0]


def test_a_season_without_the_table_keeps_its_hash(season, tmp_path) -> None:
    assert "tolerances" not in season.source
    path = tmp_path / "own.toml"
    path.write_text(SEASON + "[tolerances]\nduct_length_mm = 0.0\n", encoding="utf-8")
    own = load_season(path)
    assert own.config_hash != season.config_hash
    assert own.rules.tolerances.duct_length == 0.0
    assert own.rules.tolerances.duct_section == season.rules.tolerances.duct_section


def test_command_on_designs(run, season_path, design_paths) -> None:
    status, text, err = run("spread", season_path, *design_paths, "--samples", 16)
    assert status == 0 and "Traceback" not in err
    lines = text.splitlines()
    assert "keeps place" in lines[0] and "vented.toml" in lines[1]  # the best first
    assert "stays the best of the 3 in 100 %" in text
    status, text, _ = run("spread", season_path, *design_paths, "--samples", 16, "--json")
    found = json.loads(text)
    assert [one["design"] for one in found] == [str(path) for path in design_paths]
    for one in found:
        t = one["tolerance"]
        assert t["p10_db"] <= t["p50_db"] <= t["p90_db"]
        assert len(t["matters"]) == 2 and set(t["matters"][0]) >= {"name", "share"}
        assert t["draws"] == 32


def test_command_on_a_run_folder(run, season, result, tmp_path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    for place, _ in figure_makers(write_run(folder, season, result)):  # drawn, as far as the report goes
        Image.new("RGB", (2, 2)).save(folder / f"{place}.png")
    status, text, _ = run("spread", folder, "--samples", 16, "--json")
    assert status == 0
    told = [one["tolerance"] for one in json.loads(text)]
    assert [c["tolerance"] for c in read_run(folder).candidates] == told
    assert (folder / "spread.png").is_file() and (folder / "spread.svg").is_file()
    assert "When they are built" in (folder / "report.html").read_text(encoding="utf-8")
    with (folder / "candidates.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["p10_db"]) for row in rows] == pytest.approx([t["p10_db"] for t in told])
    assert [place for place, _ in figure_makers(read_run(folder))][-1] == "spread"


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["CONFIG"], "DESIGN: give one or more designs"),
        (["CONFIG", "nowhere.toml"], "nowhere.toml"),
        (
            ["CONFIG", "DESIGN", "--samples", "100"],
            "--samples: must be a power of two from 8 to 65536, is 100",
        ),
        (["FOLDER"], "no such file; is this a finished run folder?"),
        (["FOLDER", "DESIGN"], "which has designs of its own"),
        (["nowhere", "DESIGN"], "nowhere"),
        (["CONFIG", *["DESIGN"] * 41], "at most 40 boxes at once, given are 41"),
        (["BAD", "DESIGN"], "tolerances.compliance_percent"),
    ],
)
def test_bad_input_is_a_line_and_status_2(run, season_path, design_paths, tmp_path, arguments, words) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(SEASON + "[tolerances]\ncompliance_percent = 80.0\n", encoding="utf-8")
    names = {"CONFIG": season_path, "DESIGN": design_paths[0], "FOLDER": tmp_path, "BAD": bad}
    status, out, err = run("spread", *(names.get(word, word) for word in arguments))
    assert (status, out) == (2, "")
    assert words in err and "Traceback" not in err
