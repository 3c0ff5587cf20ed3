"""The ceiling of a season: ladder, certified bounds, par, prices and takeovers, as plain data."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from models.catalogue import short_label
from optimizer.bounds import CLOSED, VENTED, Certificate, any_enclosure_db, certify
from optimizer.cell import Points
from optimizer.known import Known
from optimizer.ladder import BOUND, EVIDENCE, Rung, rule_rungs, tone_rungs
from optimizer.priced_rules import rules_of
from optimizer.prices import prices_by_side, verified_prices
from optimizer.progress import Progress, silent
from optimizer.rival import Rival
from optimizer.season import Season
from optimizer.takeover import rules_that_part, share_of_reach, takeovers
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant, encoded, output_of

PAR = {"closed box": CLOSED, "vented box": VENTED}
"""Plain boxes whose best scores are par."""

NEVER_DB = 0.005
"""A rule whose removal gains less, and whose price over a tenth of it is less, does not bind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingEffort:
    """How hard the rungs are sought.

    Attributes
    ----------
    leaders : int
        Types that every rung is sought among [1].
    seek : str or None
        Effort of searches from nothing beside the boxes known [text].
    starts : int
        Points of a type that are polished for each group of tones [1].
    boxes : int
        Boxes of sizes for a certified bound of all sites [1].
    rules : int
        Rules that a takeover is sought at [1].
    """

    leaders: int
    seek: str | None
    starts: int
    boxes: int
    rules: int


CEILING_EFFORTS = {
    "quick": CeilingEffort(leaders=2, seek=None, starts=1, boxes=60_000, rules=2),
    "normal": CeilingEffort(leaders=3, seek="survey", starts=2, boxes=400_000, rules=4),
    "thorough": CeilingEffort(leaders=5, seek="quick", starts=3, boxes=5_000_000, rules=9),
}
"""Efforts by the name that a season gives."""


def ceiling(season: Season, known: list[Known], progress: Progress = silent) -> dict[str, Any]:
    """Everything that ``boxwright ceiling --json`` prints.

    Parameters
    ----------
    season : Season
        The season [record].
    known : list of Known
        Best box of every topology, the best first; at least one [list].
    progress : callable
        Told how many parts are done [any].

    Returns
    -------
    dict
        ``best_found_db``, ``par``, ``rungs``, ``topologies``, ``prices``, ``never_bind``, ``dearest``,
        ``takeovers`` and ``verdict`` [mixed].
    """
    effort = CEILING_EFFORTS[season.search.effort]
    runner = TaskRunner(season)
    variant = Variant(runner)
    ranked = [k for k in known if not k.reduces_to] or known
    leaders = sorted(ranked, key=lambda k: -k.best_db)[: effort.leaders]
    parts = 5 + len(leaders)

    def done(number: int, word: str) -> None:
        progress(number, parts, word)

    priced: dict[str, tuple[dict[str, Any], ...]] = {}
    points: dict[str, Points] = {}
    for number, leader in enumerate(leaders):
        done(number, f"prices of {leader.graph}")
        start = encoded(variant, leader.graph, leader.design)
        points[leader.graph], priced[leader.graph] = verified_prices(variant, leader.graph, start)
    scores = {k.graph: k.best_db for k in known} | {g: output_of(p) for g, p in points.items()}
    best = max(scores, key=lambda graph: scores[graph])
    done(len(leaders), "boxes for every tone")
    tones = tone_rungs(variant, points, effort.seek, season.search.seed, effort.starts)
    done(len(leaders) + 1, "rules removed")
    removed = rule_rungs(variant, points)
    done(len(leaders) + 2, "certified bounds")
    certificates = _certificates(season, effort.boxes)
    pinned = _pinned(season, variant, known, effort.boxes)
    done(len(leaders) + 3, "takeovers")
    names = {k.graph: k.topology for k in known}
    order = sorted(points, key=lambda graph: -scores[graph])
    rivals = [
        Rival(
            graph=graph,
            topology=names[graph],
            point=points[graph],
            prices=prices_by_side(priced[graph]),
        )
        for graph in order
    ]
    overtaken = [
        change
        for rule in rules_that_part(variant, rivals)[: effort.rules]
        for change in takeovers(variant, rivals[0], rivals[1:], (), rule).defence
    ]
    done(parts, "done")
    gains = {key: rung.value_db - scores[best] for key, _, rung in removed}
    rungs = [_best_rung(scores[best], short_label(names[best], best))]
    rungs += tones + [rung for _, _, rung in removed]
    rungs += [_certified_rung(season, c, f"any {name}") for name, c in certificates.items()]
    if pinned is not None:
        rungs.append(_certified_rung(season, pinned, "vented box at the sites of the best one found"))
    rungs += _driver_rung(runner)
    bound_by_graph = {c.graph: c for c in certificates.values()}
    prices = [dict(p) | _gain(p, gains) for p in priced[best]] if best in priced else []
    never = [key for key in gains if key != "envelope" and _never(key, gains, season, priced)]
    return {
        "best_found_db": scores[best],
        "best_topology": names[best],
        "best_graph": best,
        "par": {name: scores[graph] for name, graph in PAR.items() if graph in scores},
        "rungs": [_rung_record(rung, scores[best]) for rung in rungs],
        "topologies": [
            {
                "topology": k.topology,
                "graph": k.graph,
                "best_db": scores[k.graph],
                "behind_db": scores[best] - scores[k.graph],
                "reduces_to": k.reduces_to,
            }
            | _bound_record(bound_by_graph.get(k.graph))
            for k in sorted(known, key=lambda k: -scores[k.graph])
        ],
        "prices": prices,
        "never_bind": never,
        "dearest": _dearest(prices, season),
        "takeovers": sorted(overtaken, key=share_of_reach),
        "verdict": _verdict(scores, names, best, known, certificates),
    }


