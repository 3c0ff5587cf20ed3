"""What a season would be like with each of several drivers: one record a driver, side by side."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from models.catalogue import named_topology, short_name
from models.drive import LIMIT_NAMES
from models.driver import Driver
from optimizer.bounds import CLOSED, VENTED
from optimizer.cell import Goal, joined
from optimizer.evolution import best_rows
from optimizer.known import Known
from optimizer.ladder import tone_rungs
from optimizer.objectives import measure
from optimizer.prices import verified_prices
from optimizer.progress import Progress
from optimizer.rematch import Match, rematch
from optimizer.season import Season
from optimizer.variants import Variant, encoded

TYPES = 6
"""Leading types of the season that are tried with every driver, besides the plain boxes."""

GAP_TYPES = 2
"""Leading types among which every tone may have a box of its own."""

PLAIN = {"closed box": CLOSED, "vented box": VENTED}
"""Boxes whose best scores are par."""


def compare_drivers(
    season: Season, variant: Variant, known: list[Known], effort: str, progress: Progress
) -> list[dict[str, Any]]:
    """The season with its own driver and with each other one that it names.

    Parameters
    ----------
    season : Season
        The season [record].
    variant : Variant
        Its search spaces and evaluator [record].
    known : list of Known
        Best box of every topology with the season's own driver [list].
    effort : str
        Effort of the search of each type with each driver [text].
    progress : callable
        Told how many drivers are done [any].

    Returns
    -------
    list of dict
        ``name``, ``best_db``, ``graph``, ``topology``, ``margin_db``, ``next_topology``, ``par``,
        ``stops`` (shares of tones by what stops them), ``evenness_db``, ``gap_db``,
        ``power_db_per_w``, ``excursion_db_per_mm`` and ``never_met`` of each driver, its own first; empty
        where the season names no other driver [mixed].
    """
    if not season.driver_options:
        return []
    ranked = sorted([k for k in known if not k.reduces_to], key=lambda k: -k.best_db)[:TYPES]
    ranked += [k for k in known if k.graph in PLAIN.values() and k not in ranked]
    start = {k.graph: encoded(variant, k.graph, k.design) for k in ranked or known}
    base = Match(variant=variant, points=start)
    found = []
    drivers = (season.rules.driver, *season.driver_options)
    for number, driver in enumerate(drivers):
        progress(number, len(drivers), driver.name)
        with_it = variant.under(replace(season.rules, driver=driver))
        found.append(_record(driver, rematch(base, with_it, effort, season.search.seed), season))
    return found


def _record(driver: Driver, match: Match | None, season: Season) -> dict[str, Any]:
    if match is None:
        return {"name": driver.name, "best_db": None, "why_none": "no box with it fits the envelope"}
    variant, best = match.variant, match.order[0]
    point, prices = verified_prices(variant, best, match.points[best], patient=False)
    pool = joined([match.points[best], point])
    match = Match(variant=variant, points=match.points | {best: pool.take(best_rows(pool, Goal(), 1))})
    levels = match.levels
    design = variant.cell(best).space.decode(match.points[best].x, match.points[best].site)
    responses = variant.judge.respond(design)
    stopped = [LIMIT_NAMES[k] for k in responses.limit.ravel()]
    leaders = {graph: match.points[graph] for graph in match.order[:GAP_TYPES]}
    rungs = tone_rungs(variant, leaders, None, season.search.seed, 1, sizes=(1,))
    per_unit = {p["rule"]: p for p in prices}
    following = match.order[1] if len(match.order) > 1 else None
    return {
        "name": driver.name,
        "best_db": levels[best],
        "graph": best,
        "topology": short_name(named_topology(best)),
        "margin_db": match.margin_db,
        "next_graph": following,
        "next_topology": None if following is None else short_name(named_topology(following)),
        "par": {name: levels[graph] for name, graph in PLAIN.items() if graph in levels},
        "stops": {name: stopped.count(name) / len(stopped) for name in dict.fromkeys(stopped)},
        "evenness_db": float(measure(variant.judge, design, responses)["evenness_db"][0]),
        "gap_db": rungs[0].value_db - levels[best] if rungs else None,
        "power_db_per_w": float(per_unit["limits.power_w"]["db_per_unit"]),
        "excursion_db_per_mm": float(per_unit["limits.excursion_mm"]["db_per_unit"]),
        "never_met": _never_met(variant, responses.voltage[..., None] / responses.permitted),
    }


def _never_met(variant: Variant, shares: np.ndarray) -> list[str]:
    """Limits of the season that the box meets at no tone."""
    limits = variant.rules.limits
    there = {"air_speed": limits.air_speed, "voltage": limits.voltage, "current": limits.current}
    most = shares.max(axis=(0, 1, 2))
    names = [n for n in LIMIT_NAMES if n != "diaphragm" and there.get(n, 0.0) is not None]
    return [name for name in names if most[LIMIT_NAMES.index(name)] < 0.999]
