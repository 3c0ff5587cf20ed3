"""What the commands say: help with examples, completion, JSON, how much they talk, the end of a search."""

from __future__ import annotations

import json
import shlex
from dataclasses import replace

import pytest

from optimizer.cli import cli
from optimizer.progress import progress_bar
from optimizer.report_words import facts
from optimizer.run_folder import read_run, write_run
from optimizer.search_words import building_words, search_text, what_binds

COMMANDS = sorted(cli.commands)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_examples_that_parse(run, name) -> None:
    status, out, _ = run(name, "--help")
    _, found, block = out.partition("\n  Examples:\n")
    lines = block.strip().splitlines()
    assert status == 0 and found and lines
    for line in lines:
        words = shlex.split(line.partition(" > ")[0])
        assert words[:2] == ["boxwright", name]
        with cli.commands[name].make_context(name, words[2:]) as context:
            assert context.params  # an option that is not known would have raised


def test_list_of_commands_is_whole(run) -> None:
    """Every command says in one line what it does, without being cut."""
    out = run("--help")[1]
    listing = out.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    assert len(listing) >= len(COMMANDS) and not [line for line in listing if line.endswith("...")]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_of_commands_and_options(run, monkeypatch, shell) -> None:
    def completed(words: str, incomplete: str, count: int) -> list[str]:
        monkeypatch.setenv("_BOXWRIGHT_COMPLETE", f"{shell}_complete")
        monkeypatch.setenv("COMP_WORDS", words)
        monkeypatch.setenv("COMP_CWORD", incomplete if shell == "fish" else str(count))
        return run()[1].replace(",", "\n").split()

    found = completed("boxwright c", "c", 1)
    assert "check" in found and "ceiling" in found and "search" not in found
    assert {"quick", "normal", "thorough"} <= set(completed("boxwright search --effort ", "", 3))
    assert "--resume" in completed("boxwright search --r", "--r", 2)


def test_completion_script_names_the_command(run, monkeypatch) -> None:
    monkeypatch.setenv("_BOXWRIGHT_COMPLETE", "zsh_source")
    status, out, _ = run()
    assert status == 0 and "#compdef boxwright" in out


def test_check_as_json(run, season_path, season) -> None:
    status, out, _ = run("check", season_path, "--json")
    content = json.loads(out)
    assert status == 0 and content["config_hash"] == season.config_hash
    assert content["source"]["limits"]["excursion_mm"] == 3.0
    assert {"topology": "vented box", "graph": "oA/Ao"} in content["topologies"] and content["warnings"] == []


def test_how_much_is_told(capsys) -> None:
    with progress_bar("work", "quiet") as progress:
        progress(1, 2, "half")
    assert capsys.readouterr() == ("", "")
    with progress_bar("work", "verbose") as progress:
        for step in ((0, 2, "begun"), (0, 2, "begun"), (2, 2, "done")):
            progress(*step)
    out, err = capsys.readouterr()
    assert out == "" and [line.partition(" (")[0] for line in err.splitlines()] == [
        "work: 0 of 2, begun",
        "work: 2 of 2, done",
    ]
    with progress_bar("work") as progress:
        progress(1, 2, "half")
    assert "work" in capsys.readouterr().err


def test_quiet_leaves_standard_error_empty(run, season, result, tmp_path) -> None:
    write_run(tmp_path / "run", season, replace(result, candidates=(), front=()))
    assert run("report", tmp_path / "run", "--quiet")[::2] == (0, "")
    err = run("report", tmp_path / "run", "-v")[2]
    assert "drawing: 1 of 1, topologies (" in err and err.count("\n") == 1


def end_of_search(season, result, folder, **confidence) -> tuple[str, list[str]]:
    sure = {"settled": True, "sentences": ["Sure."]} | confidence
    write_run(folder, season, replace(result, confidence=sure))
    table, _, sentences = search_text(read_run(folder)).partition("\n\n")
    return table, sentences.splitlines()


def test_end_of_a_search(season, result, tmp_path) -> None:
    folder = tmp_path / "my run"
    table, sentences = end_of_search(season, result, folder, agreeing=3, restarts=4)
    lines = table.splitlines()
    assert lines[0].split("  ")[-1] == "role" and "what binds, of 6" in lines[0] and len(lines) == 4
    best = result.candidates[0]
    assert lines[1].startswith("1  vented box") and f"{best.score_db:.2f}" in lines[1]
    assert f"`boxwright build '{folder}' --candidate 1`" in sentences[0]
    gain = best.score_db - next(c.score_db for c in result.candidates if c.graph == "oA")
    assert f"{gain:+.1f} dB against the best closed box" in sentences[0]
    assert len(sentences) == 2
    assert sentences[1].startswith("3 of 4 restarts of its type agree, and no type")
    assert max(len(line) for line in lines) <= 110


@pytest.mark.parametrize(
    ("effort", "asked", "words"),
    [
        ("quick", "--effort normal", "only 1 of 3 restarts"),
        ("normal", "--effort thorough", "only 1 of 3 restarts"),
        ("thorough", "--seed 2", "only 1 of 3 restarts"),
    ],
)
def test_what_to_do_where_it_is_not_sure(season, result, tmp_path, effort, asked, words) -> None:
    changed = replace(season, search=replace(season.search, effort=effort))
    _, sentences = end_of_search(changed, result, tmp_path / "run", settled=False, agreeing=1, restarts=3)
    assert words in sentences[1] and sentences[1].endswith(f"`boxwright search {season.path} {asked}`.")


def test_quick_leaves_types_without_a_name(season, result, tmp_path) -> None:
    quick = replace(season, search=replace(season.search, effort="quick"))
    assert season.source["search"]["topologies"] == "all"
    _, sentences = end_of_search(quick, result, tmp_path / "run", agreeing=3, restarts=3)
    assert sentences[1].endswith("--effort normal` tries all others too.")


def test_a_plan_sought_once_is_not_settled(season, result, tmp_path) -> None:
    """Command and page say whose restarts agree, and how often the plan was sought."""
    first = {"topology": "vented box", "graph": "oA/Ao", "restarts": 3, "agreeing": 2}
    first |= {"plan_searches": 1, "plans_agreeing": 1}
    sure = {"agreeing": 3, "restarts": 5, "graph": "AB/Ao", "first": first}
    _, sentences = end_of_search(season, result, tmp_path / "run", **sure)
    whose = "3 of 5 restarts of the loudest free network's type, graph AB/Ao, agree, "
    whose += "and 2 of 3 of its own type"
    assert sentences[1].startswith(f"{whose}, vented box, and no type")
    assert "But its plan was sought once, so a better plan may well exist" in sentences[1]
    fact = facts(read_run(tmp_path / "run"))[-1]
    assert fact.value == "network settled"
    assert fact.words == f"{whose}, vented box; its plan was sought once"


@pytest.mark.parametrize(("cost", "words"), [(-0.0001, "+0.00"), (-0.05, "-0.05"), (None, "no plan")])
def test_what_building_costs(cost, words) -> None:
    assert building_words({"cost_db": cost}) == words


def test_nothing_found(season, result, tmp_path) -> None:
    write_run(tmp_path / "run", season, replace(result, candidates=(), front=()))
    assert search_text(read_run(tmp_path / "run")).startswith("No design that fits was found; ")


def test_what_binds_counts() -> None:
    limits = [{"limit": "air_speed"}, {"limit": "power"}, {"limit": "power"}]
    assert what_binds(limits) == "power 2, air speed 1"


