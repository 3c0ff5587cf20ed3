"""Search, ranking, reports and the command line of boxwright; its functions for notebooks and scripts."""

import os
from typing import TYPE_CHECKING, Any

# Its linear systems are small: threads would only wait for each other, and sums would depend on their
# number. The libraries read this when numpy is first imported.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

if TYPE_CHECKING:
    from optimizer.api import evaluate, load_season, open_run, search

__all__ = ["evaluate", "load_season", "open_run", "search"]


def __getattr__(name: str) -> Any:
    """Functions of :mod:`optimizer.api`, which is loaded when one is first asked for."""
    if name in __all__:
        from optimizer import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
