"""From a network design to the best plan: many arrangements, few variables each.

Random arrangements are first fitted to the volumes and ducts of the network design, which costs no
acoustics; those that can be built and come nearest are then evolved for the score itself, the best
of them longer, with mouths at their exact places at the end.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch
from models.envelope import Site
from models.plan import PlanBatch, bridged_chord, discs_of
from models.plan_checks import faults
from models.plan_reading import read_plan
from models.score import Judge
from optimizer.cell import Goal, Points
from optimizer.evolution import best_rows, evolve
from optimizer.layout import random_arrangement, turned
from optimizer.layout_cells import FitCell, PlanCell, excess_of
from optimizer.progress import Progress, silent
from optimizer.sites import search_sites


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutEffort:
    """How hard plans are sought.

    Attributes
    ----------
    drawn : int
        Arrangements that are drawn [1].
    kept : int
        Arrangements that are evolved for the score [1].
    finished : int
        Of these, evolved longer [1].
    population, generations : int
        Of the long evolution [1].
    """

    drawn: int
    kept: int
    finished: int
    population: int
    generations: int


LAYOUT_EFFORTS = {
    "quick": LayoutEffort(drawn=300, kept=16, finished=3, population=32, generations=30),
    "normal": LayoutEffort(drawn=1500, kept=48, finished=6, population=40, generations=60),
    "thorough": LayoutEffort(drawn=6000, kept=120, finished=12, population=48, generations=120),
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
    tried : int
        Arrangements that were drawn and could be joined [1].
    """

    plan: PlanBatch
    x: np.ndarray
    design: DesignBatch
    score_db: float
    network_db: float
    tried: int

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
    """

    reasons: tuple[str, ...]


def lay_out(
    judge: Judge,
    design: DesignBatch,
    effort: LayoutEffort,
    seed: int,
    progress: Progress = silent,
    bridge: float = 0.05,
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

    Returns
    -------
    LaidOut or NoPlan
        The plan, or why there is none [record].
    """
    rng = np.random.default_rng(seed)
    sites = search_sites(judge.rules)
    found, why = _fitted(judge, design, effort, rng, sites, bridge)
    if not found:
        return NoPlan(reasons=tuple(why))
    found = found[: effort.kept]
    network_db = float(judge.scores(judge.respond(design))[0])
    goal = Goal()
    short: list[tuple[PlanCell, Points]] = []
    for i, (fitted, points) in enumerate(found):
        cell = PlanCell(judge, design, fitted.arrangement, sites)
        population = cell.evaluate(points.x, points.site)
        short.append((cell, evolve(cell, rng, population, 8, goal, _never)[0]))
        progress(i + 1, len(found) + effort.finished, "evolving plans")
    short.sort(key=lambda pair: -_best(pair[1]))
    finished: list[LaidOut] = []
    for i, (cell, points) in enumerate(short[: effort.finished]):
        start = _widened(cell, points, effort.population, rng)
        points = evolve(cell, rng, start, effort.generations, goal, _never)[0]
        finished.append(_exact(cell, points, effort, rng, network_db))
        progress(len(found) + i + 1, len(found) + effort.finished, "finishing plans")
    best = max(finished, key=lambda one: one.score_db)
    if not np.isfinite(best.score_db):
        return NoPlan(reasons=tuple(why) or ("no plan that fits has a settled drive",))
    return best


def _never() -> bool:
    return False


def _best(points: Points) -> float:
    values = points.columns["output_db"]
    return float(np.nanmax(values)) if np.any(np.isfinite(values)) else -np.inf


def _fitted(
    judge: Judge,
    design: DesignBatch,
    effort: LayoutEffort,
    rng: np.random.Generator,
    sites: tuple[Site, ...],
    bridge: float,
) -> tuple[list[tuple[PlanCell, Points]], list[str]]:
    """Arrangements with plans that can be built, nearest to the design first; and what stopped the others."""
    topology = turned(design.topology)
    areas = tuple(float(d.area[0]) for d in design.diaphragms)
    upright = tuple(bool(bridged_chord(disc) <= bridge) for disc in discs_of(judge.rules, 1, areas))
    free = frozenset(site.wall for site in sites)
    goal = Goal()
    fitted: list[tuple[float, PlanCell, Points]] = []
    unjoined: Counter[str] = Counter()
    nearest: tuple[float, list[str]] = (np.inf, [])
    seen: set[str] = set()
    for _ in range(40 * effort.drawn):
        if len(seen) == effort.drawn:
            break
        arrangement = random_arrangement(topology, free, rng, upright)
        if isinstance(arrangement, str):
            unjoined[arrangement] += 1
            continue
        key = repr(arrangement)
        if key in seen:
            continue
        seen.add(key)
        cell = FitCell(judge, design, arrangement, sites)
        x = rng.random((24, arrangement.dimensions))
        points = evolve(cell, rng, cell.evaluate(x, np.zeros((24, 0), dtype=int)), 24, goal, _never)[0]
        if points.excess[0] <= 0.0:
            fitted.append((_best(points), cell, points))
        elif points.excess[0] < nearest[0]:
            nearest = (float(points.excess[0]), faults(cell.plans(points.x[:1])))
    fitted.sort(key=lambda one: -one[0])
    why = nearest[1] or [reason for reason, _ in unjoined.most_common(3)]
    return [(cell, points) for _, cell, points in fitted], why


def _widened(cell: PlanCell, points: Points, count: int, rng: np.random.Generator) -> Points:
    """A larger population around a smaller one."""
    rows = np.arange(count) % points.excess.size
    spread = np.where(np.arange(count) < points.excess.size, 0.0, 0.04)[:, None]
    x = points.x[rows] + spread * rng.normal(size=(count, points.x.shape[1]))
    return cell.evaluate(x, points.site[rows])


def _exact(
    cell: PlanCell, points: Points, effort: LayoutEffort, rng: np.random.Generator, network_db: float
) -> LaidOut:
    """Best plan with mouths where they are drawn, refined twice about itself."""
    best: LaidOut | None = None
    goal = Goal()
    for _ in range(3):
        x = points.x[best_rows(points, goal, 1)]
        plan = cell.plans(x)
        built = read_plan(plan, cell.judge.rules, None, cell.design.diaphragms)
        responses = cell.judge.respond(built)
        fits = bool(np.all(responses.settled)) and excess_of(plan)[0] <= 0.0
        score = float(cell.judge.scores(responses)[0]) if fits else -np.inf
        if best is None or score > best.score_db:
            best = LaidOut(
                plan=plan, x=x[0], design=built, score_db=score, network_db=network_db, tried=effort.drawn
            )
        near = PlanCell(cell.judge, cell.design, cell.arrangement, built.sites)
        scale = rng.choice([0.003, 0.01, 0.03], size=(effort.population, 1))
        around = x + scale * rng.normal(size=(effort.population, x.shape[1]))
        around[0] = x[0]
        start = near.evaluate(around, np.zeros((effort.population, 0), dtype=int))
        points = evolve(near, rng, start, effort.generations // 2, goal, _never)[0]
    assert best is not None
    return best
