"""Several solvers side by side, each asking for one point at a time, answered all at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Any

Ask = Callable[[Any], Any]
"""Called with a solver's question, returns its answer."""


@dataclass(frozen=True, slots=True)
class _Failure:
    """Told to a solver in place of an answer."""

    error: BaseException


_ENDED = object()
"""Said by a solver in place of a question."""


def in_lockstep(
    solvers: list[Callable[[Ask], Any]], answer: Callable[[list[int], list[Any]], list[Any]]
) -> list[Any]:
    """Run solvers so that all their questions of one step are answered together.

    Which questions are answered together depends on the solvers alone, not on how threads are scheduled: an
    answer is given when every solver that has not ended waits for one, and in the caller's thread. Every
    solver waits at a queue of its own, so that nobody is woken in vain.

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
    asked: SimpleQueue[tuple[int, Any]] = SimpleQueue()
    told: list[SimpleQueue[Any]] = [SimpleQueue() for _ in solvers]

    def run(place: int) -> Any:
        def ask(question: Any) -> Any:
            asked.put((place, question))
            found = told[place].get()
            if isinstance(found, _Failure):
                raise found.error
            return found

        try:
            return solvers[place](ask)
        finally:
            asked.put((place, _ENDED))

    with ThreadPoolExecutor(max(len(solvers), 1)) as pool:
        results = [pool.submit(run, place) for place in range(len(solvers))]
        try:
            running = len(solvers)
            while running:
                questions: dict[int, Any] = {}
                while len(questions) < running:
                    place, question = asked.get()
                    if question is _ENDED:
                        running -= 1
                    else:
                        questions[place] = question
                places = sorted(questions)
                found = answer(places, [questions[place] for place in places]) if places else []
                for place, one in zip(places, found, strict=True):
                    told[place].put(one)
        except BaseException as error:
            for queue in told:
                queue.put(_Failure(error))
            raise
        return [result.result() for result in results]
