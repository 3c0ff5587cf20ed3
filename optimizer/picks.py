"""Designs with different roles, chosen from a pool: everything a search kept, or the boxes laid out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from models.catalogue import named_topology, short_name
from optimizer.cell import Points
from optimizer.objectives import OBJECTIVES
from optimizer.outcomes import pooled
from optimizer.parsimony import complexity, reducing, sorted_graphs

SMALL_LOSS_DB = 0.5
"""Output that a candidate may give up for evenness, material or a stronger weakest tone."""

SIMPLE_LOSS_DB = 1.0
"""Output that a candidate may give up for a simpler graph or a smaller box."""

SAME_L = 1e-6
"""Outer volumes that differ by less are one [l]."""

SIGNS = {objective.key: objective.sign for objective in OBJECTIVES.values()}
"""+1 where more of an objective is better, -1 where less is, by its key."""


@dataclass(frozen=True, slots=True)
class Role:
    """What a design is best at.

    Attributes
    ----------
    words : str
        For people [text].
    key : str
        Key of the objective that decides [text].
    """

    words: str
    key: str = "output_db"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """A chosen design.

    Attributes
    ----------
    graph : str
        Graph id [text].
    row : int
        Its row among the points kept of its graph [1].
    output_db : float
        Its score [dB].
    roles : list of Role
        What it is best at, the weightiest first [list].
    """

    graph: str
    row: int
    output_db: float
    roles: list[Role]


def network_picks(archives: dict[str, Points]) -> list[Pick]:
    """Designs by role from everything a search kept, in the order in which roles matter.

    Parameters
    ----------
    archives : dict of str to Points
        Points kept of each graph [record].

    Returns
    -------
    list of Pick
        No graph that reduces to a simpler one is among them [list].
    """
    if not archives:
        return []
    graphs, rows, columns = pooled(archives)
    output = columns["output_db"]
    scores = {graph: float(points.columns["output_db"].max()) for graph, points in archives.items()}
    reduced = {graph for graph in scores if reducing(graph, scores)}
    order = [graph for graph in sorted_graphs(scores) if graph not in reduced]
    return [
        Pick(graph=graphs[i], row=rows[i], output_db=float(output[i]), roles=roles)
        for i, roles in roles_by_row(graphs, columns, order).items()
    ]


def roles_by_row(
    graphs: Sequence[str], columns: dict[str, np.ndarray], order: Collection[str]
) -> dict[int, list[Role]]:
    """Rows of a pool that are best at something, with what they are best at; a row may be best at several.

    Parameters
    ----------
    graphs : sequence of str
        Graph of each row [text].
    columns : dict of ndarray, shape (n_rows,)
        Objectives by key [mixed].
    order : collection of str
        Graphs that may be chosen, the best first [text].

    Returns
    -------
    dict of int to list of Role
        In the order in which roles matter [mixed].
    """
    names = np.array(graphs)
    output = columns["output_db"]
    own = np.isin(names, list(order))
    top = float(output[own].max())
    simple = np.array([complexity(g) for g in graphs])
    chosen: dict[int, list[Role]] = {}

    def choose(words: str, value: np.ndarray, among: np.ndarray, key: str = "output_db") -> None:
        if np.any(among):
            rows = np.nonzero(among)[0]
            best = int(rows[np.lexsort((-output[rows], -value[rows]))[0]])
            chosen.setdefault(best, []).append(Role(words, key))

    def choose_by(words: str, key: str, among: np.ndarray) -> None:
        choose(words, SIGNS[key] * columns[key], among, key)

    near = own & (output >= top - SMALL_LOSS_DB)
    around = own & (output >= top - SIMPLE_LOSS_DB)
    choose("highest output", output, own)
    choose_by(f"most even within {SMALL_LOSS_DB:g} dB", "evenness_db", near)
    choose_by(f"least material within {SMALL_LOSS_DB:g} dB", "material_cm3", near)
    choose(f"simplest within {SIMPLE_LOSS_DB:g} dB", -simple.astype(float), around)
    choose_by(f"strongest weakest tone within {SMALL_LOSS_DB:g} dB", "worst_tone_db", near)
    champion = names[next(iter(chosen))]
    choose("highest output of another type", output, own & (names != champion))
    if np.ptp(columns["outer_volume_l"][around]) > SAME_L:  # floor plans take the whole envelope
        choose_by(f"smallest box within {SIMPLE_LOSS_DB:g} dB", "outer_volume_l", around)
    for graph in order:
        choose(f"best {short_name(named_topology(graph))}", output, names == graph)
    return chosen
