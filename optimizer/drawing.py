"""Drawing the figures of a run folder side by side, and other work that can be done beside the search."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Future, as_completed
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure
from PIL import Image

from optimizer.figures import draw_figure, figure_makers
from optimizer.processes import worker_pool
from optimizer.progress import Progress
from optimizer.report_parts import Compressed, for_page, keep
from optimizer.run_folder import Run

FIGURES_A_CANDIDATE, LEAST_FIGURES_A_WORKER = 3, 5
"""Figures that there are at least, and figures that make it worth starting a process."""


class Drawing:
    """Processes that draw, this one among them; a context manager that ends the others.

    Parameters
    ----------
    candidates : int
        Candidates whose figures are to be drawn [1].
    workers : int or None
        Processes at most, this one among them; None for as many as there are cores [1].
    """

    def __init__(self, candidates: int, workers: int | None = None) -> None:
        wanted = FIGURES_A_CANDIDATE * candidates // LEAST_FIGURES_A_WORKER
        self.others = max(0, min(workers or os.cpu_count() or 1, wanted) - 1)
        self._pool = worker_pool(self.others) if self.others else None
        self._begun: dict[str, Future[Compressed]] = {}

    def __enter__(self) -> Drawing:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def load(self) -> None:
        """Start the other processes and let them load what they draw with."""
        for _ in range(self.others):
            self.submit(_loaded)

    def submit(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Have another process do something; there must be one."""
        assert self._pool is not None
        return self._pool.submit(work, *arguments)

    def begin(self, run: Run) -> None:
        """Let the other processes begin with those figures of a folder that they have not begun with.

        Parameters
        ----------
        run : Run
            The folder's content; what else it will hold must not change these figures [record].
        """
        if self._pool is not None:
            for place, make in figure_makers(run):
                if place not in self._begun:
                    self._begun[place] = self.submit(_drawn, make, run.folder / place)

    def finish(self, run: Run, progress: Progress) -> None:
        """Draw what the other processes have not come to, and keep all pictures for the report.

        Parameters
        ----------
        run : Run
            The folder's content, with which :meth:`begin` was called [record].
        progress : callable
            Told the figures done, their total and the place of the latest [any].
        """
        makers = dict(figure_makers(run))
        mine = 0
        for place, make in reversed(makers.items()):
            if place in self._begun and not self._begun[place].cancel():
                break  # others draw from the front; when they are met, all are in work
            self._begun.pop(place, None)
            keep(run.folder / place, _drawn(make, run.folder / place))
            mine += 1
            progress(mine + self._others_done(), len(makers), place)
        places = {future: place for place, future in self._begun.items()}
        for future in as_completed(places):
            keep(run.folder / places[future], future.result())
            progress(mine + self._others_done(), len(makers), places[future])
        self._begun.clear()

    def _others_done(self) -> int:
        return sum(other.done() for other in self._begun.values())


def _loaded() -> None:
    """Nothing: whoever finds this function has loaded the libraries above."""


def _drawn(make: Callable[[], Figure], stem: Path) -> Compressed:
    return for_page(Image.fromarray(draw_figure(make, stem)))
