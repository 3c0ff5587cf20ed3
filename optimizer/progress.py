"""Progress of long work, shown on standard error."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[int, int, str], None]
"""Told how many parts are done, of how many, and a short note on the latest."""


def silent(done: int, total: int, note: str) -> None:
    """Show nothing."""


@contextmanager
def progress_bar(words: str) -> Iterator[Progress]:
    """A bar on standard error while the block runs.

    Parameters
    ----------
    words : str
        What is being done [text].

    Yields
    ------
    callable
        To be called with the parts done, their total and a note [any].
    """
    from tqdm import tqdm

    with tqdm(desc=words, total=None, dynamic_ncols=True, leave=False, mininterval=0.5) as bar:

        def show(done: int, total: int, note: str) -> None:
            bar.total = total
            bar.set_postfix_str(note, refresh=False)
            bar.update(done - bar.n)

        yield show
