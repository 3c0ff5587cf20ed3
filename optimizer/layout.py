"""Random arrangements of a graph's rooms and ducts on a floor, for :mod:`optimizer.layout_search`."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from models.arrangement import (
    FLOOR_AXES,
    OUTSIDE_LEAF,
    Arrangement,
    Block,
    Face,
    Leaf,
    Mount,
    Node,
    Opening,
    neighbours,
)
from models.topology import OUTSIDE, Edge, Topology
from optimizer.layout_words import changed_word, random_word, touching_word, tree_of, word_of

MOST_LANES = 6
"""Most lanes of a folded duct."""

BLANK_SHARE = 0.4
"""Share of arrangements with a sealed blank, which lets a box use less than the envelope."""

ALTERED_SHARE = 0.7
"""Share of relatives whose cuts are changed too."""

KEPT_SHARE = 0.3
"""Share of ways of ducts, and of mounts, that a relative keeps where it can."""

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
    word = random_word(rng.permutation(len(leaves)).tolist(), rng)
    word = touching_word(_wanted(topology), word, len(leaves), rng)
    return _joined(topology, (height_axis, tree_of(word), tuple(leaves)), free_walls, rng, upright)


def _wanted(topology: Topology) -> list[tuple[int, int]]:
    """Leaves that must touch, as pairs: ends of ducts, and drivers and diaphragms between rooms."""
    ends = [(topology.chambers + i, place) for i, edge in enumerate(topology.ducts) for place in edge]
    inner = [edge for edge in (*topology.drivers, *topology.diaphragms) if OUTSIDE not in edge]
    return [(leaf, OUTSIDE_LEAF if place == OUTSIDE else place) for leaf, place in (*ends, *inner)]


def altered(
    arrangement: Arrangement,
    topology: Topology,
    free_walls: frozenset[str],
    rng: np.random.Generator,
    upright: tuple[bool, ...],
) -> Arrangement | str:
    """A near relative: some ways of ducts and mounts drawn anew, and mostly two parts or a cut changed.

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
    tree = arrangement.tree
    if len(arrangement.leaves) > 1 and rng.random() < ALTERED_SHARE:
        tree = tree_of(changed_word(word_of(tree), rng.random(3).tolist()))
    kept = rng.random(len(arrangement.blocks) + len(arrangement.mounts)) < KEPT_SHARE
    lying = (arrangement.height_axis, tree, arrangement.leaves)
    return _joined(topology, lying, free_walls, rng, upright, (arrangement, kept.tolist()))


def _joined(
    topology: Topology,
    lying: tuple[int, Node, tuple[Leaf, ...]],
    free_walls: frozenset[str],
    rng: np.random.Generator,
    upright: tuple[bool, ...] | None,
    parent: tuple[Arrangement, list[bool]] | None = None,
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
            found = _kept_mount(parent, len(mounts), around) or _random_mount(edge, around, free, rng, may)
            if found is None:
                if not may and OUTSIDE not in edge:
                    return f"the cut-out of a {what} is wider than may be bridged in an inner wall"
                return f"a {what}'s two places share no wall"
            placed.append(found[0])
            mounts.append(found[1])
        edges.append(placed)
    blocks: list[Block] = []
    for i, edge in enumerate(topology.ducts):
        leaf = topology.chambers + i
        block = _kept_block(parent, i, leaf, around) or _random_block(leaf, edge, around, free, rng)
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


def _kept_mount(
    parent: tuple[Arrangement, list[bool]] | None, i: int, around: Neighbours
) -> tuple[Edge, Mount] | None:
    """A mount with its edge as the parent has it, where it is to be kept and its wall is still there."""
    if parent is None or not parent[1][len(parent[0].blocks) + i]:
        return None
    mount, topology = parent[0].mounts[i], parent[0].topology
    if mount.face[0] != 2 and mount.other not in around[mount.leaf, mount.face]:
        return None
    return (*topology.drivers, *topology.diaphragms)[i], mount


def _kept_block(
    parent: tuple[Arrangement, list[bool]] | None, i: int, leaf: int, around: Neighbours
) -> Block | None:
    """A block as the parent has it, where it is to be kept and its mouths still open as they did."""
    if parent is None or not parent[1][i]:
        return None
    block = parent[0].blocks[i]
    fits = all(opening.leaf in around[leaf, opening.face] for opening in block.openings)
    return block if fits else None


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
    targets = tuple(OUTSIDE_LEAF if place == OUTSIDE else place for place in edge)
    reached = [
        sum(_reaches(leaf, face, target, around, free) << k for k, face in enumerate(FACES))
        for target in targets
    ]
    for lanes in (rng.permutation(MOST_LANES) + 1).tolist():
        ways = _ways(lanes, reached[0], reached[1])
        if ways:
            way, *ends = ways[int(rng.integers(len(ways)))]
            first, second = (
                Opening(sideways=sideways, face=face, leaf=target)
                for (sideways, face), target in zip(ends, targets, strict=True)
            )
            return replace(way, openings=(first, second))
    return None


def _reaches(leaf: int, face: Face, target: int, around: Neighbours, free: Free) -> bool:
    """Whether a mouth in a face of a leaf can open into another, or outside."""
    return target in around[leaf, face] and (target >= 0 or free(face))


_NONE = Opening(sideways=False, face=(0, False), leaf=OUTSIDE_LEAF)

Way = tuple[bool, Face]
"""How an end leaves its block: whether sideways, and through which face."""


@functools.cache
def _ways(lanes: int, first: int, second: int) -> list[tuple[Block, Way, Way]]:
    """Ways to lie for a duct whose ends may pass some of the :data:`FACES`, as bits."""
    found: list[tuple[Block, Way, Way]] = []
    for run in (0, 1):
        for first_high in (False, True) if lanes > 1 else (False,):
            for start_high in (False, True):
                way = Block(
                    run=run,
                    lanes=lanes,
                    first_high=first_high,
                    start_high=start_high,
                    openings=(_NONE, _NONE),
                )
                ends = [_ways_out(way, end, faces) for end, faces in ((0, first), (1, second))]
                found += [(way, a, b) for a in ends[0] for b in ends[1]]
    return found


def _ways_out(shape: Block, end: int, allowed: int) -> list[Way]:
    """Ways in which an end of a block can leave it through some of the faces."""
    across = 1 - shape.run
    faces: list[Way] = [(False, (shape.run, shape.high_of(end)))]
    if shape.lane_of(end) == 0:
        faces.append((True, (across, False)))
    if shape.lane_of(end) == shape.lanes - 1:
        faces.append((True, (across, True)))
    return [way for way in faces if allowed >> FACES.index(way[1]) & 1]
