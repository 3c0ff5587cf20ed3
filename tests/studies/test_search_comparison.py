"""The comparison of searches in reduced form, and that counting changes nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optimizer.files import read_csv
from optimizer.outcomes import Task
from optimizer.tasks import TaskRunner
from studies.search_comparison.ledger import CountingRunner, Ledger, PeerCell
from studies.search_comparison.runs import PEERS, RACE, Run, saved, study_graphs, study_season

GRAPHS = study_graphs(1)


def test_counting_changes_nothing() -> None:
    """A counted task ends as a plain one, and misfits and neighbours are counted too."""
    season = study_season("half_space", GRAPHS, "quick", 1)
    task = Task(graph="oA/Ao", restart=0, effort="survey")
    ledger = Ledger()
    ledger.start()
    counted = CountingRunner(season, ledger).run(task, {})
    assert counted == TaskRunner(season).run(task, {})
    assert ledger.submitted > counted["evaluations"]
    assert ledger.best_db == max(counted["best"]["columns"]["output_db"])


def test_peers_are_told_what_orders_designs() -> None:
    """Designs that fit come by their output above all others, these by their excess; all are counted."""
    season = study_season("half_space", GRAPHS, "quick", 1)
    ledger = Ledger()
    ledger.start()
    cell = CountingRunner(season, ledger, PeerCell).cell("oA/Ao")
    rng = np.random.default_rng(3)
    assert isinstance(cell, PeerCell)
    site = rng.integers(0, len(cell.space.sites), (300, len(cell.space.site_slots)))
    value, found, excess = cell.values(rng.random((300, cell.space.dimensions)), site)
    fits = excess == 0.0
    assert 0 < fits.sum() < 300
    assert value[fits].min() > 0.0 > value[~fits].max()
    assert np.array_equal(value[fits], found[fits, 0])
    assert ledger.submitted == 300
    assert ledger.best_db == value.max()


def test_readings() -> None:
    """Scores are read at a time or a number of evaluations, whichever is asked for."""
    trace = np.array([[1.0, 100, 90.0], [2.0, 150, 95.0], [8.0, 900, 96.0]])
    front = np.array([[1.0, 100, 90.0, -3.0, -5.0], [2.0, 150, 95.0, -3.0, -5.0]])
    run = Run(season="", method="", seed=1, seconds=9.0, evaluations=1000, trace=trace, front=front)
    assert run.best_at(seconds=7.0) == 95.0
    assert run.best_at(evaluations=149) == 90.0
    assert run.best_at(seconds=0.5) == -np.inf
    assert run.seconds_to(95.5) == 8.0
    assert run.front_at(1.5).tolist() == [[90.0, -3.0, -5.0]]
    assert run.front_at().tolist() == [[95.0, -3.0, -5.0]]


def test_reduced_study(tmp_path: Path) -> None:
    """Graphs of one chamber in one season: no peer finds more than the race, and runs are kept."""
    pytest.importorskip("pymoo", reason="pymoo is not installed")
    pytest.importorskip("cma", reason="cma is not installed")
    pytest.importorskip("cmaes", reason="cmaes is not installed")
    from studies.search_comparison.study import main

    arguments = ["--reduced", "--out", str(tmp_path), "--runs", str(tmp_path / "runs")]
    rows = main(arguments)
    assert [row["method"] for row in rows] == [RACE, *PEERS]
    for row in rows:
        assert row["at_end_db"] is None or row["at_end_db"] <= row["best_run_db"]
        run = saved(tmp_path / "runs", row["season"], row["method"], row["seed"])
        assert run is not None
        assert run.evaluations == row["evaluations"] > 0
        assert run.front[:, 2].max() == pytest.approx(run.best_at(), abs=1e-4)
    assert rows[0]["race_db"] == pytest.approx(rows[0]["best_run_db"], abs=0.05)
    assert main(arguments) == rows
    assert len(read_csv(tmp_path / "scores.csv")) == len(rows)
    assert (tmp_path / "half_space.png").stat().st_size > 5_000
