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
from models.plan_reading import centre_line, plan_material, read_plan
from models.score import Judge, Responses
from optimizer.cell import Cell, Points
from optimizer.objectives import measure
from optimizer.tolerance import Tolerance

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
    keys: tuple[str, ...] = ("output_db", "worst_tone_db", "evenness_db", "material_cm3")

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
        columns = {key: np.full(x.shape[0], np.nan) for key in self.keys}
        fits = np.nonzero(excess <= 0.0)[0]
        if fits.size:
            found = self.merits(plan if fits.size == x.shape[0] else plan.rows(fits))
            for key in self.keys:
                columns[key][fits] = found[key]
        excess[fits[~np.isfinite(columns["output_db"][fits])]] = np.inf
        self.evaluations += fits.size
        return Points(x=x, site=site, excess=excess, columns=columns)

    def merits(self, plan: PlanBatch) -> dict[str, np.ndarray]:
        """Objectives of plans that can be built by key, nan where the drive does not settle."""
        batch = read_plan(plan, self.judge.rules, self.sites, self.design.diaphragms)
        responses = self.judge.respond(batch)
        settled = np.all(responses.settled, axis=(1, 2))
        found = plan_objectives(self.judge, plan, batch, responses)
        return {key: np.where(settled, found[key], np.nan) for key in self.keys}


class FitCell(PlanCell):
    """Evaluates plans by how near they come to the network design, which needs no acoustics."""

    keys = ("output_db",)

    def merits(self, plan: PlanBatch) -> dict[str, np.ndarray]:
        """Not a score, but minus the mean square of logarithmic errors of volumes, inertances and areas."""
        return {"output_db": -mismatch(plan, self.design)}


def plan_objectives(
    judge: Judge,
    plan: PlanBatch,
    batch: DesignBatch,
    responses: Responses,
    tolerance: Tolerance | None = None,
) -> dict[str, np.ndarray]:
    """All objectives of plans; sizes are those drawn.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    plan : PlanBatch
        Plans [record].
    batch : DesignBatch
        The designs read off them [record].
    responses : Responses
        Their responses at the permitted drive [record].
    tolerance : Tolerance or None
        Deviations, where the sensitivity to them is wanted [record].

    Returns
    -------
    dict of ndarray, shape (n_plans,)
        By the keys of :data:`optimizer.objectives.OBJECTIVES` [mixed].
    """
    drawn = {
        "material_cm3": plan_material(plan, batch) * 1e6,
        "outer_volume_l": np.full(plan.size, np.prod(plan.outer) * 1e3),
    }
    return measure(judge, batch, responses, tolerance) | drawn


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
