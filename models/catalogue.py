"""Trade names of graphs: one table, and words for every graph that has no name."""

from __future__ import annotations

from models.topology import Topology, parse_graph_id, place_letter

TRADE_NAMES = {
    "oA": "closed box",
    "oA/Ao": "vented box",
    "oA/Ao.Ao": "vented box, two ducts",
    "oA//Ao": "passive radiator box",
    "AB/Ao": "fourth-order bandpass",
    "AB/Ao.Bo": "sixth-order bandpass, parallel",
    "AB/AB.Ao": "sixth-order bandpass, series",
    "oA/AB.Bo": "two-chamber vented box",
    "oA.oA": "closed box, two drivers",
    "oA.oA/Ao": "vented box, two drivers",
    "oA.AB": "isobaric pair in line, closed box",
    "oA.BA": "isobaric pair face to face, closed box",
    "oA.AB/Bo": "isobaric pair in line, vented box",
    "oA.BA/Bo": "isobaric pair face to face, vented box",
    "AB.AB/Ao": "fourth-order bandpass, two drivers",
    "AB.AB/Ao.Bo": "sixth-order bandpass, parallel, two drivers",
    "AB.AB/AB.Ao": "sixth-order bandpass, series, two drivers",
}
"""Graph id to the name the trade uses for it."""

_TOPOLOGIES = {name: parse_graph_id(text) for text, name in TRADE_NAMES.items()}


def graph_name(topology: Topology) -> str:
    """Trade name of a graph, or a description in words."""
    return TRADE_NAMES.get(topology.graph_id) or _in_words(topology)


def short_name(topology: Topology) -> str:
    """Trade name of a graph, or its graph id where it has none."""
    return TRADE_NAMES.get(topology.graph_id) or f"graph {topology.graph_id}"


def named_topology(name: str) -> Topology:
    """Topology of a trade name or of a graph id.

    Raises
    ------
    ValueError
        Neither a trade name nor a graph id.
    """
    return _TOPOLOGIES[name] if name in _TOPOLOGIES else parse_graph_id(name)


def _in_words(topology: Topology) -> str:
    def place(p: int) -> str:
        letter = place_letter(p)
        return "outside" if letter == "o" else letter

    phrases = [f"driver between {place(a)} and {place(b)}" for a, b in topology.drivers]
    for kind, edges in (("duct", topology.ducts), ("diaphragm", topology.diaphragms)):
        for a, b in edges:
            if "outside" in (place(a), place(b)):
                inner = place(b) if place(a) == "outside" else place(a)
                verb = "opens outside" if kind == "duct" else "has a diaphragm outside"
                phrases.append(f"{inner} {verb}")
            else:
                phrases.append(f"{place(a)} and {place(b)} joined by a {kind}")
    return "; ".join(phrases)
