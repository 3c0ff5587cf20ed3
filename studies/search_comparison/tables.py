"""Scores of all runs at equal evaluations and at equal time, as rows and as printed tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from optimizer.history import hypervolume
from studies.search_comparison.runs import NORMAL, PEERS, RACE, Run

NEAR_DB = 0.1
"""A run within this of a target has reached it."""


def score_rows(runs: Sequence[Run]) -> list[dict[str, Any]]:
    """One row a run.

    Parameters
    ----------
    runs : sequence of Run
        Finished runs, each season and seed with its race [list].

    Returns
    -------
    list of dict
        Scores at equal evaluations and time of the run and of the race; how far both are below the best
        known; time until the run was near the race's final score, near the best of all runs and near the
        best of all runs of peers; hypervolume at the race's time as a share of the race's, and that of all
        runs together as a share of the best peer's, whose median over seeds counts [mixed].
    """
    rows: list[dict[str, Any]] = []
    for name in dict.fromkeys(run.season for run in runs):
        mine = [run for run in runs if run.season == name]
        best = max(run.best_at() for run in mine)
        races = {run.seed: run for run in mine if run.method == RACE}
        compared = [run for run in mine if run.method in (RACE, *PEERS)]
        peers_best = max((run.best_at() for run in mine if run.method in PEERS), default=best)
        volumes, union = hypervolumes(compared, races)
        by_peer = [[volumes[key] for key in volumes if key[1] == name] for name in PEERS]
        best_peer = max((float(np.median(found)) for found in by_peer if found), default=np.nan)
        for run in mine:
            race = races[run.seed]
            evaluations = min(run.evaluations, race.evaluations)
            volume = volumes.get((run.seed, run.method))
            seconds = run.seconds_to(race.best_at() - NEAR_DB)
            rows.append(
                {
                    "season": name,
                    "seed": run.seed,
                    "method": run.method,
                    "seconds": round(run.seconds, 2),
                    "evaluations": run.evaluations,
                    "race_seconds": round(race.seconds, 2),
                    "race_evaluations": race.evaluations,
                    "best_run_db": round(best, 3),
                    "at_equal_time_db": _figure(run.best_at(seconds=race.seconds)),
                    "race_db": _figure(race.best_at()),
                    "compared_evaluations": evaluations,
                    "at_equal_evaluations_db": _figure(run.best_at(evaluations=evaluations)),
                    "race_at_equal_evaluations_db": _figure(race.best_at(evaluations=evaluations)),
                    "at_end_db": _figure(run.best_at()),
                    "times_race_to_be_near": _figure(seconds / race.seconds),
                    "seconds_to_best": _figure(run.seconds_to(best - NEAR_DB)),
                    "seconds_to_peers_best": _figure(run.seconds_to(peers_best - NEAR_DB)),
                    "peers_best_db": round(peers_best, 3),
                    "hypervolume_of_all_over_best_peer": _figure(union / best_peer),
                    "hypervolume_over_race": None
                    if volume is None
                    else round(volume / volumes[run.seed, RACE], 4),
                }
            )
    return rows


def hypervolumes(
    runs: Sequence[Run], races: dict[int, Run]
) -> tuple[dict[tuple[int, str], float], float]:
    """Hypervolume of every run at its race's time, by seed and method, and that of all these together.

    Objectives are scaled to the range of the points of all fronts of one season's runs, and the
    reference is the worst value of each among them, as in :func:`optimizer.history.history`.
    """
    fronts = {(run.seed, run.method): run.front_at(races[run.seed].seconds) for run in runs}
    everything = np.concatenate(list(fronts.values()))
    reference = everything.min(axis=0) - 1e-9
    spread = everything.max(axis=0) - reference

    def volume(front: np.ndarray) -> float:
        return hypervolume((front - reference) / spread, np.zeros(3))

    return {key: volume(front) for key, front in fronts.items()}, volume(everything)


def print_tables(rows: Sequence[dict[str, Any]]) -> None:
    """Print what the README shows: medians, in brackets the worst seed, a table a season."""
    for name in dict.fromkeys(row["season"] for row in rows):
        mine = [row for row in rows if row["season"] == name]
        print(f"\n{name}: best of all runs {mine[0]['best_run_db']:.2f} dB\n")
        print("| method | seeds | seconds | evaluations | at equal time | at equal evaluations ", end="")
        print("| the race then | within 0.1 dB of the race | hypervolume over the race's |")
        print("|---|---|---|---|---|---|---|---|---|")
        for method in dict.fromkeys(row["method"] for row in mine):
            print(_line(method, [row for row in mine if row["method"] == method]))
        _print_times(mine)
        union = mine[0]["hypervolume_of_all_over_best_peer"]
        print(f"\nHypervolume of all runs together over the best peer's: {union}")


def _line(method: str, rows: Sequence[dict[str, Any]]) -> str:
    best = rows[0]["best_run_db"]

    def short(key: str) -> str:
        """Median and worst distance from the best run."""
        found = sorted(best - row[key] if row[key] is not None else math.inf for row in rows)
        middle, worst = (round(0.0 - gap, 2) + 0.0 for gap in (float(np.median(found)), found[-1]))
        return f"{middle:.2f}" + (f" ({worst:.2f})" if len(found) > 1 else "")

    near = [row["times_race_to_be_near"] for row in rows if row["times_race_to_be_near"] is not None]
    reached = f"{len(near)} of {len(rows)}" + (f", at {min(near):.2f} times" if near else "")
    volumes = [row["hypervolume_over_race"] for row in rows if row["hypervolume_over_race"] is not None]
    volume = f"{np.median(volumes):.3f}" if volumes else ""
    cells = (
        method,
        str(len(rows)),
        f"{np.median([row['seconds'] for row in rows]):.0f}",
        f"{np.median([row['evaluations'] for row in rows]):.0f}",
        short("at_equal_time_db"),
        short("at_equal_evaluations_db"),
        short("race_at_equal_evaluations_db"),
        reached,
        volume,
    )
    return "| " + " | ".join(cells) + " |"


def _print_times(rows: Sequence[dict[str, Any]]) -> None:
    """Print how long every method took to two targets, in seconds and in units of its seed's sooner race."""
    soonest: dict[str, dict[int, float]] = {"seconds_to_peers_best": {}, "seconds_to_best": {}}
    for key, found in soonest.items():
        for row in rows:
            if row["method"] in (RACE, NORMAL) and row[key] is not None:
                found[row["seed"]] = min(row[key], found.get(row["seed"], math.inf))
    print(f"\n| method | to {NEAR_DB:g} dB below the peers' best, {rows[0]['peers_best_db']:.2f} dB ", end="")
    print(f"| to {NEAR_DB:g} dB below the best of all runs, {rows[0]['best_run_db']:.2f} dB |")
    print("|---|---|---|")
    for method in dict.fromkeys(row["method"] for row in rows):
        cells = []
        for key in soonest:
            mine = [row for row in rows if row["method"] == method]
            times = sorted(row[key] for row in mine if row[key] is not None)
            words = f"{len(times)} of {len(mine)}"
            if times:
                words += f", {times[0]:.1f} to {times[-1]:.1f} s"
            both = [row for row in mine if row[key] is not None and row["seed"] in soonest[key]]
            ratios = sorted(row[key] / soonest[key][row["seed"]] for row in both)
            if ratios and method not in (RACE, NORMAL):
                words += f", {ratios[0]:.1f} to {ratios[-1]:.1f} times the race's"
            cells.append(words)
        print("| " + " | ".join((method, *cells)) + " |")


def _figure(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None
