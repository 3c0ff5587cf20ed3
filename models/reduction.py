"""Simpler graphs that a graph contains: what is left when elements vanish or chambers merge.

A duct or diaphragm whose area goes to nothing vanishes; a chamber joined by a duct that grows wide
and short merges with its neighbour. A richer graph can therefore always do what these can.
"""

from __future__ import annotations

from models.enumeration import useless_reason
from models.topology import OUTSIDE, Edge, Topology, canonical_id, parse_graph_id

Edges = tuple[tuple[Edge, ...], tuple[Edge, ...], tuple[Edge, ...]]


def simpler_graphs(topology: Topology) -> frozenset[str]:
    """Ids of all useful graphs that a graph contains, itself left out.

    Parameters
    ----------
    topology : Topology
        The graph [record].

    Returns
    -------
    frozenset of str
        Graph ids [text].
    """
    found: set[str] = set()
    todo = [topology]
    while todo:
        for chambers, edges in _one_step(todo.pop()):
            if useless_reason(chambers, edges):
                continue
            graph = canonical_id(chambers, *edges)
            if graph not in found:
                found.add(graph)
                todo.append(parse_graph_id(graph))
    return frozenset(found - {topology.graph_id})


def _one_step(topology: Topology) -> list[tuple[int, Edges]]:
    """Graphs with one element less, whether they hang together or not."""
    drivers, ducts, diaphragms = topology.drivers, topology.ducts, topology.diaphragms
    result: list[tuple[int, Edges]] = []
    for i, (one, two) in enumerate(ducts):
        rest = ducts[:i] + ducts[i + 1 :]
        result.append((topology.chambers, (drivers, rest, diaphragms)))
        if OUTSIDE not in (one, two):
            merged = _merge((drivers, rest, diaphragms), min(one, two), max(one, two))
            if merged is not None:
                result.append((topology.chambers - 1, merged))
    for i in range(len(diaphragms)):
        result.append((topology.chambers, (drivers, ducts, diaphragms[:i] + diaphragms[i + 1 :])))
    return [(chambers, edges) for chambers, edges in result if chambers > 0]


def _merge(edges: Edges, keep: int, gone: int) -> Edges | None:
    """Edges after chamber ``gone`` has become part of ``keep``; None where a driver would short out."""

    def place(p: int) -> int:
        return keep if p == gone else p - (p > gone)

    drivers, ducts, diaphragms = (tuple((place(a), place(b)) for a, b in part) for part in edges)
    if any(a == b for a, b in drivers):
        return None
    return drivers, tuple(e for e in ducts if e[0] != e[1]), tuple(e for e in diaphragms if e[0] != e[1])
