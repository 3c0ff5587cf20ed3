"""The command line: results on standard output, faults as lines on standard error, exit status."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import optimizer.searching
from optimizer import cli
from optimizer.cli import parse_frequencies
from optimizer.run_folder import write_run

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture
def found(monkeypatch, result):
    """Replace the search by one that has found the result made by hand; returns what it was asked."""
    asked = []

    def instead(season, out, *, workers, progress, storage, study_name, finishing):
        assert out.is_dir()
        asked.append((season, workers))
        progress(1, 2, "half")
        return replace(result, candidates=result.candidates[:1], interrupted=instead.interrupted)

    instead.interrupted = False
    monkeypatch.setattr(optimizer.searching, "run_search", instead)
    return instead, asked


def test_check_says_what_the_season_says(run, season_path) -> None:
    status, out, err = run("check", season_path)
    assert (status, err) == (0, "")
    for words in (
        "Test league: scale 1:4", "fs 95 Hz, Qms 4, Qes 0.5, Qts 0.4444", "6.270 l inside",
        "court: half space at 1 m, weight 2", "excursion 3 mm peak", "oA/Ao  vented box",
    ):  # fmt: skip
        assert words in out
    rows = [line.split() for line in out.splitlines() if line.startswith("tone ")]
    assert [row[2:] for row in rows] == [["112", "28", "1"], ["160", "40", "1"], ["224", "56", "1"]]
    assert "warning" not in out


def test_check_warns(run, season_path) -> None:
    text = (
        season_path.read_text().replace("hz = 224.0", "hz = 1000.0").replace("weight = 2.0", "weight = 0.0")
    )
    season_path.write_text(text.replace("air_speed_m_s = 25.0", ""))
    out = run("check", season_path)[1]
    # first cross mode of 234 x 174 x 154 mm: c / (2 * 0.174 m), from the stated formula
    assert f"near or above {343.9869 / 0.348:.0f} Hz" in out
    assert "space 'court' has weight 0" in out and "air_speed_m_s is not set" in out


@pytest.mark.parametrize("name", ["demo", "half_space", "narrow_band"])
def test_check_accepts_every_season_that_ships(run, name) -> None:
    status, out, err = run("check", ROOT / "configs" / f"{name}.toml")
    assert (status, err) == (0, "") and "topologies:" in out


def test_all_faults_at_once(run, season_path) -> None:
    text = (
        season_path.read_text().replace("scale = 4", "scael = 4").replace("power_w = 12.0", 'power_w = "12"')
    )
    season_path.write_text(text)
    status, out, err = run("check", season_path)
    assert (status, out) == (2, "")
    first, second = err.splitlines()
    assert first.startswith(f"{season_path}:4: season.scael: unknown key; the nearest valid key is scale")
    line = text.splitlines().index('power_w = "12"') + 1
    assert second.startswith(f"{season_path}:{line}: limits.power_w: must be a number")


def test_evaluate_prints_the_contracts_list(run, season_path, design_paths) -> None:
    status, out, err = run("evaluate", season_path, *design_paths, "--json")
    assert (status, err) == (0, "")
    listing = json.loads(out)
    assert [one["graph"] for one in listing] == ["oA", "oA/Ao", "AB/Ao"]
    assert [one["design"] for one in listing] == [str(path) for path in design_paths]
    assert all(isinstance(one["score_db"], float) and one["fits"] is True for one in listing)


def test_evaluate_for_people_shows_the_same_numbers(run, season_path, design_paths) -> None:
    one = json.loads(run("evaluate", season_path, design_paths[1], "--json")[1])[0]
    out = run("evaluate", season_path, design_paths[1])[1]
    assert f"vented box (oA/Ao), score {one['score_db']:.2f} dB" in out and "fits the envelope" in out
    row = next(line.split() for line in out.splitlines() if line.startswith("112 "))
    tone = one["spaces"][0]["tones"][0]
    assert row[:4] == ["112", "28", f"{tone['level_db']:.2f}", f"{tone['drive_v_rms']:.3f}"]


def test_evaluate_with_drive_and_frequencies(run, season_path, design_paths) -> None:
    arguments = (
        "evaluate",
        season_path,
        design_paths[0],
        "--json",
        "--drive-v",
        "2.83",
        "--frequencies",
        "20:400:5",
    )
    tones = json.loads(run(*arguments)[1])[0]["spaces"][0]["tones"]
    assert [tone["hz"] for tone in tones] == pytest.approx([20.0 * 20.0 ** (i / 4) for i in range(5)])
    assert {tone["drive_v_rms"] for tone in tones} == {2.83}


def test_a_drive_beyond_a_limit_is_said_to_be(run, season_path, design_paths) -> None:
    """At 20 V the closed box passes its excursion or power; at 0.1 V nothing is passed."""
    out = run("evaluate", season_path, design_paths[0], "--drive-v", "20")[1]
    tone = json.loads(run("evaluate", season_path, design_paths[0], "--drive-v", "20", "--json")[1])
    first = tone[0]["spaces"][0]["tones"][0]
    over = -first["margins_db"][first["limit"]]
    assert over > 1.0 and f"{first['limit'].replace('_', ' ')}, passed by {over:.1f} dB" in out
    assert "passed" not in run("evaluate", season_path, design_paths[0], "--drive-v", "0.1")[1]
    assert "passed" not in run("evaluate", season_path, design_paths[0])[1]


def test_frequencies() -> None:
    assert parse_frequencies("50:50:1") == pytest.approx([50.0])
    assert np.diff(np.log(parse_frequencies("20:400:200"))) == pytest.approx(np.log(20.0) / 199)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (
            ["--frequencies", "20:400"],
            "--frequencies: must be START:STOP:COUNT such as 20:400:200, is '20:400'",
        ),
        (
            ["--frequencies", "a:b:c"],
            "--frequencies: must be START:STOP:COUNT such as 20:400:200, is 'a:b:c'",
        ),
        (["--frequencies", "20:400:3:4"], "--frequencies: must be START:STOP:COUNT"),
        (
            ["--frequencies", "400:20:9"],
            "--frequencies: start and stop must rise within 1 to 20000 Hz, are 400 and 20",
        ),
        (["--frequencies", "nan:20:9"], "--frequencies: start and stop must rise"),
        (["--frequencies", "20:400:0"], "--frequencies: count must be 2 to 100000, is 0"),
        (["--frequencies", "20:400:1"], "--frequencies: count must be 2 to 100000, is 1"),
        (["--drive-v", "-1"], "--drive-v: must be 1e-06 to 100000 V, is -1"),
        (["--drive-v", "nan"], "--drive-v: must be 1e-06 to 100000 V, is nan"),
        (["--drive-v", "much"], "--drive-v: must be a number, is 'much'"),
        (["--loud"], "--loud: No such option"),
    ],
)
def test_bad_options_are_lines(run, season_path, design_paths, arguments, line) -> None:
    status, out, err = run("evaluate", season_path, design_paths[0], *arguments)
    assert (status, out) == (2, "")
    assert err.startswith(f"command line:1: {line}") and err.count("\n") == 1


def test_faults_of_all_designs_at_once(run, season_path, design_paths, tmp_path) -> None:
    design_paths[0].write_text(design_paths[0].read_text().replace("sides_mm", "size_mm"))
    status, out, err = run("evaluate", season_path, *design_paths, tmp_path / "none.toml", tmp_path)
    assert (status, out) == (2, "")
    assert f"{design_paths[0]}:4: " in err
    assert (
        f"{tmp_path / 'none.toml'}:1: file: no such file" in err
        and f"{tmp_path}:1: file: is a directory" in err
    )


def test_no_such_command_and_no_command(run) -> None:
    assert run("floor")[::2] == (2, "command line:1: boxwright: No such command 'floor'.\n")
    status, out, err = run()
    assert (status, out) == (2, "") and "Usage: boxwright" in err
    names = "build ceiling check derive evaluate inspect measured play report scale search spread sweep"
    assert sorted(cli.cli.commands) == [*names.split(), "verify"]


def test_search_writes_the_folder(run, found, season_path, tmp_path, result) -> None:
    out_folder = tmp_path / "deep" / "run"
    arguments = ("--workers", "3", "--seed", "9", "--effort", "quick")
    status, out, err = run("search", season_path, "--out", out_folder, *arguments)
    assert status == 0 and "Traceback" not in err
    ((season, workers),) = found[1]
    assert (season.search.seed, season.search.effort, workers) == (9, "quick", 3)
    assert json.loads((out_folder / "run.json").read_text())["seed"] == 9
    assert (out_folder / "report.html").is_file()
    best = result.candidates[0]
    assert f"The best is candidate 1: vented box (graph oA/Ao), {best.score_db:.2f} dB (" in out
    assert f"`boxwright build {out_folder} --candidate 1`" in out


def test_search_prints_json(run, found, season_path, tmp_path) -> None:
    status, out, _ = run("search", season_path, "--out", tmp_path / "run", "--json")
    content = json.loads(out)
    assert status == 0 and content["candidates"] == json.loads((tmp_path / "run/candidates.json").read_text())


def test_search_numbers_its_folders(run, found, season_path, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    for _ in range(2):
        assert run("search", season_path)[0] == 0
    assert sorted(path.name for path in Path("runs").iterdir()) == ["league-1", "league-2"]


def test_search_never_overwrites(run, found, season_path, tmp_path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    (folder / "mine.txt").write_text("mine")
    status, _, err = run("search", season_path, "--out", folder)
    assert status == 2 and err == f"command line:1: --out: {folder} is not empty; nothing was written\n"
    assert [path.name for path in folder.iterdir()] == ["mine.txt"] and found[1] == []


def test_search_refuses_what_cannot_be_written(run, found, season_path, tmp_path) -> None:
    (tmp_path / "file").write_text("")
    for out in (tmp_path / "file", tmp_path / "file" / "run"):
        status, _, err = run("search", season_path, "--out", out)
        assert status == 2 and err.startswith("command line:1: --out: ") and err.count("\n") == 1
    for option, value in (("--workers", "0"), ("--seed", "-1"), ("--effort", "some")):
        status, _, err = run("search", season_path, "--out", tmp_path / "run", option, value)
        assert status == 2 and err.startswith(f"command line:1: {option}: ")
    assert found[1] == [] and not (tmp_path / "run").exists()


def test_search_refuses_an_unknown_back_end(run, found, season_path, tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("BOXWRIGHT_BACKEND", "abacus")
    status, out, err = run("search", season_path, "--out", tmp_path / "run")
    assert (status, out) == (2, "")
    assert err.startswith(
        "command line:1: BOXWRIGHT_BACKEND: back end 'abacus' is not one of compiled, numpy"
    )
    assert not (tmp_path / "run").exists()


def test_interrupt_keeps_what_was_found(run, found, season_path, tmp_path) -> None:
    found[0].interrupted = True
    status, out, err = run("search", season_path, "--out", tmp_path / "run")
    assert status == 130 and "interrupted: the folder holds what was found" in err
    assert "stopped early" in (tmp_path / "run/report.html").read_text()
    assert "The search was stopped early: go on with `boxwright search" in out and "--resume`" in out


def test_a_season_that_no_box_fits(run, season_path, tmp_path) -> None:
    """No inner wall is as wide as the driver's frame: a folder that says so, and status 1."""
    text = season_path.read_text(encoding="utf-8")
    for size, small in (("width_mm = 240.0", 72.0), ("height_mm = 180.0", 72.0), ("depth_mm = 160.0", 48.0)):
        text = text.replace(size, f"{size.partition(' ')[0]} = {small}")
    season_path.write_text(text + 'topologies = ["AB/AB.Ao"]\neffort = "quick"\n', encoding="utf-8")
    folder = tmp_path / "none"
    status, out, err = run("search", season_path, "--out", folder, "--workers", 1)
    assert status == 1 and out.startswith("No design that fits was found") and "Traceback" not in err
    assert "the driver's frame is wider than its wall" in (folder / "topologies.csv").read_text()
    assert "found no design that fits" in (folder / "report.html").read_text(encoding="utf-8")
    assert run("report", folder)[0] == 0


