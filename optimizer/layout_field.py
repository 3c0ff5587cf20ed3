"""Arrangements under way with their plans, for :mod:`optimizer.layout_search`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.cell import Goal, Points, joined, merit
from optimizer.layout_cells import PlanCell

GOAL = Goal()

NEAR = 0.04
"""How far from a plan new ones lie that widen a population."""


@dataclass(slots=True, kw_only=True)
class Field:
    """Equally many plans of each arrangement, arrangement after arrangement, the best of each first.

    Attributes
    ----------
    cell : PlanCell
        Evaluates them [record].
    points : Points
        The plans [record].
    """

    cell: PlanCell
    points: Points

    @property
    def each(self) -> int:
        """Plans of each arrangement."""
        return self.points.excess.size // len(self.cell.arrangements)

    @property
    def merits(self) -> np.ndarray:
        """Merit of the best plan of each arrangement."""
        return merit(self.points.take(np.arange(len(self.cell.arrangements)) * self.each), GOAL)

    def order(self, count: int) -> np.ndarray:
        """Indexes of the best arrangements, best first."""
        return np.argsort(-self.merits, kind="stable")[:count]

    def rows_of(self, arrangements: np.ndarray, count: int) -> np.ndarray:
        """Rows of some arrangements' plans, shape (n, count), from the best again where there are fewer."""
        return np.asarray(arrangements[:, None] * self.each + np.arange(count) % self.each)

    def some(self, arrangements: np.ndarray) -> Field:
        """Some of the arrangements, by index, with their plans."""
        here = self.cell
        some = [here.arrangements[i] for i in arrangements]
        cell = type(here)(here.judge, here.design, some, here.sites, here.codes.take(arrangements))
        return Field(cell=cell, points=self.points.take(self.rows_of(arrangements, self.each).ravel()))

    def widened(self, count: int, rng: np.random.Generator) -> Points:
        """As many plans of each arrangement, new ones near the best."""
        every = np.arange(len(self.cell.arrangements))
        if count <= self.each:
            return self.points.take(self.rows_of(every, count).ravel())
        more = self.rows_of(every, count - self.each).ravel()
        x = self.points.x[more]
        near = self.cell.evaluate(x + NEAR * rng.normal(size=x.shape), self.points.site[more])
        rows = [np.arange(size).reshape(every.size, -1) for size in (self.points.excess.size, more.size)]
        order = np.concatenate([rows[0], rows[1] + self.points.excess.size], axis=1)
        return joined([self.points, near]).take(order.ravel())


def no_sites(x: np.ndarray) -> np.ndarray:
    """Sites of plans, whose mouths lie where they are drawn: none."""
    return np.zeros((x.shape[0], 0), dtype=int)
