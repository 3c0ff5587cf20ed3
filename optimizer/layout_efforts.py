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
    relatives : int
        Altered arrangements that each one brings in before [1].
    """

    kept: int
    population: int
    generations: int
    relatives: int = 0


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
    starts : int
        How often all this is begun anew with other arrangements [1].
    """

    fitting: tuple[Round, ...]
    scoring: tuple[Round, ...]
    finishing: tuple[Round, ...]
    starts: int = 1


def rounds(*numbers: tuple[int, ...]) -> tuple[Round, ...]:
    """Rounds by arrangements, population, generations and, where there are any, relatives."""
    return tuple(
        Round(kept=a, population=b, generations=c, relatives=sum(more)) for a, b, c, *more in numbers
    )


LAYOUT_EFFORTS = {
    "quick": LayoutEffort(
        fitting=rounds((280, 24, 2), (80, 24, 4), (40, 24, 6), (26, 24, 8)),
        scoring=rounds((26, 24, 5), (7, 24, 5, 6), (5, 24, 6, 6), (4, 64, 12, 6)),
        finishing=rounds((2, 32, 8), (1, 48, 20)),
    ),
    "normal": LayoutEffort(
        fitting=rounds((280, 24, 2), (80, 24, 4), (40, 24, 6), (26, 24, 8)),
        scoring=rounds((26, 24, 5), (7, 24, 5, 6), (5, 24, 6, 6), (4, 64, 12, 6)),
        finishing=rounds((1, 48, 12), (1, 48, 24)),
        starts=3,
    ),
    "thorough": LayoutEffort(
        fitting=rounds((600, 24, 3), (160, 24, 5), (60, 24, 12)),
        scoring=rounds((60, 24, 5), (12, 24, 8, 8), (8, 24, 10, 8), (6, 48, 12, 8), (4, 64, 30, 8)),
        finishing=rounds((2, 48, 20), (1, 64, 60)),
        starts=4,
    ),
}
"""Efforts by name."""
