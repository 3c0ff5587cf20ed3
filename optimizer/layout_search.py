"""From a network design to the best plan: many arrangements, few variables each.

Random arrangements are first fitted to the volumes and ducts of the network design, which costs no
acoustics; those that can be built and come nearest are then evolved for the score itself, with mouths
rounded to the search's sites, and the best of them with mouths where they are drawn. Each round
goes on with the better part of the one before; between the rounds for the score, near relatives of the
best arrangements join.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from models.arrangement import Arrangement
from models.design import DesignBatch
from models.plan import PlanBatch
from models.plan_checks import faults
from models.plan_codes import Codes, codes_of
from models.plan_discs import bridged_chord, discs_of
from models.plan_reading import read_plan
from models.score import Judge
from optimizer.cell import Bound, Goal, Points, joined
from optimizer.evolution import evolve
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.layout import altered, random_arrangement, turned
from optimizer.layout_cells import LikenessCell, PlanCell, excess_of
from optimizer.layout_efforts import LayoutEffort, Round
from optimizer.layout_field import GOAL, Field, no_sites
from optimizer.progress import Progress, silent
from optimizer.sites import search_sites

TRADED_DB = 0.4
"""Score that a plan gives up for another goal; less than candidates may give up for such roles."""

TRADES = 2
"""How often the traded plan is sought again about itself."""

NEAR_DB = 0.05
"""What placing mouths exactly may change."""

SPREADS = (0.0, 0.05, 0.2)
"""How far plans of a relative lie from those of the arrangement that it was altered from."""


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
    why: list[str] = []
    evaluations = 0
    candidates: list[_Candidate] = []
    for start in range(effort.starts):
        seeker = _Seeker(judge, design, effort, (seed, start), progress, stop, bridge)
        field = seeker.fit()
        if isinstance(field, Field):
            candidates += seeker.score(field)
        else:
            why = field
        evaluations += seeker.evaluations
    seeker.evaluations = 0
    best = seeker.finish(candidates)
    if best is not None and wanted.key != GOAL.key:
        best = seeker.trade(best, wanted)
    evaluations += seeker.evaluations
    if best is not None:
        return replace(best, evaluations=evaluations)
    reasons = tuple(why) or ("no plan that fits has a settled drive",)
    if stop():
        reasons = ("the search was stopped before a plan was found",)
    return NoPlan(reasons=reasons, evaluations=evaluations)


_Candidate = tuple[float, Arrangement, np.ndarray]
"""Merit of a plan, its arrangement and its variables."""


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
        self.leaves = self.topology.chambers + len(self.topology.ducts) + 1
        self.seen: set[Arrangement] = set()
        self.evaluations = 0
        steps = len(effort.fitting) + len(effort.scoring)
        self._done = seed[1] * steps
        self._steps = effort.starts * steps + sum(one.kept for one in effort.finishing)

    def fit(self) -> Field | list[str]:
        """Arrangements whose plans fit, bred for the score of their likeness; or why there are none."""
        first, *others = self.effort.fitting
        arrangements, unjoined = self._draw(first.kept)
        if not arrangements:
            return [reason for reason, _ in unjoined.most_common(3)]
        cell = self._cell(LikenessCell, arrangements)
        x = self.rng.random((len(arrangements) * first.population, self._dimensions))
        field = self._evolved(cell, cell.evaluate(x, no_sites(x)), first.generations, "fitting plans")
        for one in others:
            field = self._round(field, one, "fitting plans")
        fitting = np.nonzero(field.points.excess[:: field.each] <= 0.0)[0]
        if not fitting.size:
            nearest = field.some(field.order(1))
            return faults(self._plan(nearest.cell, nearest.points.x[0]))
        return field.some(fitting)

    def _draw(self, count: int) -> tuple[list[Arrangement], Counter[str]]:
        """Arrangements drawn at random, each once; why others cannot be joined."""
        unjoined: Counter[str] = Counter()
        drawn: list[Arrangement] = []
        for _ in range(40 * count):
            if len(drawn) == count or self.stop():
                break
            new = random_arrangement(self.topology, self.free, self.rng, self.upright)
            if isinstance(new, str):
                unjoined[new] += 1
            elif new not in self.seen:
                self.seen.add(new)
                drawn.append(new)
        return drawn, unjoined

    def score(self, field: Field) -> list[_Candidate]:
        """Evolve the best arrangements for their own score, mouths rounded to the search's sites."""
        field = field.some(field.order(self.effort.scoring[0].kept))
        cell = self._cell(PlanCell, field.cell.arrangements, field.cell.codes)
        field = Field(cell=cell, points=cell.evaluate(field.points.x, field.points.site))
        field = self._evolved(cell, field.points, 0, "")
        for one in self.effort.scoring:
            field = self._round(field, one, "evolving plans")
        merits, cell = field.merits, field.cell
        return [
            (
                float(merits[i]),
                cell.arrangements[i],
                self._own(cell.arrangements[i], field.points.x[i * field.each]),
            )
            for i in field.order(self.effort.finishing[0].kept)
        ]

    def _round(self, field: Field, one: Round, words: str) -> Field:
        """The best arrangements, joined by near relatives, evolved further."""
        best = field.some(field.order(one.kept))
        start = best.widened(one.population, self.rng)
        cell = best.cell
        new: list[Arrangement] = []
        parents: list[int] = []
        for i, parent in enumerate(cell.arrangements):
            for _ in range(one.relatives):
                other = altered(parent, self.topology, self.free, self.rng, self.upright)
                if not isinstance(other, str) and other not in self.seen and not self.stop():
                    self.seen.add(other)
                    new.append(other)
                    parents.append(i)
        if new:
            joining = self._cell(type(cell), new)
            x = best.points.x[best.rows_of(np.array(parents), one.population).ravel()]
            x = x + self.rng.choice(SPREADS, size=(x.shape[0], 1)) * self.rng.normal(size=x.shape)
            start = joined([start, joining.evaluate(x, no_sites(x))])
            self._count(joining)
            codes = cell.codes.with_others(joining.codes)
            cell = self._cell(type(cell), [*cell.arrangements, *new], codes)
        return self._evolved(cell, start, one.generations, words)

    def finish(self, plans: list[_Candidate]) -> LaidOut | None:
        """Refine the best plans with mouths where they are drawn; None where no drive settles."""
        network_db = float(self.judge.scores(self.judge.respond(self.design))[0])
        found: LaidOut | None = None
        for one in self.effort.finishing:
            plans = sorted(plans, key=lambda plan: -plan[0])[: one.kept]
            for k, (_, arrangement, x) in enumerate(plans):
                cell, start = self._around(arrangement, x, one.population)
                ended = self._evolved(cell, start, one.generations, "finishing plans")
                plans[k] = (float(ended.merits[0]), arrangement, ended.points.x[0])
                if found is None or ended.points.columns["output_db"][0] > found.score_db - NEAR_DB:
                    new = self._laid_out(cell, ended.points.x[0], network_db)
                    found = new if found is None or new.score_db > found.score_db else found
        return found if found is not None and np.isfinite(found.score_db) else None

    def trade(self, best: LaidOut, wanted: Goal) -> LaidOut:
        """Another plan of the same arrangement, better by another goal at a small loss of score."""
        floor = Bound(key=GOAL.key, sign=1.0, value=best.score_db - TRADED_DB)
        goal = replace(wanted, bounds=(*wanted.bounds, floor))
        one = self.effort.finishing[-1]
        for _ in range(TRADES):
            cell, start = self._around(best.plan.arrangement, best.x, one.population)
            points = evolve(cell, self.rng, start, one.generations, goal, self.stop)[0]
            self._count(cell)
            new = self._laid_out(cell, points.x[0], best.network_db)
            if new.score_db >= floor.value - NEAR_DB:
                best = new
        return best

    @property
    def _dimensions(self) -> int:
        """Variables of the richest arrangement."""
        mounts = len(self.topology.drivers) + len(self.topology.diaphragms)
        return self.leaves - 1 + 2 * mounts

    def _own(self, arrangement: Arrangement, x: np.ndarray) -> np.ndarray:
        """Variables that an arrangement has, of those of the richest one."""
        return np.concatenate([x[: arrangement.cuts], x[self.leaves - 1 :]])

    def _cell(
        self, kind: type[PlanCell], arrangements: Sequence[Arrangement], codes: Codes | None = None
    ) -> PlanCell:
        codes = codes_of(arrangements, self.leaves) if codes is None else codes
        return kind(self.judge, self.design, arrangements, self.sites, codes)

    def _around(self, arrangement: Arrangement, x: np.ndarray, count: int) -> tuple[PlanCell, Points]:
        """A cell with mouths where a plan has them, and a population about that plan, which comes first."""
        cell = PlanCell(self.judge, self.design, [arrangement], self.sites)
        built = read_plan(self._plan(cell, x), self.judge.rules, None, self.design.diaphragms)
        cell.sites = built.sites
        scale = self.rng.choice([0.003, 0.01, 0.03], size=(count, 1))
        around = x + scale * self.rng.normal(size=(count, x.size))
        around[0] = x
        return cell, cell.evaluate(around, no_sites(around))

    def _plan(self, cell: PlanCell, x: np.ndarray) -> PlanBatch:
        """The plan of variables of a cell's only arrangement."""
        return cell.plans(x[None]).of(cell.arrangements[0], slice(None))

    def _laid_out(self, cell: PlanCell, x: np.ndarray, network_db: float) -> LaidOut:
        """A plan with its design, mouths where they are drawn; an unsound one scores minus infinity."""
        plan = self._plan(cell, x)
        design = read_plan(plan, self.judge.rules, None, self.design.diaphragms)
        responses = self.judge.respond(design)
        sound = bool(np.all(responses.settled)) and excess_of(plan)[0] <= 0.0
        score = float(self.judge.scores(responses)[0]) if sound else -np.inf
        return LaidOut(plan=plan, x=x, design=design, score_db=score, network_db=network_db)

    def _evolved(self, cell: PlanCell, start: Points, generations: int, words: str) -> Field:
        islands = len(cell.arrangements)
        points = joined(evolve(cell, self.rng, start, generations, GOAL, self.stop, islands))
        self._count(cell)
        if words:
            self._done += 1
            self.progress(self._done, self._steps, words)
        return Field(cell=cell, points=points)

    def _count(self, cell: PlanCell) -> None:
        """Count scores asked for; those of likenesses are none of a plan."""
        if not isinstance(cell, LikenessCell):
            self.evaluations += cell.evaluations
        cell.evaluations = 0
