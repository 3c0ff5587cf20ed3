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
    relatives : int
        Altered arrangements that each one kept brings into the next scoring round [1].
    starts : int
        How often all this is begun anew with other arrangements [1].
    """

    fitting: tuple[Round, ...]
    scoring: tuple[Round, ...]
    finishing: tuple[Round, ...]
    relatives: int = 0
    starts: int = 1


def rounds(*numbers: tuple[int, int, int]) -> tuple[Round, ...]:
    """Rounds by arrangements, population and generations."""
    return tuple(Round(kept=a, population=b, generations=c) for a, b, c in numbers)


LAYOUT_EFFORTS = {
    "quick": LayoutEffort(
        fitting=rounds((280, 24, 2), (80, 24, 4), (40, 24, 6), (26, 24, 8)),
        scoring=rounds((26, 24, 5), (7, 32, 6), (5, 40, 8), (4, 64, 12)),
        finishing=rounds((2, 32, 8), (1, 48, 20)),
        relatives=6,
    ),
    "normal": LayoutEffort(
        fitting=rounds((280, 24, 2), (80, 24, 4), (40, 24, 6), (26, 24, 8)),
        scoring=rounds((26, 24, 5), (7, 32, 6), (5, 40, 8), (4, 64, 12)),
        finishing=rounds((1, 48, 12), (1, 48, 24)),
        relatives=6,
        starts=3,
    ),
    "thorough": LayoutEffort(
        fitting=rounds((600, 24, 3), (160, 24, 5), (60, 24, 12)),
        scoring=rounds((60, 24, 5), (12, 32, 8), (8, 40, 10), (6, 48, 12), (4, 64, 30)),
        finishing=rounds((2, 48, 20), (1, 64, 60)),
        relatives=8,
        starts=4,
    ),
}
"""Efforts by name."""
