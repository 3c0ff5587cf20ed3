"""The search of a season: a race over graphs in an Optuna study, then the ranking of what it found."""

from __future__ import annotations

import json
import re
import time
from dataclasses import replace
from functools import partial
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.bounds import any_enclosure_db
from optimizer.confidence import confidence
from optimizer.execution import interruptible, work, work_in_processes
from optimizer.faults import ConfigError, Fault, read_toml
from optimizer.gathering import best_per_graph, explored_of, front_of
from optimizer.graphs import season_graphs
from optimizer.history import history
from optimizer.journal import KernelLock
from optimizer.objectives import OBJECTIVES
from optimizer.outcomes import archives_of
from optimizer.plan_stage import PLAN_RUNGS, PlanStage
from optimizer.pricing import PRICE_EFFORTS
from optimizer.progress import Progress, silent
from optimizer.race import PLANS, Race
from optimizer.ranking import rank
from optimizer.results import Candidate, SearchResult
from optimizer.season import Season
from optimizer.spread import SAMPLES, with_spread
from optimizer.study import JOURNAL, Study
from optimizer.tasks import TaskRunner
from optimizer.warm_up import compiling

if TYPE_CHECKING:
    from optimizer.finishing import Finishing


class SeasonChanged(Exception):
    """A study was made for another season.

    Attributes
    ----------
    changes : dict
        Value then and now, by key [mixed].
    """

    def __init__(self, changes: dict[str, tuple[Any, Any]]) -> None:
        super().__init__("the season has changed since the search began")
        self.changes = changes

    def __reduce__(self) -> tuple[type[SeasonChanged], tuple[Any, ...]]:
        """Come whole out of another process."""
        return type(self), (self.changes,)


def changed_keys(config: Path, error: SeasonChanged) -> ConfigError:
    """What has changed, as faults of the season file."""
    document = read_toml(config)
    faults = []
    for key, (then, now) in error.changes.items():
        location = tuple(int(part) if part.isdecimal() else part for part in re.findall(r"[^.\[\]]+", key))
        words = f"was {_value(then)} when the search began and is {_value(now)}"
        words += ": a search cannot go on with other rules"
        faults.append(Fault(document.file, document.line(location), key, words))
    return ConfigError(faults)


def _value(value: Any) -> str:
    return "not set" if value is None else repr(value)


def season_race(season: Season, plans: bool = True) -> Race:
    """The race that a season's search runs; ``plans`` false leaves the floor plans out."""
    names = {*season.search.objectives, "evenness", "material"}
    others = tuple(name for name in OBJECTIVES if name != "output" and name in names)
    search = season.search
    layouts = PlanStage(objectives=search.objectives, rungs=PLAN_RUNGS[search.effort])
    wanted = layouts if plans and search.plans else None
    return Race(season_graphs(season), PLANS[search.effort], others, wanted)


