"""Simpler graphs inside a graph."""

from __future__ import annotations

import pytest

from models.enumeration import enumerate_graphs
from models.reduction import simpler_graphs
from models.topology import parse_graph_id


@pytest.mark.parametrize(
    ("graph", "simpler"),
    [
        ("oA", set()),
        ("oA/Ao.Ao", {"oA", "oA/Ao"}),
        ("AB/AB.Ao", {"AB/Ao"}),
        ("oA/AB.Bo", {"oA", "oA/AB", "oA/Ao"}),
        ("oA//Ao", {"oA"}),
        ("oA.AB/Bo", {"oA.AB"}),
    ],
)
def test_by_hand(graph: str, simpler: set[str]) -> None:
    assert simpler_graphs(parse_graph_id(graph)) == simpler


def test_simpler_graphs_are_useful_and_have_fewer_elements() -> None:
    useful = {g.graph: g for g in enumerate_graphs(3, 4, max_parallel=4) if not g.useless}
    for graph, found in useful.items():
        for simple in simpler_graphs(parse_graph_id(graph)):
            assert simple in useful
            assert useful[simple].chambers + useful[simple].ducts < found.chambers + found.ducts
