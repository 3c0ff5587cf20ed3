"""The run folder: the contract's files, designs that read back to the same score, damage that is named."""

import csv
import json
import pickle
import shutil
from dataclasses import replace

import pytest

from models.score import Judge
from optimizer.design_file import read_design
from optimizer.faults import ConfigError, Fault
from optimizer.files import write_csv, write_json, write_text
from optimizer.run_designs import InternalError
from optimizer.run_folder import draw_run, read_run, write_run
from optimizer.searching import SeasonChanged
from optimizer.season import load_season

FILES = (
    "run.json",
    "candidates.csv",
    "candidates.json",
    "front.csv",
    "topologies.csv",
    "season.toml",
    "report.html",
)


def rows_of(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A run folder that is drawn once."""
    return tmp_path_factory.mktemp("drawn") / "run"


@pytest.fixture
def folder(drawn, tmp_path, season, result):
    """A copy of it for one test."""
    if not drawn.exists():
        draw_run(write_run(drawn, season, result))
    return shutil.copytree(drawn, tmp_path / "run")


def test_files_of_the_contract(folder, season, result) -> None:
    figures = [f"{stem}.{kind}" for stem in ("front", "topologies") for kind in ("png", "svg")]
    own = [
        f"candidates/{n:02d}/{name}"
        for n in (1, 2, 3)
        for name in ("design.toml", "tones.png", "response.svg")
    ]
    assert [name for name in (*FILES, *figures, *own) if not (folder / name).stat().st_size] == []
    assert not list(folder.rglob("*.part"))

    record = json.loads((folder / "run.json").read_text())
    assert record["config_hash"] == season.config_hash and record["seed"] == 1
    assert record["counts"]["evaluations"] == 3010 and record["times"]["seconds"]["search"] == 1.5
    assert record["versions"].keys() >= {"python", "numpy", "boxwright"}

    candidates = json.loads((folder / "candidates.json").read_text())
    needed = {"topology", "graph", "score_db", "role", "reasons", "limits", "prices"}
    assert all(candidate.keys() >= needed for candidate in candidates)
    assert [c["score_db"] for c in candidates] == sorted((c["score_db"] for c in candidates), reverse=True)
    assert candidates[0]["limits"][0]["space"] == "court"

    rows = rows_of(folder / "candidates.csv")
    assert [float(row["score_db"]) for row in rows] == [c["score_db"] for c in candidates]
    assert float(rows[0]["material_cm3"]) > 0.0
    assert (
        float(rows[0]["level_db 1 court 112 Hz"])
        == candidates[0]["evaluation"]["spaces"][0]["tones"][0]["level_db"]
    )

    topologies = rows_of(folder / "topologies.csv")
    assert topologies[-1]["best_db"] == "" and topologies[-1]["why_none"] == "nothing fits the envelope"
    assert len(topologies[0]["restart_scores_db"].split()) == 3
    assert [row["bound_db"] for row in topologies] == ["152.5"] * len(topologies)


def test_designs_read_back_to_their_scores(folder, season, result) -> None:
    judge = Judge(season.rules)
    again = load_season(folder / "season.toml")
    for candidate in result.candidates:
        path = folder / f"candidates/{candidate.rank:02d}/design.toml"
        for rules in (season.rules, again.rules):
            score = judge.scores(judge.respond(read_design(path, rules)))[0]
            assert score == pytest.approx(candidate.score_db, abs=1e-6)
        assert path.read_text().startswith(f"# candidate {candidate.rank}: {candidate.role}\n")
    for row in rows_of(folder / "front.csv") + rows_of(folder / "topologies.csv"):
        if row["design"]:
            read_design(folder / row["design"], season.rules)


def test_season_copy_is_the_same_season(folder, season) -> None:
    copy = load_season(folder / "season.toml")
    assert copy.config_hash == season.config_hash and copy.source == season.source


def test_response_agrees_with_the_evaluation_at_the_tones(folder, result) -> None:
    rows = rows_of(folder / "candidates/01/response.csv")
    for space in result.candidates[0].evaluation["spaces"]:
        for tone in space["tones"]:
            row = next(r for r in rows if r["space"] == space["name"] and float(r["hz"]) == tone["hz"])
            assert float(row["level_db"]) == pytest.approx(tone["level_db"], abs=1e-4)
            assert float(row["full_size_hz"]) == tone["hz"] / 4.0
            assert row["limit"] == tone["limit"]


def test_common_drive_is_kept_over_frequency(tmp_path, season, result) -> None:
    common = replace(season, rules=replace(season.rules, drive="common"))
    judge = Judge(common.rules)
    closed = next(c for c in result.candidates if c.graph == "oA")
    from optimizer.evaluation import evaluation

    moved = replace(closed, evaluation=evaluation(judge, closed.design)[0])
    write_run(tmp_path / "run", common, replace(result, candidates=(moved,)))
    drives = {
        row["drive_v_rms"] for row in rows_of(tmp_path / f"run/candidates/{closed.rank:02d}/response.csv")
    }
    assert len(drives) == 1


def test_a_score_that_does_not_read_back_is_an_internal_error(tmp_path, season, result) -> None:
    first = result.candidates[0]
    wrong = replace(first, evaluation=first.evaluation | {"score_db": first.score_db + 0.02})
    with pytest.raises(
        InternalError, match=f"candidate 1 .*{first.score_db + 0.02:.4f} dB, but {first.score_db:.4f}"
    ):
        write_run(tmp_path / "run", season, replace(result, candidates=(wrong,)))


def test_nothing_found(tmp_path, season, result) -> None:
    empty = replace(result, candidates=(), front=(), topologies=result.topologies[-1:], interrupted=True)
    run = write_run(tmp_path / "run", season, empty)
    draw_run(run)
    assert read_run(tmp_path / "run").candidates == []
    page = (tmp_path / "run/report.html").read_text()
    assert "No design that fits was found" in page and "stopped early" in page


def test_one_objective_has_no_trade_offs(tmp_path, season, result) -> None:
    run = write_run(
        tmp_path / "run", season, replace(result, objectives=("output",), candidates=result.candidates[:1])
    )
    draw_run(run)
    assert not (run.folder / "front.png").exists()
    assert "Trade-offs" not in (run.folder / "report.html").read_text()


def test_figures_are_the_same_bytes_again(folder) -> None:
    names = (
        "front.svg",
        "topologies.png",
        "candidates/01/tones.svg",
        "candidates/01/response.png",
        "report.html",
    )
    before = {name: (folder / name).read_bytes() for name in names}
    for name in names:
        (folder / name).unlink()
    draw_run(read_run(folder))
    assert {name: (folder / name).read_bytes() for name in names} == before


@pytest.mark.parametrize("name", ["run.json", "candidates.json", "front.csv", "topologies.csv"])
def test_a_missing_file_is_named(folder, name) -> None:
    (folder / name).unlink()
    with pytest.raises(ConfigError, match=rf"{name}:1: file: no such file"):
        read_run(folder)


def test_a_design_that_is_missing_is_named(run, folder) -> None:
    """Other processes draw most figures; what they find wrong comes out of them whole."""
    fault = Fault("design.toml", 3, "file", "no such file")
    for error in (ConfigError([fault]), SeasonChanged({"season.scale": (4.0, None)})):
        again = pickle.loads(pickle.dumps(error))
        assert vars(again) == vars(error) and str(again) == str(error)
    (folder / "candidates" / "02" / "design.toml").unlink()
    status, _, err = run("report", folder, "--quiet")
    assert status == 2 and "design.toml:1: file: no such file" in err and "Traceback" not in err


def test_a_damaged_file_is_named(folder) -> None:
    (folder / "candidates.json").write_text("[{")
    with pytest.raises(ConfigError, match=r"candidates.json:1: file: damaged"):
        read_run(folder)
    (folder / "candidates.json").write_text('[{"rank": 1}]')
    with pytest.raises(ConfigError, match=r"candidates.json:1: candidates\[0\].graph: missing"):
        read_run(folder)


@pytest.mark.parametrize("name", ["ceiling.json", "explore.json"])
def test_a_damaged_addition_is_named(folder, name) -> None:
    for text, words in (("[1]", "must hold a table"), ("{", "damaged")):
        (folder / name).write_text(text)
        with pytest.raises(ConfigError, match=f"{name}:1: file: {words}"):
            read_run(folder)
    (folder / name).write_text('{"prices": [1], "candidate": 1}')
    with pytest.raises(ConfigError, match="do not fit together"):
        report_of(folder)


def report_of(folder):
    """Draw the page alone, with the faults of drawing everything."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("optimizer.drawing.figure_makers", lambda _: iter(()))
        draw_run(read_run(folder))


def test_a_failed_write_leaves_the_old_file(tmp_path) -> None:
    path = tmp_path / "a.json"
    write_text(path, "old")
    with pytest.raises(ValueError):
        write_json(path, {"level": float("nan")})
    with pytest.raises(ValueError):
        write_csv(path, ["a"], [{"b": 1}])
    assert path.read_text() == "old" and list(tmp_path.iterdir()) == [path]
