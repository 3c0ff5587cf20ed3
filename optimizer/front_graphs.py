"""Graphs that matter to the front of a season."""

from __future__ import annotations

import numpy as np

from optimizer.front import non_dominated
from optimizer.history import hypervolume
from optimizer.objectives import gains
from optimizer.outcomes import Outcomes, archives_of, pooled


def front_graphs(order: list[str], done: Outcomes, objectives: tuple[str, ...], count: int) -> list[str]:
    """The best graph, and those without which the front would lose most hypervolume.

    Parameters
    ----------
    order : list of str
        Graphs for which something fits, the best first [text].
    done : mapping of Task to dict
        Finished tasks [mixed].
    objectives : tuple of str
        Names of the objectives [text].
    count : int
        Graphs wanted [1].

    Returns
    -------
    list of str
        At most as many graphs; of those that the front would not miss, the better ones [text].
    """
    if len(order) <= count:
        return order
    graphs, _, columns = pooled(archives_of(done, objectives))
    values = gains(columns, objectives)
    rows = non_dominated(values)
    owner, front = np.array(graphs)[rows], values[rows]
    reference = front.min(axis=0) - 1e-9
    scaled = (front - reference) / np.maximum(front.max(axis=0) - reference, 1e-12)
    left = {graph: hypervolume(scaled[owner != graph], np.zeros(len(objectives))) for graph in order[1:]}
    return [order[0], *sorted(left, key=lambda graph: left[graph])[: count - 1]]
