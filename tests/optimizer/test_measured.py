"""The command ``measured``: a built box's sweep against its design."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.box_fit import changed
from models.impedance_peak import Sweep
from models.score import Judge
from optimizer.design_file import read_design
from optimizer.measured_box import BENCH
from optimizer.season import Season
from tests.sweeps import noisy, write_sweep

TRUTH = [("leak", 0, 6.0), ("length", 0, 1.08), ("compliance", 0, 0.9), ("coil", 0, 1.03)]


@pytest.fixture
def sweep_path(season: Season, design_paths: list[Path], tmp_path: Path) -> Path:
    """The vented box as built, measured in the open at 0.1 V."""
    hz = np.geomspace(25.0, 1000.0, 90)
    rules = replace(season.rules, spaces=(BENCH,))
    now, box = changed(rules, read_design(design_paths[1], season.rules), TRUTH)
    z = Judge(now, hz, backend="numpy").respond(box, 0.1).impedance[0, 0]
    clean = Sweep(hz=hz, impedance=z)
    return write_sweep(tmp_path / "box.csv", noisy(clean, np.random.default_rng(5), relative=0.005))


def test_what_was_built_and_what_it_costs(
    run, season: Season, season_path: Path, design_paths: list[Path], sweep_path: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "found"
    status, out, err = run("measured", season_path, design_paths[1], sweep_path, "--out", folder)
    assert (status, err) == (0, "") and "leak of chamber A, Hz" in out and "caution" not in out
    assert sorted(p.name for p in folder.iterdir()) == ["built.toml", "fit.json", "fit.png", "fit.svg"]
    record = json.loads((folder / "fit.json").read_text())
    driver = season.rules.driver
    expected = [6.0, 64.8, driver.compliance * 900.0, driver.coil_resistance * 1.03]
    for row, true in zip(record["fitted"], expected, strict=True):
        assert abs(row["fitted"] - true) < 4.0 * row["standard_uncertainty"] < 0.1 * true, row
    scores = {row["changed"]: row["score_db"] for row in record["scores"]}
    judge = Judge(season.rules, backend="numpy")
    drawn, built = (read_design(p, season.rules) for p in (design_paths[1], folder / "built.toml"))
    expected_db = float(judge.scores(judge.respond(drawn))[0])
    assert scores["nothing: as drawn"] == pytest.approx(expected_db, abs=1e-6)
    assert scores["the fitted leaks"] < scores["nothing: as drawn"] - 0.05
    assert built.leak[0] == pytest.approx([record["fitted"][0]["fitted"]])
    now, box = changed(season.rules, drawn, TRUTH)
    there = judge.with_rules(now)
    assert scores["all together"] == pytest.approx(float(there.scores(there.respond(box))[0]), abs=0.02)


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        (("--fit", "leak,glue"), "--fit: 'glue' is none of leak, length"),
        (("--space", "attic"), "--space: 'attic' is not a space of the season; it has 'court', 'far court'"),
        (("--drive-v", "0"), "--drive-v: must be above 0"),
        (("--range", "1:20"), "box.csv:1: frequency: 0 points from 1 to 20 Hz are too few"),
    ],
)
def test_faults(
    run, season_path: Path, design_paths: list[Path], sweep_path: Path, options: tuple[str, ...], fault: str
) -> None:
    status, out, err = run("measured", season_path, design_paths[1], sweep_path, *options)
    assert (status, out) == (2, "") and fault in err


def test_space_of_the_season_and_json(
    run, season_path: Path, design_paths: list[Path], sweep_path: Path, tmp_path: Path
) -> None:
    arguments = ("measured", season_path, design_paths[0], sweep_path, "--json", "--fit", "leak,compliance")
    status, out, _ = run(*arguments, "--space", "court", "--range", "30:200", "--out", tmp_path / "o")
    record = json.loads(out)
    assert status == 0 and len(record["fitted"]) == 2
    assert record["neighbour_correlation"] > 0.3  # the design of another box: something else differs


def test_leak_of_a_design_is_read_and_bounded(run, season_path: Path, design_paths: list[Path]) -> None:
    plain = run("evaluate", season_path, design_paths[1], "--json")[1]
    text = design_paths[1].read_text()
    design_paths[1].write_text(text.replace("[[drivers]]", "leak_corner_hz = 20.0\n[[drivers]]"))
    leaky = run("evaluate", season_path, design_paths[1], "--json")[1]
    assert json.loads(leaky)[0]["score_db"] < json.loads(plain)[0]["score_db"] - 0.1
    design_paths[1].write_text(text.replace("[[drivers]]", "leak_corner_hz = -1\n[[drivers]]"))
    status, _, err = run("evaluate", season_path, design_paths[1])
    assert status == 2 and "leak_corner_hz" in err


def test_the_example_of_the_readme(run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its command prints the lines that stand there."""
    root = Path(__file__).parents[2]
    text = (root / "README.md").read_text(encoding="utf-8")
    command, *shown = text.partition("$ boxwright measured ")[2].partition("```")[0].strip().splitlines()
    monkeypatch.chdir(tmp_path)
    words = [root / word if word.startswith("configs/") else word for word in command.split()]
    status, out, _ = run("measured", *words)
    assert status == 0 and len(shown) > 8 and set(shown) <= {"", *out.splitlines()}
