"""Designs read off floor plans: every area, length, bend, patch and side as it is drawn.

A lane's section is its width times the full inner height. Its length follows the centre line from
wall face to wall face; folds and right-angled turns come with their corrections
(:mod:`models.bends`). A folded duct's gap at each fold equals its lanes' width.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from models.arrangement import Block, Mount, Opening
from models.bends import (
    fold_correction,
    fold_skew,
    pair_correction,
    side_end_correction,
    side_end_skew,
)
from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth, Patch
from models.envelope import WALLS, Site, in_plane_axes
from models.plan import DuctEnd, PlanBatch, Plans
from models.plan_sites import nearest_sites
from models.rules import Rules
from models.topology import OUTSIDE

LEAST_WIDTH = 1e-4
"""Width of lanes below which plans cannot be built anyway [m]."""

DRIVER, DUCT, DIAPHRAGM = "driver", "duct", "diaphragm"


def read_plan(
    plan: PlanBatch,
    rules: Rules,
    sites: tuple[Site, ...] | None = None,
    diaphragms: tuple[Diaphragms, ...] = (),
) -> DesignBatch:
    """Designs of plans.

    Parameters
    ----------
    plan : PlanBatch
        Plans [record].
    rules : Rules
        Driver [record].
    sites : tuple of Site or None
        Places to which mouths and faces outside are rounded; None takes them exactly as drawn [list].
    diaphragms : tuple of Diaphragms
        Batches of one that give the moving parts of each diaphragm, whose places are drawn [list].

    Returns
    -------
    DesignBatch
        The designs [record].
    """
    reader = _Reader(plan, rules, sites)
    topology = plan.arrangement.topology
    first = len(topology.drivers)
    drivers = tuple(reader.mount(i, edge, rules.driver.area) for i, edge in enumerate(topology.drivers))
    ducts = tuple(reader.duct(i) for i in range(len(topology.ducts)))
    passive = tuple(
        reader.diaphragm(first + i, edge, diaphragms[i]) for i, edge in enumerate(topology.diaphragms)
    )
    sides = np.stack([reader.sides(chamber) for chamber in range(topology.chambers)], axis=1)
    return DesignBatch(
        topology=topology,
        sides=sides,
        driver_ends=drivers,
        ducts=ducts,
        diaphragms=passive,
        sites=tuple(reader.sites) if sites is None else sites,
    )


def centre_line(plan: PlanBatch, duct: int) -> tuple[np.ndarray, tuple[tuple[np.ndarray, np.ndarray], ...]]:
    """Length of a duct along its centre line, and the place and correction of every bend.

    Parameters
    ----------
    plan : PlanBatch
        Plans [record].
    duct : int
        Index of the duct [1].

    Returns
    -------
    tuple of ndarray, shape (n_plans,), and pairs of such
        Length; along the centre line and correction of each bend [m].
    """
    block = plan.arrangement.blocks[duct]
    wall, width, run = plan.envelope.wall, plan.lane_widths[:, duct], plan.run_length(duct)
    places, kinds = [], []
    if block.lanes > 1:
        fold = fold_correction(width, width, wall), fold_skew(width, wall)
    if block.openings[0].sideways or block.openings[1].sideways:
        turn = side_end_correction(width, wall), side_end_skew(width, wall)
    length = np.full(plan.size, wall)
    if block.openings[0].sideways:
        # half a lane across, and half a lane less along: the length is that of a straight lane
        places.append(length + 0.5 * width)
        kinds.append(turn)
    for lane in range(block.lanes):
        straight = run - (lane > 0) * width - (lane < block.lanes - 1) * width
        length = length + straight
        if lane < block.lanes - 1:
            around = 2.0 * width + wall
            places.append(length + 0.5 * around)
            kinds.append(fold)
            length = length + around
    if block.openings[1].sideways:
        places.append(length - 0.5 * width)
        kinds.append(turn)
    corrections = [kind[0] for kind in kinds]
    # neighbouring bends turn in opposite senses, but for a single lane that opens twice on one side
    same_way = block.lanes == 1 and block.openings[0].face == block.openings[1].face
    shared: dict[tuple[int, int], np.ndarray] = {}  # by the kinds of both bends, each one object
    for i, ((_, before), (_, after)) in enumerate(pairwise(kinds)):
        key = id(before), id(after)
        if key not in shared:
            shared[key] = 0.5 * pair_correction(width, run - 2.0 * width, before, after, same_way)
        both = shared[key]
        corrections[i], corrections[i + 1] = corrections[i] + both, corrections[i + 1] + both
    return np.asarray(length + wall), tuple(zip(places, corrections, strict=True))


def acoustic_lengths(plans: Plans) -> np.ndarray:
    """Lengths of ducts with the corrections of all their bends, as :func:`centre_line` has them one by one.

    Parameters
    ----------
    plans : Plans
        Plans, of one or of several arrangements of a graph [record].

    Returns
    -------
    ndarray, shape (n_plans, n_ducts)
        Length of a straight channel of equal inertance [m].
    """
    codes, wall, width = plans.codes, plans.envelope.wall, plans.lane_widths
    width = np.maximum(width, LEAST_WIDTH)
    folds, turns = codes.lanes - 1, codes.sideways.sum(axis=2)
    total = 2.0 * wall + codes.lanes * plans.runs + folds * wall
    total = total + folds * fold_correction(width, width, wall) + turns * side_end_correction(width, wall)
    apart, fold, turn = plans.runs - 2.0 * width, fold_skew(width, wall), side_end_skew(width, wall)
    same = np.all(codes.opening_axis[..., :1] == codes.opening_axis[..., 1:], axis=2)
    same &= np.all(codes.opening_high[..., :1] == codes.opening_high[..., 1:], axis=2)
    twice = (folds == 0) & (turns == 2)
    total = total + np.maximum(folds - 1, 0) * pair_correction(width, apart, fold, fold)
    total = total + np.where(folds > 0, turns, 0) * pair_correction(width, apart, turn, fold)
    total = total + (twice & ~same) * pair_correction(width, apart, turn, turn)
    return np.asarray(total + (twice & same) * pair_correction(width, apart, turn, turn, True))


class _Reader:
    """Reads one batch; collects the sites that its mouths need."""

    def __init__(self, plan: PlanBatch, rules: Rules, sites: tuple[Site, ...] | None) -> None:
        self.plan = plan
        self.rules = rules
        self.given = sites
        self.sites: list[Site] = list(sites or ())
        self.axes = plan.arrangement.axes
        self.inside = np.empty((*plan.rects.shape[:2], 3, 2))
        self.inside[:, :, :2] = plan.rects
        wall = plan.envelope.wall
        self.inside[:, :, 2] = wall, wall + plan.height

    def _room(self, chamber: int) -> np.ndarray:
        return self.inside[:, self.plan.arrangement.leaf_of("room", chamber)]

    def sides(self, chamber: int) -> np.ndarray:
        room = self._room(chamber)
        sides = np.empty((self.plan.size, 3))
        sides[:, self.axes] = room[:, :, 1] - room[:, :, 0]
        return sides

    def _patch(self, chamber: int, face: tuple[int, bool], centre: np.ndarray, size: np.ndarray) -> Patch:
        """Patch on a side of a room; centre in plan coordinates and full size along u, v, h, (n, 3)."""
        name = self.plan.arrangement.wall_name(face)
        low = self._room(chamber)[:, :, 0]
        order = [self.axes.index(axis) for axis in in_plane_axes(name)]
        return Patch(wall=name, centre=(centre - low)[:, order], half=0.5 * size[:, order])

    def _mouth(self, face: tuple[int, bool], centre: np.ndarray) -> Mouth:
        name = self.plan.arrangement.wall_name(face)
        order = [self.axes.index(axis) for axis in in_plane_axes(name)]
        at = centre[:, order]
        if self.given is None:
            index = []
            for u, v in at:
                site = Site(name, (float(u), float(v)))
                if site not in self.sites:
                    self.sites.append(site)
                index.append(self.sites.index(site))
            return Mouth(site=np.array(index))
        walls = np.full(self.plan.size, WALLS.index(name))
        return Mouth(site=nearest_sites(walls, at, self.given))

    def mount(self, i: int, edge: tuple[int, int], area: float) -> tuple[End, End]:
        mount: Mount = self.plan.arrangement.mounts[i]
        centre = self.plan.mounts[:, i]
        size = np.full((self.plan.size, 3), np.sqrt(area))
        front, rear = edge
        body = self._patch(rear, mount.face, centre, size)
        if front == OUTSIDE:
            return self._mouth(mount.face, centre), body
        axis, high = mount.face
        return self._patch(front, (axis, not high), centre, size), body

    def duct(self, i: int) -> Ducts:
        plan = self.plan
        edge = plan.arrangement.topology.ducts[i]
        block: Block = plan.arrangement.blocks[i]
        width = plan.lane_widths[:, i]
        length, bends = centre_line(plan, i)
        ends = tuple(
            self._duct_end(place, opening, end)
            for place, opening, end in zip(edge, block.openings, plan.ends[i], strict=True)
        )
        return Ducts(
            name=f"duct {i + 1}",
            ends=(ends[0], ends[1]),
            area=width * plan.height,
            length=length,
            shape="slot",
            slot_height=np.minimum(width, plan.height),
            loss_factor=np.ones(plan.size),
            bends=bends,
        )

    def _duct_end(self, place: int, opening: Opening, end: DuctEnd) -> End:
        axis, high = opening.face
        centre = np.empty((self.plan.size, 3))
        centre[:, axis] = end.at
        centre[:, 1 - axis] = end.centre
        centre[:, 2] = self.plan.envelope.wall + 0.5 * self.plan.height
        if place == OUTSIDE:
            return self._mouth(opening.face, centre)
        size = np.empty((self.plan.size, 3))
        size[:, axis], size[:, 1 - axis], size[:, 2] = 0.0, end.width, self.plan.height
        return self._patch(place, (axis, not high), centre, size)

    def diaphragm(self, i: int, edge: tuple[int, int], given: Diaphragms) -> Diaphragms:
        def column(values: np.ndarray) -> np.ndarray:
            return np.repeat(values[:1], self.plan.size)

        return Diaphragms(
            name=given.name,
            ends=self.mount(i, edge, float(given.area[0])),
            area=column(given.area),
            mass=column(given.mass),
            compliance=column(given.compliance),
            q=column(given.q),
            excursion_limit=column(given.excursion_limit),
        )


def blank_volume(plan: PlanBatch) -> np.ndarray:
    """Volume of the sealed blanks of plans, shape (n_plans,) [m3]."""
    blanks = [i for i, leaf in enumerate(plan.arrangement.leaves) if leaf.kind == "blank"]
    rects = plan.rects[:, blanks]
    floors = np.prod(rects[..., 1] - rects[..., 0], axis=2)
    return np.asarray(floors.sum(axis=1) * plan.height)


def plan_material(plan: PlanBatch, batch: DesignBatch) -> np.ndarray:
    """Material of plans: the envelope less all air and the cut-outs, shape (n_plans,) [m3].

    Parameters
    ----------
    plan : PlanBatch
        Plans [record].
    batch : DesignBatch
        The designs read off them by :func:`read_plan` [record].

    Returns
    -------
    ndarray, shape (n_plans,)
        Volume of body and lid without bosses, pads and rounded mouths [m3].
    """
    air = np.prod(batch.sides, axis=2).sum(axis=1) + blank_volume(plan)
    for duct in batch.ducts:
        air = air + duct.area * duct.length
    for disc in plan.discs:
        air = air + 0.25 * np.pi * disc.cutout**2 * plan.envelope.wall
    return np.asarray(np.prod(plan.outer) - air)
