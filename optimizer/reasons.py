"""Why a candidate is what it is, in short sentences whose numbers come from its own evaluation."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.catalogue import named_topology, short_name
from models.design import DesignBatch
from models.fit import used_volume
from models.plan_reading import blank_volume
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.objectives import OBJECTIVES
from optimizer.parsimony import complexity
from optimizer.price_words import listed, price_sentences
from optimizer.pricing import Priced
from optimizer.race import AGREE_DB
from optimizer.results import TopologyBest
from optimizer.season import Season
from optimizer.takeover_words import takeover_sentences

LIMIT_WORDS = {
    "excursion": "cone excursion",
    "diaphragm": "diaphragm excursion",
    "power": "the power limit",
    "air_speed": "air speed in a duct",
    "voltage": "amplifier voltage",
    "current": "amplifier current",
}
"""Limits in words."""

MET_DB = 1e-3
"""A limit this near counts as met."""

AGREEMENT_DB = 0.1
"""Restarts this near to the best of their graph agree with it."""

NOTABLE_DB = 0.05
"""Differences below this are not spoken of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A candidate before its reasons are written.

    Attributes
    ----------
    rank : int
        Place in the ranking [1].
    graph : str
        Graph id [text].
    design : DesignBatch
        A batch of one [record].
    objectives : dict of str to float
        Objectives by key [mixed].
    evaluation : dict
        Its evaluation as plain data [mixed].
    network_db : float
        Score of its free network [dB].
    laid_out : LaidOut or NoPlan
        Its floor plan, off which design and evaluation are read, or why there is none [record].
    """

    rank: int
    graph: str
    design: DesignBatch
    objectives: dict[str, float]
    evaluation: dict[str, Any]
    network_db: float
    laid_out: LaidOut | NoPlan

    @property
    def built(self) -> bool:
        """Whether it has a floor plan."""
        return isinstance(self.laid_out, LaidOut)


def reasons_for(
    standing: Standing,
    champion: Standing,
    topologies: Iterable[TopologyBest],
    priced: Priced,
    season: Season,
    following: Standing | None = None,
) -> tuple[str, ...]:
    """Reasons of a candidate: what binds, what more would help, the box itself, the others.

    Parameters
    ----------
    standing, champion : Standing
        The candidate and the one with the highest output [record].
    topologies : iterable of TopologyBest
        Best of every graph [record].
    priced : Priced
        Its prices, and which topologies take over [record].
    season : Season
        The season [record].
    following : Standing or None
        The next candidate in the ranking [record].

    Returns
    -------
    tuple of str
        Sentences [text].
    """
    found = list(topologies)
    result = [_what_binds(standing), _building(standing)]
    result += price_sentences(priced.prices, season.rules, standing.network_db, standing.built)
    result += takeover_sentences(priced.takeover)
    result += _second_limits(standing)
    result.append(_the_box(standing, season))
    if standing.rank == 1:
        result += _against_simple(standing, found)
    elif standing.built == champion.built:
        result += _against(standing, champion)
    else:
        result.append(_network_against(standing, champion))
    if following is not None and following.built == standing.built:
        result.append(_next_does_better(standing, following))
    result.append(restart_words(found, standing.graph, standing.built))
    result += [f"Less sure: {warning}." for warning in standing.evaluation["warnings"]]
    return tuple(result)


def _tones(standing: Standing) -> list[tuple[str, dict[str, Any]]]:
    return [(space["name"], tone) for space in standing.evaluation["spaces"] for tone in space["tones"]]


def _what_binds(standing: Standing) -> str:
    """Which limit stops which tone, tones that agree in all spaces said once."""
    spaces = standing.evaluation["spaces"]
    by_limit: dict[str, list[str]] = {}
    for i, first in enumerate(spaces[0]["tones"]):
        limits = [met_limit(space["tones"][i]) for space in spaces]
        if len(set(limits)) == 1 and limits[0] is not None:
            by_limit.setdefault(limits[0], []).append(f"{first['hz']:g} Hz")
            continue
        for space, limit in zip(spaces, limits, strict=True):
            if limit is not None:
                by_limit.setdefault(limit, []).append(f"{first['hz']:g} Hz ({space['name']})")
    parts = [f"{LIMIT_WORDS[limit]} at {listed(tones)}" for limit, tones in by_limit.items()]
    return f"Stopped by {'; by '.join(parts)}."


def met_limit(tone: dict[str, Any]) -> str | None:
    """The limit that a tone's drive meets; None where another tone stops a setting they share."""
    margin = tone["margins_db"][tone["limit"]]
    return str(tone["limit"]) if margin is not None and margin < MET_DB else None


