"""Whatever is wrong with files, folders or numbers: a line or two, and status 2."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from optimizer.run_folder import write_run

ROOT = Path(__file__).parent.parent.parent
COMMANDS = {
    "check": ["check", "FILE"],
    "evaluate, season": ["evaluate", "FILE", "DESIGN"],
    "evaluate, design": ["evaluate", "SEASON", "FILE"],
    "search": ["search", "FILE", "--out", "NEW"],
    "ceiling": ["ceiling", "FILE"],
    "ceiling, run": ["ceiling", "SEASON", "--run", "FILE"],
    "build": ["build", "FILE"],
    "verify": ["verify", "FILE", "--candidate", "1"],
    "report": ["report", "FILE"],
    "inspect": ["inspect", "FILE", "--config", "SEASON"],
    "scale": ["scale", "FILE", "DESIGN"],
    "scale, design": ["scale", "SEASON", "FILE"],
    "spread": ["spread", "FILE"],
    "spread, season": ["spread", "FILE", "DESIGN"],
    "spread, design": ["spread", "SEASON", "FILE"],
    "sweep": ["sweep", "FILE", "--vary", "limits.power_w=5:10:2", "--out", "NEW"],
    "derive": ["derive", "FILE", "FILE", "--sd-cm2", "21", "--added-mass-g", "5"],
    "measured": ["measured", "FILE", "DESIGN", "CSV"],
    "measured, design": ["measured", "SEASON", "FILE", "CSV"],
    "measured, sweep": ["measured", "SEASON", "DESIGN", "FILE"],
    "play": ["play", "FILE", "DESIGN", "WAV"],
    "play, design": ["play", "SEASON", "FILE", "WAV"],
    "play, track": ["play", "SEASON", "DESIGN", "FILE"],
    "inspect, season": ["inspect", "DESIGN", "--config", "FILE"],
}
FILES = {"binary": b"\xff\xfe\x00\x01" * 40, "empty": b"", "folder": None, "none": None}


@pytest.fixture(scope="module")
def drawn(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("run") / "run"


@pytest.fixture
def folder(drawn, tmp_path, season, result) -> Path:
    """A written run folder that a test may damage."""
    import shutil

    if not drawn.exists():
        write_run(drawn, season, result)
    return shutil.copytree(drawn, tmp_path / "run")


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("name", COMMANDS)
def test_files_that_are_none(run, tmp_path, monkeypatch, season_path, design_paths, name, kind) -> None:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / kind
    if FILES[kind] is not None:
        path.write_bytes(FILES[kind])
    elif kind == "folder":
        path.mkdir()
    names = {"FILE": path, "SEASON": season_path, "DESIGN": design_paths[0], "NEW": tmp_path / "new"}
    for other in ("CSV", "WAV"):
        names[other] = tmp_path / other
        names[other].write_text("hz,ohm,deg\n" + "".join(f"{20 + 5 * i},{4 + i % 7},0\n" for i in range(60)))
    status, out, err = run(*(names.get(word, word) for word in COMMANDS[name]))
    assert (status, out) == (2, "")
    lines = err.strip().splitlines()
    assert 1 <= len(lines) <= 6 and all(str(path) in line and ": " in line for line in lines)
    assert "Errno" not in err and "Error(" not in err and not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["search", "SEASON", "--workers", "1000000000"], "--workers: must be 1 to 1000, is 1000000000"),
        (["search", "SEASON", "--workers", "nan"], "--workers: must be a whole number, is 'nan'"),
        (["search", "SEASON", "--seed", "-1"], "--seed: must be 0 to 2**63 - 1, is -1"),
        (["search", "SEASON", "--storage", " "], "--storage: is empty; give a database URL"),
        (["spread", "RUN", "--seed", "x"], "--seed: 'x' is not a whole number."),
        (["scale", "SEASON", "DESIGN", "--power-w", "x"], "--power-w: 'x' is not a number."),
        (
            ["derive", "A", "B", "--sd-cm2", "21", "--added-mass-g", "2", "--temperature-c", "nan"],
            "--temperature-c: must be -10 to 50, is nan",
        ),
        (["ceiling", "SEASON", "--workers", "0"], "--workers: must be 1 to 1000, is 0"),
        (["build", "RUN", "--candidate", "0"], "--candidate: must be 1 to 1000000, is 0"),
        (["build", "RUN", "--seed", "1e3"], "--seed: must be a whole number, is '1e3'"),
        (["verify", "RUN"], "--candidate: missing; see boxwright verify --help"),
        (["evaluate", "SEASON"], "DESIGN...: missing; see boxwright evaluate --help"),
        (["evaluate", "SEASON", "DESIGN", "--drive-v", "inf"], "--drive-v: must be 1e-06 to 100000 V"),
    ],
)
def test_numbers_that_are_none(run, season_path, folder, design_paths, arguments, words) -> None:
    names = {"SEASON": season_path, "RUN": folder, "DESIGN": design_paths[0]}
    status, out, err = run(*(names.get(word, word) for word in arguments))
    assert (status, out) == (2, "") and err.startswith(f"command line:1: {words}") and err.count("\n") == 1


def changed(content, path, value):
    """Content with the value at a path replaced, or left out where it is an Ellipsis."""
    inner = content
    for key in path[:-1]:
        inner = inner[key]
    if value is ...:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return content


TONE = (0, "evaluation", "spaces", 1, "tones", 2)


@pytest.mark.parametrize(
    ("file", "path", "value", "words"),
    [
        ("run.json", ("scale",), 0, "scale: must be above 0, is 0"),
        ("run.json", ("scale",), float("nan"), "scale: must be a finite number, is nan"),
        ("run.json", ("objectives",), ["loudness"], "objectives[0]: is 'loudness', which is no objective"),
        ("run.json", ("source", "tones"), [], "source.tones: must hold at least 1 values, holds 0"),
        ("run.json", ("counts",), ..., "counts: missing"),
        ("candidates.json", (0, "rank"), "1", 'candidates[0].rank: must be a whole number, is "1"'),
        ("candidates.json", (1, "graph"), "zz", "candidates[1].graph: "),
        ("candidates.json", (0, "reasons", 0), {}, "candidates[0].reasons[0]: must be text in quotes, is {}"),
        ("candidates.json", (0, "objectives", "material_cm3"), ..., "objectives.material_cm3: missing"),
        ("candidates.json", (*TONE, "limit"), "noise", 'tones[2].limit: is "noise"; must be one of'),
        ("candidates.json", (*TONE, "level_db"), "loud", 'tones[2].level_db: must be a number, is "loud"'),
        ("candidates.json", (0, "design"), "../../elsewhere/design.toml", "candidates[0].design: "),
    ],
)
@pytest.mark.parametrize("command", ["report", "build"])
def test_damaged_json_of_a_run(run, folder, command, file, path, value, words) -> None:
    content = json.loads((folder / file).read_text())
    (folder / file).write_text(json.dumps(changed(content, path, value)))
    status, out, err = run(command, folder)
    assert (status, out) == (2, "") and err.startswith(f"{folder / file}:1: ") and words in err


@pytest.mark.parametrize(
    ("file", "damage", "words"),
    [
        ("front.csv", lambda t: t[: len(t) - 60], "front.csv:4: row: has not as many cells as"),
        ("front.csv", lambda t: t.replace("output_db", "loud_db"), "front.csv:1: output_db: the column is"),
        ("topologies.csv", lambda t: t.replace("oA/Ao,", "oA/Ao,x"), "best_db: must be a number, is 'x9"),
        ("topologies.csv", lambda t: t.replace("9", "\udcff"), "topologies.csv:1: file: damaged"),
        ("candidates/01/response.csv", lambda t: "", "response.csv:1: file: holds no curves"),
        ("candidates/01/response.csv", lambda t: t.replace(",", ";"), "response.csv:1: space: the column is"),
        ("candidates/01/response.csv", lambda t: t.replace("court,", "court,x"), " more faults"),
    ],
)
def test_damaged_tables_of_a_run(run, folder, file, damage, words) -> None:
    text = (folder / file).read_text()
    (folder / file).write_bytes(damage(text).encode("utf-8", "surrogateescape"))
    status, out, err = run("report", folder, "--quiet")
    assert (status, out) == (2, "") and words in err and err.count("\n") <= 12


def test_folders_that_cannot_be_written(run, folder, season_path, tmp_path, monkeypatch) -> None:
    parts = folder / "candidates/01/parts"
    parts.write_text("a file where a folder should be")
    status, _, err = run("verify", folder, "--candidate", "1")
    assert status == 2 and err == f"{parts / 'plan.json'}:1: plan: cannot be read: Not a directory\n"
    storage = parts / "x.journal"
    status, _, err = run("search", season_path, "-q", "--out", tmp_path / "new", "--storage", storage)
    words = f"cannot open '{storage}': there is no folder {parts}"
    assert status == 2 and err == f"command line:1: --storage: {words}\n"
    monkeypatch.setattr("optimizer.drawing.figure_makers", lambda _: iter(()))
    (folder / "report.html").mkdir()
    monkeypatch.setattr("optimizer.report.report_page", lambda *_: "")
    status, _, err = run("report", folder, "-q")
    words = f"command line:1: RUN: cannot write to {folder / 'report.html'}: Is a directory\n"
    assert (status, err) == (2, words)


def test_a_journal_that_is_none(run, season_path, tmp_path) -> None:
    (tmp_path / "binary").write_bytes(FILES["binary"])
    status, _, err = run(
        "search", season_path, "--quiet", "--out", tmp_path / "new", "--storage", tmp_path / "binary"
    )
    words = "binary': it holds something else than the journal of a search; it was left as it is\n"
    assert status == 2 and err.endswith(words)
    assert (tmp_path / "binary").read_bytes() == FILES["binary"]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a full device")
def test_a_full_disk(season_path) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "optimizer.cli", "check", season_path],
            cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
    assert (done.returncode, done.stderr) == (2, "standard output: No space left on device\n")
