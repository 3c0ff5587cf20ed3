"""Every graph of chambers, ducts and diaphragms up to given numbers, each once.

Graphs that differ only in the letters of their chambers, or in which way round the driver sits,
have the same graph id and count once. Graphs that cannot matter are named with the reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, combinations_with_replacement

from models.topology import OUTSIDE, Edge, canonical_id, place_letter


@dataclass(frozen=True, slots=True, kw_only=True)
class Enumerated:
    """One graph of an enumeration.

    Attributes
    ----------
    graph : str
        Graph id [text].
    chambers : int
        Number of chambers [1].
    ducts : int
        Number of ducts [1].
    useless : str
        Why the graph cannot matter; empty where it can [text].
    """

    graph: str
    chambers: int
    ducts: int
    useless: str


def enumerate_graphs(
    max_chambers: int,
    max_ducts: int,
    *,
    drivers: int = 1,
    max_parallel: int = 1,
    max_diaphragms: int = 0,
) -> list[Enumerated]:
    """All graphs whose chambers hang together, by number of chambers, then ducts, then id.

    Chambers hang together through ducts, diaphragms, drivers, or the outside they all open to.

    Parameters
    ----------
    max_chambers : int
        Largest number of chambers; at least one is used [1].
    max_ducts : int
        Largest number of ducts [1].
    drivers : int
        Number of drivers, one or two [1].
    max_parallel : int
        Ducts between the same two places at most; ducts with equal ends may differ in size [1].
    max_diaphragms : int
        Largest number of diaphragms, at most one between the same two places [1].

    Returns
    -------
    list of Enumerated
        Useful and useless graphs [list].

    Raises
    ------
    ValueError
        The number of drivers is not 1 or 2.
    """
    if drivers not in (1, 2):
        raise ValueError(f"graphs are enumerated for 1 or 2 drivers, not {drivers}")
    found: dict[str, Enumerated] = {}
    for chambers in range(1, max_chambers + 1):
        for edges in _edge_sets(chambers, max_ducts, drivers, max_parallel, max_diaphragms):
            if not _hangs_together(chambers, edges):
                continue
            graph = canonical_id(chambers, *edges)
            if graph not in found:
                found[graph] = Enumerated(
                    graph=graph,
                    chambers=chambers,
                    ducts=len(edges[1]),
                    useless=useless_reason(chambers, edges),
                )
    return sorted(found.values(), key=lambda g: (g.chambers, g.ducts, g.graph))


EdgeSet = tuple[tuple[Edge, ...], tuple[Edge, ...], tuple[Edge, ...]]


def _edge_sets(
    chambers: int, max_ducts: int, drivers: int, max_parallel: int, max_diaphragms: int
) -> Iterator[EdgeSet]:
    """Drivers, ducts and diaphragms in every combination, relabelled copies included."""
    places = [OUTSIDE, *range(chambers)]
    pairs = list(combinations(places, 2))
    both_ways = [edge for a, b in pairs for edge in ((a, b), (b, a))] if drivers > 1 else pairs
    for heads in combinations_with_replacement(both_ways, drivers):
        for count in range(max_ducts + 1):
            for ducts in combinations_with_replacement(pairs, count):
                if any(ducts.count(pair) > max_parallel for pair in set(ducts)):
                    continue
                for passive in range(max_diaphragms + 1):
                    for diaphragms in combinations(pairs, passive):
                        yield heads, ducts, diaphragms


def _reached(start: int, edges: tuple[Edge, ...]) -> set[int]:
    reached = {start}
    while True:
        more = {place for edge in edges if reached & set(edge) for place in edge} - reached
        if not more:
            return reached
        reached |= more


def _hangs_together(chambers: int, edges: EdgeSet) -> bool:
    every = edges[0] + edges[1] + edges[2]
    return set(range(chambers)) <= _reached(0, every)


def useless_reason(chambers: int, edges: EdgeSet) -> str:
    """Why a graph cannot matter, or nothing.

    Parameters
    ----------
    chambers : int
        Number of chambers [1].
    edges : tuple of three tuples
        Drivers, ducts and diaphragms as pairs of places [place].

    Returns
    -------
    str
        The reason; empty where the graph may matter [text].
    """
    drivers, ducts, diaphragms = edges
    every = drivers + ducts + diaphragms
    if OUTSIDE not in _reached(0, every):
        return "nothing opens outside"
    inner = tuple(edge for edge in every if OUTSIDE not in edge)
    heads = {place for edge in drivers for place in edge if place != OUTSIDE}
    for chamber in range(chambers):
        if not _reached(chamber, inner) & heads:
            return f"chamber {place_letter(chamber)} meets the driver only through the open air"
    return ""
