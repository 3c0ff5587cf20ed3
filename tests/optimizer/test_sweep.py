"""Sweeps: the real command on a tiny season, killed, gone on with, sharded, merged and on a cluster."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from optimizer.season import load_season
from optimizer.sweep_points import LOCK, POINT
from tests.optimizer.conftest import SEASON

TINY = re.sub(r"\[\[tones\]\]\nhz = (?!112).*\n", "", SEASON).replace(', "evenness", "material"', "")
SEARCH = 'topologies = ["oA"]\ncandidates = 1\neffort = "quick"\n'
VARY = ("--vary", "limits.power_w=0.1,0.2,30")


def write_season(folder: Path) -> Path:
    """A season of one tone and closed boxes only."""
    path = folder / "league.toml"
    path.write_text(TINY + SEARCH, encoding="utf-8")
    return path


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "optimizer.cli", "sweep", *map(str, arguments)]


def rows(out: Path) -> list[dict]:
    """Rows of a sweep without the time they took."""
    found = json.loads((out / "sweep.json").read_text(encoding="utf-8"))["rows"]
    return [{key: value for key, value in row.items() if key != "seconds"} for row in found]


def searchers(out: Path) -> list[int]:
    """Processes that have claimed tasks of any point."""
    texts = [path.read_text(encoding="utf-8") for path in out.glob("points/*/study.journal")]
    return [int(found) for text in texts for found in re.findall(r'"process": *(\d+)', text)]


def wait_for(condition, running: subprocess.Popen) -> None:
    while not condition():
        assert running.poll() is None
        time.sleep(0.02)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An undisturbed sweep in one process."""
    folder = tmp_path_factory.mktemp("whole")
    arguments = command(write_season(folder), *VARY, "--out", folder / "out", "--workers", 1)
    done = subprocess.run(arguments, capture_output=True, text=True, timeout=600, check=False)
    assert done.returncode == 0, done.stderr
    assert "limits.power_w: the best score goes from " in done.stdout
    return folder / "out"


def test_rows_and_files(whole: Path) -> None:
    """Rows hold the swept values and what the run folders say; power stops binding on the way."""
    found = rows(whole)
    assert [row["values"] for row in found] == [{"limits.power_w": power} for power in (0.1, 0.2, 30)]
    for row in found:
        folder = whole / row["run"]
        candidate = json.loads((folder / "candidates.json").read_text())[0]
        assert row["score_db"] == candidate["score_db"] and candidate["plan"]["score_db"] is None
        assert row["best_db"] == row["closed_db"] == pytest.approx(candidate["plan"]["network_db"], abs=1e-9)
        assert load_season(folder / "season.toml").config_hash == row["config_hash"]
        assert load_season(folder / "season.toml").rules.limits.power == row["values"]["limits.power_w"]
    assert [row["shares"] for row in found] == [{"power": 1.0}, {"power": 1.0}, {"excursion": 1.0}]
    # while power alone binds, twice the power gives 10 lg 2 = 3.01 dB (computed from that formula)
    assert found[1]["best_db"] - found[0]["best_db"] == pytest.approx(3.01, abs=0.05)
    sentences = " ".join(json.loads((whole / "sweep.json").read_text())["sentences"])
    assert "The power limit stops tones up to 0.2 W and none from 30 W on" in sentences
    header, first = (whole / "sweep.csv").read_text(encoding="utf-8").splitlines()[:2]
    assert header.startswith("limits.power_w,status,problem,best_db,") and first.startswith("0.1,done,,")
    for name in ("score.png", "score.svg", "binding.png", "binding.svg", "sweep.html"):
        assert (whole / name).stat().st_size > 1000


def test_killed_sweep_goes_on(whole: Path, tmp_path: Path, run) -> None:
    """A worker is killed, then the whole command; going on ends as undisturbed, by other processes."""
    arguments = [write_season(tmp_path), *VARY, "--out", tmp_path / "out"]
    with subprocess.Popen(command(*arguments, "--workers", 2), stderr=subprocess.DEVNULL) as running:
        wait_for(lambda: searchers(tmp_path / "out"), running)
        first = searchers(tmp_path / "out")[0]
        assert first != running.pid
        os.kill(first, signal.SIGKILL)
        wait_for(lambda: len(list(tmp_path.glob(f"out/points/*/{POINT}"))) > 0, running)
        running.send_signal(signal.SIGKILL)
    kept = {path: path.stat().st_mtime_ns for path in tmp_path.glob(f"out/points/*/{POINT}")}
    assert len(kept) < 3
    assert not (tmp_path / "out" / "sweep.json").exists()
    status, _, errors = run("sweep", *arguments, "--workers", 1, "--resume")
    assert status == 0, errors
    assert rows(tmp_path / "out") == rows(whole)
    assert {path: path.stat().st_mtime_ns for path in kept} == kept


