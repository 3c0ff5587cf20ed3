"""Solvers side by side: all that wait are answered together."""

from __future__ import annotations

from typing import Any

import pytest

from optimizer.lockstep import Ask, in_lockstep


def asking(count: int) -> Any:
    """A solver that asks a number of times and sums the answers."""

    def solve(ask: Ask) -> float:
        total = 0.0
        for i in range(count):
            total += ask(float(i))
        return total

    return solve


def test_questions_of_a_step_are_answered_together() -> None:
    seen: list[list[int]] = []

    def answer(places: list[int], questions: list[float]) -> list[float]:
        seen.append(places)
        return [question * 10.0 + place for place, question in zip(places, questions, strict=True)]

    results = in_lockstep([asking(1), asking(3), asking(2), asking(0)], answer)
    assert results == [0.0, 33.0, 14.0, 0.0]
    assert seen == [[0, 1, 2], [1, 2], [1]]


def test_a_failure_ends_all() -> None:
    def answer(places: list[int], questions: list[float]) -> list[float]:
        if len(places) == 1:
            raise ValueError("nothing to say")
        return questions

    with pytest.raises(ValueError, match="nothing to say"):
        in_lockstep([asking(1), asking(2)], answer)

    def failing(ask: Ask) -> float:
        ask(0.0)
        raise KeyError("solver")

    with pytest.raises(KeyError, match="solver"):
        in_lockstep([failing, asking(3)], lambda places, questions: questions)
