"""Prices and takeovers of all candidates of a search, their parts spread over processes.

Every part is one pure function of its job, so the results do not depend on the number of processes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from models.catalogue import graph_name, named_topology
from optimizer.cell import Points, joined
from optimizer.priced_rules import REACHES, RULES
from optimizer.prices import dropped_rules, multiplier_prices, prices_by_side, settled, verified_prices
from optimizer.processes import worker_pool
from optimizer.rival import Rival
from optimizer.season import Season
from optimizer.takeover import BUILT, FREE, Found, foreseen, rules_that_part, share_of_reach, takeovers
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant, output_of


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceEffort:
    """How hard prices and takeovers are sought.

    Attributes
    ----------
    patient : bool
        Whether a price that differs up and down is sought again from other sides [flag].
    solved : int
        Candidates whose prices are solved again, the first ones; those of others are multipliers [1].
    rivals : int
        Topologies that takeovers are sought among besides those of the candidates, the best first [1].
    moves : bool
        Whether rules are moved to seek takeovers; else prices alone foresee them [flag].
    aside : bool
        Whether the work is worth processes of its own [flag].
    """

    patient: bool
    solved: int
    rivals: int
    moves: bool
    aside: bool


PRICE_EFFORTS = {
    "quick": PriceEffort(patient=False, solved=3, rivals=2, moves=False, aside=False),
    "normal": PriceEffort(patient=True, solved=1000, rivals=6, moves=True, aside=True),
    "thorough": PriceEffort(patient=True, solved=1000, rivals=20, moves=True, aside=True),
}
"""Efforts by the name that a season gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contender:
    """A design that is priced, or whose topology may take over.

    Attributes
    ----------
    graph : str
        Graph id [text].
    start : Points
        The loudest free network known of its graph and sites, one point [record].
    built_db : float or None
        Score of its floor plan; None where it has none [dB].
    """

    graph: str
    start: Points
    built_db: float | None

    @property
    def key(self) -> tuple[str, tuple[int, ...]]:
        """Graph and sites: what stays when a rule moves."""
        return self.graph, tuple(int(s) for s in self.start.site[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Priced:
    """What moving the rules does to a candidate.

    Attributes
    ----------
    prices : tuple of dict
        Prices of :mod:`optimizer.prices`, with ``dropped_gain_db`` of limits [mixed].
    takeover : dict
        ``compared`` (what of each type), ``leads``, ``against`` and ``against_graph`` (the next type, or the
        leading one), ``ahead_db``, ``types`` (how many were compared), ``verified``, ``within`` (the largest
        factors) and ``changes``, of :func:`optimizer.takeover.takeovers`, the smallest first [mixed].
    """

    prices: tuple[dict[str, Any], ...]
    takeover: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Base:
    """Job: the loudest box near some points of a graph with equal sites, and its prices."""

    graph: str
    starts: Points
    solved: bool
    patient: bool

    def run(self, variant: Variant) -> tuple[Points, tuple[dict[str, Any], ...]]:
        starts = variant.cell(self.graph).evaluate(self.starts.x, self.starts.site)
        best = settled(variant, self.graph, starts)
        if not self.solved:
            return best, multiplier_prices(variant, self.graph, best)
        best, prices = verified_prices(variant, self.graph, best, self.patient)
        dropped = dropped_rules(variant, self.graph, [best], self.patient)
        gains = {d["rule"]: d["gain_db"] for d in dropped}
        return best, tuple(
            p | ({"dropped_gain_db": gains[p["rule"]]} if p["rule"] in gains else {}) for p in prices
        )


@dataclass(frozen=True, slots=True)
class _Move:
    """Job: what moving one rule does to the order of topologies."""

    best: Rival
    others: tuple[Rival, ...]
    own: tuple[str, ...]
    rule: str

    def run(self, variant: Variant) -> Found:
        return takeovers(variant, self.best, self.others, self.own, RULES[self.rule])


_HERE: list[Variant] = []


def _prepare(season: Season) -> None:
    _HERE[:] = [Variant(TaskRunner(season))]


def _run(job: _Base | _Move) -> Any:
    return job.run(_HERE[0])


class _Crew:
    """Runs jobs here or in processes of its own."""

    def __init__(self, runner: TaskRunner, workers: int) -> None:
        self.variant = Variant(runner)
        self.pool = worker_pool(workers, _prepare, (runner.season,)) if workers > 1 else None

    def __enter__(self) -> _Crew:
        return self

    def __exit__(self, *_: object) -> None:
        if self.pool is not None:
            self.pool.shutdown(cancel_futures=True)

    def run(self, jobs: Sequence[_Base | _Move]) -> list[Any]:
        if self.pool is None:
            return [job.run(self.variant) for job in jobs]
        return list(self.pool.map(_run, jobs))


def price(
    runner: TaskRunner,
    candidates: Sequence[Contender],
    others: Sequence[Contender],
    effort: PriceEffort,
    workers: int,
) -> list[Priced]:
    """Prices of all candidates, and which topologies would take over.

    Candidates with equal graph and sites share their prices: those of the loudest box that has both.
    Candidates with a floor plan are compared with the best of other types that have one, each at the score
    of its plan; candidates without one with the best free networks.

    Parameters
    ----------
    runner : TaskRunner
        The season with its evaluator and sites [record].
    candidates : sequence of Contender
        The candidates in their order [list].
    others : sequence of Contender
        Best designs of other topologies, built and free [list].
    effort : PriceEffort
        How hard to seek [record].
    workers : int
        Processes at most [1].

    Returns
    -------
    list of Priced
        One a candidate [list].
    """
    kinds = sorted({c.built_db is not None for c in candidates}, reverse=True)
    leagues = {built: _members(candidates, others, built, effort.rivals) for built in kinds}
    groups: dict[Any, list[Points]] = {}
    for one in [*candidates, *(member for league in leagues.values() for member in league)]:
        groups.setdefault(one.key, []).append(one.start)
    solved = {c.key for c in candidates[: effort.solved]}
    jobs = [_Base(key[0], joined(starts), key in solved, effort.patient) for key, starts in groups.items()]
    with _Crew(runner, workers if effort.aside else 1) as crew:
        based = dict(zip(groups, crew.run(jobs), strict=True))
        told = {}
        for built, league in leagues.items():
            own = [c.graph for c in candidates if (c.built_db is not None) == built]
            rivals = sorted((_rival(member, based) for member in league), key=lambda r: -r.level_db)
            told[built] = (_moved if effort.moves else _foreseen)(crew, rivals, own)
    return [
        Priced(prices=based[c.key][1], takeover=told[c.built_db is not None][c.graph]) for c in candidates
    ]


def _members(
    candidates: Sequence[Contender], others: Sequence[Contender], built: bool, most: int
) -> list[Contender]:
    """The best contender of every topology, all built or all free, the best first."""
    best: dict[str, Contender] = {}
    for one in [*candidates, *others]:
        if (one.built_db is not None) == built:
            best[one.graph] = max(best.get(one.graph, one), one, key=_level)
    own = {c.graph for c in candidates if (c.built_db is not None) == built}
    ranked = sorted(best.values(), key=lambda c: -_level(c))
    further = [c for c in ranked if c.graph not in own][:most]
    return [c for c in ranked if c.graph in own or c in further]


def _level(contender: Contender) -> float:
    return output_of(contender.start) if contender.built_db is None else contender.built_db


def _rival(member: Contender, based: dict[Any, Any]) -> Rival:
    point, prices = based[member.key]
    return Rival(
        graph=member.graph,
        topology=graph_name(named_topology(member.graph)),
        point=point,
        prices=prices_by_side(prices),
        offset_db=0.0 if member.built_db is None else member.built_db - output_of(point),
        built=member.built_db is not None,
    )


def _moved(crew: _Crew, rivals: list[Rival], own: list[str]) -> dict[str, dict[str, Any]]:
    """Takeovers of graphs that are candidates, every rule moved; the best rival first."""
    best, others = rivals[0], tuple(rivals[1:])
    behind = tuple(graph for graph in dict.fromkeys(own) if graph != best.graph)
    rules = rules_that_part(crew.variant, rivals)
    found = crew.run([_Move(best, others, behind, rule.key) for rule in rules])
    changes = {best.graph: [change for one in found for change in one.defence]}
    changes |= {graph: [change for one in found for change in one.attacks[graph]] for graph in behind}
    return {graph: _record(rivals, graph, changes[graph], True) for graph in own}


def _foreseen(crew: _Crew, rivals: list[Rival], own: list[str]) -> dict[str, dict[str, Any]]:
    """Takeovers of graphs that are candidates as prices alone foresee them; the best rival first."""
    changes = {other.graph: foreseen(crew.variant, rivals[0], other) for other in rivals[1:]}
    first: dict[tuple[str, bool], dict[str, Any]] = {}
    for change in sorted((c for one in changes.values() for c in one), key=share_of_reach):
        first.setdefault((change["rule"], change["to"] > change["from"]), change)
    changes[rivals[0].graph] = list(first.values())
    return {graph: _record(rivals, graph, changes[graph], False) for graph in own}


def _record(rivals: list[Rival], graph: str, changes: list[dict[str, Any]], verified: bool) -> dict[str, Any]:
    place = next(i for i, rival in enumerate(rivals) if rival.graph == graph)
    mine = rivals[place]
    against = rivals[0] if place else rivals[min(1, len(rivals) - 1)]
    return {
        "compared": BUILT if mine.built else FREE,
        "leads": place == 0,
        "against": against.topology,
        "against_graph": against.graph,
        "ahead_db": mine.level_db - against.level_db,
        "types": len(rivals),
        "verified": verified,
        "within": dict(REACHES),
        "changes": sorted(changes, key=share_of_reach),
    }
