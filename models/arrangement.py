"""Which part of an enclosure lies where: the discrete side of a floor plan.

The inside of the envelope is cut by straight walls, one after another, into rectangles (a slicing
floor plan); every rectangle is a room, a block of parallel lanes that make one duct, or a sealed
blank. All walls stand upright between floor and lid. Positions of walls are the continuous side
(:mod:`models.plan`).

Plan axes are u, v on the floor and h upwards, right-handed: for a height along z they are x, y; for a
height along x, y and z; for a height along y, z and x.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from models.topology import Topology

FLOOR_AXES = {0: (1, 2), 1: (2, 0), 2: (0, 1)}
"""Envelope axes that u and v lie along, by the axis of the height."""

OUTSIDE_LEAF = -1

Face = tuple[int, bool]
"""Side of a rectangle or of the envelope: plan axis (0 u, 1 v, 2 h) and whether it is the high side."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A straight wall that parts a rectangle in two.

    Attributes
    ----------
    axis : int
        Plan axis that the wall is normal to, 0 or 1 [1].
    low, high : int or Cut
        What lies on either side: a leaf's index, or a further cut [record].
    """

    axis: int
    low: int | Cut
    high: int | Cut


Node = int | Cut


@dataclass(frozen=True, slots=True)
class Leaf:
    """What one rectangle of the plan is.

    Attributes
    ----------
    kind : str
        ``room``, ``duct`` or ``blank`` [text].
    index : int
        Chamber or duct of the topology; 0 for a blank [1].
    """

    kind: Literal["room", "duct", "blank"]
    index: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """How one end of a duct leaves its block.

    Attributes
    ----------
    sideways : bool
        Whether it leaves through the lane's long side, by a right-angled bend; otherwise straight on [flag].
    face : Face
        Side of the block that it passes [1].
    leaf : int
        Leaf on the other side of the wall, -1 for the outside [1].
    """

    sideways: bool
    face: Face
    leaf: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """How a duct lies in its rectangle: lanes side by side, joined by folds at their ends.

    Attributes
    ----------
    run : int
        Plan axis that the lanes run along [1].
    lanes : int
        Number of lanes [1].
    first_high : bool
        Whether the first lane lies at the high side across the lanes [flag].
    start_high : bool
        Whether the first lane starts at the high end along the lanes [flag].
    openings : tuple of two Opening
        At the first and second place of the duct [record].
    """

    run: int
    lanes: int
    first_high: bool
    start_high: bool
    openings: tuple[Opening, Opening]

    def lane_of(self, end: int) -> int:
        """Lane of an end, counted from the low side."""
        first = self.lanes - 1 if self.first_high else 0
        return first if end == 0 else self.lanes - 1 - first

    def high_of(self, end: int) -> bool:
        """Whether an end lies at the high end along the lanes."""
        return self.start_high if end == 0 or self.lanes % 2 == 0 else not self.start_high


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """Where a driver or diaphragm sits.

    Attributes
    ----------
    leaf : int
        Room that its body lies in: behind a driver, behind a diaphragm's second place [1].
    face : Face
        Side of that room that carries it [1].
    other : int
        Leaf on the other side, -1 for the outside [1].
    """

    leaf: int
    face: Face
    other: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """A slicing floor plan of one topology without its measures.

    Attributes
    ----------
    topology : Topology
        Graph; drivers and diaphragms turned so that the body lies in the second place [record].
    height_axis : int
        Axis of the envelope that all walls stand along [1].
    tree : int or Cut
        The cuts [record].
    leaves : tuple of Leaf
        Rectangles by index [record].
    blocks : tuple of Block
        One a duct [record].
    mounts : tuple of Mount
        Drivers, then diaphragms [record].
    """

    topology: Topology
    height_axis: int
    tree: Node
    leaves: tuple[Leaf, ...]
    blocks: tuple[Block, ...]
    mounts: tuple[Mount, ...]

    def __post_init__(self) -> None:
        """Refuse an arrangement whose parts do not fit the topology."""
        found = sorted((leaf.kind, leaf.index) for leaf in self.leaves if leaf.kind != "blank")
        want = [("duct", i) for i in range(len(self.topology.ducts))]
        want += [("room", i) for i in range(self.topology.chambers)]
        if found != want:
            raise ValueError(f"the leaves {found} are not the rooms and ducts of the topology, {want}")
        if sorted(leaves_of(self.tree)) != list(range(len(self.leaves))):
            raise ValueError(f"the cuts hold the leaves {sorted(leaves_of(self.tree))}")

    @property
    def axes(self) -> tuple[int, int, int]:
        """Envelope axes of u, v, h."""
        return (*FLOOR_AXES[self.height_axis], self.height_axis)

    def leaf_of(self, kind: str, index: int) -> int:
        """Index of the leaf that is a chamber's room or a duct's block."""
        return self.leaves.index(Leaf(kind, index))  # type: ignore[arg-type]

    def wall_name(self, face: Face) -> str:
        """Envelope name of a side, such as ``x-``."""
        return f"{'xyz'[self.axes[face[0]]]}{'+' if face[1] else '-'}"

    @property
    def cuts(self) -> int:
        """Number of inner walls that can move."""
        return len(self.leaves) - 1

    @property
    def dimensions(self) -> int:
        """Number of variables: one a cut, two a mount."""
        return self.cuts + 2 * len(self.mounts)


def leaves_of(node: Node) -> list[int]:
    """Leaves under a node, from low to high."""
    return [node] if isinstance(node, int) else leaves_of(node.low) + leaves_of(node.high)


def neighbours(tree: Node, count: int) -> dict[tuple[int, Face], tuple[int, ...]]:
    """Leaves that may lie across each side of each leaf; (-1,) where it is the envelope's side.

    Parameters
    ----------
    tree : int or Cut
        The cuts [record].
    count : int
        Number of leaves [1].

    Returns
    -------
    dict of tuples
        Leaf indexes by leaf and face [1].
    """
    faces: list[Face] = [(0, False), (0, True), (1, False), (1, True)]
    result: dict[tuple[int, Face], tuple[int, ...]] = {
        (leaf, face): (OUTSIDE_LEAF,) for leaf in range(count) for face in faces
    }

    def touching(node: Node, face: Face) -> list[int]:
        if isinstance(node, int):
            return [node]
        if node.axis == face[0]:
            return touching(node.high if face[1] else node.low, face)
        return touching(node.low, face) + touching(node.high, face)

    def visit(node: Node) -> None:
        if isinstance(node, int):
            return
        below = touching(node.low, (node.axis, True))
        above = touching(node.high, (node.axis, False))
        for leaf in below:
            result[leaf, (node.axis, True)] = tuple(above)
        for leaf in above:
            result[leaf, (node.axis, False)] = tuple(below)
        visit(node.low)
        visit(node.high)

    visit(tree)
    return result
