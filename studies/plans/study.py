"""Random feasible designs of every named graph: laid out and checked on their meshes, or refused why.

Run as ``python -m studies.plans.study``; ``--reduced`` takes one design a graph.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
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
from models.solids import from_triangles, solid_of, triangles_of, volume_of
from models.spaces import HalfSpace
from models.topology import Topology, parse_graph_id
from optimizer.layout_efforts import LayoutEffort, rounds
from optimizer.layout_search import LaidOut, NoPlan, lay_out
from optimizer.mesh_files import Mesh, read_stl, stl_bytes
from optimizer.season import load_season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace

SEASON = Path(__file__).parents[2] / "configs" / "demo.toml"
EFFORT = LayoutEffort(
    fitting=rounds((120, 24, 6), (40, 24, 10), (12, 24, 12)),
    scoring=rounds((4, 16, 8)),
    finishing=rounds((1, 16, 4)),
)
REDUCED = LayoutEffort(
    fitting=rounds((40, 24, 8), (12, 24, 16)), scoring=rounds((1, 16, 4)), finishing=rounds((1, 16, 1))
)
BRIDGE_MM = 50.0


@dataclass(slots=True, kw_only=True)
class Row:
    """What became of one graph's designs.

    Attributes
    ----------
    graph, name : str
        Graph and its trade name [text].
    designs, built : int
        Random designs, and how many of them have a plan [1].
    failed : list of str
        Checks that did not hold [text].
    refused : Counter
        Reasons of those without a plan [1].
    costs_db : list of float
        Cost of building against the random design [dB].
    """

    graph: str
    name: str
    designs: int = 0
    built: int = 0
    failed: list[str] = field(default_factory=list)
    refused: Counter[str] = field(default_factory=Counter)
    costs_db: list[float] = field(default_factory=list)


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
    parts = parts_of(found.plan, 7)
    solids = []
    for solid in (solid_of(parts.body), solid_of(parts.lid)):
        mesh: Mesh = read_stl(stl_bytes(triangles_of(solid), "part"))
        solids.append(from_triangles(*mesh))
    checks = check_box(found.plan, parts, solids[0], solids[1], BRIDGE_MM)
    wrong = [f"{check.name}: {check.found}" for check in checks if not check.passed]
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
    from models.solids import prism

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


def study_graph(graph: str, count: int, effort: LayoutEffort) -> Row:
    """Lay out random designs of one graph."""
    topology = parse_graph_id(graph)
    rules = study_rules(len(topology.drivers))
    judge = Judge(rules)
    row = Row(graph=graph, name=TRADE_NAMES.get(graph, graph))
    for number, design in enumerate(random_designs(topology, rules, count, seed=len(graph))):
        row.designs += 1
        found = lay_out(judge, design, effort, seed=number)
        if isinstance(found, NoPlan):
            row.refused[found.reasons[0] if found.reasons else "no reason"] += 1
            continue
        row.built += 1
        row.costs_db.append(found.cost_db)
        row.failed += check_laid_out(found)
    return row


def main(arguments: Sequence[str] | None = None) -> list[Row]:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="one design a graph, little effort")
    parser.add_argument("--graphs", nargs="*", default=list(TRADE_NAMES))
    parser.add_argument("--count", type=int, default=18, help="designs a graph")
    options = parser.parse_args(arguments)
    effort = REDUCED if options.reduced else EFFORT
    count = 1 if options.reduced else options.count
    rows = []
    print(
        "| graph | name | designs | built | checks that failed | median cost (dB) | most frequent refusal |"
    )
    print("|---|---|---|---|---|---|---|")
    for graph in options.graphs:
        row = study_graph(graph, count, effort)
        rows.append(row)
        why = row.refused.most_common(1)
        cost = f"{np.median(row.costs_db):.2f}" if row.costs_db else ""
        reason = f"{why[0][1]} x {why[0][0]}" if why else ""
        print(
            f"| {graph} | {row.name} | {row.designs} | {row.built} | {len(row.failed)} | {cost} | {reason} |",
            flush=True,
        )
        for words in row.failed:
            print(f"failed, {graph}: {words}", file=sys.stderr)
    return rows


if __name__ == "__main__":
    main()