def test_an_internal_error_names_the_candidate(
    run, found, season_path, tmp_path, monkeypatch, result
) -> None:
    first = result.candidates[0]
    wrong = replace(first, evaluation=first.evaluation | {"score_db": 0.0})
    instead = replace(result, candidates=(wrong,))
    monkeypatch.setattr(optimizer.searching, "run_search", lambda *_, **__: instead)
    status, _, err = run("search", season_path, "--out", tmp_path / "run")
    assert status == 1 and "internal error: candidate 1 (vented box" in err and "Traceback" not in err


def test_report_draws_again(run, season, result, tmp_path) -> None:
    write_run(tmp_path / "run", season, result)
    status, out, _ = run("report", tmp_path / "run")
    assert (status, out) == (0, f"{tmp_path / 'run' / 'report.html'}\n")
    assert (tmp_path / "run/front.png").is_file()
    status, out, err = run("report", tmp_path / "none")
    assert (status, out) == (2, "") and err.startswith(
        f"{tmp_path / 'none' / 'run.json'}:1: file: no such file"
    )


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from optimizer.cli import main\n"
        "try: main(['--help'])\n"
        "finally: print(sorted({'numpy', 'scipy', 'optuna', 'matplotlib', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "Commands:" in done.stdout and done.stdout.endswith("[]\n")


@pytest.mark.skipif(os.name != "posix", reason="sends a signal as a terminal would")
def test_ctrl_c_of_a_real_search(season_path, tmp_path) -> None:
    """The first interrupt stops the search; folder and report hold what was found, the status is 130."""
    text = season_path.read_text().replace("[search]", '[search]\neffort = "thorough"\ntopologies = "named"')
    season_path.write_text(text)
    folder = tmp_path / "run"
    command = [
        sys.executable,
        "-m",
        "optimizer.cli",
        "search",
        str(season_path),
        "--out",
        str(folder),
        "--workers",
        "1",
    ]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        deadline = time.monotonic() + 120.0
        while (
            not (folder / "study.journal").exists() and time.monotonic() < deadline and process.poll() is None
        ):
            time.sleep(0.05)
        time.sleep(1.0)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=240.0)
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 130, err
    assert "Traceback" not in err and "interrupted" in err
    assert json.loads((folder / "run.json").read_text())["interrupted"] is True
    assert (folder / "report.html").is_file()
