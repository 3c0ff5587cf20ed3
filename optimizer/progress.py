"""Progress of long work, shown on standard error."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

QUIET, VERBOSE = "quiet", "verbose"
"""How much is told on standard error, where a bar is not wanted."""

Progress = Callable[[int, int, str], None]
"""Told how many parts are done, of how many, and a short note on the latest."""


def silent(done: int, total: int, note: str) -> None:
    """Show nothing."""


@contextmanager
def progress_bar(words: str, talk: str | None = None) -> Iterator[Progress]:
    """A bar on standard error while the block runs.

    Parameters
    ----------
    words : str
        What is being done [text].
    talk : str or None
        None for a bar, :data:`QUIET` for nothing, :data:`VERBOSE` for a line at every step, as suits a
        file [text].

    Yields
    ------
    callable
        To be called with the parts done, their total and a note [any].
    """
    if talk == QUIET:
        yield silent
    elif talk == VERBOSE:
        yield _lines(words)
    else:
        yield from _bar(words)


def _bar(words: str) -> Iterator[Progress]:
    from tqdm import tqdm

    with tqdm(desc=words, total=None, dynamic_ncols=True, leave=False, mininterval=0.5) as bar:

        def show(done: int, total: int, note: str) -> None:
            bar.total = total
            bar.set_postfix_str(note, refresh=False)
            bar.update(done - bar.n)

        yield show


def _lines(words: str) -> Progress:
    began = time.perf_counter()
    last: list[tuple[int, int, str]] = []

    def show(done: int, total: int, note: str) -> None:
        if last != [(done, total, note)]:
            last[:] = [(done, total, note)]
            seconds = time.perf_counter() - began
            print(f"{words}: {done} of {total}, {note} ({seconds:.1f} s)", file=sys.stderr, flush=True)

    return show
