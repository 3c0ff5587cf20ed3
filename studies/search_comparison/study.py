"""The race over graphs against general-purpose optimisers, at equal evaluations and at equal computing time.

Run with ``python -m studies.search_comparison.study [--reduced] [--out FOLDER] [--runs FOLDER]``. Finished
runs are kept in the folder of runs and not done again.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import Any

from optimizer.figures import draw_figure
from optimizer.files import write_csv
from studies.search_comparison.drawing import comparison_figure
from studies.search_comparison.runs import (
    FLAT,
    NORMAL,
    PEERS,
    RACE,
    Run,
    run_peer,
    run_race,
    save,
    saved,
    study_graphs,
    study_season,
)
from studies.search_comparison.tables import print_tables, score_rows

SEASONS = ("demo", "half_space", "narrow_band")
SEEDS = (1, 2, 3, 4, 5)
LONG = {"scipy DE": SEEDS, "pycma": (2,), "pymoo NSGA-II": (2,)}
"""Seeds with which peers get a longer run: all for the one that comes nearest to the race."""

LONGER = 5.0
"""Longest run of a peer over the race's [1]."""

REDUCED = 0.25
"""The same of every peer in the reduced form [1]."""

MOST = 1.25
"""Longest run of the other peers of single graphs, if they are short of evaluations, over the race's [1]."""


def one_season(
    name: str, seed: int, graphs: tuple[str, ...], folder: Path, methods: Iterable[str], reduced: bool
) -> None:
    """Do what is missing of one season and seed: the race first, whose budget the peers get."""
    season = study_season(name, graphs, "quick", seed)
    race = saved(folder, name, RACE, seed)
    if race is None:
        race = run_race(season, name)
        _keep(race, folder)
    for method in methods:
        if saved(folder, name, method, seed) is not None:
            continue
        if method in PEERS:
            _keep(run_peer(season, name, method, race, *_times(method, seed, reduced)), folder)
        else:
            _keep(run_race(study_season(name, graphs, "normal", seed), name, NORMAL), folder)


def _times(method: str, seed: int, reduced: bool) -> tuple[float, float]:
    """Least and longest time of a peer over the race's [1]."""
    if reduced:
        return REDUCED, REDUCED
    if seed in LONG.get(method, ()):
        return LONGER, LONGER
    return 1.0, 1.0 if method in FLAT else MOST


def _keep(run: Run, folder: Path) -> None:
    save(run, folder)
    words = f"{run.season}, seed {run.seed}, {run.method}: {run.best_at():.2f} dB"
    print(f"{words} after {run.seconds:.1f} s and {run.evaluations} evaluations", flush=True)


def main(arguments: list[str] | None = None) -> list[dict[str, Any]]:
    """Do what is missing, then write ``scores.csv`` and the figures and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="graphs of one chamber, one season, one seed")
    parser.add_argument("--seasons", nargs="+", default=SEASONS, choices=SEASONS)
    parser.add_argument("--seeds", nargs="*", type=int, default=SEEDS, help="none: only draw")
    parser.add_argument("--methods", nargs="*", default=list(PEERS), choices=[*PEERS, NORMAL])
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--runs", type=Path, default=Path(__file__).parent / "runs", help="finished runs")
    options = parser.parse_args(arguments)
    graphs = study_graphs(1 if options.reduced else 3)
    seasons = SEASONS[1:2] if options.reduced else options.seasons
    seeds = SEEDS[1:2] if options.reduced else options.seeds
    for seed in seeds:
        for name in seasons:
            one_season(name, seed, graphs, options.runs, options.methods, options.reduced)
    methods = (RACE, *PEERS, NORMAL)
    found = [saved(options.runs, name, m, seed) for name in seasons for seed in SEEDS for m in methods]
    runs = [run for run in found if run is not None]
    rows = score_rows(runs)
    options.out.mkdir(parents=True, exist_ok=True)
    write_csv(options.out / "scores.csv", list(rows[0]), rows)
    print_tables(rows)
    for name in dict.fromkeys(run.season for run in runs):
        mine = [run for run in runs if run.season == name]
        best = max(run.best_at() for run in mine)
        draw_figure(partial(comparison_figure, name, mine, best, list(PEERS)), options.out / name)
    return rows


if __name__ == "__main__":
    main()
