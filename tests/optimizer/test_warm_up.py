"""Compiled code is made by one process, once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from models.backend import code_folder
from optimizer import warm_up
from optimizer.season import Season


def test_nothing_is_compiled_without_need(
    season: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not on numpy, and not where the folder says that it is complete."""
    monkeypatch.setenv("BOXWRIGHT_CACHE", str(tmp_path))
    monkeypatch.setattr(warm_up, "worker_pool", lambda *_: pytest.fail("a process was started"))
    monkeypatch.setenv("BOXWRIGHT_BACKEND", "numpy")
    warm_up.compile_once(season)
    assert not code_folder().exists()
    pytest.importorskip("numba")
    monkeypatch.setenv("BOXWRIGHT_BACKEND", "compiled")
    code_folder().mkdir(parents=True)
    (code_folder() / warm_up.COMPLETE).touch()
    warm_up.compile_once(season)


def test_one_process_compiles_and_leaves_a_mark(
    season: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the process evaluates is not of interest here, so it is replaced by nothing."""
    pytest.importorskip("numba")
    monkeypatch.setenv("BOXWRIGHT_CACHE", str(tmp_path))
    monkeypatch.setattr(warm_up, "_evaluate_some", print)
    season = replace(season, search=replace(season.search, topologies=("oA",)))
    warm_up.compile_once(season)
    assert (code_folder() / warm_up.COMPLETE).exists()
