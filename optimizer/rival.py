"""A topology's best box, with its prices, and how it is followed as a rule moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.cell import Points, joined
from optimizer.priced_rules import PricedRule
from optimizer.variants import Variant, output_of

STARTS = 2
"""Boxes at the nearest values of a rule that a new one is sought from."""

SURPRISE_DB = 0.01
"""Gain of a fresh climb over the box followed that makes it worth that [dB]."""

FAR_DB = 1.0
"""A box that is followed and becomes so much quieter at once may be stuck, and climbs [dB]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """A topology's best box with its prices.

    Attributes
    ----------
    graph : str
        Graph id [text].
    topology : str
        Its name [text].
    point : Points
        Its best free network [record].
    prices : dict of str to tuple of float
        Price of one unit more and of one unit less of each rule, by its key [dB per unit].
    offset_db : float
        What building it gains over its free network, kept as rules move; 0 for free networks [dB].
    built : bool
        Whether it has a floor plan, whose score counts [flag].
    """

    graph: str
    topology: str
    point: Points
    prices: dict[str, tuple[float, float]]
    offset_db: float = 0.0
    built: bool = False

    @property
    def level_db(self) -> float:
        """Output that counts, under the season as it is [dB]."""
        return output_of(self.point) + self.offset_db

    def promised(self, rule: PricedRule, value: float, reach: float) -> float:
        """What the price of a rule promises where the rule's logarithm moves by ``reach`` [dB]."""
        more, less = self.prices.get(rule.key, (0.0, 0.0))
        return (more if reach > 0.0 else less) * value * reach


class Track:
    """Best boxes of one topology as a rule moves, each sought from those at the nearest values."""

    def __init__(self, variant: Variant, rival: Rival, rule: PricedRule, value: float) -> None:
        self.variant, self.rival, self.rule = variant, rival, rule
        self.known = {value: (rival.point, variant)}

    def level(self, value: float) -> float:
        """Output of the best box at a value of the rule [dB]."""
        if value not in self.known:
            graph = self.rival.graph
            moved = self.variant.under(self.rule.move(self.variant.rules, value))
            nearest = sorted(self.known, key=lambda other: abs(other - value))[:STARTS]
            starts = joined([moved.carried(graph, *self.known[other]) for other in nearest])
            before = output_of(self.known[nearest[0]][0])
            found = moved.follow(graph, starts, before)
            if output_of(found) < before - FAR_DB:
                found = moved.solve(graph, joined([starts, found]))
            if not np.isfinite(output_of(found)):  # no box near the known ones fits
                found = self._sought(moved) or found
            self.known[value] = (found, moved)
        return output_of(self.known[value][0]) + self.rival.offset_db

    def surprised(self, value: float) -> bool:
        """Seek afresh at a value, from all boxes known; a clearly better one is followed from now on."""
        point, moved = self.known[value]
        graph = self.rival.graph
        others = [moved.carried(graph, *known) for known in self.known.values()]
        if not self.rule.droppable:  # on a box of another size other places may be better
            found = self._sought(moved)
            others += [] if found is None else [found]
        climbed = moved.solve(graph, joined([point, *others]))
        start = next(iter(self.known.items()))
        gained = output_of(climbed) > output_of(point) + SURPRISE_DB
        self.known = dict([start]) if gained else self.known
        self.known[value] = climbed, moved
        return gained

    def _sought(self, moved: Variant) -> Points | None:
        """The best box of a short search from nothing, its mouths wherever they are best."""
        return moved.seek(self.rival.graph, "survey", moved.runner.season.search.seed)
