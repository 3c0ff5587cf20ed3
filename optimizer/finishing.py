"""Writing and drawing a run folder, begun while the search still works on what needs one core only."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.progress import Progress
from optimizer.results import SearchResult
from optimizer.run_designs import write_designs
from optimizer.run_folder import Run, draw_run, unfinished_run, write_explore, write_records, write_run
from optimizer.season import Season

if TYPE_CHECKING:
    from optimizer.drawing import Drawing


class Finishing:
    """The end of a search: its folder, figures and report; a context manager.

    :func:`optimizer.searching.run_search` takes it and says when a core is idle and when nothing but prices
    and reasons is missing.

    Parameters
    ----------
    folder : Path
        Run folder [path].
    season : Season
        The season [record].
    workers : int or None
        Processes that draw; None for as many as there are cores [1].
    """

    def __init__(self, folder: Path, season: Season, workers: int | None = None) -> None:
        self.folder, self.season, self.workers = folder, season, workers
        self._drawing: Drawing | None = None
        self._explore: Future[None] | None = None

    def __enter__(self) -> Finishing:
        return self

    def __exit__(self, *error: object) -> None:
        if self._drawing is not None:
            self._drawing.__exit__(*error)

    def idle(self) -> None:
        """Load what drawing needs, here and in the processes that will draw."""
        from optimizer.report_plots import load_library

        self._started().load()
        load_library()

    def begin(self, result: SearchResult) -> None:
        """Write designs, and let other processes begin to draw them.

        Parameters
        ----------
        result : SearchResult
            What the search found, prices and reasons apart [record].
        """
        drawing = self._started()
        if drawing.others:
            slim = replace(result, front=(), topologies=(), history=())
            self._explore = drawing.submit(write_explore, self.folder, self.season, slim)
            write_designs(self.folder, self.season, result)
            drawing.begin(unfinished_run(self.folder, self.season, result))

    def finish(self, result: SearchResult, progress: Progress) -> Run:
        """Write and draw all that is missing.

        Parameters
        ----------
        result : SearchResult
            What the search found [record].
        progress : callable
            Told the figures done, their total and the place of the latest [any].

        Returns
        -------
        Run
            The folder's content [record].
        """
        if self._explore is None:
            run = write_run(self.folder, self.season, result)
        else:
            self._explore.result()
            run = write_records(self.folder, self.season, result)
        draw_run(run, progress, drawing=self._started())
        return run

    def _started(self) -> Drawing:
        from optimizer.drawing import Drawing  # which loads matplotlib

        if self._drawing is None:
            self._drawing = Drawing(self.season.search.candidates, self.workers)
        return self._drawing
