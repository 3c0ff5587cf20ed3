"""Several solvers side by side, each asking for one point at a time, answered all at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Condition
from typing import Any

Ask = Callable[[Any], Any]
"""Called with a solver's question, returns its answer."""


def in_lockstep(
    solvers: list[Callable[[Ask], Any]], answer: Callable[[list[int], list[Any]], list[Any]]
) -> list[Any]:
    """Run solvers so that all their questions of one step are answered together.

    Which questions are answered together depends on the solvers alone, not on how threads are scheduled: an
    answer is given when every solver that has not ended waits for one.

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
    step = _Step(len(solvers), answer)

    def run(place: int) -> Any:
        try:
            return solvers[place](lambda question: step.ask(place, question))
        finally:
            step.leave()

    with ThreadPoolExecutor(max(len(solvers), 1)) as pool:
        return list(pool.map(run, range(len(solvers))))


class _Step:
    """Questions that wait for the last one of a step."""

    def __init__(self, count: int, answer: Callable[[list[int], list[Any]], list[Any]]) -> None:
        self.changed = Condition()
        self.running = count
        self.answer = answer
        self.questions: dict[int, Any] = {}
        self.answers: dict[int, Any] = {}
        self.failure: BaseException | None = None

    def ask(self, place: int, question: Any) -> Any:
        with self.changed:
            self.questions[place] = question
            self._answer_if_complete()
            self.changed.wait_for(lambda: place in self.answers or self.failure is not None)
            if self.failure is not None:
                raise self.failure
            return self.answers.pop(place)

    def leave(self) -> None:
        with self.changed:
            self.running -= 1
            self._answer_if_complete()

    def _answer_if_complete(self) -> None:
        if not self.questions or len(self.questions) < self.running or self.failure is not None:
            return
        places = sorted(self.questions)
        try:
            found = self.answer(places, [self.questions[place] for place in places])
        except BaseException as error:
            self.failure = error
        else:
            self.answers = dict(zip(places, found, strict=True))
        self.questions = {}
        self.changed.notify_all()