def _certificates(season: Season, boxes: int) -> dict[str, Certificate]:
    if season.rules.driver_count != 1:
        return {}
    return {name: certify(season, graph, most_boxes=boxes) for name, graph in PAR.items()}


def _pinned(season: Season, variant: Variant, known: list[Known], boxes: int) -> Certificate | None:
    """Bound of vented boxes at the sites of the best one found, which closes far sooner."""
    vented = [k for k in known if k.graph == VENTED]
    if not vented or season.rules.driver_count != 1:
        return None
    return certify(season, VENTED, near=encoded(variant, VENTED, vented[0].design), most_boxes=boxes)


def _best_rung(value: float, name: str) -> Rung:
    return Rung(
        name="best found",
        value_db=value,
        kind=EVIDENCE,
        how=f"search of the season, then polished; {name}",
        void_if="the model is wrong about this box; a longer search may find a better one",
    )


def _certified_rung(season: Season, certificate: Certificate, name: str) -> Rung:
    state = "closed" if certificate.closed else "not closed within its effort"
    tapered = season.search.duct_profile != "uniform"
    straight = "; ducts are straight" if certificate.graph == VENTED and tapered else ""
    return Rung(
        name=f"certified: {name}",
        value_db=certificate.upper_db,
        kind=BOUND,
        how=f"branch and bound, {certificate.boxes} boxes of sizes and sites, {state}{straight}",
        void_if="lumped, lossless chambers differ from the real box; sites or sizes lie outside the search's",
        gap_db=certificate.gap_db if np.isfinite(certificate.gap_db) else None,
    )


def _driver_rung(runner: TaskRunner) -> list[Rung]:
    """The bound from driver and cabin alone; nothing where it is not finite."""
    value = any_enclosure_db(runner)
    if value is None:
        return []
    return [
        Rung(
            name="driver and power alone: any enclosure",
            value_db=value,
            kind=BOUND,
            how="most power the driver can give to any load, radiated from the search's sites at best",
            void_if="the enclosure is not passive, an opening lies elsewhere, or the cabin's model is wrong",
        )
    ]


def _gain(price: dict[str, Any], gains: dict[str, float]) -> dict[str, float]:
    return {"dropped_gain_db": gains[price["rule"]]} if price["rule"] in gains else {}


def _never(
    key: str, gains: dict[str, float], season: Season, priced: dict[str, tuple[dict[str, Any], ...]]
) -> bool:
    values = {rule.key: value for rule, value in rules_of(season.rules)}
    worth = [
        max(abs(p["db_per_unit"]), abs(p.get("db_per_unit_less", 0.0))) * values[key] * 0.1
        for prices in priced.values()
        for p in prices
        if p["rule"] == key
    ]
    return gains[key] < NEVER_DB and max(worth, default=0.0) < NEVER_DB


def _dearest(prices: list[dict[str, Any]], season: Season) -> list[dict[str, Any]]:
    """Rules by what a tenth more of each would give or take, the dearest first."""
    values = {rule.key: value for rule, value in rules_of(season.rules)}
    worth = [{"rule": p["rule"], "per_tenth_db": p["db_per_unit"] * 0.1 * values[p["rule"]]} for p in prices]
    return sorted(
        (w for w in worth if abs(w["per_tenth_db"]) >= NEVER_DB), key=lambda w: -abs(w["per_tenth_db"])
    )


def _rung_record(rung: Rung, best: float) -> dict[str, Any]:
    return asdict(rung) | {"above_best_db": rung.value_db - best}


def _bound_record(certificate: Certificate | None) -> dict[str, Any]:
    if certificate is None:
        return {}
    return {"bound_db": certificate.upper_db, "bound_model_best_db": certificate.lower_db}


def _verdict(
    scores: dict[str, float],
    names: dict[str, str],
    best: str,
    known: list[Known],
    certificates: dict[str, Certificate],
) -> list[str]:
    """Whether one type dominates, in sentences with numbers."""
    others = [k for k in known if k.graph != best and not k.reduces_to]
    sentences = []
    if others:
        second = max(others, key=lambda k: scores[k.graph])
        lead = scores[best] - scores[second.graph]
        how = "dominates" if lead > 1.0 else "leads" if lead > 0.1 else "hardly leads"
        mine, next_type = short_label(names[best], best), short_label(second.topology, second.graph)
        sentences.append(
            f"Of the types, {mine} {how}: the next one, {next_type}, stays {lead:.2f} dB behind."
        )
    for name, c in certificates.items():
        if c.graph != best:
            below = scores[best] - c.upper_db
            if below > 0.0:
                words = f"its bound is {below:.1f} dB below the best found"
                sentences.append(f"No {name} can win in the lumped lossless model: {words}.")
    return sentences