def run_search(
    season: Season,
    out: Path,
    *,
    workers: int = 1,
    progress: Progress = silent,
    storage: str | None = None,
    study_name: str | None = None,
    plans: bool = True,
    prices: bool = True,
    finishing: Finishing | None = None,
) -> SearchResult:
    """Search a season and rank what was found.

    A study that is already there is gone on with; its finished tasks are not done again.

    Parameters
    ----------
    season : Season
        The season [record].
    out : Path
        Run folder, which exists; without ``storage`` the study's journal is written there [path].
    workers : int
        Processes; the result does not depend on their number [1].
    progress : callable
        Told how many tasks are done, about how many there are, and a word on the last one [text].
    storage : str or None
        Journal file or database URL that several searches share [text].
    study_name : str or None
        Name of the study in the storage; the season's where there is none [text].
    plans : bool
        False lays nothing out, whatever the season says [flag].
    prices : bool
        False leaves prices and takeovers as rough as those of effort ``quick`` [flag].
    finishing : Finishing or None
        Told when a core is idle, and what was found when it lacks no more than prices and reasons [record].

    Returns
    -------
    SearchResult
        Candidates, front and best per topology; after an interrupt what was found until then [record].

    Raises
    ------
    StorageError
        The storage cannot be used.
    SeasonChanged
        The study was made for another season, or by another version.
    """
    began = time.perf_counter()
    race = season_race(season, plans)
    place = (storage or str(out / JOURNAL), study_name or season.name)
    _agree_with_results(out, season)
    study = Study(*place, race.graphs, sole=storage is None)
    _agree(study, season)
    runner = TaskRunner(season)
    with compiling(season):
        runner.judge.outside(runner.sites)
    prepared = time.perf_counter()
    with interruptible() as interrupted:
        if workers == 1:
            work(study, race, runner, interrupted, progress)
        else:
            idle = partial(_while_idle, runner, race, finishing)
            work_in_processes(season, race, place, workers, interrupted, progress, idle)
        stopped = interrupted()
    searched = time.perf_counter()
    outcomes = study.outcomes(partial=stopped)
    standing = race.standing(study.outcomes())
    archives = archives_of(outcomes, season.search.objectives)
    topologies = best_per_graph(outcomes, standing, archives, runner)
    front = front_of(archives, runner, season)
    found = SearchResult(
        candidates=(),
        front=front,
        topologies=topologies,
        objectives=season.search.objectives,
        interrupted=stopped,
        confidence={},
        bound_db=any_enclosure_db(runner),
        history=history(study.finished(), season.search.objectives),
        counts={
            "cells": len(race.graphs),
            "tasks": len(outcomes),
            "restarts": max((len(scores) for scores in standing.restarts.values()), default=0),
            "evaluations": sum(outcome["evaluations"] for outcome in outcomes.values()),
            "front": len(front),
        },
        seconds={"spaces": prepared - began, "search": searched - prepared},
        explored=explored_of(archives, runner, season),
    )
    if storage is None:  # nobody else works on a run folder's own journal
        KernelLock(out / JOURNAL).remove()

    def begin(unpriced: tuple[Candidate, ...]) -> None:
        if finishing is not None and not stopped:
            finishing.begin(replace(found, candidates=unpriced))

    pricing = PRICE_EFFORTS[season.search.effort if prices and not stopped else "quick"]
    candidates, without_plan = rank(
        season, runner, topologies, archives, outcomes, race.layouts, pricing, workers, begin
    )
    if not stopped and season.search.effort in SAMPLES:
        samples = SAMPLES[season.search.effort]
        candidates = with_spread(runner.judge, candidates, samples, season.search.seed)
    return replace(
        found,
        candidates=candidates,
        without_plan=without_plan,
        confidence=confidence(standing, race.plan, candidates[0] if candidates else None),
        seconds=found.seconds | {"ranking": time.perf_counter() - searched},
    )


def _while_idle(runner: TaskRunner, race: Race, finishing: Finishing | None) -> None:
    """What the ranking will need, loaded while the last task keeps one core busy."""
    space = runner.space(race.graphs[0])
    middle, first = np.full((1, space.dimensions), 0.5), np.zeros((1, len(space.site_slots)), dtype=int)
    runner.judge.respond(space.decode(middle, first))
    if finishing is not None:
        finishing.idle()


def _agree_with_results(folder: Path, season: Season) -> None:
    """Refuse a folder with results of something else, which would be written over."""
    try:
        then = json.loads((folder / "run.json").read_text(encoding="utf-8"))["source"]
    except (OSError, ValueError, KeyError, TypeError):
        return  # no results, or a file that is torn and no loss
    changes = dict(changes_between(then, season.source))
    if changes:
        raise SeasonChanged(changes)


def _agree(study: Study, season: Season) -> None:
    """Note in a new study what it is for; refuse one that is for something else."""
    now = {"source": season.source, "version": metadata.version("boxwright")}
    if study.content is None:
        study.set_content(now)
    then = study.content or now
    changes = dict(changes_between(then["source"], now["source"]))
    if then["version"] != now["version"]:
        changes["boxwright's version"] = (then["version"], now["version"])
    if changes:
        raise SeasonChanged(changes)


def changes_between(then: Any, now: Any, key: str = "") -> list[tuple[str, tuple[Any, Any]]]:
    """Keys whose values differ, with both values."""
    if isinstance(then, dict) and isinstance(now, dict):
        parts = [
            (f"{key}.{name}" if key else name, then.get(name), now.get(name)) for name in {**then, **now}
        ]
    elif isinstance(then, list) and isinstance(now, list) and len(then) == len(now):
        parts = [(f"{key}[{i}]", a, b) for i, (a, b) in enumerate(zip(then, now, strict=True))]
    else:
        return [] if then == now else [(key, (then, now))]
    return [change for name, a, b in parts for change in changes_between(a, b, name)]
