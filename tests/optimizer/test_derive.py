"""The command ``derive``: from two files to a driver that a season reads."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from optimizer.season import load_season
from tests.optimizer.conftest import SEASON
from tests.sweeps import clean_sweeps, known_driver, noisy, setup_of, write_sweep

DRIVER = known_driver(le_mh=0.15)


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path, Path]:
    """Sweeps in free air, with 2 g on the cone, and in 1.2 l, with half a percent of noise."""
    rng = np.random.default_rng(4)
    free, mass = clean_sweeps(DRIVER, setup_of(DRIVER, added_mass=2e-3))
    box = clean_sweeps(DRIVER, setup_of(DRIVER, box_volume=1.2e-3))[1]
    return (
        write_sweep(tmp_path / "free.csv", noisy(free, rng, relative=0.005)),
        write_sweep(tmp_path / "mass.csv", noisy(mass, rng, relative=0.005), "cartesian"),
        write_sweep(tmp_path / "box.csv", noisy(box, rng, relative=0.005)),
    )


@pytest.mark.parametrize(("which", "option"), [(1, ("--added-mass-g", 2)), (2, ("--box-l", 1.2))])
def test_driver_file_fits_a_season(
    run, files: tuple[Path, ...], tmp_path: Path, which: int, option: tuple[str, float]
) -> None:
    folder = tmp_path / "found"
    status, out, err = run("derive", files[0], files[which], "--sd-cm2", 21, *option, "--out", folder)
    assert (status, err) == (0, "")
    assert sorted(p.name for p in folder.iterdir()) == ["driver.toml", "fit.json", "fit.png", "fit.svg"]
    record = json.loads((folder / "fit.json").read_text())
    rows = {row["quantity"]: row for row in record["values"]}
    for name, true in (("fs", 95.0), ("qms", 4.0), ("qes", 0.5), ("vas", 0.9), ("re", 3.4), ("le", 0.15)):
        value, sigma = rows[name]["value"], rows[name]["standard_uncertainty"]
        assert abs(value - true) < 4.0 * sigma < 0.05 * true, name
    assert "fs Hz" in out and "standard uncertainty" in out and "caution" not in out
    begin, _, rest = SEASON.partition("[driver]\n")
    season = tmp_path / "season.toml"
    season.write_text(begin + '[driver]\nfile = "found/driver.toml"\n' + rest[rest.index("[envelope]") :])
    read = load_season(season).rules.driver
    assert (read.fs, read.qes, read.area) == pytest.approx((rows["fs"]["value"], rows["qes"]["value"], 21e-4))


def test_json_and_range(run, files: tuple[Path, ...], tmp_path: Path) -> None:
    arguments = ("derive", *files[:2], "--sd-cm2", 21, "--added-mass-g", 2, "--json", "--range", "30:900")
    status, out, _ = run(*arguments, "--out", tmp_path / "o")
    record = json.loads(out)
    assert status == 0 and record["range_hz"][0][0] > 30.0 and record["range_hz"][1][1] < 900.0
    assert record["coil"] == "inductance" and record["added_mass_g"] == 2.0


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        ((), "--added-mass-g: give either --added-mass-g or --box-l"),
        (("--added-mass-g", 2, "--box-l", 1), "--added-mass-g: give either"),
        (("--added-mass-g", -2), "--added-mass-g: must be above 0"),
        (("--added-mass-g", "nan"), "--added-mass-g: must be above 0"),
        (("--box-l", 2), "mass.csv:1: impedance: a closed box raises the resonance, but it is at"),
        (("--added-mass-g", 2, "--range", "9:1"), "--range: must rise"),
        (("--added-mass-g", 2, "--range", "5"), "--range: must be LOW:HIGH"),
        (("--added-mass-g", 2, "--range", "500:900"), "free.csv:1: impedance: no resonance between 51"),
        (("--added-mass-g", 2, "--range", "5000:9000"), "free.csv:1: impedance: 0 points from 5000 to 9000"),
        (("--added-mass-g", 2, "--columns", "hz,volt"), "--columns: 'volt' is none of"),
        (("--added-mass-g", 2, "--name", " "), "--name: must be a line of text"),
    ],
)  # fmt: skip
def test_faults_leave_nothing_behind(
    run, files: tuple[Path, ...], tmp_path: Path, options: tuple[object, ...], fault: str
) -> None:
    folder = tmp_path / "none"
    status, out, err = run("derive", *files[:2], "--sd-cm2", 21, *options, "--out", folder)
    assert (status, out) == (2, "") and fault in err and "Traceback" not in err
    assert not folder.exists()


def test_a_full_folder_is_refused(run, files: tuple[Path, ...], tmp_path: Path) -> None:
    status, _, err = run("derive", *files[:2], "--sd-cm2", 21, "--added-mass-g", 2, "--out", tmp_path)
    assert status == 2 and "is not empty; nothing was written" in err


def test_the_example_of_the_readme(run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its command prints the lines that stand there."""
    root = Path(__file__).parents[2]
    text = (root / "README.md").read_text(encoding="utf-8")
    block = text.partition("$ boxwright derive ")[2].partition("```")[0]
    command, *shown = block.strip().splitlines()
    monkeypatch.chdir(tmp_path)
    arguments = [root / word if word.startswith("configs/") else word for word in command.split()]
    status, out, _ = run("derive", *arguments)
    assert status == 0 and len(shown) > 5 and set(shown) <= set(out.splitlines())
    assert (tmp_path / "found" / "driver.toml").is_file()
