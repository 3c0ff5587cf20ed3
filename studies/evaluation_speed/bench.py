"""The benchmarks: rates by three ways, ngspice, growth, memory, two processes, and the counted floor.

Times are processor time, so that other work on the machine disturbs little, but for ngspice and the two
processes, which are also taken by the clock. Run by :mod:`studies.evaluation_speed.study`.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from models.fit import shares
from optimizer.slopes import slopes
from studies.dense_reference import dense_levels
from studies.evaluation_speed.cases import fitting_batch, growing, judge, names, rules, sloped_points
from studies.evaluation_speed.side_by_side import designs_a_second, peak_memory
from studies.evaluation_speed.spice import seconds_a_design
from studies.evaluation_speed.stages import account

pytestmark = pytest.mark.benchmark(timer=time.process_time)

Note = Callable[[str, str, float], None]
VENTED = "vented box"
SLOPED = ("oA/Ao", "AB/AB.Ao.Bo", "AB/AC.BC.Co")
GROWTHS = 13
"""Number of growing cases."""


@pytest.mark.parametrize("way", ["compiled", "numpy", "dense"])
@pytest.mark.parametrize("name", names())
def test_rate(name: str, way: str, size: tuple[int, int], least: Any, note: Note) -> None:
    """Designs a second of a topology by one way."""
    batch = fitting_batch(judge("numpy"), name, size[0])
    work = (dense_levels, judge("numpy"), batch) if way == "dense" else (judge(way).respond, batch)
    note(name, way, batch.size / least(*work))


def test_ngspice(size: tuple[int, int], benchmark: Any, note: Note) -> None:
    """One run of ngspice a design, in time of vented boxes here."""
    seconds = benchmark.pedantic(seconds_a_design, (rules(), 15 if size[1] > 1 else 3))
    if seconds is None:
        pytest.skip("ngspice is not installed")
    batch = fitting_batch(judge("compiled"), VENTED, size[0])
    judge("compiled").respond(batch)
    begin = time.perf_counter()
    judge("compiled").respond(batch)
    note("one run of ngspice", "ms by the clock", 1e3 * seconds)
    note("one run of ngspice", "vented boxes", seconds * batch.size / (time.perf_counter() - begin))


@pytest.mark.parametrize("number", range(GROWTHS))
def test_growth(number: int, size: tuple[int, int], least: Any, note: Note) -> None:
    """Time of a design by chambers, tones, spaces and batch."""
    label, evaluator, batch = list(growing(size[0]))[number]
    note(label, "us a design", 1e6 * least(evaluator.respond, batch) / batch.size)


@pytest.mark.parametrize("way", ["exact", "differences"])
@pytest.mark.parametrize("count", [1, 3, 8, 20])
@pytest.mark.parametrize("name", SLOPED)
def test_slopes(name: str, count: int, way: str, least: Any, note: Note) -> None:
    """Points with exact slopes against the neighbours that forward differences would evaluate."""
    cell, x, site, log_drive = sloped_points(name, count)
    voltage = np.exp(log_drive).reshape(count, len(rules().spaces), -1)
    many = x.shape[1] + 2
    rows, sites = np.repeat(x, many, axis=0), np.repeat(site, many, axis=0)
    drives = np.repeat(voltage, many, axis=0)

    def neighbours() -> None:
        batch = cell.space.decode(rows, sites)
        shares(batch, rules())
        cell.judge.respond(batch, drives)

    exact = (slopes, cell, x, site, log_drive)
    seconds = least(*exact) if way == "exact" else least(neighbours)
    note(f"slopes of {count}, {name}", f"ms, {way}", 1e3 * seconds)


def test_memory(size: tuple[int, int], benchmark: Any, note: Note) -> None:
    """Peak memory of a batch."""
    note(f"peak memory of a batch of {size[0]}", "MB", benchmark.pedantic(peak_memory, (size[0],)))


def test_two_processes(size: tuple[int, int], benchmark: Any, note: Note) -> None:
    """One process and two, twice each in turn."""

    def rates() -> list[tuple[float, float]]:
        return [designs_a_second(n, size[0], 4.0 if size[1] > 1 else 0.5) for n in (1, 2, 1, 2)]

    found = benchmark.pedantic(rates)
    for way, words in ((0, "by the clock"), (1, "by processor time")):
        one, two = (found[0][way] + found[2][way]) / 2, (found[1][way] + found[3][way]) / 2
        note(f"one process {words}", "designs/s", one)
        note(f"two processes over one {words}", "times", two / one)


def test_floor(size: tuple[int, int], benchmark: Any, note: Note) -> None:
    """Stages of a vented box against the counted floor."""
    batch = fitting_batch(judge("compiled"), VENTED, 512)
    found = benchmark.pedantic(account, (judge("compiled"), batch, size[1]))
    for what, value in found.items():
        note(what, "us a design", value)
    floor = found["floor of the near field"] + found["floor of the rest"]
    note("all over the floor", "times", found["all"] / floor)