def test_interrupted_sweep_keeps_its_points(whole: Path, tmp_path: Path) -> None:
    """Ctrl-C writes the table of what is finished."""
    out = tmp_path / "out"
    for row in rows(whole)[:2]:
        shutil.copytree(whole / row["run"], out / row["run"])
    shutil.copy(whole / "plan.json", out)
    more = (VARY[0], f"{VARY[1]},31,32,33,34,35,36")  # enough for the signal to come before the last one
    arguments = [write_season(tmp_path), *more, "--out", out, "--workers", 1, "--resume"]
    with subprocess.Popen(command(*arguments), stderr=subprocess.PIPE, stdout=subprocess.PIPE) as running:
        wait_for(lambda: (out / rows(whole)[2]["run"] / "study.journal").exists(), running)
        running.send_signal(signal.SIGINT)
        printed, errors = running.communicate(timeout=600)
    assert running.returncode == 130, errors
    assert b"Traceback" not in errors
    states = [row["status"] for row in rows(out)]
    missing = states.count("not run")
    assert missing > 0 and states == ["done"] * (9 - missing) + ["not run"] * missing
    assert f"{missing} of 9 points are missing: {missing} not run.".encode() in printed


def test_shards_make_the_whole(whole: Path, tmp_path: Path, run) -> None:
    """Two parts, one of them on a cluster that loses a worker, merge to the same table."""
    pytest.importorskip("distributed", reason="dask[distributed] is not installed")
    config, parts = write_season(tmp_path), [tmp_path / "one", tmp_path / "two"]
    arguments = [config, *VARY, "--shard", "2/2", "--out", parts[1], "--backend", "dask", "--workers", 1]
    with subprocess.Popen(command(*arguments), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as running:
        wait_for(lambda: searchers(parts[1]), running)
        killed = searchers(parts[1])[0]
        assert killed != running.pid
        os.kill(killed, signal.SIGKILL)
        _, errors = running.communicate(timeout=600)
    assert running.returncode == 0, errors
    assert set(searchers(parts[1])) - {killed}  # another worker has taken over
    done = {row["run"] for row in rows(parts[1]) if row["status"] == "done"}
    assert len(done) == 1
    for row in rows(whole):  # all of the other part but one was done before
        if row["run"] not in done and row["values"]["limits.power_w"] != 30:
            shutil.copytree(whole / row["run"], parts[0] / row["run"])
    shutil.copy(whole / "plan.json", parts[0])
    status, _, errors = run("sweep", config, *VARY, "--shard", "1/2", "--out", parts[0], "--workers", 1)
    assert status == 0, errors
    assert [row["status"] == "done" for row in rows(parts[0])] == [
        row["run"] not in done for row in rows(whole)
    ]
    status, printed, errors = run("sweep", "--merge", *parts, "--out", tmp_path / "out", "--json")
    assert status == 0, errors
    assert rows(tmp_path / "out") == rows(whole)
    assert json.loads(printed) == json.loads((tmp_path / "out" / "sweep.json").read_text())


def test_sweep_of_another_season_is_refused(whole: Path, tmp_path: Path, run) -> None:
    out = tmp_path / "out"
    shutil.copytree(whole, out)
    config = write_season(tmp_path)
    config.write_text(config.read_text().replace("excursion_mm = 3.0", "excursion_mm = 2.5"))
    status, _, errors = run("sweep", config, *VARY, "--out", out, "--resume")
    assert status == 2
    assert "--resume" in errors and "limits.excursion_mm was 3.0 and is 2.5" in errors
    assert rows(out) == rows(whole)


def test_a_point_in_work_elsewhere_is_left_alone(whole: Path, tmp_path: Path, monkeypatch) -> None:
    """Two commands never write one run folder at the same time."""
    import fcntl

    from optimizer import sweep_points

    monkeypatch.setattr(sweep_points, "LOCK_SECONDS", 0.0)
    season = load_season(write_season(tmp_path))
    folder = tmp_path / "point"
    folder.mkdir()
    with (folder / LOCK).open("ab") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        assert sweep_points.run_point(season.source, "league.toml", folder, apart=False) == ("elsewhere", "")
    assert [path.name for path in folder.iterdir()] == [LOCK]


def test_a_point_that_fails_leaves_the_others(tmp_path: Path, monkeypatch) -> None:
    from optimizer import sweep_points

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("no luck")

    monkeypatch.setattr(sweep_points, "run_search", broken)
    season = load_season(write_season(tmp_path))
    told = sweep_points.run_point(season.source, "league.toml", tmp_path / "point", apart=False)
    assert told == ("failed", "RuntimeError: no luck")
    assert "no luck" in (tmp_path / "point" / "error.txt").read_text()
    assert sweep_points.finished(tmp_path / "point") is None
