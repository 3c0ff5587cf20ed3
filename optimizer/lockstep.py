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
    answer is given when every solver that has not ended waits for one, and in the caller's thread.

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
    step = _Step(len(solvers))

    def run(place: int) -> Any:
        try:
            return solvers[place](lambda question: step.ask(place, question))
        finally:
            step.leave()

    with ThreadPoolExecutor(max(len(solvers), 1)) as pool:
        results = [pool.submit(run, place) for place in range(len(solvers))]
        while questions := step.complete():
            try:
                found = answer(list(questions), list(questions.values()))
            except BaseException as error:
                step.fail(error)
                raise
            step.tell(dict(zip(questions, found, strict=True)))
        return [result.result() for result in results]


class _Step:
    """Questions that wait for the last one of a step."""

    def __init__(self, count: int) -> None:
        self.changed = Condition()
        self.running = count
        self.questions: dict[int, Any] = {}
        self.answers: dict[int, Any] = {}
        self.failure: BaseException | None = None

    def ask(self, place: int, question: Any) -> Any:
        """Wait for the answer, in a solver's thread."""
        with self.changed:
            self.questions[place] = question
            self.changed.notify_all()
            self.changed.wait_for(lambda: place in self.answers or self.failure is not None)
            if self.failure is not None:
                raise self.failure
            return self.answers.pop(place)

    def leave(self) -> None:
        """Say that a solver has ended."""
        with self.changed:
            self.running -= 1
            self.changed.notify_all()

    def complete(self) -> dict[int, Any]:
        """Questions of all solvers that still run, by place; empty when all have ended."""
        with self.changed:
            self.changed.wait_for(lambda: len(self.questions) == self.running)
            questions = dict(sorted(self.questions.items()))
            self.questions = {}
            return questions

    def tell(self, answers: dict[int, Any]) -> None:
        """Hand answers to the solvers."""
        with self.changed:
            self.answers = answers
            self.changed.notify_all()

    def fail(self, error: BaseException) -> None:
        """End all solvers."""
        with self.changed:
            self.failure = error
            self.changed.notify_all()
