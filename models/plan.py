"""Floor plans with measures: a batch of positions of walls and mounts of arrangements.

Lengths are in plan axes from the envelope's lowest corner. Outer walls, inner walls, lane
partitions, floor and lid all have the envelope's wall thickness.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np

from models.arrangement import FLOOR_AXES, Arrangement
from models.envelope import Envelope
from models.plan_codes import Codes, codes_of
from models.plan_discs import Disc, discs_of
from models.rules import Rules

ALONG = np.array([(1, 2), (0, 2), (0, 1)])
"""The two other axes, by an axis."""

PLAN_AXES = np.array([(*FLOOR_AXES[axis], axis) for axis in range(3)])
"""Envelope axes of u, v, h, by the axis of the height."""


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
class Plans:
    """Plans of one or of several arrangements of one graph, as arrays.

    Attributes
    ----------
    codes : Codes
        Arrangement of every plan [record].
    envelope : Envelope
        Outer sizes and wall [record].
    rects : ndarray, shape (n_plans, n_leaves, 2, 2)
        Low and high position of every leaf along u, then along v [m].
    lane_widths, runs : ndarray, shape (n_plans, n_ducts)
        Width of the lanes of each duct, and inner length of its block along them [m].
    end_centre, end_at : ndarray, shape (n_plans, n_ducts, 2)
        Middle of each end's gap along its wall, and position of the block's face there [m].
    discs : tuple of Disc
        Sizes of drivers, then of diaphragms [record].
    mounts : ndarray, shape (n_plans, n_mounts, 3)
        Centre of each mount on its wall, in u, v, h [m].
    spare : ndarray, shape (n_plans, n_mounts)
        Room that each mount can move in, negative where it does not fit [m].
    """

    codes: Codes
    envelope: Envelope
    rects: np.ndarray
    lane_widths: np.ndarray
    runs: np.ndarray
    end_centre: np.ndarray
    end_at: np.ndarray
    discs: tuple[Disc, ...]
    mounts: np.ndarray
    spare: np.ndarray

    @property
    def size(self) -> int:
        """Number of plans."""
        return int(self.rects.shape[0])

    @property
    def outers(self) -> np.ndarray:
        """Outer sizes along u, v, h, shape (n_plans, 3) [m]."""
        return outer_sizes(self.codes, self.envelope)

    @property
    def heights(self) -> np.ndarray:
        """Inner height between floor and lid, shape (n_plans,) [m]."""
        return np.asarray(self.outers[:, 2] - 2.0 * self.envelope.wall)

    def rows(self, rows: np.ndarray | slice) -> Self:
        """Some of the plans.

        Parameters
        ----------
        rows : ndarray of int, shape (k,), or slice
            Their indexes [1].

        Returns
        -------
        Plans
            Those plans, of the same class [record].
        """
        return replace(self, **self._rows(rows))

    def of(self, arrangement: Arrangement, rows: np.ndarray | slice) -> PlanBatch:
        """Some of the plans, which all have one arrangement."""
        return PlanBatch(arrangement=arrangement, envelope=self.envelope, **self._rows(rows))

    def _rows(self, rows: np.ndarray | slice) -> dict[str, Any]:
        arrays = ("rects", "lane_widths", "runs", "end_centre", "end_at", "mounts", "spare")
        discs = tuple(replace(d, cutout=d.cutout[rows], frame=d.frame[rows]) for d in self.discs)
        taken: dict[str, Any] = {key: getattr(self, key)[rows] for key in arrays}
        return taken | {"codes": self.codes.take(rows), "discs": discs}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanBatch(Plans):
    """Plans of one arrangement.

    Attributes
    ----------
    arrangement : Arrangement
        Which part lies where [record].
    """

    arrangement: Arrangement

    @property
    def outer(self) -> np.ndarray:
        """Outer sizes along u, v, h, shape (3,) [m]."""
        return self.envelope.outer_sides[list(self.arrangement.axes)]

    @property
    def height(self) -> float:
        """Inner height between floor and lid [m]."""
        return float(self.outer[2] - 2.0 * self.envelope.wall)

    @property
    def ends(self) -> tuple[tuple[DuctEnd, DuctEnd], ...]:
        """Ends of each duct."""
        centre, at, width = self.end_centre, self.end_at, self.lane_widths

        def end(i: int, k: int) -> DuctEnd:
            return DuctEnd(centre=centre[:, i, k], width=width[:, i], at=at[:, i, k])

        return tuple((end(i, 0), end(i, 1)) for i in range(width.shape[1]))

    def run_length(self, duct: int) -> np.ndarray:
        """Inner length of a duct's block along its lanes, shape (n_plans,) [m]."""
        return np.asarray(self.runs[:, duct])


def outer_sizes(codes: Codes, envelope: Envelope) -> np.ndarray:
    """Outer sizes of arrangements along u, v, h, shape (n, 3) [m]."""
    return np.asarray(envelope.outer_sides[PLAN_AXES][codes.height_axis])


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
    codes = codes_of([arrangement]).take(np.zeros(x.shape[0], dtype=int))
    return lay_coded(codes, rules, x, diaphragm_area).of(arrangement, slice(None))


