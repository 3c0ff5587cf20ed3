"""How sure a search is of its best, in numbers and in plain sentences.

Restarts are evidence, never a bound. Beside the count of restarts that agree stands the estimate of
C. G. E. Boender and A. H. G. Rinnooy Kan (Math. Programming 37, 1987, 59-80, from memory): after
n restarts that ended in w different optima, the chance that a further restart ends in one not yet
seen is expected to be w(w + 1)/(n(n - 1)), for n of at least w + 2.

Restarts seek free networks. Which type plays loudest once it is built may be another one, and its floor
plan is sought a few times only, so both are counted for the first-ranked box as well.
"""

from __future__ import annotations

from typing import Any

from models.catalogue import short_label
from optimizer.laid_out import LaidOut
from optimizer.race import AGREE_DB, Plan, Standing
from optimizer.results import Candidate

STOPPED = "The search was stopped early, so nothing is known of how sure its best is."
NOTHING = "No type gave a design that fits."

LEAST_AGREEING = 2
"""Restarts of the first-ranked box's type, and searches for its plan, that must agree."""


def confidence(standing: Standing, plan: Plan, first: Candidate | None = None) -> dict[str, Any]:
    """How sure a race is.

    Parameters
    ----------
    standing : Standing
        Where the race stands [record].
    plan : Plan
        How it was run [record].
    first : Candidate or None
        The first-ranked box [record].

    Returns
    -------
    dict
        ``settled`` (restarts of every contender and of the first-ranked box's type agree, and no cut cell
        was close), ``graph`` (of the loudest free network), its ``restarts``, ``agreeing``, ``optima`` and
        ``unseen_chance``, ``cut``, ``nearest_cut_db``, ``largest_gain_db``, ``first`` (``topology``,
        ``graph``, ``restarts``, ``agreeing``, ``plan_searches`` and ``plans_agreeing`` of the first-ranked
        box) and ``sentences`` [mixed].
    """
    order = standing.order(standing.scores)
    if not order:
        return {"settled": False, "sentences": [STOPPED if standing.open else NOTHING]}
    best = order[0]
    scores = standing.restarts.get(best, [])
    agreeing = standing.agreeing(best)
    optima = count_optima(scores)
    nearest = min(standing.behind, key=lambda graph: (standing.behind[graph], graph), default=None)
    over = not standing.open
    agreed = over and agreeing >= min(plan.agree, plan.most)
    risky = [graph for graph, behind in standing.behind.items() if behind < standing.gain]
    ranked = _first_ranked(standing, first)
    own = ranked is None or ranked["graph"] == best or ranked["agreeing"] >= LEAST_AGREEING
    found: dict[str, Any] = {
        "settled": agreed and not risky and own,
        "graph": best,
        "restarts": len(scores),
        "agreeing": agreeing,
        "optima": optima,
        "unseen_chance": unseen_chance(len(scores), optima),
        "cut": len(standing.left),
        "nearest_cut": nearest or "",
        "nearest_cut_db": None if nearest is None else standing.behind[nearest],
        "largest_gain_db": standing.gain,
        "risky_cuts": len(risky),
        "first": ranked,
    }
    return found | {"sentences": _sentences(found, plan, over)}


def _first_ranked(standing: Standing, first: Candidate | None) -> dict[str, Any] | None:
    """Restarts of the first-ranked box's type and searches for its plan, and how many of them agree."""
    if first is None:
        return None
    plans = first.laid_out.searches_db if isinstance(first.laid_out, LaidOut) else ()
    return {
        "topology": first.topology,
        "graph": first.graph,
        "restarts": len(standing.restarts.get(first.graph, [])),
        "agreeing": standing.agreeing(first.graph),
        "plan_searches": len(plans),
        "plans_agreeing": sum(score >= max(plans) - AGREE_DB for score in plans),
    }


def count_optima(scores: list[float]) -> int:
    """Number of different optima among restarts: scores more than the agreement apart [1]."""
    distinct = 0
    last = None
    for score in sorted(scores, reverse=True):
        if last is None or score < last - AGREE_DB:
            distinct, last = distinct + 1, score
    return distinct


def unseen_chance(restarts: int, optima: int) -> float | None:
    """Expected chance that one more restart ends in an optimum not seen yet; None of too few restarts [1]."""
    if restarts < optima + 2:
        return None
    return optima * (optima + 1) / (restarts * (restarts - 1))


def _sentences(found: dict[str, Any], plan: Plan, over: bool) -> list[str]:
    words = []
    restarts, agreeing, first = found["restarts"], found["agreeing"], found["first"]
    same = first is None or first["graph"] == found["graph"]
    whose = "the best type" if first is None else "the first-ranked box's type"
    whose = whose if same else f"the type of the loudest free network, graph {found['graph']},"
    if not over:
        words.append(STOPPED)
    elif agreeing >= plan.agree:
        words.append(
            f"{agreeing} of {restarts} independent restarts of {whose} ended within {AGREE_DB:g} dB "
            "of each other at its best free network, which is why the search stopped."
        )
    else:
        words.append(
            f"Only {agreeing} of {restarts} restarts of {whose} reached its best free network; "
            f"{plan.agree} were asked for. A better one may well exist: search with more effort."
        )
    if found["unseen_chance"] is not None and over:
        count = found["optima"]
        ended = "one optimum" if count == 1 else f"{count} different optima"
        words.append(
            f"They ended in {ended}; by the estimate of Boender and Rinnooy Kan one more restart would find "
            f"a new one with a chance of {found['unseen_chance']:.0%}."
        )
    if over and first is not None:
        words += _first_sentences(first, same)
    if found["cut"]:
        types = "1 type was" if found["cut"] == 1 else f"{found['cut']} types were"
        words.append(
            f"{types} left on the way; the nearest, {found['nearest_cut']}, was "
            f"{found['nearest_cut_db']:.2f} dB behind, and no type gained more than "
            f"{found['largest_gain_db']:.2f} dB after its first run."
        )
        if found["risky_cuts"]:
            count = found["risky_cuts"]
            verb = "was" if count == 1 else "were"
            words.append(
                f"{count} of them {verb} closer than that and could still win: the type is not sure."
            )
    return words


def _first_sentences(first: dict[str, Any], same: bool) -> list[str]:
    """How sure the first-ranked box is, where that is not said with the loudest type; and its plan."""
    words = []
    if not same:
        name = short_label(first["topology"], first["graph"])
        if not first["restarts"]:
            found = "was left after short runs, so no restart confirms its best free network"
        else:
            found = f"has {first['agreeing']} of {first['restarts']} restarts at its best free network"
            if first["agreeing"] < LEAST_AGREEING:
                found += ", so a better one may well exist"
        words.append(f"The first-ranked box's own type, {name}, {found}.")
    searches, agreeing = first["plan_searches"], first["plans_agreeing"]
    if searches == 1:
        words.append("Its floor plan was sought once; another search may find a better one.")
    elif searches:
        counts = f"{agreeing} of {searches} searches for its floor plan"
        ended = f"{counts} ended within {AGREE_DB:g} dB of the best"
        words.append(f"{ended}; a better plan may well exist." if agreeing < LEAST_AGREEING else f"{ended}.")
    return words
