"""From a network design to the best plan: many arrangements, few variables each.

Random arrangements are first fitted to the volumes and ducts of the network design, which costs no
acoustics; those that can be built and come nearest are then evolved for the score itself, with mouths
rounded to the search's sites, and the best of them with mouths where they are drawn. Each round
goes on with the better part of the one before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from models.arrangement import Arrangement
from models.design import DesignBatch
from models.plan import PlanBatch, bridged_chord, discs_of
from models.plan_checks import faults
from models.plan_reading import read_plan
from models.score import Judge
from optimizer.cell import Goal, Points, joined, merit
from optimizer.evolution import evolve
from optimizer.layout import random_arrangement, turned
from optimizer.layout_cells import FitCell, PlanCell
from optimizer.progress import Progress, silent
from optimizer.sites import search_sites

GOAL = Goal()


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
        fitting=rounds((300, 24, 5), (100, 24, 7), (40, 24, 12)),
        scoring=rounds((16, 32, 6), (6, 48, 12), (3, 64, 20)),
        finishing=rounds((2, 32, 8), (1, 48, 20)),
    ),
    "normal": LayoutEffort(
        fitting=rounds((600, 24, 5), (200, 24, 7), (60, 24, 12)),
        scoring=rounds((32, 32, 6), (12, 48, 12), (4, 64, 24)),
        finishing=rounds((2, 48, 10), (1, 64, 30)),
    ),
    "thorough": LayoutEffort(
        fitting=rounds((6000, 24, 6), (2000, 24, 10), (600, 24, 12)),
        scoring=rounds((200, 32, 8), (60, 48, 20), (20, 64, 60)),
        finishing=rounds((8, 48, 20), (3, 64, 40), (1, 64, 60)),
    ),
}
"""Efforts by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidOut:
    """A plan found for a design.

    Attributes
    ----------
    plan : PlanBatch
        Batch of one [record].
    x : ndarray, shape (dimensions,)
        Its variables of :func:`models.plan.lay` [1].
    design : DesignBatch
        Read off the plan, mouths exactly where they are drawn [record].
    score_db : float
        Its score [dB].
    network_db : float
        Score of the network design that it started from [dB].
    evaluations : int
        Plans whose score was asked for on the way [1].
    """

    plan: PlanBatch
    x: np.ndarray
    design: DesignBatch
    score_db: float
    network_db: float
    evaluations: int = 0

    @property
    def cost_db(self) -> float:
        """What building costs against the free network, negative where the plan is better [dB]."""
        return self.network_db - self.score_db


@dataclass(frozen=True, slots=True, kw_only=True)
class NoPlan:
    """Why a design has no plan.

    Attributes
    ----------
    reasons : tuple of str
        What stood in the way, the most frequent or nearest first [text].
    evaluations : int
        Plans whose score was asked for on the way [1].
    """

    reasons: tuple[str, ...]
    evaluations: int = 0


def lay_out(
    judge: Judge,
    design: DesignBatch,
    effort: LayoutEffort,
    seed: int,
    progress: Progress = silent,
    bridge: float = 0.05,
    stop: Callable[[], bool] = lambda: False,
) -> LaidOut | NoPlan:
    """Best plan found for a network design.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    design : DesignBatch
        Batch of one [record].
    effort : LayoutEffort
        How hard to seek [record].
    seed : int
        Root of the random numbers [1].
    progress : callable
        Told how far it is [record].
    bridge : float
        Longest span that may be bridged at the top of a round cut-out in an upright wall [m].
    stop : callable
        True ends the search early with what was found [flag].

    Returns
    -------
    LaidOut or NoPlan
        The plan, or why there is none [record].
    """
    seeker = _Seeker(judge, design, effort, np.random.default_rng(seed), progress, stop)
    why = seeker.fit(bridge)
    best = None
    if seeker.runs:
        seeker.score()
        best = seeker.finish()
    if best is not None:
        return replace(best, evaluations=seeker.evaluations)
    reasons = tuple(why) or ("no plan that fits has a settled drive",)
    if stop():
        reasons = ("the search was stopped before a plan was found",)
    return NoPlan(reasons=reasons, evaluations=seeker.evaluations)


@dataclass(slots=True, kw_only=True)
class _Run:
    """An arrangement under way."""

    cell: PlanCell
    points: Points

    @property
    def merit(self) -> float:
        """Merit of its best plan, which comes first."""
        return float(merit(self.points.take(np.array([0])), GOAL)[0])

    @property
    def fits(self) -> bool:
        """Whether its best plan can be built."""
        return bool(self.points.excess[0] <= 0.0)


