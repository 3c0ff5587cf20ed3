"""One run of one method in one season, and the seasons with equal graphs for all methods."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from models.enumeration import enumerate_graphs
from optimizer.files import write_json
from optimizer.front import non_dominated
from optimizer.objectives import gains
from optimizer.outcomes import archives_of, pooled
from optimizer.race import PLANS, Race
from optimizer.season import Season, load_season
from optimizer.warm_up import compile_once
from studies.search_comparison.flat_peers import run_optuna, run_pymoo
from studies.search_comparison.graph_peers import run_cma, run_de
from studies.search_comparison.ledger import OBJECTIVES, CountingCell, CountingRunner, Ledger, PeerCell

CONFIGS = Path(__file__).parents[2] / "configs"

PEERS: dict[str, Callable[[dict[str, PeerCell], Ledger, int], None]] = {
    "scipy DE": run_de,
    "pycma": run_cma,
    "pymoo NSGA-II": run_pymoo,
    "Optuna TPE": partial(run_optuna, name="tpe"),
    "Optuna NSGA-II": partial(run_optuna, name="nsga2"),
    "Optuna CMA-ES": partial(run_optuna, name="cma_es"),
}
"""Peers by name."""

FLAT = ("Optuna TPE", "Optuna NSGA-II", "Optuna CMA-ES")
"""Peers whose samplers are so slow that the race's evaluations are out of reach; they get its time."""

LAST_BATCH = 0.06
"""A batch that began before the race's time ends within this share of it thereafter."""

RACE, NORMAL = "race", "race, normal"
"""The race at efforts quick and normal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What a run left.

    Attributes
    ----------
    season, method : str
        Season file and method [text].
    seed : int
        Seed [1].
    seconds, evaluations : float, int
        Length of the run [s, 1].
    trace : ndarray, shape (n, 3)
        Seconds, evaluations and best score whenever that became better [mixed].
    front : ndarray, shape (n, 5)
        Seconds, evaluations and gains of designs; the race's are those it hands over at its end [mixed].
    """

    season: str
    method: str
    seed: int
    seconds: float
    evaluations: int
    trace: np.ndarray
    front: np.ndarray

    def best_at(self, seconds: float = np.inf, evaluations: float = np.inf) -> float:
        """Best score within a budget; minus infinity where nothing was found [dB]."""
        rows = (self.trace[:, 0] <= seconds) & (self.trace[:, 1] <= evaluations)
        return float(self.trace[rows, 2].max(initial=-np.inf))

    def seconds_to(self, score_db: float) -> float:
        """Time until a score was reached; infinity where it was not [s]."""
        rows = self.trace[:, 2] >= score_db
        return float(self.trace[rows, 0].min(initial=np.inf))

    def front_at(self, seconds: float = np.inf) -> np.ndarray:
        """Gains of designs known after a time, a last batch included, that no other beats, shape (n, 3)."""
        known = self.front[self.front[:, 0] <= seconds * (1.0 + LAST_BATCH), 2:]
        return np.asarray(known[non_dominated(known)])


def study_graphs(chambers: int) -> tuple[str, ...]:
    """Graphs that all methods search: all to two chambers and every fourth of three, up to four ducts."""
    found = [item for item in enumerate_graphs(chambers, 4) if not item.useless]
    small = [item.graph for item in found if item.chambers < 3]
    return tuple(small + [item.graph for item in found if item.chambers == 3][::4])


def study_season(name: str, graphs: tuple[str, ...], effort: str, seed: int) -> Season:
    """A season of ``configs/`` with the study's graphs and objectives; each seed draws other numbers."""
    season = load_season(CONFIGS / f"{name}.toml")
    search = dataclasses.replace(
        season.search, topologies=graphs, objectives=OBJECTIVES, effort=effort, seed=seed
    )
    return dataclasses.replace(season, search=search, config_hash=f"{season.config_hash} {seed}")


def run_race(season: Season, name: str, method: str = RACE) -> Run:
    """The race with its search of other objectives, one worker, without a storage."""
    compile_once(season)
    ledger = Ledger()
    runner = CountingRunner(season, ledger, CountingCell)
    graphs = tuple(season.search.topologies)
    race = Race(graphs, PLANS[season.search.effort], OBJECTIVES[1:])
    done: dict[Any, dict] = {}
    ledger.start()
    while tasks := race.standing(done).open:
        for task in tasks:
            done[task] = runner.run(task, done)
    seconds = ledger.clock()
    columns = pooled(archives_of(done, OBJECTIVES))[2]
    front = gains(columns, OBJECTIVES)
    stamp = np.broadcast_to([seconds, ledger.submitted], (len(front), 2))
    return _finished(ledger, name, method, season.search.seed, np.concatenate([stamp, front], axis=1))


def run_peer(season: Season, name: str, method: str, budget: Run, least: float, most: float) -> Run:
    """A peer that is given the race's evaluations, and a time in units of the race's.

    Parameters
    ----------
    season : Season
        The season [record].
    name, method : str
        Season file and peer [text].
    budget : Run
        The race's run [record].
    least, most : float
        It runs for so long at least, and at most if it is short of evaluations then [1].

    Returns
    -------
    Run
        What it left [record].
    """
    compile_once(season)
    ledger = Ledger(
        seconds=least * budget.seconds,
        evaluations=budget.evaluations,
        most_seconds=most * budget.seconds,
    )
    runner = CountingRunner(season, ledger, PeerCell)
    cells = {graph: runner.cell(graph) for graph in season.search.topologies}
    ledger.start()
    PEERS[method](cells, ledger, season.search.seed)  # type: ignore[arg-type]
    seconds = ledger.clock()
    ledger.sift()
    return _finished(ledger, name, method, season.search.seed, ledger.front, seconds)


def _finished(
    ledger: Ledger, name: str, method: str, seed: int, front: np.ndarray, seconds: float | None = None
) -> Run:
    return Run(
        season=name,
        method=method,
        seed=seed,
        seconds=ledger.clock() if seconds is None else seconds,
        evaluations=ledger.submitted,
        trace=np.array(ledger.trace).reshape(-1, 3),
        front=front,
    )


def save(run: Run, folder: Path) -> None:
    """Keep a run, so that a study that is stopped goes on."""
    plain = dataclasses.asdict(run) | {"trace": run.trace.tolist(), "front": run.front.round(5).tolist()}
    write_json(_path(folder, run.season, run.method, run.seed), plain)


def saved(folder: Path, season: str, method: str, seed: int) -> Run | None:
    """A run that was kept."""
    path = _path(folder, season, method, seed)
    if not path.exists():
        return None
    plain = json.loads(path.read_text(encoding="utf-8"))
    trace, front = (np.array(plain[key]).reshape(-1, width) for key, width in (("trace", 3), ("front", 5)))
    return Run(**(plain | {"trace": trace, "front": front}))


def _path(folder: Path, season: str, method: str, seed: int) -> Path:
    return folder / f"{season} {seed} {method}.json"
