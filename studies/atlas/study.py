"""The best score of every graph up to three chambers, in three seasons, with uniform and with tapered ducts.

Run with ``python -m studies.atlas.study [--reduced] [--workers N] [--out FOLDER]``.
"""

from __future__ import annotations

import argparse
import csv
import dataclasses
from functools import partial
from pathlib import Path

from models.catalogue import design_names, named_topology, short_label
from models.enumeration import enumerate_graphs
from models.fit import duct_air
from optimizer.figures import draw_figure
from optimizer.figures_graph import graph_figure
from optimizer.outcomes import Task, unpack
from optimizer.processes import worker_pool
from optimizer.season import Season, load_season
from optimizer.tasks import TaskRunner
from studies.atlas.drawing import atlas_figure

CONFIGS = Path(__file__).parents[2] / "configs"
SEASONS = ("demo", "half_space", "narrow_band")
PROFILES = ("uniform", "conical")
DRAWN = 4
"""Graphs drawn of every season and profile, the best first."""


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """The best design of one graph in one season.

    Attributes
    ----------
    season, profile : str
        File and form of the ducts [text].
    graph, name : str
        Graph id, and the name of the best design [text].
    best_db : float or None
        Best score; None where nothing fits [dB].
    spread_db : float
        Best less worst restart [dB].
    duct_share : float
        Part of the design's air that its ducts hold [1].
    """

    season: str
    profile: str
    graph: str
    name: str
    best_db: float | None
    spread_db: float
    duct_share: float


def useful_graphs(chambers: int) -> list[str]:
    """Every useful graph with one driver and at most one duct between two places."""
    ducts = (chambers + 1) * chambers // 2
    return [item.graph for item in enumerate_graphs(chambers, ducts) if not item.useless]


def season_of(name: str, profile: str) -> Season:
    """A season of ``configs/`` with ducts of a given profile."""
    season = load_season(CONFIGS / f"{name}.toml")
    return dataclasses.replace(season, search=dataclasses.replace(season.search, duct_profile=profile))


def scores_of(
    season: Season, name: str, graphs: list[str], effort: str, restarts: int, workers: int
) -> list[Score]:
    """Best score of every graph in one season, the best first."""
    runner = TaskRunner(season)
    runner.judge.outside(runner.sites)
    tasks = [Task(graph=graph, restart=i, effort=effort) for graph in graphs for i in range(restarts)]
    found: dict[str, list[dict]] = {graph: [] for graph in graphs}
    with worker_pool(workers, _prepare, (season,)) as pool:
        for task, best in zip(tasks, pool.map(_run, tasks), strict=True):
            if best is not None:
                found[task.graph].append(best)
    rows = [_score(runner, name, graph, found[graph]) for graph in graphs]
    return sorted(rows, key=lambda row: (row.best_db is None, -(row.best_db or 0.0), row.graph))


_RUNNER: list[TaskRunner] = []


def _prepare(season: Season) -> None:
    _RUNNER[:] = [TaskRunner(season)]


def _run(task: Task) -> dict | None:
    return _RUNNER[0].run(task, {})["best"]


def _score(runner: TaskRunner, name: str, graph: str, bests: list[dict]) -> Score:
    profile = runner.season.search.duct_profile
    if not bests:
        return Score(
            season=name, profile=profile, graph=graph, name="", best_db=None, spread_db=0.0, duct_share=0.0
        )
    levels = [best["columns"]["output_db"][0] for best in bests]
    point = unpack(bests[levels.index(max(levels))])
    design = runner.space(graph).decode(point.x, point.site)
    ducts = sum(float(duct_air(duct)[0] * duct.length[0]) for duct in design.ducts)
    rooms = float(design.sides[0].prod(axis=1).sum())
    return Score(
        season=name,
        profile=profile,
        graph=graph,
        name=short_label(design_names(design)[0], graph),
        best_db=max(levels),
        spread_db=max(levels) - min(levels),
        duct_share=ducts / (ducts + rooms),
    )


def main(arguments: list[str] | None = None) -> list[Score]:
    """Run the study and write ``scores.csv`` and the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="one and two chambers, one restart")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args(arguments)
    graphs = useful_graphs(2 if options.reduced else 3)
    restarts = 1 if options.reduced else 3
    names = SEASONS[1:2] if options.reduced else SEASONS
    rows: list[Score] = []
    for name in names:
        for profile in PROFILES:
            season = season_of(name, profile)
            rows += scores_of(season, name, graphs, "quick", restarts, options.workers)
            print_top(rows, name, profile)
    options.out.mkdir(parents=True, exist_ok=True)
    with (options.out / "scores.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [field.name for field in dataclasses.fields(Score)])
        writer.writeheader()
        writer.writerows(dataclasses.asdict(row) for row in rows)
    for name in names:
        draw_figure(
            partial(atlas_figure, name, [row for row in rows if row.season == name]), options.out / name
        )
    for graph in dict.fromkeys(row.graph for row in top_rows(rows)):
        place = options.out / "graphs" / graph.replace("/", "_").replace(".", "-")
        place.parent.mkdir(exist_ok=True)
        draw_figure(partial(graph_figure, graph, named_topology(graph)), place)
    return rows


def top_rows(rows: list[Score]) -> list[Score]:
    """The best rows of every season and profile."""
    result = []
    for key in dict.fromkeys((row.season, row.profile) for row in rows):
        result += [row for row in rows if (row.season, row.profile) == key][:DRAWN]
    return result


def print_top(rows: list[Score], name: str, profile: str) -> None:
    """Print the best graphs of one season and profile as a table."""
    print(f"\n{name}, {profile} ducts\n\n| graph | design | score dB | restarts within dB | air in ducts |")
    print("|---|---|---|---|---|")
    for row in [row for row in rows if (row.season, row.profile) == (name, profile)][:12]:
        figures = f"{row.best_db:.2f} | {row.spread_db:.2f} | {row.duct_share:.0%}"
        print(f"| `{row.graph}` | {row.name} | {figures} |", flush=True)


if __name__ == "__main__":
    main()
