"""Trade names of graphs: one table, and words for every graph that has no name."""

from __future__ import annotations

import numpy as np

from models.design import DesignBatch
from models.fit import duct_air
from models.topology import OUTSIDE, Topology, parse_graph_id, place_letter

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

LINE_NAMES = {
    "oA/Ao": ("quarter-wave line", "rear-loaded horn"),
    "AB/Ao": ("", "front-loaded horn"),
    "AB/AB.Ao": ("tapped line", "tapped horn"),
}
"""Names of graphs whose ducts hold most of the air: with ducts of one section, and with widening ones."""

LINE_SHARE = 0.5
"""Share of the air of ducts and the chambers they meet from which the ducts make a line (common
practice, no source) [1]."""

HORN_RATIO = 2.0
"""Mouth over narrowest section from which a line is a horn (common practice, no source) [1]."""

_TOPOLOGIES = {name: parse_graph_id(text) for text, name in TRADE_NAMES.items()}


def graph_name(topology: Topology) -> str:
    """Trade name of a graph, or a description in words."""
    return TRADE_NAMES.get(topology.graph_id) or _in_words(topology)


def short_name(topology: Topology) -> str:
    """Trade name of a graph, or its graph id where it has none."""
    return TRADE_NAMES.get(topology.graph_id) or f"graph {topology.graph_id}"


def short_label(name: str, graph: str) -> str:
    """The name of a design or graph, or its graph id where the name is a description in words."""
    return f"graph {graph}" if "; " in name else name


def design_names(batch: DesignBatch) -> list[str]:
    """Name of every design of a batch: as of its graph, but lines and horns are called so.

    Parameters
    ----------
    batch : DesignBatch
        Designs of one topology [record].

    Returns
    -------
    list of str
        One name a design [text].
    """
    plain = graph_name(batch.topology)
    line, horn = LINE_NAMES.get(batch.topology.graph_id, ("", ""))
    names = []
    for row in range(batch.size):
        form = _form(batch.rows(slice(row, row + 1))) if horn else ""
        names.append({"line": line, "horn": horn}.get(form) or plain)
    return names


def _form(design: DesignBatch) -> str:
    """``line`` or ``horn`` where the ducts of a design hold most of the air; empty otherwise."""
    ducts, met = 0.0, set()
    sections, mouth = [], 0.0
    for edge, duct in zip(design.topology.ducts, design.ducts, strict=True):
        last = duct.area if duct.area_end is None else duct.area_end
        sections += [float(duct.area[0]), float(last[0])]
        ducts += float(duct_air(duct)[0] * duct.length[0])
        met |= set(edge) - {OUTSIDE}
        if OUTSIDE in edge:
            mouth = sections[-2 + edge.index(OUTSIDE)]
    rooms = float(np.prod(design.sides[0, sorted(met)], axis=1).sum())
    if ducts < LINE_SHARE * (ducts + rooms):
        return ""
    tapered = any(duct.area_end is not None for duct in design.ducts)
    return "horn" if tapered and mouth >= HORN_RATIO * min(sections) else "line"


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
