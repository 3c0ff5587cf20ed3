"""Enumeration of graphs against an independent count, and the reasons for dropping some."""

from __future__ import annotations

from collections import Counter
from itertools import product

import pytest

from models.enumeration import enumerate_graphs
from models.topology import parse_graph_id

NODES = ("o", "A", "B", "C")


def _burnside(chambers: int) -> int:
    """Number of one-driver graphs with at most one duct a pair, by Burnside's lemma.

    The driver is fixed to oA or AB; what is left to relabel is the other chambers, and A with B where
    the driver sits between them. The count averages the graphs that each relabelling leaves unchanged.
    """
    total = 0
    for head in ("oA", "AB") if chambers > 1 else ("oA",):
        nodes = NODES[: chambers + 1]
        pairs = [(a, b) for i, a in enumerate(nodes) for b in nodes[i + 1 :]]
        group = [g for g in _relabellings(nodes) if {g[head[0]], g[head[1]]} == set(head) and g["o"] == "o"]
        fixed = 0
        for bits in product((0, 1), repeat=len(pairs)):
            edges = {frozenset(pair) for pair, bit in zip(pairs, bits, strict=True) if bit}
            if not _together(edges | {frozenset(head)}, nodes[1:]):
                continue
            fixed += sum({frozenset(g[n] for n in e) for e in edges} == edges for g in group)
        assert fixed % len(group) == 0
        total += fixed // len(group)
    return total


def _relabellings(nodes: tuple[str, ...]) -> list[dict[str, str]]:
    found = [dict(zip(nodes, image, strict=True)) for image in product(nodes, repeat=len(nodes))]
    return [g for g in found if len(set(g.values())) == len(nodes)]


def _together(edges: set[frozenset[str]], chambers: tuple[str, ...]) -> bool:
    component = {chambers[0]}
    for _ in NODES:
        for edge in edges:
            if component & edge:
                component |= edge
    return set(chambers) <= component


@pytest.mark.parametrize("chambers", [1, 2, 3])
def test_number_of_graphs_agrees_with_burnside(chambers: int) -> None:
    counted = Counter(g.chambers for g in enumerate_graphs(chambers, 6))
    assert counted[chambers] == _burnside(chambers)


def test_numbers_of_small_graphs() -> None:
    """2 + 12 graphs of one and two chambers, as counted by hand."""
    assert [g.graph for g in enumerate_graphs(1, 3)] == ["oA", "oA/Ao"]
    assert sum(g.chambers == 2 for g in enumerate_graphs(2, 3)) == 12


def test_useless_graphs_say_why() -> None:
    graphs = {g.graph: g.useless for g in enumerate_graphs(2, 3)}
    assert graphs["AB"] == "nothing opens outside"
    assert graphs["oA/Bo"] == "chamber B meets the driver only through the open air"
    assert graphs["AB/Ao.Bo"] == ""


def test_useful_graphs_are_topologies_with_the_same_id() -> None:
    for graph in enumerate_graphs(3, 4, max_parallel=2, max_diaphragms=1):
        if not graph.useless:
            assert parse_graph_id(graph.graph).graph_id == graph.graph


def test_two_drivers_keep_their_relative_direction() -> None:
    graphs = {g.graph for g in enumerate_graphs(1, 1, drivers=2)}
    assert {"oA.oA", "oA.Ao"} <= graphs
    with pytest.raises(ValueError, match="not 3"):
        enumerate_graphs(1, 1, drivers=3)