def lay_coded(codes: Codes, rules: Rules, x: np.ndarray, diaphragm_area: tuple[float, ...] = ()) -> Plans:
    """The same for an arrangement of its own a plan.

    Parameters
    ----------
    codes : Codes
        Arrangement of every plan [record].
    rules : Rules
        Envelope, driver and its excursion [record].
    x : ndarray, shape (n_plans, n_cuts + 2 n_mounts)
        As of :func:`lay`; cuts that an arrangement lacks are ignored [1].
    diaphragm_area : tuple of float
        Effective area of each diaphragm [m2].

    Returns
    -------
    Plans
        The plans [record].
    """
    envelope = rules.envelope
    n, cuts = codes.cut_node.shape
    outer, wall, every = outer_sizes(codes, envelope), envelope.wall, np.arange(n)
    nodes = np.empty((n, 2 * cuts + 1, 2, 2))
    nodes[:, 0, :, 0], nodes[:, 0, :, 1] = wall, outer[:, :2] - wall
    for k in range(cuts):
        axis = codes.cut_axis[:, k]
        rect = nodes[every, codes.cut_node[:, k]]
        low, high = rect[every, axis, 0], rect[every, axis, 1]
        at = low + x[:, k] * (high - low - wall)
        nodes[:, 2 * k + 1], nodes[:, 2 * k + 2] = rect, rect
        nodes[every, 2 * k + 1, axis, 1], nodes[every, 2 * k + 2, axis, 0] = at, at + wall
    rects = nodes[every[:, None], codes.leaf_node]
    discs = discs_of(rules, n, diaphragm_area)
    positions, spare = _mounts(codes, wall, outer, rects, discs, x[:, cuts:])
    return Plans(
        codes=codes,
        envelope=envelope,
        rects=rects,
        discs=discs,
        mounts=positions,
        spare=spare,
        **_ducts(codes, wall, rects),
    )


def _ducts(codes: Codes, wall: float, rects: np.ndarray) -> dict[str, np.ndarray]:
    """Widths, runs and ends of ducts, by their names in :class:`Plans`."""
    row = np.arange(rects.shape[0])[:, None]
    rect = rects[row, codes.ducts]
    duct = np.arange(codes.ducts.shape[1])
    run, across = rect[row, duct, codes.run], rect[row, duct, 1 - codes.run]
    width = (across[..., 1] - across[..., 0] - (codes.lanes - 1) * wall) / codes.lanes
    one, low, high = width[..., None], run[..., :1], run[..., 1:]
    turned = np.where(codes.far > 0, high - 0.5 * one, low + 0.5 * one)
    straight = across[..., :1] + codes.lane * (one + wall) + 0.5 * one
    at = rect[row[..., None], duct[:, None], codes.opening_axis, codes.opening_high]
    return {
        "lane_widths": width,
        "runs": run[..., 1] - run[..., 0],
        "end_centre": np.where(codes.sideways > 0, turned, straight),
        "end_at": at,
    }


def _mounts(
    codes: Codes,
    wall: float,
    outer: np.ndarray,
    rects: np.ndarray,
    discs: tuple[Disc, ...],
    x: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Centres of the mounts and the room that they can move in."""
    n = rects.shape[0]
    every = np.arange(n)
    positions = np.zeros((n, len(discs), 3))
    spare = np.full((n, len(discs)), np.inf)
    inside = np.empty((n, rects.shape[1], 3, 2))
    inside[:, :, :2] = rects
    inside[:, :, 2, 0], inside[:, :, 2, 1] = wall, outer[:, 2:] - wall
    for i, disc in enumerate(discs):
        axis, other = codes.mount_axis[:, i], codes.mount_other[:, i]
        outside = other < 0
        body, beyond = inside[every, codes.mount_leaf[:, i]], inside[every, other]
        positions[every, i, axis] = body[every, axis, codes.mount_high[:, i]]
        # outside a frame may cover the ends of inner walls, inside it needs flat wall
        near = 0.5 * np.where(outside, disc.cutout, disc.frame)
        reach = 0.5 * np.where(outside, disc.frame, disc.cutout)
        for place in (0, 1):
            along = ALONG[axis, place]
            low, top = body[every, along, 0] + near, body[every, along, 1] - near
            top = top - np.where(along == 2, wall, 0.0)  # under the lid the wall around the hole stands alone
            low = np.maximum(low, np.where(outside, 0.0, beyond[every, along, 0]) + reach)
            top = np.minimum(top, np.where(outside, outer[every, along], beyond[every, along, 1]) - reach)
            at = 0.5 * (low + top) + (x[:, 2 * i + place] - 0.5) * np.maximum(top - low, 0.0)
            positions[every, i, along] = at
            spare[:, i] = np.minimum(spare[:, i], top - low)
    return positions, spare
