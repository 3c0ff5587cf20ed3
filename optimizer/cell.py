"""One cell of the search: a graph's search space with an evaluator and an archive."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from models.fit import violation
from models.score import Judge
from optimizer.front import non_dominated
from optimizer.objectives import gains, measure, objective_keys
from optimizer.space import SearchSpace
from optimizer.tolerance import Tolerance

BOUND_SLACK = 1e-9
"""Share by which a bound may be missed and still counts as kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A bound that another objective must keep.

    Attributes
    ----------
    key : str
        Key of the objective [text].
    sign : float
        +1 where it must be at least the value, -1 where at most [1].
    value : float
        The bound, in the objective's unit [mixed].
    """

    key: str
    sign: float
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """What a run seeks: one objective, with bounds on others.

    Attributes
    ----------
    key : str
        Key of the objective [text].
    sign : float
        +1 where more is better, -1 where less is [1].
    bounds : tuple of Bound
        What counts as fitting besides the requirements [list].
    """

    key: str = "output_db"
    sign: float = 1.0
    bounds: tuple[Bound, ...] = ()


@dataclass(slots=True, kw_only=True)
class Points:
    """Designs as variables with what was found for them.

    Attributes
    ----------
    x : ndarray, shape (n, dimensions)
        Continuous variables [1].
    site : ndarray of int, shape (n, n_slots)
        Sites [1].
    excess : ndarray, shape (n,)
        By how much requirements are exceeded; 0 where a design fits [1].
    columns : dict of ndarray, shape (n,)
        Objectives by key; nan where a design does not fit [mixed].
    """

    x: np.ndarray
    site: np.ndarray
    excess: np.ndarray
    columns: dict[str, np.ndarray] = field(default_factory=dict)

    def take(self, rows: np.ndarray) -> Points:
        """Some of the points."""
        columns = {key: value[rows] for key, value in self.columns.items()}
        return Points(x=self.x[rows], site=self.site[rows], excess=self.excess[rows], columns=columns)


def joined(parts: list[Points]) -> Points:
    """Several sets of points as one."""
    return Points(
        x=np.concatenate([p.x for p in parts]),
        site=np.concatenate([p.site for p in parts]),
        excess=np.concatenate([p.excess for p in parts]),
        columns={key: np.concatenate([p.columns[key] for p in parts]) for key in parts[0].columns},
    )


class Cell:
    """Evaluates points of one graph, counts them, and keeps the ones that no other beats.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    space : SearchSpace
        Variables of the graph [record].
    objectives : tuple of str
        Names of the season's objectives, for the archive [text].
    """

    def __init__(self, judge: Judge, space: SearchSpace, objectives: tuple[str, ...]) -> None:
        self.judge = judge
        self.space = space
        self.objectives = objectives
        self.tolerance = Tolerance(judge) if "tolerance" in objectives else None
        self.evaluations = 0
        self.archive: Points | None = None

    def evaluate(self, x: np.ndarray, site: np.ndarray, move: bool | np.ndarray = False) -> Points:
        """Points of variables; chambers that together exceed the envelope are shrunk first."""
        x, site = self.space.repair(x, site, move)
        batch = self.space.decode(x, site)
        excess = violation(batch, self.judge.rules)
        fits = np.nonzero(excess <= 0.0)[0]
        if fits.size == 0:
            none = {key: np.full(x.shape[0], np.nan) for key in objective_keys(self.objectives)}
            return Points(x=x, site=site, excess=excess, columns=none)
        picked = batch.rows(fits)
        responses = self.judge.respond(picked)
        found = measure(self.judge, picked, responses, self.tolerance)
        sound = np.all(responses.settled, axis=(1, 2)) & np.isfinite(found["output_db"])
        columns = {}
        for key, values in found.items():
            columns[key] = np.full(x.shape[0], np.nan)
            columns[key][fits] = np.where(sound, values, np.nan)
        excess[fits[~sound]] = np.inf
        self.evaluations += fits.size
        points = Points(x=x, site=site, excess=excess, columns=columns)
        self._keep(points.take(fits[sound]))
        return points

    def _keep(self, points: Points) -> None:
        if points.excess.size == 0:
            return
        pool = points if self.archive is None else joined([self.archive, points])
        self.archive = pool.take(non_dominated(gains(pool.columns, self.objectives)))


def penalty(points: Points, goal: Goal) -> np.ndarray:
    """Excess of requirements and of the goal's bounds, shape (n,) [1]."""
    total = points.excess
    for bound in goal.bounds:
        short = bound.sign * (bound.value - points.columns[bound.key]) / max(abs(bound.value), 1.0)
        total = total + np.where(short > BOUND_SLACK, short, 0.0)
    return np.asarray(total)


def merit(points: Points, goal: Goal) -> np.ndarray:
    """One number that orders points: what fits by its objective, the rest below by its excess."""
    over = penalty(points, goal)
    value = goal.sign * points.columns[goal.key]
    return np.where(over > 0.0, -1e9 * (1.0 + over), value)
