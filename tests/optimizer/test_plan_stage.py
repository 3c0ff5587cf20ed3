"""Candidates laid out by the search: ranked by the built score, in whatever order it works, and read back."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from models.score import Judge
from optimizer import build, cli
from optimizer.execution import work
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.layout_efforts import LAYOUT_EFFORTS, LayoutEffort, rounds
from optimizer.outcomes import PLAN, Outcomes, Task, archives_of
from optimizer.picks import Pick, Role
from optimizer.plan_stage import PLAN_RUNGS, PlanStage, plans_by_place
from optimizer.ranking import _chosen, _entries
from optimizer.results import SearchResult
from optimizer.run_folder import read_run, write_run
from optimizer.searching import run_search, season_race
from optimizer.season import Season, load_season
from optimizer.study import Study
from optimizer.tasks import TaskRunner, task_seed
from tests.optimizer.conftest import SEASON

SEARCH = """
topologies = ["closed box", "fourth-order bandpass"]
effort = "quick"
candidates = 4
[printer]
bridge_mm = 10.0  # no driver sits in an inner wall
"""

TINY = LayoutEffort(
    fitting=rounds((40, 12, 6), (8, 24, 16)),
    scoring=rounds((3, 16, 4), (2, 16, 2, 2)),
    finishing=rounds((1, 16, 2)),
)
STOPPED = "the search was stopped before its plan was sought"
WHY = "the cut-out of a driver is wider than may be bridged in an inner wall"


@pytest.fixture(scope="module", autouse=True)
def little_effort() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(LAYOUT_EFFORTS, "quick", TINY)
        yield


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Season:
    path = tmp_path_factory.mktemp("season") / "league.toml"
    path.write_text(SEASON + SEARCH, encoding="utf-8")
    return load_season(path)


@pytest.fixture(scope="module")
def searched(small: Season, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, SearchResult]:
    """The run folder of a search, and its result."""
    folder = tmp_path_factory.mktemp("run")
    result = run_search(small, folder)
    write_run(folder, small, result)
    return folder, result


def outcomes(small: Season, folder: Path) -> Outcomes:
    return Study(str(folder / "study.journal"), small.name, season_race(small).graphs).outcomes()


def test_boxes_that_can_be_built_come_first(small: Season, searched) -> None:
    """By the score of the plan; a type that cannot be laid out follows, though its network plays louder."""
    _, result = searched
    built = [c for c in result.candidates if isinstance(c.laid_out, LaidOut)]
    others = result.candidates[len(built) :]
    assert [c.graph for c in built] == ["oA"] * len(built) and len(built) >= 1
    judge = Judge(small.rules)
    for candidate in built:
        assert candidate.score_db == pytest.approx(judge.scores(judge.respond(candidate.design))[0], abs=1e-6)
        assert candidate.score_db == pytest.approx(candidate.laid_out.score_db, abs=1e-9)
        assert candidate.evaluation["fits"]
        cost = candidate.network_db - candidate.score_db
        assert candidate.laid_out.cost_db == pytest.approx(cost, abs=1e-9)
        words = f"costs {cost:.2f} dB" if cost >= 0.0 else f"gains {-cost:.2f} dB"
        assert any(f"its floor plan {words}" in reason for reason in candidate.reasons)
    scores = [c.score_db for c in built]
    assert scores == sorted(scores, reverse=True)
    refused = [c for c in others if c.graph == "AB/Ao"]
    assert refused and refused[0].score_db > scores[0]
    assert isinstance(refused[0].laid_out, NoPlan) and refused[0].laid_out.reasons[0] == WHY
    assert any(f"It has no floor plan ({WHY}" in reason for reason in refused[0].reasons)
    assert result.without_plan and all(one["reasons"][0] == WHY for one in result.without_plan)


def test_the_network_search_stays_as_it_is(small: Season, searched, tmp_path: Path) -> None:
    """Without plans the same tasks are done, from the same seeds, and candidates are networks."""
    path = tmp_path / "plain.toml"
    path.write_text(small.path.read_text().replace("candidates = 4", "candidates = 4\nplans = false"))
    plain = load_season(path)
    assert not plain.search.plans and plain.source["search"]["plans"] is False
    done = outcomes(small, searched[0])
    before = {task: outcome for task, outcome in done.items() if task.objective != PLAN}
    assert season_race(plain).standing(before).open == [] != season_race(small).standing(before).open
    assert all(task_seed(plain, task) == task_seed(small, task) for task in before)
    archives = archives_of(before, small.search.objectives)
    entries = _entries(plain, TaskRunner(plain), archives, before, season_race(plain).layouts)
    assert len(entries) == 4
    assert {entry.laid_out.reasons for entry in entries} == {("no plans were wanted",)}


def test_order_and_interruptions_do_not_matter(small: Season, searched, tmp_path: Path) -> None:
    """The last stage done backwards, cut short in the middle of a plan and gone on with."""
    folder, result = searched
    done = outcomes(small, folder)
    plans = {task: outcome for task, outcome in done.items() if task.objective == PLAN}
    race, runner = season_race(small), TaskRunner(small)
    journal = tmp_path / "study.journal"
    study = Study(str(journal), small.name, race.graphs)

    def note(task: Task, outcome: dict, whole: bool = True) -> None:
        claim = study.claim([task])
        assert claim is not None
        study.record(claim[0], outcome, whole=whole)

    for task, outcome in done.items():
        if task not in plans:
            note(task, outcome)
    now = race.standing(study.outcomes())
    assert now.open == list(plans) or set(now.open) == set(plans)
    last = now.open[-1]
    short = runner.run(last, study.outcomes(), stop=lambda: True)
    assert short["plan"] is None and "stopped" in short["reasons"][0]
    note(last, short, whole=False)
    note(last, runner.run(last, study.outcomes()))
    work(study, season_race(small), runner, lambda: False)
    assert {t: o for t, o in study.outcomes().items() if t.objective == PLAN} == plans
    assert not race.standing(study.outcomes()).open
    assert len(result.candidates) == small.search.candidates


def test_quick_lays_out_the_best_of_each_type(searched, small: Season) -> None:
    folder, _ = searched
    tasks = [task for task in outcomes(small, folder) if task.objective == PLAN]
    assert len(tasks) == 5 and {task.graph for task in tasks} == {"oA", "AB/Ao"}


def test_the_loudest_boxes_get_more_plans() -> None:
    """Rungs by hand: the promise of few ducts first, then what has been built, one box of each graph."""
    stage = PlanStage(objectives=("output",), rungs=PLAN_RUNGS["thorough"])
    loud, even = Role("best of its type"), Role("most even", "evenness_db")
    graphs = [("AB/AB.Ao.Bo", 137.0, loud), ("AB/Ao", 136.0, loud), ("AB/Ao", 135.0, even)]
    picks = [Pick(graph=g, row=0, output_db=score, roles=[role]) for g, score, role in graphs]
    first = stage.tasks(0, picks, {})
    assert [t.restart for t in first] == [1, 0, 2]  # 137.0 less two ducts; what is even comes beside
    assert {t.effort for t in first} == {"quick"} and {t.objective for t in first} == {PLAN}
    built = {0: 134.0, 1: None, 2: 133.0}
    done = {
        task: {"plan": built[task.restart] and {"score": "drawn"}, "score_db": built[task.restart]}
        for task in first
    }
    assert [t.restart for t in stage.tasks(1, picks, done)] == [0, 2]
    again = dict(zip(stage.tasks(1, picks, done), (133.5, 134.5), strict=True))
    done |= {task: {"plan": {"score": "drawn"}, "score_db": score} for task, score in again.items()}
    assert [t.restart for t in stage.tasks(2, picks, done)] == [2, 0]
    scores = {place: [plan["score_db"] for plan in plans] for place, plans in plans_by_place(done).items()}
    assert scores == {0: [134.0, 133.5], 2: [134.5, 133.0]}


def test_one_box_of_each_graph_goes_on() -> None:
    stage = PlanStage(objectives=("output",), rungs=PLAN_RUNGS["normal"])
    picks = [
        Pick(graph=graph, row=row, output_db=136.0 - row, roles=[Role("best", key)])
        for row, (graph, key) in enumerate(
            [("AB/Ao", "output_db"), ("AB/Ao", "evenness_db"), ("oA", "output_db")]
        )
    ]
    scores = {0: 133.0, 1: 134.0, 2: 120.0}
    first = stage.tasks(0, picks, {})
    done = {task: {"plan": {"score": "drawn"}, "score_db": scores[task.restart]} for task in first}
    assert [t.restart for t in stage.tasks(1, picks, done)] == [1, 2]


def evaluated(capsys: pytest.CaptureFixture[str], season: Season, design: Path) -> tuple[int, dict, str]:
    with pytest.raises(SystemExit) as stopped:
        cli.main(["evaluate", str(season.path), str(design), "--json"])
    out, err = capsys.readouterr()
    return int(stopped.value.code or 0), json.loads(out)[0] if out else {}, err


def test_run_folder_reads_back(small: Season, searched, tmp_path: Path, capsys) -> None:
    """Score and fit as ranked; a changed size does not fit its plan; a missing plan is a fault."""
    folder, result = searched
    records = json.loads((folder / "candidates.json").read_text())
    for record, candidate in zip(records, result.candidates, strict=True):
        place = folder / Path(record["design"]).parent
        plan = record["plan"]
        _, network, _ = evaluated(capsys, small, place / "network.toml")
        assert network["score_db"] == pytest.approx(plan["network_db"], abs=0.01) and network["fits"]
        _, one, _ = evaluated(capsys, small, place / "design.toml")
        assert one["fits"] and one["score_db"] == pytest.approx(record["score_db"], abs=0.01)
        if isinstance(candidate.laid_out, LaidOut):
            assert plan["reasons_none"] == [] and plan["score_db"] == record["score_db"]
            assert max(plan["searches_db"]) == pytest.approx(plan["score_db"], abs=1e-9)
            assert plan["cost_db"] == pytest.approx(plan["network_db"] - plan["score_db"])
        else:
            assert plan["score_db"] is None and plan["cost_db"] is None and plan["reasons_none"]
            assert not (place / "plan.json").exists()
    shutil.copytree(folder / "candidates/01", tmp_path / "one")
    design = tmp_path / "one/design.toml"
    text = design.read_text()
    side = text.split("sides_mm = [")[1].split(",")[0]
    design.write_text(text.replace(side, str(float(side) - 0.5), 1))
    _, changed, _ = evaluated(capsys, small, design)
    assert changed["reasons_not"] == ["chamber A is not as in the plan plan.json"]
    design.write_text(text)
    path = tmp_path / "thicker.toml"
    path.write_text(small.path.read_text().replace("wall_mm = 3.0", "wall_mm = 4.0"))
    _, thicker, err = evaluated(capsys, load_season(path), design)
    assert not thicker["fits"] and "the plan plan.json" in thicker["reasons_not"][0], err
    (tmp_path / "one/plan.json").unlink()
    status, _, err = evaluated(capsys, small, design)
    assert status == 2 and 'design.toml:5: plan: "plan.json" is not a file beside the design' in err


def test_build_takes_the_plan_of_the_search(small: Season, searched, monkeypatch) -> None:
    folder, result = searched
    monkeypatch.setattr(build, "lay_out", lambda *_: pytest.fail("sought again"))
    found = build._plan_of(read_run(folder), 1, small, Judge(small.rules), None, 1, lambda *_: None)
    assert isinstance(found, LaidOut)
    assert found.score_db == pytest.approx(result.candidates[0].score_db, abs=1e-9)
    assert found.network_db == pytest.approx(result.candidates[0].network_db, abs=1e-9)


def test_an_early_interrupt_ranks_networks(small: Season, searched) -> None:
    """Outcomes without any plan: every candidate says that the search was stopped."""
    folder, _ = searched
    before = {t: o for t, o in outcomes(small, folder).items() if t.objective != PLAN}
    archives = archives_of(before, small.search.objectives)
    entries = _entries(small, TaskRunner(small), archives, before, season_race(small).layouts)
    stopped = [e for e in entries if e.laid_out == NoPlan(reasons=(STOPPED,))]
    assert len(stopped) == 5
    chosen = _chosen(entries, 4)
    assert [e.objectives["output_db"] for e in chosen] == sorted(
        (e.pick.output_db for e in chosen), reverse=True
    )
    assert chosen[0].role.startswith("highest output")
