"""Simpler graphs before richer ones that hardly beat them."""

from __future__ import annotations

from models.catalogue import named_topology
from models.reduction import simpler_graphs

PARSIMONY_DB = 0.1
"""A richer graph that beats a simpler one it contains by no more reduces to that one."""


def reducing(graph: str, scores: dict[str, float]) -> str:
    """The best simpler graph that a graph contains and does not beat by the margin; empty if none."""
    if graph not in scores:
        return ""
    known = [simple for simple in simpler_graphs(named_topology(graph)) if simple in scores]
    near = [simple for simple in known if scores[simple] >= scores[graph] - PARSIMONY_DB]
    return min(near, key=lambda simple: (-scores[simple], len(simple), simple), default="")


def sorted_graphs(scores: dict[str, float]) -> list[str]:
    """Graphs by falling score [dB]; those that reduce to a simpler one stand after all that do not."""
    return sorted(scores, key=lambda graph: (bool(reducing(graph, scores)), -scores[graph], graph))


def complexity(graph: str) -> int:
    """Number of chambers, ducts and diaphragms of a graph: what a simpler box has less of."""
    topology = named_topology(graph)
    return topology.chambers + len(topology.ducts) + len(topology.diaphragms)
