"""The functions for notebooks: README's example, tables, figures, and what is refused."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import optimizer
from optimizer import evaluate, load_season, open_run, search
from optimizer.dimensions import dimensions
from optimizer.faults import ConfigError
from optimizer.folders import FolderError
from optimizer.run_folder import write_run
from tests.optimizer.conftest import SEASON

ROOT = Path(__file__).parent.parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_one_thread_of_linear_algebra_whatever_came_first() -> None:
    """Sums depend on the number of threads, so a notebook that has numpy already must not keep them."""
    code = (
        "import numpy, threadpoolctl; from optimizer import search; import scipy.linalg;"
        "print({p['num_threads'] for p in threadpoolctl.threadpool_info()})"
    )
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    env = {key: value for key, value in os.environ.items() if key not in names}
    found = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "{1}", found.stderr


def test_example_of_the_readme(tmp_path, monkeypatch) -> None:
    """README's example on a small season: the score is the weighted mean of the levels in its table."""
    (code,) = re.findall(r"```python\n(.*?)```", README, re.S)
    small = 'topologies = ["closed box"]\ncandidates = 1'
    (tmp_path / "configs").mkdir()
    (tmp_path / "configs/demo.toml").write_text(SEASON + small, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    names: dict = {}
    exec(code, names)
    best, tones = names["best"], names["tones"]
    means = tones.groupby("space")["level_db"].mean()
    score = (2.0 * means["court"] + means["far court"]) / 3.0  # the season's weights
    assert best.score_db == pytest.approx(score, abs=1e-9)
    # A closed box plays by the volume it moves: p = rho w^2 Sd x / (2 pi r) at 1 m in a half space, for a
    # piston small against the wavelength; computed from that formula.
    low = tones[(tones["space"] == "court") & (tones["hz"] == 112.0)].iloc[0]
    pressure = 1.2 * (2 * np.pi * 112.0) ** 2 * 21e-4 * low["excursion_mm"] * 1e-3 / np.sqrt(2) / (2 * np.pi)
    assert low["level_db"] == pytest.approx(20 * np.log10(pressure / 20e-6), abs=0.1)
    sizes = names["sizes"].set_index(["part", "dimension"])["value"]
    sides = [sizes["chamber A", f"sides {axis}"] for axis in "xyz"]
    assert sizes["chamber A", "volume"] == pytest.approx(np.prod(sides) * 1e-6)
    assert (tmp_path / "response.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "runs/first/report.html").is_file()
    assert open_run("runs/first").candidates.loc[1, "score_db"] == best.score_db


@pytest.fixture
def opened(season, result, tmp_path):
    """The run made by hand, written and opened."""
    write_run(tmp_path / "run", season, result)
    return open_run(tmp_path / "run")


def test_tables_of_a_run(opened, result) -> None:
    scores = [c.score_db for c in result.candidates]
    assert len(opened) == 3 and opened.candidates["score_db"].tolist() == pytest.approx(scores)
    assert opened.front["output_db"].tolist() == pytest.approx(scores)
    assert opened.topologies["best_db"].tolist() == pytest.approx([*scores, np.nan], nan_ok=True)
    assert opened.topologies["why_none"].iloc[-1] == "nothing fits the envelope"
    assert [candidate.rank for candidate in opened] == [1, 2, 3] and "best 94.48 dB" in repr(opened)
    with pytest.raises(LookupError, match="no candidate 4; there are 1, 2, 3"):
        opened[4]


def test_a_candidate_and_its_file_evaluate_alike(opened, season, design_paths) -> None:
    table = evaluate(season, opened[1], design_paths[0])
    assert len(table) == 2 * 2 * 3
    mine = table[table["design"] == str(opened[1].design_path)]
    assert mine["score_db"].unique() == pytest.approx([opened[1].score_db], abs=0.01)
    assert mine["level_db"].to_numpy() == pytest.approx(opened[1].limits()["level_db"].to_numpy(), abs=0.01)
    assert (mine["full_size_hz"] * 4.0).tolist() == mine["hz"].tolist()
    assert (mine[[c for c in mine if c.startswith("left_")]].min(axis=1).abs() < 1e-3).all()
    fixed = evaluate(season, opened[1], hz=[50.0, 100.0], drive_v=2.83)
    assert fixed["drive_v_rms"].tolist() == [2.83] * 4 and fixed["hz"].tolist() == [50.0, 100.0] * 2


def test_figures_show_themselves(opened) -> None:
    for figure in (opened[1].plot(), opened[1].plot_tones(), opened[1].plot_graph(), opened.plot_front()):
        assert figure._repr_png_().startswith(b"\x89PNG")
    assert opened.plot_topologies().get_axes()
    assert opened[1].response()["hz"].is_monotonic_increasing is False  # two spaces, one after the other
    assert opened[1].prices()["rule"].tolist() == ["limits.excursion_mm"]


def test_html_is_escaped(season, result, tmp_path) -> None:
    from dataclasses import replace

    hostile = "<script>alert(1)</script>"
    first = replace(result.candidates[0], role=hostile)
    write_run(tmp_path / "run", replace(season, name=hostile), replace(result, candidates=(first,)))
    html = open_run(tmp_path / "run")._repr_html_()
    assert "<script" not in html and html.count("&lt;script&gt;") == 2


def test_a_run_without_candidates(season, result, tmp_path) -> None:
    from dataclasses import replace

    write_run(tmp_path / "run", season, replace(result, candidates=(), front=()))
    opened = open_run(tmp_path / "run")
    assert len(opened) == 0 and opened.candidates.empty and opened.front.empty
    assert "nothing that fits" in repr(opened) and "<table" in opened._repr_html_()
    with pytest.raises(LookupError, match="no figure 'front'; it has topologies"):
        opened.plot_front()


def test_a_candidate_without_a_plan(opened) -> None:
    with pytest.raises(LookupError, match="no figure 'candidates/01/plan'"):
        opened[1].plot_plan()


def test_bends_and_lists_are_numbers() -> None:
    duct = {"from": "A", "to": "outside", "shape": "slot", "area_cm2": 4.0, "bends_mm": [[30.0, -5.0]]}
    rows = dimensions({"drivers": [], "ducts": [duct]})
    assert [(row["dimension"], row["value"], row["unit"]) for row in rows] == [
        ("area", 4.0, "cm2"),
        ("bends 1, place along", 30.0, "mm"),
        ("bends 1, correction", -5.0, "mm"),
    ]


def test_what_is_refused(season, season_path, design_paths, tmp_path) -> None:
    with pytest.raises(ConfigError, match=r"none\.toml:1: file: no such file"):
        load_season(tmp_path / "none.toml")
    with pytest.raises(ConfigError, match=r"run\.json:1: file: no such file"):
        open_run(tmp_path)
    with pytest.raises(FolderError, match="is not empty"):
        search(season, tmp_path)
    with pytest.raises(ConfigError, match="effort"):
        search(season_path, tmp_path / "run", effort="some")
    for arguments in ({"hz": []}, {"hz": [0.0]}, {"hz": [np.nan]}, {"drive_v": -1.0}, {"drive_v": np.nan}):
        with pytest.raises(ValueError, match=r"must be 1"):
            evaluate(season, design_paths[0], **arguments)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = optimizer.nothing


def test_the_package_alone_loads_nothing_heavy() -> None:
    code = (
        "import optimizer, sys; print({'numpy', 'pandas', 'matplotlib'} & set(sys.modules));"
        "import optimizer.searching; from optimizer import search; print(search.__module__)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "set()\noptimizer.api\n"


def test_a_run_of_an_earlier_version(season, result, tmp_path) -> None:
    """Folders written before candidates had plans open as well."""
    import json

    write_run(tmp_path / "run", season, result)
    path = tmp_path / "run/candidates.json"
    records = json.loads(path.read_text())
    for record in records:
        record.pop("plan", None)
    path.write_text(json.dumps(records))
    assert open_run(tmp_path / "run").candidates["score_db"].notna().all()
