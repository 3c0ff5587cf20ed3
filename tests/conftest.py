"""Before any test imports numpy: one thread of linear algebra, and one compilation for all processes.

Two compilations of one source may round differently, so those that run tests side by side must not compile
each for itself; the program sees to that by the same function at the beginning of a search.
"""

from pathlib import Path

import pytest

import optimizer  # noqa: F401
from optimizer.season import load_season
from optimizer.warm_up import compile_once


def pytest_configure(config: pytest.Config) -> None:
    """Compile before other processes are started, which find everything on disk."""
    if not hasattr(config, "workerinput"):
        compile_once(load_season(Path(__file__).parents[1] / "configs" / "half_space.toml"))
