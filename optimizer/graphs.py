"""Which graphs a season's search covers."""

from __future__ import annotations

from models.catalogue import TRADE_NAMES, named_topology
from models.enumeration import enumerate_graphs
from models.topology import Topology, parse_graph_id
from optimizer.season import SearchSettings, Season

PARALLEL_DUCTS = {1: 2, 2: 2}
"""Ducts between the same two places at most, by number of chambers; one in larger graphs."""


def season_graphs(season: Season) -> tuple[str, ...]:
    """Graph ids that a season's search covers, without repetition.

    ``all`` is every useful graph up to the season's numbers of chambers, ducts and diaphragms,
    ``named`` those of them that have a trade name; a list is taken as it stands. At effort
    ``quick``, ``all`` is the named ones only.

    Parameters
    ----------
    season : Season
        The season [record].

    Returns
    -------
    tuple of str
        Graph ids [text].
    """
    settings, drivers = season.search, season.rules.driver_count
    named = [graph for graph in TRADE_NAMES if _within(parse_graph_id(graph), settings, drivers)]
    if settings.topologies == "named" or (settings.topologies == "all" and settings.effort == "quick"):
        return tuple(named)
    if not isinstance(settings.topologies, str):
        return tuple(dict.fromkeys(named_topology(name).graph_id for name in settings.topologies))
    found = [
        item.graph
        for chambers in range(1, settings.max_chambers + 1)
        for item in enumerate_graphs(
            chambers,
            settings.max_ducts,
            drivers=drivers,
            max_parallel=PARALLEL_DUCTS.get(chambers, 1),
            max_diaphragms=settings.max_diaphragms,
        )
        if item.chambers == chambers and not item.useless
    ]
    return tuple(dict.fromkeys(named + found))


def _within(topology: Topology, settings: SearchSettings, drivers: int) -> bool:
    return (
        len(topology.drivers) == drivers
        and topology.chambers <= settings.max_chambers
        and len(topology.ducts) <= settings.max_ducts
        and len(topology.diaphragms) <= settings.max_diaphragms
    )
