"""What building costs the best network design of every graph that a search knows.

Run as ``python -m studies.plans.best RUN``, with the folder of a finished search; ``--effort`` says how hard
plans are sought, ``--first`` how many graphs are taken, the loudest first.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from models.catalogue import named_topology, short_name
from models.score import Judge
from optimizer.build import season_of
from optimizer.known import known_of_run
from optimizer.laid_out import NoPlan
from optimizer.layout_efforts import LAYOUT_EFFORTS
from optimizer.layout_search import lay_out
from optimizer.printer import printer_of
from optimizer.run_folder import read_run


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What became of one graph's best design.

    Attributes
    ----------
    graph, name : str
        Graph and its name [text].
    network_db : float
        Score of the network design [dB].
    built_db : float or None
        Score of its plan; None where it has none [dB].
    reason : str
        Why it has none [text].
    """

    graph: str
    name: str
    network_db: float
    built_db: float | None
    reason: str = ""


def main(arguments: Sequence[str] | None = None) -> list[Cost]:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("run", type=Path)
    parser.add_argument("--effort", choices=list(LAYOUT_EFFORTS), default="quick")
    parser.add_argument("--first", type=int, default=1000, help="graphs, the loudest first")
    options = parser.parse_args(arguments)
    run = read_run(options.run)
    season = season_of(run)
    judge = Judge(season.rules)
    bridge = printer_of(season).bridge_mm * 1e-3
    costs = []
    print("| graph | name | network (dB) | built (dB) | cost (dB) |\n|---|---|---|---|---|")
    for known in known_of_run(options.run, season)[: options.first]:
        found = lay_out(judge, known.design, LAYOUT_EFFORTS[options.effort], 1, bridge=bridge)
        name = short_name(named_topology(known.graph))
        none = isinstance(found, NoPlan)
        costs.append(
            Cost(
                graph=known.graph,
                name=name,
                network_db=known.best_db,
                built_db=None if isinstance(found, NoPlan) else found.score_db,
                reason="; ".join(found.reasons) if isinstance(found, NoPlan) else "",
            )
        )
        one = costs[-1]
        built = one.reason if none else f"{one.built_db:.2f}"
        cost = "" if one.built_db is None else f"{one.network_db - one.built_db:.2f}"
        print(f"| {one.graph} | {name} | {one.network_db:.2f} | {built} | {cost} |", flush=True)
    return costs


if __name__ == "__main__":
    main()
