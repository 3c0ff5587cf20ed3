"""Graph ids, trade names and their faults."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from models.catalogue import TRADE_NAMES, design_names, graph_name, named_topology
from models.design import DesignBatch
from models.topology import OUTSIDE, Edge, Topology, parse_graph_id, place_letter
from tests.builders import Tube, lumped

GRAPHS = [*TRADE_NAMES, "AB/Ao.BC.Co", "AB/AB.Ao.Bo//", "oA.BA/Ao.Bo", "AB/AC.BC.Co/Ao"]


def relabelled(topology: Topology, order: tuple[int, ...], turned: bool) -> Topology:
    """The same graph with chambers renumbered, edges reversed and drivers turned round together."""

    def place(p: int) -> int:
        return OUTSIDE if p == OUTSIDE else order[p]

    def edges(old: tuple[Edge, ...], turn: bool) -> tuple[Edge, ...]:
        new = [(place(b), place(a)) if turn else (place(a), place(b)) for a, b in old]
        return tuple(reversed(new))

    return Topology(
        chambers=topology.chambers,
        drivers=edges(topology.drivers, turned),
        ducts=edges(topology.ducts, True),
        diaphragms=edges(topology.diaphragms, True),
    )


@pytest.mark.parametrize("text", [g.rstrip("/") for g in GRAPHS])
def test_id_does_not_depend_on_labels(text: str) -> None:
    """Every numbering of chambers and both ways round give one id, which parses to itself."""
    topology = parse_graph_id(text)
    name = topology.graph_id
    for order in permutations(range(topology.chambers)):
        for turned in (False, True):
            assert relabelled(topology, order, turned).graph_id == name
    assert parse_graph_id(name).graph_id == name


def test_different_graphs_have_different_ids() -> None:
    """No two of the table's graphs share an id, and one reversed driver of two is another graph."""
    ids = {parse_graph_id(g.rstrip("/")).graph_id for g in GRAPHS}
    assert len(ids) == len(GRAPHS)
    push_push, push_pull = parse_graph_id("oA.oA"), parse_graph_id("oA.Ao")
    assert push_push.graph_id != push_pull.graph_id


@pytest.mark.parametrize(("text", "name"), TRADE_NAMES.items())
def test_trade_names(text: str, name: str) -> None:
    """Names and graphs lead to each other, through the canonical id as well."""
    assert graph_name(parse_graph_id(parse_graph_id(text).graph_id)) == name
    assert graph_name(named_topology(name)) == name
    assert named_topology(name) == named_topology(text)


def test_turned_driver_keeps_its_trade_name() -> None:
    """A driver whose rear looks outside is still a vented box."""
    assert graph_name(parse_graph_id("Ao/oA")) == "vented box"
    assert graph_name(parse_graph_id("BA/Ao")) == "fourth-order bandpass"


def test_graph_without_name_is_described() -> None:
    """Each element appears in the words."""
    words = graph_name(parse_graph_id("AB/AC.Co/Bo"))
    assert "driver between A and B" in words
    assert "A and C joined by a duct" in words
    assert "C opens outside" in words
    assert "B has a diaphragm outside" in words


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "at least one driver"),
        ("oA/A", "not a pair of places"),
        ("oA/Ax", "'Ax'"),
        ("oo", "joins o to itself"),
        ("AA/Ao", "joins A to itself"),
        ("oA//BB", "joins B to itself"),
        ("oA/BC", "fall"),
        ("oB/Bo", "parts that nothing joins"),
        ("oA/Ao/Ao/Ao", "more than three parts"),
        ("closed boxes", "more than three parts|not a pair"),
    ],
)
def test_faults(text: str, message: str) -> None:
    """What is not a graph is refused with the part that is wrong."""
    with pytest.raises(ValueError, match=message):
        named_topology(text)


def test_chamber_that_does_not_exist() -> None:
    """An edge to a chamber beyond the last is refused with its number."""
    with pytest.raises(ValueError, match="chamber 3; there are 1"):
        Topology(chambers=1, drivers=((OUTSIDE, 0),), ducts=((0, 3),))


def test_place_letters() -> None:
    """Letters of places as ids write them."""
    assert [place_letter(p) for p in (OUTSIDE, 0, 1, 2)] == ["o", "A", "B", "C"]


def piped(graph: str, room_l: float, sections_cm2: list[tuple[float, float | None]]) -> DesignBatch:
    """Cubic chambers and ducts half a metre long with sections at both ends."""
    topology = parse_graph_id(graph)
    tubes = [Tube(area=first * 1e-4, length=0.5, line=0.5) for first, _ in sections_cm2]
    batch = lumped(topology, [room_l * 1e-3] * topology.chambers, tubes)
    ends = [None if last is None else np.array([last * 1e-4]) for _, last in sections_cm2]
    ducts = tuple(replace(d, area_end=end) for d, end in zip(batch.ducts, ends, strict=True))
    return replace(batch, ducts=ducts)


@pytest.mark.parametrize(
    ("graph", "room_l", "sections", "name"),
    [
        ("oA/Ao", 2.0, [(20.0, None)], "vented box"),  # a litre of duct, two of chamber
        ("oA/Ao", 0.5, [(20.0, None)], "quarter-wave line"),
        ("oA/Ao", 0.5, [(20.0, 30.0)], "quarter-wave line"),
        ("oA/Ao", 0.5, [(20.0, 60.0)], "rear-loaded horn"),
        ("oA/Ao", 0.5, [(60.0, 20.0)], "quarter-wave line"),  # it narrows to its mouth
        ("AB/Ao", 0.5, [(20.0, None)], "fourth-order bandpass"),
        ("AB/Ao", 0.5, [(20.0, 60.0)], "front-loaded horn"),
        ("AB/AB.Ao", 3.0, [(20.0, None), (20.0, None)], "sixth-order bandpass, series"),
        ("AB/AB.Ao", 0.5, [(20.0, None), (20.0, None)], "tapped line"),
        ("AB/AB.Ao", 0.5, [(20.0, 10.0), (20.0, 60.0)], "tapped horn"),
        ("AB/Ao.Bo", 0.1, [(20.0, 60.0), (20.0, None)], "sixth-order bandpass, parallel"),
        ("oA", 1.0, [], "closed box"),
    ],
)
def test_lines_and_horns_are_called_so(
    graph: str, room_l: float, sections: list[tuple[float, float | None]], name: str
) -> None:
    """Where ducts hold most of the air of a graph that has such a name."""
    assert design_names(piped(graph, room_l, sections)) == [name]
