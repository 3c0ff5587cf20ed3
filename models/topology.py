"""An enclosure as a graph: chambers, and the drivers, ducts and diaphragms that join places.

A place is a chamber (0, 1, ...; lettered A, B, ... for people) or the outside (-1; letter ``o``).
The graph id writes each driver as its front and rear place, then after a stroke the ducts,
then after a second stroke the diaphragms: ``oA`` is a closed box, ``oA/Ao`` a vented one,
``AB/Ao.Bo`` a driver between two chambers that both open outside. Of all ways to letter the
chambers and to turn drivers round, the id takes the first in alphabetical order, so equal
graphs have equal ids.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations

OUTSIDE = -1
_LETTERS = "ABCDEFGHIJKLMN"


def place_letter(place: int) -> str:
    """Letter of a place: ``o`` outside, ``A`` for chamber 0, and so on."""
    return "o" if place == OUTSIDE else _LETTERS[place]


Edge = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Topology:
    """Connections of an enclosure; sizes live in :class:`models.design.DesignBatch`.

    Attributes
    ----------
    chambers : int
        Number of chambers [1].
    drivers : tuple of (int, int)
        Front and rear place of each driver [place].
    ducts : tuple of (int, int)
        The two places each duct joins [place].
    diaphragms : tuple of (int, int)
        The two places each passive diaphragm parts [place].
    """

    chambers: int
    drivers: tuple[Edge, ...]
    ducts: tuple[Edge, ...] = ()
    diaphragms: tuple[Edge, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a graph without a driver, with an edge to nowhere, or not in one piece."""
        if not self.drivers:
            raise ValueError("a topology needs at least one driver")
        places = {OUTSIDE, *range(self.chambers)}
        for edge in self.edges:
            for place in edge:
                if place not in places:
                    raise ValueError(f"edge {edge} names chamber {place}; there are {self.chambers}")
        for front, rear in self.drivers + self.diaphragms:
            if front == rear:
                raise ValueError(f"a driver or diaphragm joins {place_letter(front)} to itself")
        if not self._connected():
            raise ValueError("the topology falls into parts that nothing joins")

    @property
    def edges(self) -> tuple[Edge, ...]:
        """All connections: drivers, then ducts, then diaphragms."""
        return self.drivers + self.ducts + self.diaphragms

    @property
    def graph_id(self) -> str:
        """Readable name of the graph, equal for equal graphs."""
        return canonical_id(self.chambers, self.drivers, self.ducts, self.diaphragms)

    def _connected(self) -> bool:
        reached = {OUTSIDE}
        while True:
            more = {p for e in self.edges if reached & set(e) for p in e} - reached
            if not more:
                return len(reached) == self.chambers + 1
            reached |= more


def canonical_id(
    chambers: int, drivers: tuple[Edge, ...], ducts: tuple[Edge, ...], diaphragms: tuple[Edge, ...] = ()
) -> str:
    """Graph id of edges: the first in alphabetical order over all ways to letter the chambers.

    Parameters
    ----------
    chambers : int
        Number of chambers [1].
    drivers, ducts, diaphragms : tuple of (int, int)
        Edges between places [place].

    Returns
    -------
    str
        Graph id [text].
    """
    orders = permutations(range(chambers))
    return min((_written(order, drivers, ducts, diaphragms) for order in orders), key=_outside_first)


def _written(
    order: tuple[int, ...], drivers: tuple[Edge, ...], ducts: tuple[Edge, ...], diaphragms: tuple[Edge, ...]
) -> str:
    letter = {OUTSIDE: "o"} | {chamber: _LETTERS[new] for new, chamber in enumerate(order)}

    def undirected(edges: tuple[Edge, ...]) -> str:
        # chambers first, outside last: "Ao", not "oA"
        return ".".join(sorted("".join(sorted(letter[p] for p in e)) for e in edges))

    def directed(turn: int) -> str:
        return ".".join(sorted((letter[e[turn]] + letter[e[1 - turn]] for e in drivers), key=_outside_first))

    # turning every driver round changes only the sign of all pressures; the outside is written first
    heads = min((directed(turn) for turn in (0, 1)), key=_outside_first)
    parts = [heads, undirected(ducts), undirected(diaphragms)]
    while not parts[-1]:
        parts.pop()
    return "/".join(parts)


def _outside_first(text: str) -> str:
    return text.replace("o", " ")


def parse_graph_id(text: str) -> Topology:
    """Topology of a graph id such as ``AB/Ao.Bo``.

    Raises
    ------
    ValueError
        The text is not a graph id, or the graph is not in one piece.
    """

    def places(word: str) -> Edge:
        if len(word) != 2 or any(c != "o" and c not in _LETTERS for c in word):
            raise ValueError(f"{word!r} is not a pair of places; a place is 'o' or a letter from A")
        first, second = (OUTSIDE if c == "o" else _LETTERS.index(c) for c in word)
        return first, second

    groups = [[places(w) for w in part.split(".") if w] for part in text.split("/")]
    if len(groups) > 3:
        raise ValueError(f"{text!r} has more than three parts; write drivers/ducts/diaphragms")
    groups += [[]] * (3 - len(groups))
    chambers = 1 + max((p for g in groups for e in g for p in e), default=-1)
    return Topology(
        chambers=chambers, drivers=tuple(groups[0]), ducts=tuple(groups[1]), diaphragms=tuple(groups[2])
    )
