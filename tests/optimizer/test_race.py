"""The schedule of a race, its confidence, and a conditional problem whose best branch is the hardest."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize

from optimizer import inner
from optimizer.cell import Goal, Points, joined
from optimizer.confidence import NOTHING, STOPPED, confidence, count_optima, unseen_chance
from optimizer.inner import EFFORTS, seek
from optimizer.laid_out import LaidOut
from optimizer.objectives import OBJECTIVES
from optimizer.outcomes import Task, pack
from optimizer.race import PLANS, Plan, Race, Rung, Standing
from optimizer.reasons import agreement, restart_words
from optimizer.results import NOT_SOUGHT, Candidate, TopologyBest
from optimizer.sure_words import agreeing_words, plan_words

PLAN = Plan(
    rungs=(Rung(effort="survey", restarts=1, kept=0.5), Rung(effort="quick", restarts=1, kept=0.5)),
    full="normal",
    leaders=2,
    contenders=4,
    agree=2,
    most=5,
    reach_db=0.35,
    chances=2,
)


def outcome(score: float | None) -> dict[str, Any]:
    """Plain data of a task that ended at a score, or in which nothing fits."""
    if score is None:
        return {"evaluations": 1, "best": None, "archive": None}
    points = {"x": [[0.5]], "site": [[]], "columns": {o.key: [score] for o in OBJECTIVES.values()}}
    return {"evaluations": 1, "best": points, "archive": points}


def run(
    race: Race, score: Any, done: dict[Task, dict[str, Any]] | None = None
) -> tuple[Standing, list[Task]]:
    """Run a race to its end; ``score`` tells what a task comes to."""
    done, order = done if done is not None else {}, []
    while tasks := race.standing(done).open:
        done[tasks[0]] = outcome(score(tasks[0]))
        order.append(tasks[0])
    return race.standing(done), order


def test_halving_keeps_the_better_half_and_restarts_until_they_agree() -> None:
    graphs = tuple(f"g{i}" for i in range(8))
    race = Race(graphs, PLAN, others=("material",))
    now, order = run(race, lambda task: 100.0 + int(task.graph[1]) - (task.effort == "survey"))
    efforts = [(task.effort, task.objective) for task in order]
    assert efforts.count(("survey", "output")) == 8
    assert efforts.count(("quick", "output")) == 4
    assert efforts.count(("normal", "output")) == 2 + 1  # two leaders; one more run of the one contender
    assert efforts.count(("normal", "material")) == 4
    assert now.left == {"g0": 1, "g1": 1, "g2": 1, "g3": 1, "g4": 2, "g5": 2}
    assert now.behind["g3"] == pytest.approx(4.0)
    assert now.gain == pytest.approx(1.0)
    assert now.restarts == {"g7": [107.0] * 2, "g6": [106.0]}


def test_schedule_does_not_depend_on_the_order_of_outcomes() -> None:
    """Outcomes given in any order, and before their stage is asked for, lead to the same standing."""
    race = Race(tuple(f"g{i}" for i in range(8)), PLAN)
    rng = np.random.default_rng(1)
    score = {
        Task(graph=g, restart=r, effort=e): float(rng.normal())
        for g in race.graphs
        for r in range(9)
        for e in ("survey", "quick", "normal")
    }
    done: dict[Task, dict[str, Any]] = {}
    now, _ = run(race, score.__getitem__, done)
    for _ in range(5):
        items = list(done.items())
        rng.shuffle(items)  # type: ignore[arg-type]
        assert race.standing(dict(items)) == now


def test_disagreeing_restarts_go_on_to_the_most_and_are_said_to() -> None:
    counter = itertools.count()
    race = Race(("g0",), PLAN)
    now, order = run(race, lambda task: float(next(counter)))
    assert len(order) == PLAN.most
    sure = confidence(now, PLAN)
    assert not sure["settled"]
    assert "Only 1 of 5 restarts" in sure["sentences"][0]


def test_confidence_says_how_it_knows() -> None:
    race = Race(tuple(f"g{i}" for i in range(8)), PLAN)
    now, _ = run(race, lambda task: 100.0 + int(task.graph[1]) - 0.2 * (task.effort == "survey"))
    sure = confidence(now, PLAN)
    assert sure["settled"]
    assert sure["agreeing"] == 2
    assert sure["nearest_cut"] == "g5"
    assert "2 of 2 independent restarts" in sure["sentences"][0]
    late = Race(tuple(f"g{i}" for i in range(8)), PLAN)
    now, _ = run(late, lambda task: 100.0 + 0.1 * int(task.graph[1]) - 0.3 * (task.effort == "survey"))
    sure = confidence(now, PLAN)  # cells were cut by less than others gained later
    assert not sure["settled"]
    assert "not sure" in sure["sentences"][-1]


def first_ranked(graph: str, plans: tuple[float, ...]) -> Candidate:
    """A first-ranked box of a graph, with a plan where searches for one ended at some scores."""
    nothing: Any = None
    common = {"plan": nothing, "x": np.zeros(0), "design": nothing, "network_db": 100.0}
    laid_out = LaidOut(**common, score_db=plans[0], searches_db=plans) if plans else NOT_SOUGHT
    values = {"design": nothing, "objectives": {}, "evaluation": {}, "reasons": (), "role": ""}
    return Candidate(rank=1, topology=graph, graph=graph, laid_out=laid_out, **values)


def test_confidence_says_whose_restarts_agree() -> None:
    """The loudest network's type settles, while the type that ranks first as built does not."""
    scores = {("oA", 0): 100.0, ("oA", 1): 100.0, ("oA/Ao", 0): 99.9, ("oA/Ao", 1): 99.8}
    race = Race(("oA", "oA/Ao"), PLAN)
    now, _ = run(race, lambda task: scores.get((task.graph, task.restart), 99.0))
    assert confidence(now, PLAN)["settled"]
    sure = confidence(now, PLAN, first_ranked("oA/Ao", (99.5, 99.2)))
    restarts = len(now.restarts["oA/Ao"])
    assert not sure["settled"] and (sure["graph"], sure["agreeing"], sure["restarts"]) == ("oA", 2, 2)
    first = {"restarts": restarts, "agreeing": 1, "plan_searches": 2, "plans_agreeing": 1}
    assert sure["first"] == {"topology": "oA/Ao", "graph": "oA/Ao"} | first
    text = " ".join(sure["sentences"])
    assert "restarts of the type of the loudest free network, graph oA, ended" in text
    assert f"own type, oA/Ao, has 1 of {restarts} restarts at its best free network" in text
    assert "1 of 2 searches for its floor plan ended within 0.05 dB of the best" in text
    own = confidence(now, PLAN, first_ranked("oA", (99.5, 99.48, 99.0)))
    assert own["settled"] and own["first"]["plans_agreeing"] == 2
    assert "own type" not in " ".join(own["sentences"])
    assert "2 of 2 independent restarts of the first-ranked box's type ended" in own["sentences"][0]
    assert agreeing_words(own) == "2 of 2 restarts of its type agree" and plan_words(own) == ""
    assert plan_words(sure) == "1 of 2 searches for its plan agree"
    assert agreeing_words(sure).endswith(f"graph oA, agree, and 1 of {restarts} of its own type, oA/Ao")


