"""Several solvers side by side, each asking for one point at a time, answered all at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from greenlet import greenlet

Ask = Callable[[Any], Any]
"""Called with a solver's question, returns its answer."""


def in_lockstep(
    solvers: list[Callable[[Ask], Any]], answer: Callable[[list[int], list[Any]], list[Any]]
) -> list[Any]:
    """Run solvers so that all their questions of one step are answered together.

    Solvers are coroutines of the caller's thread: each runs until it asks, and an answer is given when every
    solver that has not ended waits for one.

    Parameters
    ----------
    solvers : list of callable
        Each is given a function to ask with, and returns its result [mixed].
    answer : callable
        Told the solvers that ask, by their place in the list and in that order, and their questions; returns
        as many answers [mixed].

    Returns
    -------
    list
        Results of the solvers [mixed].

    Raises
    ------
    Exception
        What a solver or ``answer`` has raised.
    """
    caller = greenlet.getcurrent()
    running = [greenlet(solver, caller) for solver in solvers]
    heard = [each.switch(caller.switch) for each in running]
    while places := [place for place, each in enumerate(running) if not each.dead]:
        found = answer(places, [heard[place] for place in places])
        for place, one in zip(places, found, strict=True):
            heard[place] = running[place].switch(one)
    return heard