class _Seeker:
    """Seeks a plan for one design, round after round."""

    def __init__(
        self,
        judge: Judge,
        design: DesignBatch,
        effort: LayoutEffort,
        rng: np.random.Generator,
        progress: Progress,
        stop: Callable[[], bool],
    ) -> None:
        self.judge, self.design, self.effort, self.rng = judge, design, effort, rng
        self.progress, self.stop = progress, stop
        self.sites = search_sites(judge.rules)
        self.runs: list[_Run] = []
        self.evaluations = 0
        self._done = 0
        counted = (*effort.fitting[1:], *effort.scoring, *effort.finishing)
        self._steps = sum(one.kept for one in counted)

    def fit(self, bridge: float) -> list[str]:
        """Fit arrangements to the design without acoustics; tells what stands in the way of the others."""
        first, *others = self.effort.fitting
        unjoined = self._draw(first, bridge)
        for one in others:
            self._halve(one, "fitting plans")
        missed = min((run for run in self.runs if not run.fits), key=lambda run: -run.merit, default=None)
        self.runs = [run for run in self.runs if run.fits]
        if missed is not None and not self.runs:
            return faults(missed.cell.plans(missed.points.x[:1]))
        return [] if self.runs else [reason for reason, _ in unjoined.most_common(3)]

    def _draw(self, first: Round, bridge: float) -> Counter[str]:
        """Draw the first round's arrangements, each evolved a little; tells why others cannot be joined."""
        topology = turned(self.design.topology)
        areas = tuple(float(d.area[0]) for d in self.design.diaphragms)
        upright = tuple(bool(bridged_chord(disc) <= bridge) for disc in discs_of(self.judge.rules, 1, areas))
        free = frozenset(site.wall for site in self.sites)
        unjoined: Counter[str] = Counter()
        seen: set[Arrangement] = set()
        for _ in range(40 * first.kept):
            if len(seen) == first.kept or self.stop():
                break
            arrangement = random_arrangement(topology, free, self.rng, upright)
            if isinstance(arrangement, str):
                unjoined[arrangement] += 1
                continue
            if arrangement in seen:
                continue
            seen.add(arrangement)
            cell = FitCell(self.judge, self.design, arrangement, self.sites)
            x = self.rng.random((first.population, arrangement.dimensions))
            start = cell.evaluate(x, np.zeros((first.population, 0), dtype=int))
            self.runs.append(_Run(cell=cell, points=self._evolved(cell, start, first.generations)))
        return unjoined

    def score(self) -> None:
        """Evolve the nearest arrangements for the score, mouths rounded to the search's sites."""
        for run in self._best(self.effort.scoring[0].kept):
            run.cell = PlanCell(self.judge, self.design, run.cell.arrangement, self.sites)
            run.points = self._evolved(run.cell, run.cell.evaluate(run.points.x, run.points.site), 0)
        for one in self.effort.scoring:
            self._halve(one, "evolving plans")

    def finish(self) -> LaidOut | None:
        """Refine the best plans with mouths where they are drawn; None where no drive settles."""
        network_db = float(self.judge.scores(self.judge.respond(self.design))[0])
        found: LaidOut | None = None
        for one in self.effort.finishing:
            for run in self._best(one.kept):
                x = run.points.x[:1]
                plan = run.cell.plans(x)
                built = read_plan(plan, self.judge.rules, None, self.design.diaphragms)
                run.cell = PlanCell(self.judge, self.design, run.cell.arrangement, built.sites)
                scale = self.rng.choice([0.003, 0.01, 0.03], size=(one.population, 1))
                around = x + scale * self.rng.normal(size=(one.population, x.shape[1]))
                around[0] = x[0]
                start = run.cell.evaluate(around, np.zeros((one.population, 0), dtype=int))
                run.points = self._evolved(run.cell, start, one.generations)
                found = self._better(found, run, network_db)
                self._step("finishing plans")
        return found

    def _better(self, found: LaidOut | None, run: _Run, network_db: float) -> LaidOut | None:
        """The best plan so far, or that of a run with mouths exactly where they are drawn."""
        x = run.points.x[0]
        plan = run.cell.plans(x[None])
        built = read_plan(plan, self.judge.rules, None, self.design.diaphragms)
        responses = self.judge.respond(built)
        score = float(self.judge.scores(responses)[0])
        if not (run.fits and np.all(responses.settled)) or (found is not None and score <= found.score_db):
            return found
        return LaidOut(plan=plan, x=x, design=built, score_db=score, network_db=network_db)

    def _best(self, count: int) -> list[_Run]:
        self.runs.sort(key=lambda run: -run.merit)
        self.runs = self.runs[:count]
        return self.runs

    def _halve(self, one: Round, words: str) -> None:
        for run in self._best(one.kept):
            start = _widened(run, one.population, self.rng)
            run.points = self._evolved(run.cell, start, one.generations)
            self._step(words)

    def _evolved(self, cell: PlanCell, start: Points, generations: int) -> Points:
        points = evolve(cell, self.rng, start, generations, GOAL, self.stop)[0]
        if not isinstance(cell, FitCell):
            self.evaluations += cell.evaluations
            cell.evaluations = 0
        return points

    def _step(self, words: str) -> None:
        self._done += 1
        self.progress(self._done, self._steps, words)


def _widened(run: _Run, count: int, rng: np.random.Generator) -> Points:
    """A population of another size around a population; the same where it has that size."""
    points = run.points
    size = points.excess.size
    if count <= size:
        return points.take(np.arange(count))
    x = points.x[np.arange(count - size) % size]
    near = x + 0.04 * rng.normal(size=x.shape)
    return joined([points, run.cell.evaluate(near, points.site[np.arange(count - size) % size])])
