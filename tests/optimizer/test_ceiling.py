"""The ceiling of a small season: its ladder, its schema, and the command with good and bad input."""

import json
from dataclasses import replace

import pytest

from optimizer import cli_ceiling
from optimizer.ceiling import ceiling
from optimizer.ceiling_output import ceiling_text
from optimizer.known import known_of_result, known_of_run
from optimizer.run_folder import write_run
from optimizer.searching import run_search
from optimizer.season import load_season
from tests.optimizer.conftest import SEASON

SMALL = SEASON + 'topologies = ["closed box", "vented box"]\neffort = "quick"\n'
RUNG_KEYS = {"name", "value_db", "kind", "how", "void_if", "gap_db", "above_best_db"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A finished run of a small season, with the season's file beside it."""
    place = tmp_path_factory.mktemp("ceiling")
    path = place / "league.toml"
    path.write_text(SMALL, encoding="utf-8")
    season = load_season(path)
    out = place / "run"
    out.mkdir()
    write_run(out, season, run_search(season, out))
    return place


@pytest.fixture(scope="module")
def found(folder):
    """Its ceiling."""
    season = load_season(folder / "league.toml")
    return ceiling(season, known_of_run(folder / "run", season))


def test_schema(found) -> None:
    plain = json.loads(json.dumps(found, allow_nan=False))
    assert set(plain) >= {"best_found_db", "par", "rungs", "topologies", "prices", "never_bind", "takeovers"}
    assert set(plain["par"]) == {"closed box", "vented box"}
    for rung in plain["rungs"]:
        assert set(rung) == RUNG_KEYS
        assert rung["kind"] in ("bound", "evidence")
        assert rung["void_if"] and rung["how"]
        assert rung["above_best_db"] == pytest.approx(rung["value_db"] - plain["best_found_db"])
    for row in plain["topologies"]:
        assert {"topology", "graph", "best_db", "bound_db"} <= set(row)
    for price in plain["prices"]:
        assert {"rule", "db_per_unit", "unit", "verified"} <= set(price)
        assert price["verified"] is True


def test_the_ladder_rises(found) -> None:
    value = {rung["name"]: rung["value_db"] for rung in found["rungs"]}
    best = found["best_found_db"]
    assert value["best found"] == best == max(row["best_db"] for row in found["topologies"])
    assert best <= value["every pair of tones with its own box"] <= value["every tone with its own box"]
    for name, level in value.items():
        if name.startswith(("without", "envelope", "certified: any vented")):
            assert level >= best - 1e-6, name
    assert value["certified: any closed box"] >= found["par"]["closed box"] - 0.05  # losses are small here


def test_rules_that_never_bind_are_named(found) -> None:
    """A driver of 3.4 ohm at 12 W meets neither 30 V nor 6 A."""
    assert {"limits.amplifier_v", "limits.amplifier_a"} <= set(found["never_bind"])
    assert "limits.excursion_mm" not in found["never_bind"]
    assert found["dearest"][0]["rule"] in ("limits.excursion_mm", "limits.power_w")


def test_takeovers_are_real(found) -> None:
    for takeover in found["takeovers"]:
        assert takeover["other_db"] > takeover["best_db"]
        assert takeover["to"] != takeover["from"]


def test_a_season_of_energies_gives_every_space_its_own_box(folder) -> None:
    season = load_season(folder / "league.toml")
    known = known_of_run(folder / "run", season)
    energies = replace(season, rules=replace(season.rules, mean="energy"))
    rungs = {r["name"]: r for r in ceiling(energies, known)["rungs"]}
    assert "mean of 6 best boxes" in rungs["every tone with its own box"]["how"]
    assert rungs["every tone with its own box"]["above_best_db"] >= -1e-6


def test_command_prints_text_and_json(run, folder, found) -> None:
    config, out = folder / "league.toml", folder / "run"
    status, text, err = run("ceiling", config, "--run", out, "--effort", "quick")
    assert status == 0 and "Traceback" not in err
    for words in (
        "Test league: best found",
        "Par: ",
        "every tone with its own box",
        "False if",
        "vented box",
    ):
        assert words in text
    assert text.strip() == ceiling_text("Test league", found).strip()
    status, text, _ = run("ceiling", config, "--run", out, "--json")
    assert status == 0
    assert json.loads(text)["best_found_db"] == pytest.approx(found["best_found_db"], abs=1e-9)
    assert json.loads((out / "ceiling.json").read_text()) == json.loads(text)
    assert f"boxwright report {out} shows it" in err


def test_command_searches_where_no_run_is_given(run, folder, tmp_path) -> None:
    out = tmp_path / "kept"
    status, text, _ = run("ceiling", folder / "league.toml", "--workers", 1, "--json", "--out", out)
    assert status == 0
    assert json.loads(text)["best_graph"] == "oA/Ao"
    assert (out / "report.html").is_file()


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["nowhere.toml"], "nowhere.toml"),
        (["CONFIG", "--run", "nowhere"], "no such file; is this a finished run folder?"),
        (["CONFIG", "--run", "RUN", "--out", "x"], "--out: there is nothing to write"),
        (["CONFIG", "--workers", "0"], "--workers: must be at least 1, is 0"),
        (["CONFIG", "--effort", "great"], "--effort"),
        (["OTHER", "--run", "RUN"], "the run is of another season"),
    ],
)
def test_bad_input_is_a_line_and_status_2(run, folder, arguments, words) -> None:
    (folder / "other.toml").write_text(SMALL.replace("power_w = 12.0", "power_w = 11.0"), encoding="utf-8")
    names = {"CONFIG": folder / "league.toml", "OTHER": folder / "other.toml", "RUN": folder / "run"}
    status, out, err = run("ceiling", *(names.get(word, word) for word in arguments))
    assert (status, out) == (2, "")
    assert words in err and "Traceback" not in err


def test_damaged_table_is_a_fault(run, folder, tmp_path) -> None:
    copy = tmp_path / "run"
    copy.mkdir()
    for path in (folder / "run").iterdir():
        if path.is_file():
            (copy / path.name).write_bytes(path.read_bytes())
    (copy / "topologies.csv").write_text("topology,graph\nx,oA\n", encoding="utf-8")
    status, _, err = run("ceiling", folder / "league.toml", "--run", copy)
    assert status == 2 and "topologies.csv:1: best_db: the column is missing" in err


def test_nothing_found_is_status_1(run, folder, monkeypatch) -> None:
    monkeypatch.setattr(cli_ceiling, "_searched", lambda *_: [])
    status, out, err = run("ceiling", folder / "league.toml")
    assert (status, out) == (1, "") and "no ceiling" in err


def test_results_of_a_search_are_known_without_files(result) -> None:
    known = known_of_result(result)
    assert [k.graph for k in known] == [t.graph for t in result.topologies if t.design is not None]