def _second_limits(standing: Standing) -> list[str]:
    """Tones where two limits nearly meet, which marks a box that uses its rules fully."""
    tight = []
    for space, tone in _tones(standing):
        margins = {k: v for k, v in tone["margins_db"].items() if v is not None and k != tone["limit"]}
        if margins and met_limit(tone) and min(margins.values()) < 0.5:
            second = min(margins, key=lambda k: margins[k])
            tight.append(
                f"{tone['hz']:g} Hz in {space!r} ({LIMIT_WORDS[second]} {margins[second]:.2f} dB behind)"
            )
    return [f"Two limits nearly meet at {listed(tight)}."] if tight else []


def _the_box(standing: Standing, season: Season) -> str:
    design = standing.design
    volumes = np.prod(design.sides[0], axis=1) * 1e3
    share = float(used_volume(design, season.rules)[0]) / season.rules.envelope.inner_volume
    chambers = listed([f"{name} {v:.2f} l" for name, v in zip("ABCDEFGHIJKLMN", volumes, strict=False)])
    ducts = [f"{d.name} {d.area[0] * 1e4:.1f} cm2 by {d.length[0] * 1e3:.0f} mm" for d in design.ducts]
    with_ducts = f"; {listed(ducts)}" if ducts else ""
    if isinstance(standing.laid_out, LaidOut):
        blank = float(blank_volume(standing.laid_out.plan)[0]) * 1e3
        rest = f"the plan leaves {blank:.2f} l as a sealed blank" if blank else "the plan fills the envelope"
        return f"Chambers: {chambers}{with_ducts}; {rest}."
    return f"Chambers: {chambers}{with_ducts}; {100 * share:.1f} % of the envelope's inside is taken."


def _building(standing: Standing) -> str:
    """What building costs, or why there is no plan."""
    if isinstance(standing.laid_out, NoPlan):
        why = "; ".join(standing.laid_out.reasons)
        return f"It has no floor plan ({why}), so its score is that of the free network."
    less = standing.laid_out.cost_db
    words = f"costs {less:.2f} dB" if less >= 0.0 else f"gains {-less:.2f} dB"
    free = f"its free network's {standing.network_db:.2f} dB"
    cost = f"Building it by its floor plan {words} against {free}."
    others = standing.laid_out.searches_db[1:]
    if not others:
        return f"{cost} Its plan was sought once; another search may find a better one."
    ends = listed([f"{score:.2f}" for score in others])
    return f"{cost} Other searches for its plan ended at {ends} dB."


def _network_against(standing: Standing, champion: Standing) -> str:
    """A free network without a plan against that of the first-ranked box."""
    loss = champion.network_db - standing.network_db
    word = "below" if loss >= 0.0 else "above"
    return f"As a free network it is {abs(loss):.2f} dB {word} that of candidate {champion.rank}."


def _against(standing: Standing, champion: Standing) -> list[str]:
    """Tone by tone and objective by objective against the highest output."""
    loss = champion.objectives["output_db"] - standing.objectives["output_db"]
    gains, losses = [], []
    for space, other in zip(standing.evaluation["spaces"], champion.evaluation["spaces"], strict=True):
        for tone, reference in zip(space["tones"], other["tones"], strict=True):
            difference = tone["level_db"] - reference["level_db"]
            words = f"{abs(difference):.1f} dB at {tone['hz']:g} Hz in {space['name']!r}"
            if difference > NOTABLE_DB:
                gains.append((difference, words))
            elif difference < -NOTABLE_DB:
                losses.append((-difference, words))
    sentences = [f"Its average is {loss:.2f} dB below candidate {champion.rank}."]
    best = [words for _, words in sorted(gains, key=lambda g: -g[0])[:2]]
    worst = [words for _, words in sorted(losses, key=lambda g: -g[0])[:2]]
    if best and worst:
        sentences.append(f"Against it, it gains most, {listed(best)}, and gives up most, {listed(worst)}.")
    elif worst:
        sentences.append(f"It gives up most, {listed(worst)}, and gains at no tone.")
    sentences.append(_trade(standing.objectives, champion.objectives, champion.rank))
    return [s for s in sentences if s]