def test_restarts_of_a_candidate_in_words() -> None:
    """Of the best known, which another objective may have led to; a single run confirms nothing."""
    one = TopologyBest(
        topology="vented box", graph="oA/Ao", design=None, best_db=100.0, evaluations=1,
        restart_scores_db=(99.98, 99.9, 99.96),
    )  # fmt: skip
    assert agreement([one], "oA/Ao")["agreeing"] == 2
    ended = "of this type ended within 0.05 dB of its best"
    assert restart_words([one], "oA/Ao", True) == f"2 of 3 restarts {ended} free network, 100.00 dB."
    cut = replace(one, left_after=1)
    assert restart_words([cut], "oA/Ao", False) == f"2 of 3 short runs {ended}, 100.00 dB."
    alone = replace(one, restart_scores_db=(100.0,))
    told = "This type was searched once only, so nothing confirms its best, 100.00 dB."
    assert restart_words([alone], "oA/Ao", False) == told


def test_a_stopped_race_claims_nothing() -> None:
    race = Race(("g0", "g1"), PLAN)
    done = {Task(graph="g0", restart=0, effort="normal"): outcome(100.0)}
    sure = confidence(race.standing(done), PLAN)
    assert not sure["settled"]
    assert sure["sentences"][0] == STOPPED
    assert confidence(Race(("g0",), PLAN).standing({}), PLAN)["sentences"] == [STOPPED]


