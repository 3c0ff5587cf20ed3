"""Random arrangements of a graph's rooms and ducts on a floor, for :mod:`optimizer.layout_search`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from models.arrangement import (
    FLOOR_AXES,
    OUTSIDE_LEAF,
    Arrangement,
    Block,
    Cut,
    Face,
    Leaf,
    Mount,
    Node,
    Opening,
    neighbours,
)
from models.topology import OUTSIDE, Edge, Topology

MOST_LANES = 6
"""Most lanes of a folded duct."""

BLANK_SHARE = 0.4
"""Share of arrangements with a sealed blank, which lets a box use less than the envelope."""

ALTERED_SHARE = 0.7
"""Share of relatives whose cuts are changed too."""

MOST_CHANGES = 48
"""Changes tried on random cuts so that what the graph joins touches."""

FACES: tuple[Face, ...] = ((0, False), (0, True), (1, False), (1, True))
"""Sides of a rectangle on the floor."""

Free = Callable[[Face], bool]
Neighbours = dict[tuple[int, Face], tuple[int, ...]]


def turned(topology: Topology) -> Topology:
    """The same graph with every driver's face outside where it has a side there."""
    drivers = tuple((rear, front) if rear == OUTSIDE else (front, rear) for front, rear in topology.drivers)
    diaphragms = tuple((b, a) if b == OUTSIDE else (a, b) for a, b in topology.diaphragms)
    return replace(topology, drivers=drivers, diaphragms=diaphragms)


def random_arrangement(
    topology: Topology,
    free_walls: frozenset[str],
    rng: np.random.Generator,
    upright: tuple[bool, ...] | None = None,
) -> Arrangement | str:
    """One arrangement, or why the rooms drawn could not be joined as the graph asks.

    Parameters
    ----------
    topology : Topology
        The graph, drivers turned by :func:`turned` [record].
    free_walls : frozenset of str
        Faces of the envelope that may carry mouths and drivers [text].
    rng : Generator
        Random numbers [record].
    upright : tuple of bool or None
        Whether each driver, then each diaphragm, may sit on an upright wall; None lets all [flag].

    Returns
    -------
    Arrangement or str
        Arrangement, or a reason [record].
    """
    height_axis = int(rng.integers(3))
    leaves = [Leaf("room", i) for i in range(topology.chambers)]
    leaves += [Leaf("duct", i) for i in range(len(topology.ducts))]
    if rng.random() < BLANK_SHARE:
        leaves.append(Leaf("blank", 0))
    tree = _random_tree([int(i) for i in rng.permutation(len(leaves))], rng)
    tree = _touching(topology, tree, len(leaves), rng)
    return _joined(topology, (height_axis, tree, tuple(leaves)), free_walls, rng, upright)


def _touching(topology: Topology, tree: Node, count: int, rng: np.random.Generator) -> Node:
    """A tree changed step by step, never for the worse, until what the graph joins mostly touches."""
    apart = _apart(topology, tree, count)
    for _ in range(MOST_CHANGES):
        if apart == 0:
            break
        changed = _randomly_changed(tree, count, rng)
        now = _apart(topology, changed, count)
        if now <= apart:
            tree, apart = changed, now
    return tree


def _apart(topology: Topology, tree: Node, count: int) -> int:
    """How many ends of ducts, and drivers and diaphragms between rooms, find no wall that they need."""
    around = neighbours(tree, count)

    def touches(leaf: int, place: int) -> bool:
        return any((OUTSIDE_LEAF if place == OUTSIDE else place) in around[leaf, face] for face in FACES)

    ends = [(topology.chambers + i, place) for i, edge in enumerate(topology.ducts) for place in edge]
    inner = [edge for edge in (*topology.drivers, *topology.diaphragms) if OUTSIDE not in edge]
    return sum(not touches(*pair) for pair in (*ends, *inner))


def altered(
    arrangement: Arrangement,
    topology: Topology,
    free_walls: frozenset[str],
    rng: np.random.Generator,
    upright: tuple[bool, ...],
) -> Arrangement | str:
    """A near relative: ways of ducts, mouths and mounts drawn anew, and mostly two parts or a cut changed.

    Parameters
    ----------
    arrangement : Arrangement
        The arrangement [record].
    topology, free_walls, rng, upright
        As of :func:`random_arrangement` [mixed].

    Returns
    -------
    Arrangement or str
        Arrangement, or a reason [record].
    """
    tree, count = arrangement.tree, len(arrangement.leaves)
    if count > 1 and rng.random() < ALTERED_SHARE:
        tree = _randomly_changed(tree, count, rng)
    around = (arrangement.height_axis, tree, arrangement.leaves)
    return _joined(topology, around, free_walls, rng, upright)


def _randomly_changed(tree: Node, count: int, rng: np.random.Generator) -> Node:
    """A tree of two leaves or more with two of them exchanged, or with a cut turned."""
    one, two = (int(i) for i in rng.choice(count, 2, replace=False))
    turned_cut = int(rng.integers(count - 1)) if rng.random() < 0.5 else -1
    places = {one: two, two: one} if turned_cut < 0 else {}
    return _changed(tree, places, turned_cut, [0])


