"""Floor plans with measures: a batch of positions of walls and mounts of one arrangement.

Lengths are in plan axes from the envelope's lowest corner. Outer walls, inner walls, lane
partitions, floor and lid all have the envelope's wall thickness.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.arrangement import Arrangement, Node
from models.envelope import Envelope
from models.rules import Rules

FRAME_MARGIN = 0.006
"""Ring around a diaphragm on which it is glued [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """What a driver or diaphragm needs.

    Attributes
    ----------
    cutout, frame : ndarray, shape (n_plans,)
        Diameters of its hole and of its frame [m].
    depth : float
        Depth of its body behind the wall [m].
    clearance : float
        Free depth that its face needs [m].
    """

    cutout: np.ndarray
    frame: np.ndarray
    depth: float
    clearance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DuctEnd:
    """An end of a duct on the floor: the gap in the wall that it passes.

    Attributes
    ----------
    centre, width : ndarray, shape (n_plans,)
        Along the wall, in plan coordinates [m].
    at : ndarray, shape (n_plans,)
        Position of the block's face, normal to the wall [m].
    """

    centre: np.ndarray
    width: np.ndarray
    at: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanBatch:
    """Plans of one arrangement.

    Attributes
    ----------
    arrangement : Arrangement
        Which part lies where [record].
    envelope : Envelope
        Outer sizes and wall [record].
    rects : ndarray, shape (n_plans, n_leaves, 2, 2)
        Low and high position of every leaf along u, then along v [m].
    lane_widths : ndarray, shape (n_plans, n_ducts)
        Width of the lanes of each duct [m].
    ends : tuple of pairs of DuctEnd
        Ends of each duct [record].
    discs : tuple of Disc
        Sizes of drivers, then of diaphragms [record].
    mounts : ndarray, shape (n_plans, n_mounts, 3)
        Centre of each mount on its wall, in u, v, h [m].
    spare : ndarray, shape (n_plans, n_mounts)
        Room that each mount can move in, negative where it does not fit [m].
    """

    arrangement: Arrangement
    envelope: Envelope
    rects: np.ndarray
    lane_widths: np.ndarray
    ends: tuple[tuple[DuctEnd, DuctEnd], ...]
    discs: tuple[Disc, ...]
    mounts: np.ndarray
    spare: np.ndarray

    @property
    def size(self) -> int:
        """Number of plans."""
        return int(self.rects.shape[0])

    def rows(self, rows: np.ndarray) -> PlanBatch:
        """Some of the plans.

        Parameters
        ----------
        rows : ndarray of int, shape (k,)
            Their indexes [1].

        Returns
        -------
        PlanBatch
            Those plans [record].
        """

        def end(one: DuctEnd) -> DuctEnd:
            return DuctEnd(centre=one.centre[rows], width=one.width[rows], at=one.at[rows])

        return replace(
            self,
            rects=self.rects[rows],
            lane_widths=self.lane_widths[rows],
            ends=tuple((end(a), end(b)) for a, b in self.ends),
            discs=tuple(replace(d, cutout=d.cutout[rows], frame=d.frame[rows]) for d in self.discs),
            mounts=self.mounts[rows],
            spare=self.spare[rows],
        )

    @property
    def outer(self) -> np.ndarray:
        """Outer sizes along u, v, h, shape (3,) [m]."""
        return self.envelope.outer_sides[list(self.arrangement.axes)]

    @property
    def height(self) -> float:
        """Inner height between floor and lid [m]."""
        return float(self.outer[2] - 2.0 * self.envelope.wall)

    def run_length(self, duct: int) -> np.ndarray:
        """Inner length of a duct's block along its lanes, shape (n_plans,) [m]."""
        block = self.arrangement.blocks[duct]
        rect = self.rects[:, self.arrangement.leaf_of("duct", duct), block.run]
        return np.asarray(rect[:, 1] - rect[:, 0])


def lay(
    arrangement: Arrangement, rules: Rules, x: np.ndarray, diaphragm_area: tuple[float, ...] = ()
) -> PlanBatch:
    """Plans of variables between 0 and 1, whether they can be built or not.

    Parameters
    ----------
    arrangement : Arrangement
        Which part lies where [record].
    rules : Rules
        Envelope, driver and its excursion [record].
    x : ndarray, shape (n_plans, dimensions)
        Position of each cut within what it cuts, from the root on, then two a mount [1].
    diaphragm_area : tuple of float
        Effective area of each diaphragm [m2].

    Returns
    -------
    PlanBatch
        The plans [record].
    """
    envelope = rules.envelope
    wall = envelope.wall
    outer = envelope.outer_sides[list(arrangement.axes)]
    n = x.shape[0]
    rects = np.zeros((n, len(arrangement.leaves), 2, 2))
    column = 0

    def place(node: Node, rect: np.ndarray) -> None:
        nonlocal column
        if isinstance(node, int):
            rects[:, node] = rect
            return
        low, high = rect[:, node.axis, 0], rect[:, node.axis, 1]
        at = low + x[:, column] * (high - low - wall)
        column += 1
        below, above = rect.copy(), rect.copy()
        below[:, node.axis, 1], above[:, node.axis, 0] = at, at + wall
        place(node.low, below)
        place(node.high, above)

    whole = np.empty((n, 2, 2))
    whole[:, :, 0], whole[:, :, 1] = wall, outer[:2] - wall
    place(arrangement.tree, whole)
    widths, ends = _ducts(arrangement, wall, rects)
    discs = discs_of(rules, n, diaphragm_area)
    positions, spare = _mounts(arrangement, wall, outer, rects, discs, x[:, arrangement.cuts :])
    return PlanBatch(
        arrangement=arrangement,
        envelope=envelope,
        rects=rects,
        lane_widths=widths,
        ends=ends,
        discs=discs,
        mounts=positions,
        spare=spare,
    )


def _ducts(
    arrangement: Arrangement, wall: float, rects: np.ndarray
) -> tuple[np.ndarray, tuple[tuple[DuctEnd, DuctEnd], ...]]:
    widths = np.zeros((rects.shape[0], len(arrangement.blocks)))
    result = []
    for i, block in enumerate(arrangement.blocks):
        rect = rects[:, arrangement.leaf_of("duct", i)]
        run, across = rect[:, block.run], rect[:, 1 - block.run]
        width = (across[:, 1] - across[:, 0] - (block.lanes - 1) * wall) / block.lanes
        widths[:, i] = width
        pair = []
        for end in (0, 1):
            opening = block.openings[end]
            if opening.sideways:
                centre = run[:, 1] - 0.5 * width if block.high_of(end) else run[:, 0] + 0.5 * width
            else:
                centre = across[:, 0] + block.lane_of(end) * (width + wall) + 0.5 * width
            axis, high = opening.face
            pair.append(DuctEnd(centre=centre, width=width, at=rect[:, axis, int(high)]))
        result.append((pair[0], pair[1]))
    return widths, tuple(result)


def bridged_chord(disc: Disc) -> float:
    """Chord of the first plan's round cut-out above which its top overhangs beyond 45 degrees [m]."""
    return float(disc.cutout[0]) * float(np.sqrt(0.5))


def discs_of(rules: Rules, n: int, diaphragm_area: tuple[float, ...]) -> tuple[Disc, ...]:
    """Sizes of a season's drivers, then of diaphragms of given areas, for n plans [record]."""
    driver = rules.driver
    reach = 2.0 * rules.limits.excursion + 0.004
    one = Disc(
        cutout=np.full(n, driver.cutout),
        frame=np.full(n, driver.frame),
        depth=driver.depth,
        clearance=reach,
    )
    discs = [one] * rules.driver_count
    for area in diaphragm_area:
        cutout = np.full(n, 2.0 * np.sqrt(area / np.pi))
        discs.append(Disc(cutout=cutout, frame=cutout + 2.0 * FRAME_MARGIN, depth=reach, clearance=reach))
    return tuple(discs)


def _mounts(
    arrangement: Arrangement,
    wall: float,
    outer: np.ndarray,
    rects: np.ndarray,
    discs: tuple[Disc, ...],
    x: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Centres of the mounts and the room that they can move in."""
    n = rects.shape[0]
    positions = np.zeros((n, len(arrangement.mounts), 3))
    spare = np.full((n, len(arrangement.mounts)), np.inf)
    inside = np.empty((n, len(arrangement.leaves), 3, 2))
    inside[:, :, :2] = rects
    inside[:, :, 2] = wall, outer[2] - wall
    for i, (mount, disc) in enumerate(zip(arrangement.mounts, discs, strict=True)):
        axis, high = mount.face
        body = inside[:, mount.leaf]
        positions[:, i, axis] = body[:, axis, int(high)]
        for place, along in enumerate(a for a in range(3) if a != axis):
            # outside a frame may cover the ends of inner walls, inside it needs flat wall
            near = disc.cutout if mount.other < 0 else disc.frame
            low, top = body[:, along, 0] + 0.5 * near, body[:, along, 1] - 0.5 * near
            far = np.array([[0.0, outer[along]]]) if mount.other < 0 else inside[:, mount.other, along]
            if along == 2:
                top = top - wall  # under the lid the wall around the hole stands alone
            reach = disc.frame if mount.other < 0 else disc.cutout
            low = np.maximum(low, far[:, 0] + 0.5 * reach)
            top = np.minimum(top, far[:, 1] - 0.5 * reach)
            positions[:, i, along] = 0.5 * (low + top) + (x[:, 2 * i + place] - 0.5) * np.maximum(
                top - low, 0.0
            )
            spare[:, i] = np.minimum(spare[:, i], top - low)
    return positions, spare