def test_unseen_chance() -> None:
    """w(w + 1)/(n(n - 1)), computed from the stated formula; optima are told apart by the agreement."""
    assert unseen_chance(1, 1) is None
    assert unseen_chance(5, 1) == pytest.approx(0.1)
    assert unseen_chance(10, 3) == pytest.approx(12 / 90)
    assert unseen_chance(3, 1) == pytest.approx(1 / 3)
    assert unseen_chance(2, 1) is None  # of fewer than w + 2 restarts the estimate is void: it would be 1
    assert unseen_chance(4, 3) is None
    assert count_optima([100.0, 99.99, 99.0, 98.97, 90.0]) == 3
    assert count_optima([]) == 0


def test_graphs_that_never_fit_leave_the_race() -> None:
    race = Race(tuple(f"g{i}" for i in range(8)), PLAN)
    now, _ = run(race, lambda task: None if task.graph < "g6" else 50.0)
    assert set(now.restarts) == {"g6", "g7"}
    now, order = run(race, lambda task: None)
    assert now.open == []
    assert len(order) == 8
    assert confidence(now, PLAN)["sentences"] == [NOTHING]


# A conditional problem: branches of different numbers of variables and constraints. Most are plain
# hills of different heights; one has two hills; the highest lies at the end of a bent, narrow ridge behind
# a constraint, so that a short look at it shows less than the plain hills do.


@dataclass
class Branch:
    """One branch, with what a search asks of a cell."""

    dimensions: int
    height: float
    kind: str
    peak: np.ndarray
    evaluations: int = 0
    archive: Points | None = None
    space: Any = field(init=False)

    def __post_init__(self) -> None:
        self.space = self
        self.site_slots: dict[str, int] = {}
        self.variables = [SimpleNamespace(name=f"x {i}") for i in range(self.dimensions)]
        self.topology = SimpleNamespace(ducts=(), chambers=0)
        self.sites = (0,)

    def value(self, x: np.ndarray) -> np.ndarray:
        away = x - self.peak
        if self.kind == "plain":
            return self.height - 30.0 * (away**2).sum(axis=1)
        if self.kind == "two hills":
            other = ((x - (1.0 - self.peak)) ** 2).sum(axis=1)
            return np.maximum(self.height - 60.0 * (away**2).sum(axis=1), self.height - 1.0 - 20.0 * other)
        bend = away[:, 1:] - 1.5 * away[:, :-1] ** 2
        return self.height - 4.0 * np.abs(away[:, 0]) - 60.0 * (bend**2).sum(axis=1)

    def excess(self, x: np.ndarray) -> np.ndarray:
        if self.kind != "ridge":
            return np.zeros(x.shape[0])
        return np.maximum(x[:, 0] - self.peak[0], 0.0)

    def evaluate(self, x: np.ndarray, site: np.ndarray, move: Any = False) -> Points:
        x = np.clip(x, 0.0, 1.0)
        excess = self.excess(x)
        self.evaluations += x.shape[0]
        value = np.where(excess > 0.0, np.nan, self.value(x))
        return Points(x=x, site=site, excess=excess, columns={o.key: value for o in OBJECTIVES.values()})

    def polish(self, point: Points) -> Points:
        found = minimize(
            lambda x: -self.value(x[None])[0],
            point.x[0],
            bounds=[(0.0, 1.0)] * self.dimensions,
            constraints={"type": "ineq", "fun": lambda x: -self.excess(x[None])[0]},
            method="SLSQP",
            options={"maxiter": 60},
        )
        both = joined([point, self.evaluate(found.x[None], point.site)])
        best = np.argmax(np.nan_to_num(both.columns[Goal().key], nan=-np.inf))
        return both.take(np.array([best]))

    def polish_each(self, points: Points) -> Points:
        return joined([self.polish(points.take(np.array([i]))) for i in range(points.excess.size)])


