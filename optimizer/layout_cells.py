"""Plans of arrangements as a cell of the search: evaluated by their score, or by that of a likeness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from models.arrangement import Arrangement
from models.design import DesignBatch, Ducts, End, Mouth, Patch
from models.envelope import Site
from models.fit import SLACK
from models.plan import PlanBatch, Plans, lay_coded
from models.plan_checks import shortfall
from models.plan_codes import Codes, codes_of
from models.plan_reading import acoustic_lengths, plan_material, read_plan
from models.plan_sites import mouth_sites
from models.score import Judge, Responses
from optimizer.cell import Cell, Points
from optimizer.objectives import measure
from optimizer.tolerance import Tolerance

SHORT_UNIT = 0.01
"""Length that counts as one unit of excess [m]."""


class PlanCell(Cell):
    """Evaluates plans of arrangements by their score.

    Points come arrangement after arrangement, equally many of each.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    design : DesignBatch
        Network design, whose diaphragms are kept [record].
    arrangements : sequence of Arrangement
        Which part lies where, of one graph [list].
    sites : tuple of Site
        Places to which mouths are rounded [list].
    codes : Codes or None
        Their codes, where they are known [record].
    """

    space: Any
    keys: tuple[str, ...] = ("output_db", "worst_tone_db", "evenness_db", "material_cm3")

    def __init__(
        self,
        judge: Judge,
        design: DesignBatch,
        arrangements: Sequence[Arrangement],
        sites: tuple[Site, ...],
        codes: Codes | None = None,
    ) -> None:
        self.judge = judge
        self.design = design
        self.arrangements = arrangements
        self.sites = sites
        self.codes = codes_of(arrangements) if codes is None else codes
        self.evaluations = 0

    def plans(self, x: np.ndarray) -> Plans:
        """Plans of variables."""
        areas = tuple(float(d.area[0]) for d in self.design.diaphragms)
        return lay_coded(self.codes.take(self.owners(x.shape[0])), self.judge.rules, x, areas)

    def owners(self, points: int) -> np.ndarray:
        """Index of the arrangement of each of a number of points."""
        return np.repeat(np.arange(len(self.arrangements)), points // len(self.arrangements))

    def evaluate(self, x: np.ndarray, site: np.ndarray, move: bool | np.ndarray = False) -> Points:
        """Points of variables; plans that cannot be built have an excess and no score."""
        x = np.clip(x, 0.0, 1.0)
        plans = self.plans(x)
        excess = excess_of(plans)
        columns = {key: np.full(x.shape[0], np.nan) for key in self.keys}
        fits = np.nonzero(excess <= 0.0)[0]
        if fits.size:
            found = self.merits(plans, fits)
            for key in self.keys:
                columns[key][fits] = found[key]
        excess[fits[~np.isfinite(columns["output_db"][fits])]] = np.inf
        self.evaluations += fits.size
        return Points(x=x, site=site, excess=excess, columns=columns)

    def merits(self, plans: Plans, fits: np.ndarray) -> dict[str, np.ndarray]:
        """Objectives of plans that can be built by key, nan where the drive does not settle."""
        owners = self.owners(plans.size)[fits]
        parts = []
        for i in np.unique(owners):
            plan = plans.of(self.arrangements[i], fits[owners == i])
            batch = read_plan(plan, self.judge.rules, self.sites, self.design.diaphragms)
            responses = self.judge.respond(batch)
            settled = np.all(responses.settled, axis=(1, 2))
            found = plan_objectives(self.judge, plan, batch, responses)
            parts.append({key: np.where(settled, found[key], np.nan) for key in self.keys})
        return {key: np.concatenate([part[key] for part in parts]) for key in self.keys}


class LikenessCell(PlanCell):
    """Evaluates plans by the score of the network design with their volumes, ducts and sites.

    Walls and places in rooms are those of the design, so that plans of all arrangements make one batch.
    """

    keys = ("output_db",)

    def merits(self, plans: Plans, fits: np.ndarray) -> dict[str, np.ndarray]:
        """Score of the network with the sizes of plans, nan where its drive does not settle."""
        responses = self.judge.respond(resized(self.design, plans.rows(fits), self.sites))
        settled = np.all(responses.settled, axis=(1, 2))
        return {"output_db": np.where(settled, self.judge.scores(responses), np.nan)}


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


def resized(design: DesignBatch, plans: Plans, sites: tuple[Site, ...]) -> DesignBatch:
    """A network design with the sites and volumes of plans, and straight ducts of equal inertance.

    Parameters
    ----------
    design : DesignBatch
        Batch of one [record].
    plans : Plans
        Plans of arrangements of its graph [record].
    sites : tuple of Site
        Places to which mouths and faces outside are rounded [list].

    Returns
    -------
    DesignBatch
        One design a plan; chambers are cubes, with ends where the design has them [record].
    """
    n = plans.size
    given = design.rows(np.zeros(n, dtype=int))
    rooms = plans.rects[np.arange(n)[:, None], plans.codes.rooms]
    floors = np.prod(rooms[..., 1] - rooms[..., 0], axis=2)
    sides = np.cbrt(floors * plans.heights[:, None])

    def patch(one: Patch, place: int, half: np.ndarray) -> Patch:
        side = sides[:, place, None]
        half = np.minimum(half, 0.5 * side)
        centre = one.centre * side / given.sides[:, place].mean(axis=1, keepdims=True)
        return Patch(wall=one.wall, centre=np.clip(centre, half, side - half), half=half)

    def duct_end(one: End, place: int, i: int, k: int) -> End:
        if isinstance(one, Patch):
            return patch(one, place, np.repeat(0.5 * np.sqrt(areas[:, i, None]), 2, axis=1))
        axis, high = plans.codes.opening_axis[:, i, k], plans.codes.opening_high[:, i, k]
        centre = np.empty((n, 3))
        centre[every, axis], centre[every, 1 - axis] = plans.end_at[:, i, k], plans.end_centre[:, i, k]
        centre[:, 2] = plans.envelope.wall + 0.5 * plans.heights
        return Mouth(site=mouth_sites(plans, axis, high, centre, sites))

    def mounted(one: End, place: int, i: int) -> End:
        if isinstance(one, Patch):
            return patch(one, place, one.half)
        axis, high = plans.codes.mount_axis[:, i], plans.codes.mount_high[:, i]
        return Mouth(site=mouth_sites(plans, axis, high, plans.mounts[:, i], sites))

    every = np.arange(n)
    areas, lengths = plans.lane_widths * plans.heights[:, None], acoustic_lengths(plans)
    ducts = tuple(
        Ducts(
            name=duct.name,
            ends=(duct_end(duct.ends[0], edge[0], i, 0), duct_end(duct.ends[1], edge[1], i, 1)),
            area=areas[:, i],
            length=np.maximum(lengths[:, i], plans.envelope.wall),
            shape="slot",
            slot_height=np.minimum(plans.lane_widths[:, i], plans.heights),
            loss_factor=np.ones(n),
        )
        for i, (duct, edge) in enumerate(zip(given.ducts, design.topology.ducts, strict=True))
    )
    first = len(given.driver_ends)
    drivers = enumerate(zip(design.topology.drivers, given.driver_ends, strict=True))
    passive = enumerate(zip(design.topology.diaphragms, given.diaphragms, strict=True), first)
    return DesignBatch(
        topology=design.topology,
        sides=np.repeat(sides[:, :, None], 3, axis=2),
        driver_ends=tuple((mounted(a, edge[0], i), mounted(b, edge[1], i)) for i, (edge, (a, b)) in drivers),
        ducts=ducts,
        diaphragms=tuple(
            replace(one, ends=(mounted(one.ends[0], edge[0], i), mounted(one.ends[1], edge[1], i)))
            for i, (edge, one) in passive
        ),
        sites=sites,
    )


def excess_of(plan: Plans) -> np.ndarray:
    """Sum of what requirements are missed by, in units of :data:`SHORT_UNIT`, shape (n_plans,) [1]."""
    short = shortfall(plan) / SHORT_UNIT
    return np.where(short > SLACK, short, 0.0)
