"""Random designs of graphs: each has a plan that passes every check, or is refused with a reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from models.score import Judge
from optimizer.design_file import read_design
from optimizer.layout_efforts import LAYOUT_EFFORTS
from optimizer.run_folder import write_run
from optimizer.season import load_season
from studies.plans import air, best
from studies.plans.study import REDUCED, main
from tests.optimizer.conftest import SEASON, VENTED, hand_made_result

pytest.importorskip("manifold3d")


def test_random_designs_pass_or_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    graphs = ["oA/Ao", "AB/Ao", "AB/AB.Ao", "oA//Ao", "oA.AB", "oA/AB.BC.Co"]
    rows = main(["--reduced", "--graphs", *graphs])
    assert [row.graph for row in rows] == graphs
    for row in rows:
        assert row.failed == [], row.graph
        assert len(row.outcomes) == 1 == len(row.built) + sum(row.refused.values())
        assert all(row.refused)
    assert sum(len(row.built) for row in rows) >= 5
    assert "| oA/Ao | vented box | 1 | 1 | 0 |" in capsys.readouterr().out


def test_results_on_disk_are_not_done_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second run with the same file lays nothing out, and says the same."""
    arguments = ["--reduced", "--graphs", "oA", "--results", str(tmp_path / "results.jsonl")]
    (first,) = main(arguments)
    monkeypatch.setattr("studies.plans.study.study_design", None)
    (second,) = main(arguments)
    assert first == second and len(first.built) == 1


def test_networks_agree_with_the_air_of_their_plans(capsys: pytest.CaptureFixture[str]) -> None:
    """Random designs of three graphs on coarse meshes: 0.2 dB (median), 1 dB (worst)."""
    rows = air.main(["--reduced"])
    assert [row.graph for row in rows] == list(air.REDUCED)
    for row in rows:
        assert 0.0 < row.found.median_db < 0.2, row.graph
        assert row.found.worst.worst_db < 1.0, row.graph
    assert "3 of 3 plans, 3 of 3 graphs within 0.2 dB" in capsys.readouterr().out


def test_cost_of_building_the_best_of_a_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each graph's best network is laid out; what it costs is the difference of both scores."""
    monkeypatch.setitem(LAYOUT_EFFORTS, "quick", REDUCED)
    (tmp_path / "league.toml").write_text(SEASON, encoding="utf-8")
    (tmp_path / "vented.toml").write_text(VENTED, encoding="utf-8")
    season = load_season(tmp_path / "league.toml")
    design = read_design(tmp_path / "vented.toml", season.rules)
    write_run(tmp_path / "run", season, hand_made_result(season, [design]))
    (cost,) = best.main([str(tmp_path / "run")])
    assert cost.graph == "oA/Ao" and cost.built_db is not None and cost.reason == ""
    judge = Judge(season.rules)
    assert cost.network_db == pytest.approx(judge.scores(judge.respond(design))[0], abs=0.01)
    loss = cost.network_db - cost.built_db
    row = f"| vented box | {cost.network_db:.2f} | {cost.built_db:.2f} | {loss:.2f} |"
    assert row in capsys.readouterr().out
