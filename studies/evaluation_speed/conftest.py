"""Options, notes and the closing table of the benchmark suite."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from optimizer.season import load_season
from optimizer.warm_up import compile_once
from studies.evaluation_speed.cases import CONFIG

NOTES: pytest.StashKey[dict[tuple[str, str], float]] = pytest.StashKey()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Fewer designs and rounds."""
    parser.addoption("--reduced", action="store_true", help="fewer designs and rounds")


def pytest_configure(config: pytest.Config) -> None:
    """Compile as a search does, so that code of one compilation is measured."""
    config.stash[NOTES] = {}
    compile_once(load_season(CONFIG))


@pytest.fixture(name="size")
def _size(pytestconfig: pytest.Config) -> tuple[int, int]:
    """Designs of a batch, and rounds."""
    return (64, 1) if pytestconfig.getoption("--reduced") else (2000, 6)


@pytest.fixture(name="note")
def _note(pytestconfig: pytest.Config) -> Callable[[str, str, float], None]:
    """Keep a number for the table: what it is of, what it is, the number."""

    def note(subject: str, what: str, value: float) -> None:
        pytestconfig.stash[NOTES][subject, what] = value

    return note


@pytest.fixture(name="least")
def _least(benchmark: Any, size: tuple[int, int]) -> Callable[[Callable[..., object], Any, Any], float]:
    """Least processor time of a call over the rounds, after one that does not count [s]."""

    def least(work: Callable[..., object], *arguments: Any) -> float:
        benchmark.pedantic(partial(work, *arguments), rounds=size[1], warmup_rounds=1)
        return float(benchmark.stats.stats.min)

    return least


@pytest.hookimpl(trylast=True)
def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """The figures of the run as ratios within it."""
    notes = config.stash[NOTES]
    write = terminalreporter.write_line
    write("")
    write(f"{'designs/s':32s} {'compiled':>9s} {'numpy':>8s} {'dense':>8s} {'to numpy':>9s} {'to dense':>9s}")
    for name in dict.fromkeys(subject for subject, what in notes if what == "dense"):
        fast, plain, dense = (notes.get((name, way), float("nan")) for way in ("compiled", "numpy", "dense"))
        write(f"{name:32s} {fast:9.0f} {plain:8.0f} {dense:8.0f} {fast / plain:9.1f} {fast / dense:9.1f}")
    for (subject, what), value in notes.items():
        if what not in ("compiled", "numpy", "dense"):
            write(f"{subject:40s} {value:10.2f} {what}")
