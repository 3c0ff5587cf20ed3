"""Plans of many graphs: the network read off each against finite elements of its air in three dimensions.

Run as ``python -m studies.plans.air [RUN ...]``: candidates with a plan of finished runs, and random
designs of every named graph and of some with three chambers, laid out here; ``--reduced`` takes three graphs.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from models.catalogue import TRADE_NAMES
from models.design import DesignBatch
from models.plan import PlanBatch
from models.plan_comparison import FINEST, compare
from models.plan_reading import read_plan
from models.rules import Rules
from models.score import Judge
from models.topology import parse_graph_id
from optimizer.air_check import HZ, MEDIAN_DB, WORST_DB, Compared, compared
from optimizer.build import season_of
from optimizer.design_file import read_design
from optimizer.laid_out import NoPlan
from optimizer.layout_search import lay_out
from optimizer.plan_file import read_plan_file
from optimizer.run_designs import PLAN_FILE, candidate_folder
from optimizer.run_folder import read_run
from studies.plans.study import EFFORT, random_designs, study_rules

THREE_CHAMBERS = ("AB/AC.Co", "oA/AB.BC.Co", "AB/Ao.BC.Co", "AC/AB.Bo.Co", "oA/AB.BC.Ao.Co")
"""Graphs of three chambers beside the named ones."""

REDUCED = ("oA/Ao", "AB/AB.Ao", "AB/AC.Co")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One plan.

    Attributes
    ----------
    source, graph : str
        Where the plan comes from, and its graph [text].
    found : Compared
        Levels and agreement [record].
    seconds : float
        Processor time of the comparison [s].
    """

    source: str
    graph: str
    found: Compared
    seconds: float

    def line(self) -> str:
        """The row of a table."""
        worst = self.found.worst
        whole = sum(one.counted + one.left_out for one in self.found.openings)
        out = 100.0 * sum(one.left_out for one in self.found.openings) / whole
        cells = [
            self.source,
            self.graph,
            ", ".join(one.name for one in self.found.openings),
            f"{self.found.median_db:.3f}",
            f"{worst.worst_db:.2f} at {worst.worst_hz:.0f} Hz",
            f"{out:.0f}",
        ]
        return f"| {' | '.join(cells)} |"


Plan = tuple[str, str, PlanBatch, DesignBatch, Rules]


def plans_of_run(folder: Path) -> Iterator[Plan]:
    """Plans of a finished run's candidates."""
    run = read_run(folder)
    rules = season_of(run).rules
    for candidate in run.candidates:
        place = run.folder / candidate_folder(int(candidate["rank"]))
        if (place / PLAN_FILE).is_file():
            given = read_design(place / "design.toml", rules)
            plan = read_plan_file(place / PLAN_FILE, rules)
            design = read_plan(plan, rules, None, given.diaphragms)
            yield f"{folder.name}, candidate {candidate['rank']}", candidate["graph"], plan, design, rules


def plans_of_graphs(graphs: Sequence[str], count: int) -> Iterator[Plan]:
    """Plans of random designs."""
    for graph in graphs:
        topology = parse_graph_id(graph)
        rules = study_rules(len(topology.drivers))
        judge = Judge(rules)
        for number, design in enumerate(random_designs(topology, rules, count, seed=len(graph))):
            found = lay_out(judge, design, EFFORT, seed=number)
            if not isinstance(found, NoPlan):
                yield f"random {number + 1}", graph, found.plan, found.design, rules


def main(arguments: Sequence[str] | None = None) -> list[Row]:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("runs", nargs="*", type=Path)
    parser.add_argument("--reduced", action="store_true", help="one design of three graphs, coarse meshes")
    parser.add_argument("--count", type=int, default=2, help="random designs a graph")
    options = parser.parse_args(arguments)
    graphs = REDUCED if options.reduced else (*TRADE_NAMES, *THREE_CHAMBERS)
    finest = 2.0 * FINEST if options.reduced else FINEST
    rows = []
    print("| plan | graph | openings | largest median (dB) | worst (dB) | left out (%) |")
    print("|---|---|---|---|---|---|")
    plans = [plan for run in options.runs for plan in plans_of_run(run)]
    plans += plans_of_graphs(graphs, 1 if options.reduced else options.count)
    for source, graph, plan, design, rules in plans:
        start = time.process_time()
        found = compared(compare(plan, design, rules, HZ, finest))
        rows.append(Row(source=source, graph=graph, found=found, seconds=time.process_time() - start))
        print(rows[-1].line(), flush=True)
    good = [row for row in rows if row.found.agrees]
    print(
        f"\n{len(good)} of {len(rows)} plans, {len({row.graph for row in good})} of "
        f"{len({row.graph for row in rows})} graphs within {MEDIAN_DB:g} dB (median) and {WORST_DB:g} dB "
        f"(worst); {sum(row.seconds for row in rows) / max(len(rows), 1):.1f} s of processor time a plan"
    )
    return rows


if __name__ == "__main__":
    main()
