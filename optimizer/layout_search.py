"""From a network design to the best plan: many arrangements, few variables each.

Random arrangements are first fitted to the volumes and ducts of the network design, which costs no
acoustics; those that can be built and come nearest are then evolved for the score itself, with mouths
rounded to the search's sites, and the best of them with mouths where they are drawn. Each round
goes on with the better part of the one before; between the rounds for the score, near relatives of the
best arrangements join.
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
from optimizer.cell import Bound, Goal, Points, joined, merit
from optimizer.evolution import evolve
from optimizer.layout import altered, random_arrangement, turned
from optimizer.layout_cells import FitCell, PlanCell, excess_of
from optimizer.layout_efforts import LayoutEffort, Round
from optimizer.progress import Progress, silent
from optimizer.sites import search_sites

GOAL = Goal()

TRADED_DB = 0.4
"""Score that a plan gives up for another goal; less than candidates may give up for such roles."""

TRADES = 2
"""How often the traded plan is sought again about itself."""

NEAR_DB = 0.05
"""What placing mouths exactly may change."""


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
    searches_db : tuple of float
        Scores at which all searches for a plan of the design ended, where there were several [dB].
    """

    plan: PlanBatch
    x: np.ndarray
    design: DesignBatch
    score_db: float
    network_db: float
    evaluations: int = 0
    searches_db: tuple[float, ...] = ()

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
    wanted: Goal = GOAL,
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
    wanted : Goal
        Another objective for which the plan that scores best gives up :data:`TRADED_DB` [record].

    Returns
    -------
    LaidOut or NoPlan
        The plan, or why there is none [record].
    """
    best: LaidOut | None = None
    evaluations = 0
    for start in range(effort.starts):
        seeker = _Seeker(judge, design, effort, (seed, start), progress, stop, bridge)
        why = seeker.fit()
        if seeker.runs:
            seeker.score()
            found = seeker.finish()
            if found is not None and (best is None or found.score_db > best.score_db):
                best = found
        if best is not None and wanted.key != GOAL.key and start == effort.starts - 1:
            best = seeker.trade(best, wanted)
        evaluations += seeker.evaluations
    if best is not None:
        return replace(best, evaluations=evaluations)
    reasons = tuple(why) or ("no plan that fits has a settled drive",)
    if stop():
        reasons = ("the search was stopped before a plan was found",)
    return NoPlan(reasons=reasons, evaluations=evaluations)


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
    """Seeks a plan for one design from one start, round after round."""

    def __init__(
        self,
        judge: Judge,
        design: DesignBatch,
        effort: LayoutEffort,
        seed: tuple[int, int],
        progress: Progress,
        stop: Callable[[], bool],
        bridge: float,
    ) -> None:
        self.judge, self.design, self.effort = judge, design, effort
        self.rng = np.random.default_rng(seed)
        self.progress, self.stop = progress, stop
        self.sites = search_sites(judge.rules)
        self.topology = turned(design.topology)
        areas = tuple(float(d.area[0]) for d in design.diaphragms)
        discs = discs_of(judge.rules, 1, areas)
        self.upright = tuple(bool(bridged_chord(disc) <= bridge) for disc in discs)
        self.free = frozenset(site.wall for site in self.sites)
        self.seen: set[Arrangement] = set()
        self.runs: list[_Run] = []
        self.evaluations = 0
        counted = (*effort.fitting[1:], *effort.scoring, *effort.finishing)
        steps = sum(one.kept for one in counted)
        self._done, self._steps = seed[1] * steps, effort.starts * steps

    def fit(self) -> list[str]:
        """Fit arrangements to the design without acoustics; tells what stands in the way of the others."""
        first, *others = self.effort.fitting
        unjoined = self._draw(first)
        for one in others:
            self._halve(one, "fitting plans")
        missed = min((run for run in self.runs if not run.fits), key=lambda run: -run.merit, default=None)
        self.runs = [run for run in self.runs if run.fits]
        if missed is not None and not self.runs:
            return faults(missed.cell.plans(missed.points.x[:1]))
        return [] if self.runs else [reason for reason, _ in unjoined.most_common(3)]

    def _draw(self, first: Round) -> Counter[str]:
        """Draw the first round's arrangements, each evolved a little; tells why others cannot be joined."""
        unjoined: Counter[str] = Counter()
        for _ in range(40 * first.kept):
            if len(self.seen) == first.kept or self.stop():
                break
            arrangement = random_arrangement(self.topology, self.free, self.rng, self.upright)
            if isinstance(arrangement, str):
                unjoined[arrangement] += 1
                continue
            if arrangement in self.seen:
                continue
            self.seen.add(arrangement)
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
        first, *others = self.effort.scoring
        self._halve(first, "evolving plans")
        for one in others:
            for run in list(self._best(one.kept)):
                self._add_relatives(run, first)
            self._halve(one, "evolving plans")

    def _add_relatives(self, run: _Run, first: Round) -> None:
        """Add arrangements near to that of a run, each evolved as long as in the first scoring round."""
        for _ in range(self.effort.relatives):
            new = altered(run.cell.arrangement, self.topology, self.free, self.rng, self.upright)
            if isinstance(new, str) or new in self.seen or self.stop():
                continue
            self.seen.add(new)
            cell = PlanCell(self.judge, self.design, new, self.sites)
            x = run.points.x[np.arange(first.population) % run.points.excess.size]
            spread = self.rng.choice([0.0, 0.05, 0.2], size=(first.population, 1))
            x = x + spread * self.rng.normal(size=x.shape)
            start = cell.evaluate(x, np.zeros((first.population, 0), dtype=int))
            self.runs.append(_Run(cell=cell, points=self._evolved(cell, start, first.generations)))

    def finish(self) -> LaidOut | None:
        """Refine the best plans with mouths where they are drawn; None where no drive settles."""
        network_db = float(self.judge.scores(self.judge.respond(self.design))[0])
        found: LaidOut | None = None
        for one in self.effort.finishing:
            for run in self._best(one.kept):
                run.cell, start = self._around(run.cell.arrangement, run.points.x[0], one.population)
                run.points = self._evolved(run.cell, start, one.generations)
                if found is None or run.points.columns["output_db"][0] > found.score_db - NEAR_DB:
                    new = self._laid_out(run.cell, run.points.x[0], network_db)
                    found = new if found is None or new.score_db > found.score_db else found
                self._step("finishing plans")
        return found if found is not None and np.isfinite(found.score_db) else None

    def trade(self, best: LaidOut, wanted: Goal) -> LaidOut:
        """Another plan of the same arrangement, better by another goal at a small loss of score."""
        floor = Bound(key=GOAL.key, sign=1.0, value=best.score_db - TRADED_DB)
        goal = replace(wanted, bounds=(*wanted.bounds, floor))
        one = self.effort.finishing[-1]
        for _ in range(TRADES):
            cell, start = self._around(best.plan.arrangement, best.x, one.population)
            points = evolve(cell, self.rng, start, one.generations, goal, self.stop)[0]
            self.evaluations += cell.evaluations
            new = self._laid_out(cell, points.x[0], best.network_db)
            if new.score_db >= floor.value - NEAR_DB:
                best = new
        return best

    def _around(self, arrangement: Arrangement, x: np.ndarray, count: int) -> tuple[PlanCell, Points]:
        """A cell with mouths where a plan has them, and a population about that plan, which comes first."""
        cell = PlanCell(self.judge, self.design, arrangement, self.sites)
        built = read_plan(cell.plans(x[None]), self.judge.rules, None, self.design.diaphragms)
        cell.sites = built.sites
        scale = self.rng.choice([0.003, 0.01, 0.03], size=(count, 1))
        around = x + scale * self.rng.normal(size=(count, x.size))
        around[0] = x
        return cell, cell.evaluate(around, np.zeros((count, 0), dtype=int))

    def _laid_out(self, cell: PlanCell, x: np.ndarray, network_db: float) -> LaidOut:
        """A plan with its design, mouths where they are drawn; an unsound one scores minus infinity."""
        plan = cell.plans(x[None])
        design = read_plan(plan, self.judge.rules, None, self.design.diaphragms)
        responses = self.judge.respond(design)
        sound = bool(np.all(responses.settled)) and excess_of(plan)[0] <= 0.0
        score = float(self.judge.scores(responses)[0]) if sound else -np.inf
        return LaidOut(plan=plan, x=x, design=design, score_db=score, network_db=network_db)

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
