"""Arrangements of one graph as integers, so that plans of many arrangements make one batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from models.arrangement import Arrangement, Node

OF_ENDS = ("lane", "far", "sideways", "opening_axis", "opening_high", "opening_leaf")
"""Codes of both ends of every duct."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Codes:
    """Arrangements of one graph, one a row.

    Rectangles are numbered as they are cut: 0 is the whole inside, cut k makes 2k + 1 (low) and 2k + 2
    (high). Where an arrangement has fewer leaves than others, its missing leaves are the whole inside.

    Attributes
    ----------
    height_axis : ndarray of int, shape (n,)
        Axis of the envelope that walls stand along [1].
    cut_node, cut_axis : ndarray of int, shape (n, n_cuts)
        Rectangle that each cut parts, and the plan axis that it is normal to [1].
    leaf_node : ndarray of int, shape (n, n_leaves)
        Rectangle of each leaf [1].
    rooms, blanks, ducts : ndarray of int, shape (n, number)
        Leaves of the chambers, of sealed blanks and of the ducts' blocks [1].
    run, lanes : ndarray of int, shape (n, n_ducts)
        Plan axis that lanes run along, and their number [1].
    lane, far, sideways, opening_axis, opening_high, opening_leaf : ndarray of int, shape (n, n_ducts, 2)
        Of both ends of each duct: lane; whether it lies at the high end along the lanes; whether it opens
        sideways; plan axis and side of the face that it passes; leaf behind that, -1 outside [1].
    mount_leaf, mount_axis, mount_high, mount_other : ndarray of int, shape (n, n_mounts)
        Room of each mount's body, face that carries it, leaf on the other side, -1 outside [1].
    """

    height_axis: np.ndarray
    cut_node: np.ndarray
    cut_axis: np.ndarray
    leaf_node: np.ndarray
    rooms: np.ndarray
    blanks: np.ndarray
    ducts: np.ndarray
    run: np.ndarray
    lanes: np.ndarray
    lane: np.ndarray
    far: np.ndarray
    sideways: np.ndarray
    opening_axis: np.ndarray
    opening_high: np.ndarray
    opening_leaf: np.ndarray
    mount_leaf: np.ndarray
    mount_axis: np.ndarray
    mount_high: np.ndarray
    mount_other: np.ndarray

    def take(self, rows: np.ndarray | slice) -> Codes:
        """Some of the arrangements, or some of them several times."""
        return replace(self, **{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    def with_others(self, others: Codes) -> Codes:
        """These arrangements, then others with as many cuts and leaves."""
        both = {
            f.name: np.concatenate([getattr(self, f.name), getattr(others, f.name)]) for f in fields(self)
        }
        return replace(self, **both)


def codes_of(arrangements: Sequence[Arrangement], leaves: int = 0) -> Codes:
    """Codes of arrangements of one graph.

    Parameters
    ----------
    arrangements : sequence of Arrangement
        Arrangements; drivers and diaphragms may be turned differently [list].
    leaves : int
        Leaves at least that the codes have room for [1].

    Returns
    -------
    Codes
        One row each, with as many cuts and leaves as the richest of them [record].
    """
    leaves = max(leaves, *(len(one.leaves) for one in arrangements))
    rows = [_coded(one, leaves) for one in arrangements]
    shape = (len(rows), len(arrangements[0].blocks), 2)
    columns = {f.name: np.array([row[i] for row in rows], dtype=int) for i, f in enumerate(fields(Codes))}
    return Codes(**{key: c.reshape(shape) if key in OF_ENDS else c for key, c in columns.items()})


def _coded(one: Arrangement, leaves: int) -> list[object]:
    """Values of one row, in the order of the fields."""
    topology = one.topology
    nodes: list[tuple[int, int]] = []
    places = [0] * leaves

    def visit(node: Node, number: int) -> None:
        if isinstance(node, int):
            places[node] = number
            return
        nodes.append((number, node.axis))
        at = 2 * len(nodes)
        visit(node.low, at - 1)
        visit(node.high, at)

    visit(one.tree, 0)
    nodes += [(0, 0)] * (leaves - 1 - len(nodes))
    blanks = [i for i, leaf in enumerate(one.leaves) if leaf.kind == "blank"]
    blanks += range(len(one.leaves), leaves)
    both = [[(block, end, block.openings[end]) for end in (0, 1)] for block in one.blocks]
    return [
        one.height_axis,
        [number for number, _ in nodes],
        [axis for _, axis in nodes],
        places,
        [one.leaf_of("room", i) for i in range(topology.chambers)],
        blanks,
        [one.leaf_of("duct", i) for i in range(len(topology.ducts))],
        [block.run for block in one.blocks],
        [block.lanes for block in one.blocks],
        [[block.lane_of(end) for block, end, _ in pair] for pair in both],
        [[block.high_of(end) for block, end, _ in pair] for pair in both],
        [[opening.sideways for _, _, opening in pair] for pair in both],
        [[opening.face[0] for _, _, opening in pair] for pair in both],
        [[opening.face[1] for _, _, opening in pair] for pair in both],
        [[opening.leaf for _, _, opening in pair] for pair in both],
        [mount.leaf for mount in one.mounts],
        [mount.face[0] for mount in one.mounts],
        [mount.face[1] for mount in one.mounts],
        [mount.other for mount in one.mounts],
    ]
