"""How hard plans are sought: rounds of a halving over arrangements."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One round of a halving: the best arrangements, evolved further.

    Attributes
    ----------
    kept : int
        Arrangements that take part [1].
    population, generations : int
        Of the evolution of each [1].
    """

    kept: int
    population: int
    generations: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutEffort:
    """How hard plans are sought.

    Attributes
    ----------
    fitting : tuple of Round
        Rounds towards the sizes of the network design; the first draws the arrangements [list].
    scoring : tuple of Round
        Rounds for the score, mouths rounded to the search's sites [list].
    finishing : tuple of Round
        Rounds for the score about the best plans, mouths where they are drawn [list].
    """

    fitting: tuple[Round, ...]
    scoring: tuple[Round, ...]
    finishing: tuple[Round, ...]


def rounds(*numbers: tuple[int, int, int]) -> tuple[Round, ...]:
    """Rounds by arrangements, population and generations."""
    return tuple(Round(kept=a, population=b, generations=c) for a, b, c in numbers)


LAYOUT_EFFORTS = {
    "quick": LayoutEffort(
        fitting=rounds((180, 24, 5), (70, 24, 7), (36, 24, 10)),
        scoring=rounds((36, 24, 5), (12, 40, 10), (4, 64, 16)),
        finishing=rounds((2, 32, 8), (1, 48, 20)),
    ),
    "normal": LayoutEffort(
        fitting=rounds((400, 24, 5), (140, 24, 7), (70, 24, 10)),
        scoring=rounds((70, 24, 5), (20, 40, 10), (6, 64, 20)),
        finishing=rounds((2, 48, 10), (1, 64, 30)),
    ),
    "thorough": LayoutEffort(
        fitting=rounds((3000, 24, 5), (1000, 24, 8), (400, 24, 12)),
        scoring=rounds((400, 24, 6), (100, 48, 12), (30, 64, 40)),
        finishing=rounds((8, 48, 20), (3, 64, 40), (1, 64, 60)),
    ),
}
"""Efforts by name."""
