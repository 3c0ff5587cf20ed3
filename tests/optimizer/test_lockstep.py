"""Solvers side by side: who is answered together follows from the solvers, not from threads."""

from __future__ import annotations

import threading
import time
from typing import Any

import pytest

from optimizer.lockstep import Ask, in_lockstep


def asking(count: int, wait: float) -> Any:
    """A solver that asks a number of times and sums the answers, late by a wait each time."""

    def solve(ask: Ask) -> float:
        total = 0.0
        for i in range(count):
            time.sleep(wait)
            total += ask(float(i))
        return total

    return solve


def test_questions_of_a_step_are_answered_together_in_the_callers_thread() -> None:
    seen: list[list[int]] = []

    def answer(places: list[int], questions: list[float]) -> list[float]:
        assert threading.current_thread() is threading.main_thread()
        seen.append(places)
        return [question * 10.0 + place for place, question in zip(places, questions, strict=True)]

    results = in_lockstep([asking(1, 0.02), asking(3, 0.0), asking(2, 0.005), asking(0, 0.0)], answer)
    assert results == [0.0, 33.0, 14.0, 0.0]
    assert seen == [[0, 1, 2], [1, 2], [1]]


def test_a_failure_ends_all() -> None:
    def answer(places: list[int], questions: list[float]) -> list[float]:
        if len(places) == 1:
            raise ValueError("nothing to say")
        return questions

    with pytest.raises(ValueError, match="nothing to say"):
        in_lockstep([asking(1, 0.0), asking(2, 0.0)], answer)

    def failing(ask: Ask) -> float:
        ask(0.0)
        raise KeyError("solver")

    with pytest.raises(KeyError, match="solver"):
        in_lockstep([failing, asking(3, 0.0)], lambda places, questions: questions)
