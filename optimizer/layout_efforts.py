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
        Rounds for the score of likenesses; the first draws the arrangements [list].
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


BREEDING = rounds(
    (150, 16, 4), (60, 16, 3, 5), (50, 16, 3, 6), (40, 16, 3, 8), (40, 16, 3, 8), (40, 16, 4, 8), (24, 24, 8)
)
"""Rounds for the score of likenesses."""

LAYOUT_EFFORTS = {
    "quick": LayoutEffort(
        fitting=BREEDING,
        scoring=rounds((10, 24, 6), (3, 48, 12)),
        finishing=rounds((1, 48, 30)),
    ),
    "normal": LayoutEffort(
        fitting=BREEDING,
        scoring=rounds((12, 24, 6), (4, 24, 6, 6), (3, 24, 6, 6), (2, 48, 12)),
        finishing=rounds((2, 48, 12), (1, 48, 30)),
        starts=4,
    ),
    "thorough": LayoutEffort(
        fitting=BREEDING,
        scoring=rounds((16, 24, 6), (6, 24, 6, 6), (4, 24, 6, 6), (2, 64, 20)),
        finishing=rounds((3, 48, 20), (1, 64, 60)),
        starts=8,
    ),
}
"""Efforts by name."""
