"""Counting and timing: one evaluator for all methods that keeps a ledger of what was submitted and found.

Every design that a method submits counts as one evaluation, whether it fits or not; a point of the race with
its slopes counts once for every variable. The clock is processor time, and stands still while the ledger
itself is at work.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

from models.design import DesignBatch
from models.linear_drive import Linear
from models.score import Judge, Responses
from optimizer.cell import Cell, Points
from optimizer.front import non_dominated
from optimizer.objectives import gains
from optimizer.season import Season
from optimizer.tasks import TaskRunner

OBJECTIVES = ("output", "evenness", "material")
"""Objectives of every hypervolume."""

SIFTED = 4000
"""Designs that are gathered before the ones that another beats are dropped."""

WORST_EXCESS = 1e3
"""Excess of requirements beyond which misfits count as equally bad."""


@dataclass(slots=True, kw_only=True)
class Ledger:
    """What one run of one method submitted and found.

    Attributes
    ----------
    seconds, evaluations : float, int
        The run is over when it has had both [s, 1].
    most_seconds : float
        It is over then in any case [s].
    submitted : int
        Designs submitted so far [1].
    best_db : float
        Best averaged output of a design that fits [dB].
    trace : list of tuple
        Seconds, evaluations and best score whenever that became better [mixed].
    front : ndarray, shape (n, 5)
        Seconds, evaluations and gains of designs that no other beat when they were sifted [mixed].
    """

    seconds: float = np.inf
    evaluations: int = 0
    most_seconds: float = np.inf
    submitted: int = 0
    best_db: float = -np.inf
    trace: list[tuple[float, int, float]] = field(default_factory=list)
    front: np.ndarray = field(default_factory=lambda: np.empty((0, 5)))
    _pool: np.ndarray = field(default_factory=lambda: np.empty((0, 5)))
    _waiting: list[np.ndarray] = field(default_factory=list)
    _began: float = 0.0
    _idle: float = 0.0

    def start(self) -> None:
        """Start the clock."""
        self._began = time.process_time()

    def clock(self) -> float:
        """Processor time since the start, less the ledger's own [s]."""
        return time.process_time() - self._began - self._idle

    def over(self) -> bool:
        """Whether the run has had its time and its evaluations."""
        now = self.clock()
        return now >= self.most_seconds or (now >= self.seconds and self.submitted >= self.evaluations)

    def note(self, points: Points) -> None:
        """Enter what came out."""
        here = time.process_time()
        scores = points.columns["output_db"]
        sound = ~np.isnan(scores)
        if np.any(sound):
            best = float(scores[sound].max())
            if best > self.best_db:
                self.best_db = best
                self.trace.append((self.clock(), self.submitted, best))
            stamp = np.broadcast_to([self.clock(), self.submitted], (int(sound.sum()), 2))
            found = gains(points.columns, OBJECTIVES)[sound]
            self._waiting.append(np.concatenate([stamp, found], axis=1))
            if sum(len(rows) for rows in self._waiting) >= SIFTED:
                self.sift()
        self._idle += time.process_time() - here

    def sift(self) -> None:
        """Add to the front what waits and no other design beats."""
        both = np.concatenate([self._pool, *self._waiting])
        kept = non_dominated(both[:, 2:])
        arrived = kept[kept >= len(self._pool)]
        self._waiting.clear()
        self.front = np.concatenate([self.front, both[arrived]])
        self._pool = both[kept]


class CountingJudge(Judge):
    """The season's evaluator, which counts every design it is given."""

    ledger: Ledger

    def respond(self, batch: DesignBatch, voltage: np.ndarray | float | None = None) -> Responses:
        """Drive a batch, counted."""
        self.ledger.submitted += batch.size
        return Judge.respond(self, batch, voltage)


    def linearise(self, batch: DesignBatch, voltage: np.ndarray) -> Linear:
        """Points with slopes, a design of the batch for every variable, counted."""
        self.ledger.submitted += batch.size
        return Judge.linearise(self, batch, voltage)


class CountingCell(Cell):
    """A cell that also counts the designs that do not fit, which never reach the judge."""

    judge: CountingJudge

    def evaluate(self, x: np.ndarray, site: np.ndarray, move: bool | np.ndarray = False) -> Points:
        """Evaluate points, counted."""
        ledger, before = self.judge.ledger, self.evaluations
        points = Cell.evaluate(self, x, site, move)
        ledger.submitted += x.shape[0] - (self.evaluations - before)
        ledger.note(points)
        return points


class PeerCell(CountingCell):
    """A cell without an archive, which the peers have no use for; the ledger keeps their front."""

    def _keep(self, points: Points) -> None:
        pass

    def values(self, x: np.ndarray, site: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What a peer is told.

        Parameters
        ----------
        x : ndarray, shape (n, dimensions)
            Variables between 0 and 1 [1].
        site : ndarray of int, shape (n, n_slots)
            Sites [1].

        Returns
        -------
        tuple of three ndarrays
            One number that orders all designs, those that fit by their output and the rest below by their
            excess, shape (n,); the gains, shape (n, 3), 0 where a design does not fit; the excess,
            shape (n,) [mixed].
        """
        points = self.evaluate(x, site)
        found = gains(points.columns, OBJECTIVES)
        misfit = np.isnan(found).any(axis=1)
        excess = np.where(misfit, np.clip(points.excess, 1e-6, WORST_EXCESS), 0.0)
        return np.where(misfit, -excess, found[:, 0]), np.where(misfit[:, None], 0.0, found), excess


class CountingRunner(TaskRunner):
    """Runs the race's tasks, counted."""

    def __init__(self, season: Season, ledger: Ledger, cell: type[CountingCell] = CountingCell) -> None:
        super().__init__(season)
        self.judge = CountingJudge(season.rules)
        self.judge.ledger = ledger
        self.kind = cell
        self.judge.outside(self.sites)

    def cell(self, graph: str) -> CountingCell:
        """A new cell of a graph."""
        return self.kind(self.judge, self.space(graph), self.season.search.objectives)