def branches(seed: int) -> dict[str, Branch]:
    rng = np.random.default_rng(seed)
    made = {}
    for i in range(20):
        kind = "two hills" if i % 5 == 0 else "plain"
        size = 2 + i % 5
        peak = rng.uniform(0.2, 0.8, size)
        made[f"hill {i:02d}"] = Branch(size, 98.0 + 0.05 * i, kind, peak)
    made["ridge"] = Branch(6, 100.0, "ridge", rng.uniform(0.4, 0.6, 6))
    return made


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("effort", ["quick", "normal"])
def test_race_finds_the_hardest_branch(seed: int, effort: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inner, "polish", lambda cell, points, steps=60: cell.polish_each(points))
    monkeypatch.setattr(inner, "sweep_sites", lambda cell, point, goal, count: point)
    problem = branches(seed)
    race = Race(tuple(problem), PLANS[effort])
    done: dict[Task, dict[str, Any]] = {}
    while tasks := race.standing(done).open:
        for task in tasks:
            cell = problem[task.graph]
            words = [seed, task.restart, list(EFFORTS).index(task.effort), *map(ord, task.graph)]
            best = seek(cell, np.random.default_rng(words), EFFORTS[task.effort], lambda: False)  # type: ignore[arg-type]
            done[task] = {"evaluations": 0, "best": best and pack(best), "archive": None}
    now = race.standing(done)
    assert now.order(now.scores)[0] == "ridge"
    assert now.scores["ridge"] > 99.0


def test_evolution_goes_on_until_something_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """A millionth of the cell fits: nothing of the sample, nor of the first evolution."""
    monkeypatch.setattr(inner, "polish", lambda cell, points, steps=60: points)
    monkeypatch.setattr(inner, "sweep_sites", lambda cell, point, goal, count: point)
    monkeypatch.setattr(Branch, "excess", lambda self, x: np.maximum(x.max(axis=1) - 0.1, 0.0))
    found = [
        seek(Branch(6, 100.0, "plain", np.full(6, 0.5)), np.random.default_rng(2), EFFORTS["quick"], stop)
        for stop in (lambda: False, lambda: True)
    ]  # type: ignore[arg-type]
    assert found[0] is not None and found[0].x.max() <= 0.1
    assert found[1] is None


def test_hops_leave_the_lower_of_two_hills(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inner, "polish", lambda cell, points, steps=60: cell.polish_each(points))
    branch = Branch(4, 100.0, "two hills", np.full(4, 0.37))
    lower = branch.polish(branch.evaluate(1.0 - branch.peak[None], np.zeros((1, 0), dtype=int)))
    assert lower.columns["output_db"][0] == pytest.approx(99.0)
    ends = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        found = inner.hop(branch, rng, lower, Goal(), EFFORTS["quick"], lambda: False)  # type: ignore[arg-type]
        ends.append(float(found.columns["output_db"][0]))
    assert min(ends) >= 99.0
    assert sum(end == pytest.approx(100.0) for end in ends) > 12  # with one hop without gain as the last: 11
    stopped = inner.hop(branch, rng, lower, Goal(), EFFORTS["quick"], lambda: True)  # type: ignore[arg-type]
    assert stopped is lower


def test_no_more_than_the_best_contenders_are_run_again() -> None:
    graphs = tuple(f"g{i}" for i in range(7))
    now, _ = run(Race(graphs, PLANS["quick"]), lambda task: 100.0)
    assert sorted(len(runs) for runs in now.restarts.values()) == [1, 1, 1, 1, 1, 2, 2]


def test_leaders_within_reach_have_their_chances() -> None:
    """Of cells behind the best, one that never agrees with itself has four runs, one out of reach has one."""
    plan = replace(PLAN, rungs=(), leaders=3, agree=3, reach_db=1.2, chances=4)
    ends = {"best": 100.0, "near": 99.0, "far": 98.0}
    now, _ = run(
        Race(tuple(ends), plan), lambda task: ends[task.graph] - 0.1 * task.restart * (task.graph == "near")
    )
    assert {graph: len(runs) for graph, runs in now.restarts.items()} == {"best": 3, "near": 4, "far": 1}


def test_a_short_look_is_not_enough_for_the_ridge() -> None:
    """The guard guards something: a plain sample of each branch mostly puts a hill first."""
    wrong = 0
    for seed in range(12):
        best = {}
        for name, branch in branches(seed).items():
            x = np.random.default_rng([seed, len(name)]).random((1000, branch.dimensions))
            points = branch.evaluate(x, np.zeros((1000, 0), dtype=int))
            best[name] = np.nanmax(points.columns["output_db"])
        wrong += max(best, key=best.__getitem__) != "ridge"
    assert wrong >= 10
