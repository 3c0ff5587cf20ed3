"""Plans of one arrangement as a cell of the search: evaluated by score, or by nearness to a design."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.arrangement import Arrangement
from models.design import DesignBatch
from models.envelope import Site
from models.fit import SLACK
from models.plan import PlanBatch, lay
from models.plan_checks import shortfall
from models.plan_reading import centre_line, read_plan
from models.score import Judge
from optimizer.cell import Cell, Points

SHORT_UNIT = 0.01
"""Length that counts as one unit of excess [m]."""


class PlanCell(Cell):
    """Evaluates plans of one arrangement by their score.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    design : DesignBatch
        Network design, whose diaphragms are kept [record].
    arrangement : Arrangement
        Which part lies where [record].
    sites : tuple of Site
        Places to which mouths are rounded [list].
    """

    space: Any

    def __init__(
        self, judge: Judge, design: DesignBatch, arrangement: Arrangement, sites: tuple[Site, ...]
    ) -> None:
        self.judge = judge
        self.design = design
        self.arrangement = arrangement
        self.sites = sites
        self.evaluations = 0

    def plans(self, x: np.ndarray) -> PlanBatch:
        """Plans of variables."""
        areas = tuple(float(d.area[0]) for d in self.design.diaphragms)
        return lay(self.arrangement, self.judge.rules, x, areas)

    def evaluate(self, x: np.ndarray, site: np.ndarray, move: bool | np.ndarray = False) -> Points:
        """Points of variables; plans that cannot be built have an excess and no score."""
        x = np.clip(x, 0.0, 1.0)
        plan = self.plans(x)
        excess = excess_of(plan)
        values = np.full(x.shape[0], np.nan)
        fits = np.nonzero(excess <= 0.0)[0]
        if fits.size:
            values[fits] = self.merits(plan if fits.size == x.shape[0] else self.plans(x[fits]))
        excess[fits[~np.isfinite(values[fits])]] = np.inf
        self.evaluations += fits.size
        return Points(x=x, site=site, excess=excess, columns={"output_db": values})

    def merits(self, plan: PlanBatch) -> np.ndarray:
        """Scores of plans that can be built, nan where the drive does not settle [dB]."""
        batch = read_plan(plan, self.judge.rules, self.sites, self.design.diaphragms)
        responses = self.judge.respond(batch)
        settled = np.all(responses.settled, axis=(1, 2))
        return np.where(settled, self.judge.scores(responses), np.nan)


class FitCell(PlanCell):
    """Evaluates plans by how near they come to the network design, which needs no acoustics."""

    def merits(self, plan: PlanBatch) -> np.ndarray:
        """Minus the mean square of logarithmic errors of volumes, inertances and areas [1]."""
        return -mismatch(plan, self.design)


def mismatch(plan: PlanBatch, design: DesignBatch) -> np.ndarray:
    """How far plans are from a design's volumes and ducts, shape (n_plans,) [1]."""
    total = np.zeros(plan.size)
    rects = plan.rects[:, :, :, 1] - plan.rects[:, :, :, 0]
    for chamber in range(design.topology.chambers):
        floor = np.prod(rects[:, plan.arrangement.leaf_of("room", chamber)], axis=1)
        total += np.log(floor * plan.height / np.prod(design.sides[0, chamber])) ** 2
    for i, duct in enumerate(design.ducts):
        length, bends = centre_line(plan, i)
        area = plan.lane_widths[:, i] * plan.height
        inert = (length + sum(correction for _, correction in bends)) / area
        total += np.log(inert * duct.area[0] / duct.length[0]) ** 2
        total += 0.5 * np.log(area / duct.area[0]) ** 2
    return total / max(1, design.topology.chambers + len(design.ducts))


def excess_of(plan: PlanBatch) -> np.ndarray:
    """Sum of what requirements are missed by, in units of :data:`SHORT_UNIT`, shape (n_plans,) [1]."""
    short = shortfall(plan) / SHORT_UNIT
    return np.where(short > SLACK, short, 0.0)
