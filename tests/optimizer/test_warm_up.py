"""Compiled code is made once, for the types that every batch has."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest

from models.backend import code_folder
from models.catalogue import TRADE_NAMES, named_topology
from models.complex_step import stepped
from models.linear_layout import make_layout, make_medium
from models.linear_terms import make_terms
from models.linearised import compiled_steps
from models.score import Judge
from optimizer import warm_up
from optimizer.season import Season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace


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


def test_every_function_is_compiled_and_a_mark_left(
    season: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no process can be started this one compiles; a note of each number stands for that."""
    pytest.importorskip("numba")
    from models import compiling

    done: list[int] = []
    monkeypatch.setenv("BOXWRIGHT_CACHE", str(tmp_path))
    monkeypatch.setattr(warm_up, "worker_pool", lambda *_: nullcontext(_BrokenPool()))
    monkeypatch.setattr(compiling, "compile_unit", lambda number, _: done.append(number))
    with warm_up.compiling(season):
        assert not (code_folder() / warm_up.COMPLETE).exists()
    assert done == list(range(compiling.UNITS))
    assert (code_folder() / warm_up.COMPLETE).exists()
    warm_up.compile_once(season)
    assert len(done) == compiling.UNITS


class _BrokenPool:
    def submit(self, *_: object) -> Future[None]:
        future: Future[None] = Future()
        future.set_exception(BrokenProcessPool())
        return future


def test_a_process_that_loads_a_script_without_a_guard_does_not_wait_for_its_parent(
    season: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its parent holds the lock and waits for it."""
    pytest.importorskip("numba")
    monkeypatch.setenv("BOXWRIGHT_CACHE", str(tmp_path))
    monkeypatch.setattr(multiprocessing.current_process(), "_inheriting", True, raising=False)
    with pytest.raises(RuntimeError, match="main guard"):
        warm_up.compile_once(season)
    assert not code_folder().exists()


@pytest.mark.parametrize("name", [*TRADE_NAMES, "AB/AC.BC.Co"])
def test_the_example_has_the_types_of_every_batch(season: Season, name: str) -> None:
    """So that nothing is compiled a second time, in a process of a search."""
    numba = pytest.importorskip("numba")
    from models import compiling, packing, structure

    judge = Judge(season.rules)
    space = SearchSpace(named_topology(name), season.rules, search_sites(season.rules))
    rng = np.random.default_rng(1)
    sites = rng.integers(0, len(space.sites), (5, len(space.site_slots)))
    batch = space.decode(rng.random((5, space.dimensions)), sites)
    omega = 2.0 * np.pi * judge.tones_hz
    graph = structure.make_graph(batch, season.rules)
    tones = packing.make_tones(season.rules, omega, len(batch.driver_ends))
    given = np.ones((5, omega.size * len(season.rules.spaces)))
    few = SearchSpace(named_topology("oA"), season.rules, search_sites(season.rules))
    closed = few.decode(np.full((8, few.dimensions), 0.5), np.zeros((8, len(few.site_slots)), dtype=int))
    one_site = np.zeros((1, len(few.site_slots)), dtype=int)
    shifted = few.decode(stepped(np.full((1, few.dimensions), 0.5)), one_site)
    example = compiling.example(closed, shifted, season.rules)
    expected = packing.steps(*example[:4], packing.make_room(*example[:3]), 0, 8)
    for voltage in (None, given):
        sizes = packing.make_sizes(batch, season.rules, omega, graph, voltage)
        room = packing.make_room(graph, tones, sizes)
        found = packing.steps(graph, tones, sizes, judge.outside(batch.sites), room, 0, 5)
        for (one, first), (two, second) in zip(expected, found, strict=True):
            assert one is two
            assert [numba.typeof(a) for a in first] == [numba.typeof(a) for a in second]
    here = compiled_steps(*example[4:], given[:1])
    x = stepped(rng.random((2, space.dimensions)))
    shifted = space.decode(x, np.repeat(sites[:2], space.dimensions, axis=0))
    layout = make_layout(shifted, season.rules)
    medium = make_medium(season.rules, omega, layout)
    terms = make_terms(shifted, 2, season.rules, layout, medium, judge.outside(batch.sites), {})
    for (one, first), (two, second) in zip(
        here, compiled_steps(layout, medium, terms, given[:2]), strict=True
    ):
        assert one is two
        assert [numba.typeof(a) for a in first] == [numba.typeof(a) for a in second]
