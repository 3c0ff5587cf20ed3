"""Random feasible designs of every named graph: laid out and checked on their meshes, or refused why.

Run as ``python -m studies.plans.study``; ``--reduced`` takes one design a graph. With ``--results FILE``
every design is a line of that file as soon as it is finished, and those that stand there are not done again.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from models.catalogue import TRADE_NAMES
from models.design import DesignBatch
from models.fit import violation
from models.plan_mesh_checks import check_box
from models.plan_voids import duct_rectangles, gaps
from models.rules import Rules
from models.score import Judge
from models.solid_steps import parts_of
from models.solids import from_triangles, prism, solid_of, triangles_of, volume_of
from models.spaces import HalfSpace
from models.topology import Topology, parse_graph_id
from optimizer.graphs import season_graphs
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.layout_efforts import LayoutEffort, rounds
from optimizer.layout_search import lay_out
from optimizer.mesh_files import Mesh, read_stl, stl_bytes
from optimizer.printer import fits_bed, printer_of
from optimizer.season import load_season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace
from optimizer.splitting import kept_whole, split_for_bed

SEASON = Path(__file__).parents[2] / "configs" / "demo.toml"
EFFORT = LayoutEffort(
    fitting=rounds((120, 24, 6), (40, 24, 10), (12, 24, 12)),
    scoring=rounds((4, 16, 8)),
    finishing=rounds((1, 16, 4)),
)
REDUCED = LayoutEffort(
    fitting=rounds((40, 24, 8), (12, 24, 16)), scoring=rounds((1, 16, 4)), finishing=rounds((1, 16, 1))
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one design.

    Attributes
    ----------
    graph : str
        Graph [text].
    number : int
        Which of the graph's random designs [1].
    refused : str
        Why it has no plan; empty where it has one [text].
    failed : list of str
        Checks that did not hold [text].
    layout_s, checks_s : float
        Processor time of laying out, and of solids and checks [s].
    """

    graph: str
    number: int
    refused: str
    failed: list[str]
    layout_s: float
    checks_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What became of one graph's designs.

    Attributes
    ----------
    graph, name : str
        Graph and its trade name [text].
    outcomes : list of Outcome
        One a design [list].
    """

    graph: str
    name: str
    outcomes: list[Outcome]

    @property
    def built(self) -> list[Outcome]:
        """Those with a plan."""
        return [one for one in self.outcomes if not one.refused]

    @property
    def failed(self) -> list[str]:
        """Checks that did not hold."""
        return [words for one in self.outcomes for words in one.failed]

    @property
    def refused(self) -> Counter[str]:
        """Reasons of those without a plan."""
        return Counter(one.refused for one in self.outcomes if one.refused)

    def line(self) -> str:
        """The row of a table."""
        why = self.refused.most_common(1)
        seconds = [
            f"{np.median(times):.1f}" if times else ""
            for times in ([one.layout_s for one in self.outcomes], [one.checks_s for one in self.built])
        ]
        cells = [self.graph, self.name, len(self.outcomes), len(self.built), len(self.failed), *seconds]
        return f"| {' | '.join(map(str, cells))} | {f'{why[0][1]} x {why[0][0]}' if why else ''} |"


def study_rules(drivers: int) -> Rules:
    """Rules of the demo season in the open air, for so many drivers."""
    rules = load_season(SEASON).rules
    return replace(rules, spaces=(HalfSpace(name="open air"),), driver_count=drivers)


def random_designs(topology: Topology, rules: Rules, count: int, seed: int) -> list[DesignBatch]:
    """Random designs that fit the envelope by volume."""
    space = SearchSpace(topology, rules, search_sites(rules))
    rng = np.random.default_rng(seed)
    found: list[DesignBatch] = []
    for _ in range(400):
        x = rng.random((256, space.dimensions))
        site = rng.integers(0, len(space.sites), (256, len(space.site_slots)))
        x, site = space.repair(x, site, True)
        batch = space.decode(x, site)
        for row in np.nonzero(violation(batch, rules) <= 0.0)[0]:
            found.append(batch.rows(np.array([row])))
            if len(found) == count:
                return found
    return found


def check_laid_out(found: LaidOut) -> list[str]:
    """Checks that do not hold, of the parts as read back from STL, and of the model against them."""
    import trimesh

    parts = parts_of(found.plan, 7)
    printer = printer_of(load_season(SEASON))
    solids = []
    wrong = []
    for name, solid in (("body", solid_of(parts.body)), ("lid", solid_of(parts.lid))):
        content = stl_bytes(triangles_of(solid), "part")
        if not trimesh.load(io.BytesIO(content), file_type="stl").is_watertight:
            wrong.append(f"{name}: not watertight by trimesh")
        mesh: Mesh = read_stl(content)
        solids.append(from_triangles(*mesh))
        pieces, _ = split_for_bed(solids[-1], printer.bed_mm, kept_whole(found.plan, parts, name == "lid"))
        sizes = [np.ptp(triangles_of(piece)[0], axis=0) for piece in pieces]
        if not sizes or not all(fits_bed(size, printer.bed_mm) for size in sizes):
            wrong.append(f"{name}: its pieces do not fit the bed")
    checks = check_box(found.plan, parts, solids[0], solids[1], printer.bridge_mm)
    wrong += [f"{check.name}: {check.found}" for check in checks if not check.passed]
    for i, duct in enumerate(found.design.ducts):
        drawn = drawn_duct_volume(found, i)
        model = float(duct.area[0] * duct.length[0])
        if abs(drawn / model - 1.0) > 1e-6:
            wrong.append(
                f"duct {i + 1} holds {drawn * 1e6:.3f} cm3 on the floor, {model * 1e6:.3f} in the model"
            )
    return wrong


def drawn_duct_volume(found: LaidOut, duct: int) -> float:
    """Air of a duct with its gaps through walls, by the divergence theorem on its mesh [m3]."""
    shapes = list(duct_rectangles(found.plan, duct))
    for gap in gaps(found.plan):
        if gap.duct == duct:
            corners = [(gap.near, gap.low), (gap.far, gap.low), (gap.far, gap.high), (gap.near, gap.high)]
            shape = np.array(corners)
            shape = shape[:, ::-1] if gap.axis == 1 else shape
            u, v = shape[:, 0], shape[:, 1]
            turned = (u * np.roll(v, -1) - np.roll(u, -1) * v).sum() < 0.0
            shapes.append(shape[::-1] if turned else shape)
    solid = prism(tuple(1e3 * shape for shape in shapes), 0.0, 1e3 * found.plan.height)
    return volume_of(*triangles_of(solid)) * 1e-9


def study_design(judge: Judge, design: DesignBatch, effort: LayoutEffort, number: int) -> Outcome:
    """Lay out one design and check what comes of it."""
    bridge = printer_of(load_season(SEASON)).bridge_mm * 1e-3
    start = time.process_time()
    found = lay_out(judge, design, effort, seed=number, bridge=bridge)
    between = time.process_time()
    refused = ""
    if isinstance(found, NoPlan):
        refused = found.reasons[0] if found.reasons else "no reason"
    failed = [] if isinstance(found, NoPlan) else check_laid_out(found)
    return Outcome(
        graph=design.topology.graph_id,
        number=number,
        refused=refused,
        failed=failed,
        layout_s=between - start,
        checks_s=time.process_time() - between,
    )


def study_graph(
    graph: str, count: int, effort: LayoutEffort, done: list[Outcome], results: Path | None
) -> Row:
    """Lay out random designs of one graph, but for those that are done."""
    topology = parse_graph_id(graph)
    rules = study_rules(len(topology.drivers))
    judge = Judge(rules)
    outcomes = [one for one in done if one.graph == graph and one.number < count]
    finished = {one.number for one in outcomes}
    for number, design in enumerate(random_designs(topology, rules, count, seed=len(graph))):
        if number in finished:
            continue
        outcomes.append(study_design(judge, design, effort, number))
        if results is not None:
            with results.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(outcomes[-1])) + "\n")
    return Row(graph=graph, name=TRADE_NAMES.get(graph, graph), outcomes=outcomes)


def main(arguments: Sequence[str] | None = None) -> list[Row]:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="one design a graph, little effort")
    parser.add_argument(
        "--graphs", nargs="*", default=list(TRADE_NAMES), help="graph ids, or all: those of the demo's search"
    )
    parser.add_argument("--count", type=int, default=18, help="designs a graph")
    parser.add_argument("--results", type=Path, help="file that keeps what is finished, a design a line")
    options = parser.parse_args(arguments)
    effort = REDUCED if options.reduced else EFFORT
    count = 1 if options.reduced else options.count
    done: list[Outcome] = []
    if options.results is not None and options.results.exists():
        lines = options.results.read_text(encoding="utf-8").splitlines()
        done = [Outcome(**json.loads(line)) for line in lines]
    rows = []
    print(
        "| graph | name | designs | built | checks that failed | laying out (s) | solids and checks (s) "
        "| most frequent refusal |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for graph in season_graphs(load_season(SEASON)) if options.graphs == ["all"] else options.graphs:
        rows.append(study_graph(graph, count, effort, done, options.results))
        print(rows[-1].line(), flush=True)
        for words in rows[-1].failed:
            print(f"failed, {graph}: {words}", file=sys.stderr)
    return rows


if __name__ == "__main__":
    main()