def _changed(node: Node, places: dict[int, int], turned_cut: int, seen: list[int]) -> Node:
    """A tree with leaves exchanged, or with one of its cuts, counted from the root, across."""
    if isinstance(node, int):
        return places.get(node, node)
    axis = 1 - node.axis if seen[0] == turned_cut else node.axis
    seen[0] += 1
    low = _changed(node.low, places, turned_cut, seen)
    return Cut(axis, low, _changed(node.high, places, turned_cut, seen))


def _joined(
    topology: Topology,
    lying: tuple[int, Node, tuple[Leaf, ...]],
    free_walls: frozenset[str],
    rng: np.random.Generator,
    upright: tuple[bool, ...] | None,
) -> Arrangement | str:
    """An arrangement of parts that lie by a height axis, cuts and leaves; or why they cannot be joined."""
    height_axis, tree, leaves = lying
    around = neighbours(tree, len(leaves))
    axes = (*FLOOR_AXES[height_axis], height_axis)

    def free(face: Face) -> bool:
        return f"{'xyz'[axes[face[0]]]}{'+' if face[1] else '-'}" in free_walls

    for i, edge in enumerate(topology.ducts):
        beside = {leaf for face in FACES for leaf in around[topology.chambers + i, face]}
        if not {OUTSIDE_LEAF if place == OUTSIDE else place for place in edge} <= beside:
            return f"duct {i + 1} does not touch both places that it joins"
    mounts: list[Mount] = []
    edges: list[list[Edge]] = []
    for what, group in (("driver", topology.drivers), ("diaphragm", topology.diaphragms)):
        placed: list[Edge] = []
        for edge in group:
            may = upright is None or upright[len(mounts)]
            found = _random_mount(edge, around, free, rng, may)
            if found is None:
                if not may and OUTSIDE not in edge:
                    return f"the cut-out of a {what} is wider than may be bridged in an inner wall"
                return f"a {what}'s two places share no wall"
            placed.append(found[0])
            mounts.append(found[1])
        edges.append(placed)
    blocks: list[Block] = []
    for i, edge in enumerate(topology.ducts):
        block = _random_block(topology.chambers + i, edge, around, free, rng)
        if block is None:
            return f"duct {i + 1} does not touch both places that it joins"
        blocks.append(block)
    return Arrangement(
        topology=replace(topology, drivers=tuple(edges[0]), diaphragms=tuple(edges[1])),
        height_axis=height_axis,
        tree=tree,
        leaves=leaves,
        blocks=tuple(blocks),
        mounts=tuple(mounts),
    )


def _random_tree(leaves: list[int], rng: np.random.Generator) -> Node:
    if len(leaves) == 1:
        return leaves[0]
    at = int(rng.integers(1, len(leaves)))
    axis = int(rng.integers(2))
    return Cut(axis, _random_tree(leaves[:at], rng), _random_tree(leaves[at:], rng))


def _random_mount(
    edge: Edge, around: Neighbours, free: Free, rng: np.random.Generator, upright: bool
) -> tuple[Edge, Mount] | None:
    """A wall for a driver or diaphragm, and its edge, turned round where its body is in the first place."""
    options: list[tuple[Edge, Mount]] = []
    for front, rear in [edge] if OUTSIDE in edge else [edge, (edge[1], edge[0])]:
        other = OUTSIDE_LEAF if front == OUTSIDE else front  # a chamber's leaf has its own index
        for axis in range(2 if upright else 0):
            for high in (False, True):
                face = (axis, high)
                if other in around[rear, face] and (other >= 0 or free(face)):
                    options.append(((front, rear), Mount(leaf=rear, face=face, other=other)))
        for high in (False, True) if other < 0 else ():
            if free((2, high)):
                options.append(((front, rear), Mount(leaf=rear, face=(2, high), other=OUTSIDE_LEAF)))
    return options[int(rng.integers(len(options)))] if options else None


def _random_block(
    leaf: int, edge: Edge, around: Neighbours, free: Free, rng: np.random.Generator
) -> Block | None:
    for lanes in rng.permutation(MOST_LANES) + 1:
        options = []
        for run in (0, 1):
            for first_high in (False, True) if lanes > 1 else (False,):
                for start_high in (False, True):
                    shape = Block(
                        run=run,
                        lanes=int(lanes),
                        first_high=first_high,
                        start_high=start_high,
                        openings=(_NONE, _NONE),
                    )
                    firsts = _openings(shape, 0, leaf, edge[0], around, free)
                    seconds = _openings(shape, 1, leaf, edge[1], around, free)
                    options += [replace(shape, openings=(a, b)) for a in firsts for b in seconds]
        if options:
            return options[int(rng.integers(len(options)))]
    return None


_NONE = Opening(sideways=False, face=(0, False), leaf=OUTSIDE_LEAF)


def _openings(shape: Block, end: int, leaf: int, place: int, around: Neighbours, free: Free) -> list[Opening]:
    """Ways in which an end of a block can reach a place."""
    target = OUTSIDE_LEAF if place == OUTSIDE else place
    across = 1 - shape.run
    faces: list[tuple[bool, Face]] = [(False, (shape.run, shape.high_of(end)))]
    if shape.lane_of(end) == 0:
        faces.append((True, (across, False)))
    if shape.lane_of(end) == shape.lanes - 1:
        faces.append((True, (across, True)))
    return [
        Opening(sideways=sideways, face=face, leaf=target)
        for sideways, face in faces
        if target in around[leaf, face] and (target >= 0 or free(face))
    ]