def _trade(mine: dict[str, float], other: dict[str, float], rank: int) -> str:
    parts = []
    even = other["evenness_db"] - mine["evenness_db"]
    if abs(even) > NOTABLE_DB:
        parts.append(f"its tones spread {mine['evenness_db']:.1f} dB, not {other['evenness_db']:.1f} dB")
    material = mine["material_cm3"] / other["material_cm3"] - 1.0
    if abs(material) > 0.01:
        word = "less" if material < 0 else "more"
        parts.append(f"it takes {abs(100 * material):.0f} % {word} material")
    if not parts:
        return ""
    sentence = listed(parts)
    return f"Compared with candidate {rank}, {sentence}."


def _next_does_better(standing: Standing, following: Standing) -> str:
    """What the next candidate has that this one has not."""
    better = []
    for objective in OBJECTIVES.values():
        if objective.key not in standing.objectives:
            continue
        mine, its = standing.objectives[objective.key], following.objectives[objective.key]
        if objective.sign * (its - mine) > NOTABLE_DB * (1.0 if objective.unit == "dB" else 0.2 * abs(mine)):
            better.append(f"{objective.label} {its:.4g} {objective.unit}, not {mine:.4g} {objective.unit}")
    if complexity(following.graph) < complexity(standing.graph):
        better.append("fewer chambers, ducts and diaphragms")
    name = f"Candidate {following.rank}"
    return (
        f"{name} does better in: {'; '.join(better)}."
        if better
        else f"{name} does better in nothing measured."
    )


def _against_simple(standing: Standing, topologies: list[TopologyBest]) -> list[str]:
    """How far the plain boxes and the next graph stay behind the highest output."""
    score = standing.network_db
    plain = [t for t in topologies if t.topology in ("closed box", "vented box") and t.best_db is not None]
    behind = [
        f"the best {t.topology} reaches {t.best_db:.1f} dB, {_gap(score - t.best_db)}"
        for t in plain
        if t.best_db is not None and t.graph != standing.graph
    ]
    start = "as free networks, " if standing.built else ""
    sentences = [_capital(start + listed(behind)) + "."] if behind else []
    others = [t for t in topologies if t.graph != standing.graph and t.best_db is not None]
    if others and others[0].best_db is not None:
        gap = score - others[0].best_db
        name = short_name(named_topology(others[0].graph))
        words = f"the next type, {name}, comes within {gap:.2f} dB"
        if gap < 0.0:  # it loses more by being built, or has no plan
            words = f"another type, {name}, plays {-gap:.2f} dB more"
        sentences.append(_capital(f"{start}{words}."))
    return sentences


def _gap(loss: float) -> str:
    return f"{abs(loss):.1f} dB {'less' if loss >= 0.0 else 'more'}"


def restart_words(topologies: Sequence[TopologyBest], graph: str, built: bool) -> str:
    """How many restarts of a candidate's graph agree, as a sentence; ``built`` where it has a plan."""
    counts = agreement(topologies, graph)
    mine = next(t for t in topologies if t.graph == graph)
    best = f"its best{' free network' if built else ''}, {_best_db(mine):.2f} dB"
    if counts["restarts"] == 1:
        effort = "in one short run" if mine.left_after else "once"
        return f"This type was searched {effort} only, so nothing confirms {best}."
    return (
        f"{counts['agreeing']} of {counts['restarts']} {'short runs' if mine.left_after else 'restarts'} "
        f"of this type ended within {AGREE_DB:g} dB of {best}."
    )


def agreement(topologies: Sequence[TopologyBest], graph: str) -> dict[str, float | int]:
    """How many restarts of a graph came near to its best, of how many, and how far they spread."""
    mine = next(t for t in topologies if t.graph == graph)
    scores = np.array(mine.restart_scores_db)
    return {
        "restarts": int(scores.size),
        "agreeing": int((scores >= _best_db(mine) - AGREE_DB).sum()),
        "within_0.1_db": int((scores >= scores.max() - AGREEMENT_DB).sum()),
        "spread_db": float(scores.max() - scores.min()),
    }


def _best_db(topology: TopologyBest) -> float:
    """The best score known of a graph: of its restarts, or of a search towards another objective."""
    return max(*topology.restart_scores_db, -np.inf if topology.best_db is None else topology.best_db)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
