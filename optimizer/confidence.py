"""How sure a search is of its best, in numbers and in plain sentences.

Restarts are evidence, never a bound. Beside the count of restarts that agree stands the estimate of
C. G. E. Boender and A. H. G. Rinnooy Kan (Math. Programming 37, 1987, 59-80, from memory): after
n restarts that ended in w different optima, the chance that a further restart ends in one not yet
seen is expected to be w(w + 1)/(n(n - 1)).
"""

from __future__ import annotations

from typing import Any

from optimizer.race import AGREE_DB, Plan, Standing

STOPPED = "The search was stopped early, so nothing is known of how sure its best is."
NOTHING = "No type gave a design that fits."


def confidence(standing: Standing, plan: Plan) -> dict[str, Any]:
    """How sure a race is.

    Parameters
    ----------
    standing : Standing
        Where the race stands [record].
    plan : Plan
        How it was run [record].

    Returns
    -------
    dict
        ``settled`` (restarts of every contender agree and no cut cell was close), ``restarts``,
        ``agreeing``, ``optima``, ``unseen_chance``, ``cut``, ``nearest_cut_db``, ``largest_gain_db`` and
        ``sentences`` [mixed].
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
    found: dict[str, Any] = {
        "settled": agreed and not risky,
        "restarts": len(scores),
        "agreeing": agreeing,
        "optima": optima,
        "unseen_chance": unseen_chance(len(scores), optima),
        "cut": len(standing.left),
        "nearest_cut": nearest or "",
        "nearest_cut_db": None if nearest is None else standing.behind[nearest],
        "largest_gain_db": standing.gain,
        "risky_cuts": len(risky),
    }
    return found | {"sentences": _sentences(found, plan, over)}


def count_optima(scores: list[float]) -> int:
    """Number of different optima among restarts: scores more than the agreement apart [1]."""
    distinct = 0
    last = None
    for score in sorted(scores, reverse=True):
        if last is None or score < last - AGREE_DB:
            distinct, last = distinct + 1, score
    return distinct


def unseen_chance(restarts: int, optima: int) -> float | None:
    """Expected chance that one more restart ends in an optimum not seen yet; None below two restarts [1]."""
    if restarts < 2:
        return None
    return min(1.0, optima * (optima + 1) / (restarts * (restarts - 1)))


def _sentences(found: dict[str, Any], plan: Plan, over: bool) -> list[str]:
    words = []
    restarts, agreeing = found["restarts"], found["agreeing"]
    if not over:
        words.append(STOPPED)
    elif agreeing >= plan.agree:
        words.append(
            f"{agreeing} of {restarts} independent restarts of the best type ended within {AGREE_DB:g} dB "
            "of each other at its best score, which is why the search stopped."
        )
    else:
        words.append(
            f"Only {agreeing} of {restarts} restarts of the best type reached its best score; {plan.agree} "
            "were asked for. A better box of this type may well exist: search with more effort."
        )
    if found["unseen_chance"] is not None and over:
        count = found["optima"]
        ended = "one optimum" if count == 1 else f"{count} different optima"
        words.append(
            f"They ended in {ended}; by the estimate of Boender and Rinnooy Kan one more restart would find "
            f"a new one with a chance of {found['unseen_chance']:.0%}."
        )
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
