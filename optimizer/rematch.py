"""A season's best boxes of every type meeting again under changed rules, tones or another driver."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from optimizer.cell import Points
from optimizer.variants import Variant, output_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Best boxes of the types under one set of rules.

    Attributes
    ----------
    variant : Variant
        The rules [record].
    points : dict of str to Points
        Best box found of each graph that has one that fits [record].
    least_db : dict of str to float
        Scores that boxes known from elsewhere have under these rules too [dB].
    """

    variant: Variant
    points: dict[str, Points]
    least_db: dict[str, float] = field(default_factory=dict)

    @property
    def levels(self) -> dict[str, float]:
        """Score of each type, the best first [dB]."""
        least = self.least_db
        found = {g: max(output_of(point), least.get(g, -np.inf)) for g, point in self.points.items()}
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    @property
    def order(self) -> list[str]:
        """Graphs, the best first."""
        return list(self.levels)

    @property
    def best_db(self) -> float:
        """Score of the best box [dB]."""
        return next(iter(self.levels.values()))

    @property
    def margin_db(self) -> float | None:
        """How far the next type stays behind; None where there is no other [dB]."""
        levels = list(self.levels.values())
        return levels[0] - levels[1] if len(levels) > 1 else None


def rematch(
    before: Match, changed: Variant, effort: str | None, seed: int, looser: bool = False
) -> Match | None:
    """Solve every type again from its best box under other rules, its sites kept.

    Parameters
    ----------
    before : Match
        Best boxes as the season is [record].
    changed : Variant
        The season changed [record].
    effort : str or None
        Effort of a search from nothing beside, with sites of its own; None for one only where no box near
        the known one fits [text].
    seed : int
        Seed of that search [1].
    looser : bool
        Whether every box that was permitted before is so now, with the same score [flag].

    Returns
    -------
    Match or None
        Types of which a box fits; None where none does [record].
    """
    points = {}
    for graph, point in before.points.items():
        starts = [changed.solve(graph, changed.carried(graph, point, before.variant))]
        if effort is not None or not np.isfinite(output_of(starts[0])):
            new = changed.seek(graph, effort or "survey", seed)
            starts += [] if new is None else [changed.solve(graph, new)]
        best = max(starts, key=output_of)
        if np.isfinite(output_of(best)):
            points[graph] = best
    if not points:
        return None
    return Match(variant=changed, points=points, least_db=before.levels if looser else {})
