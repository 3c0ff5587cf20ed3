"""The ladder of a season: what a better box could reach, from the best one found upwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from models.rules import Rules
from models.score import mean_level
from optimizer.cell import Points, joined
from optimizer.priced_rules import rules_of
from optimizer.prices import best_freed
from optimizer.variants import Variant, output_of

BOUND, EVIDENCE = "bound", "evidence"

WIDER = 0.1
"""Share by which the envelope's sizes are widened together."""

GROUP_NAMES = {1: "tone", 2: "pair of tones", 3: "triple of tones"}
"""Names of groups of tones by their size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One step of the ladder.

    Attributes
    ----------
    name : str
        What it is [text].
    value_db : float
        Averaged output [dB].
    kind : str
        ``bound`` (holds for every box of the stated family, in the stated model) or ``evidence`` [text].
    how : str
        How it was obtained [text].
    void_if : str
        What would make it false [text].
    gap_db : float or None
        Gap to the best design in the model of a bound, where it is not the best found [dB].
    """

    name: str
    value_db: float
    kind: str
    how: str
    void_if: str
    gap_db: float | None = None


def tone_rungs(
    variant: Variant,
    known: dict[str, Points],
    effort: str | None,
    seed: int,
    most: int,
    sizes: Sequence[int] = (3, 2, 1),
) -> list[Rung]:
    """A box of its own for every triple, pair and tone: the mean of their best is at least the best mean.

    Each group is searched from the best boxes known and from those of larger groups that hold it.

    Parameters
    ----------
    variant : Variant
        The season [record].
    known : dict of str to Points
        Best point of each leading graph [record].
    effort : str or None
        Effort of a search from nothing beside; None for none [text].
    seed : int
        Seed of that search [1].
    most : int
        Points of a graph that are polished for each group of tones, the best first [1].
    sizes : sequence of int
        Sizes of the groups, falling [1].

    Returns
    -------
    list of Rung
        In the order of the sizes that are smaller than the number of tones [list].
    """
    rules = variant.rules
    tones = np.nonzero(rules.tone_weights > 0.0)[0]
    shares = _space_groups(rules)
    rungs: list[Rung] = []
    larger: dict[tuple[int, tuple[int, ...]], dict[str, Points]] = {}
    for size in sizes:
        if size >= tones.size:
            continue
        found: dict[tuple[int, tuple[int, ...]], dict[str, Points]] = {}
        groups = list(combinations(tones.tolist(), size))
        values = np.empty((len(shares), len(groups)))
        for i, spaces in enumerate(shares):
            for j, group in enumerate(groups):
                heard = variant.hearing(spaces, group)
                starts = {graph: [heard.carried(graph, point, variant)] for graph, point in known.items()}
                for (share, more), points in larger.items():
                    if share == i and set(group) <= set(more):
                        for graph, point in points.items():
                            starts[graph].append(heard.carried(graph, point, variant))
                if effort is not None:
                    for graph in starts:
                        new = heard.seek(graph, effort, seed)
                        starts[graph] += [] if new is None else [new]
                best = {
                    graph: heard.solve(graph, joined(points), most, 2) for graph, points in starts.items()
                }
                found[i, group] = best
                values[i, j] = max(output_of(point) for point in best.values())
        weights = np.array([rules.tone_weights[list(group)].sum() for group in groups])
        space_weights = np.array([sum(rules.spaces[s].weight for s in spaces) for spaces in shares])
        means = mean_level(values, weights, rules.mean)
        value = float((means * space_weights).sum() / space_weights.sum())
        rungs.append(_tone_rung(size, value, len(groups) * len(shares), list(known)))
        larger = found
    return rungs


def _space_groups(rules: Rules) -> list[tuple[int, ...]]:
    """Spaces that share a box; with a mean of energies each must have its own for the ladder to hold."""
    spaces = [i for i, space in enumerate(rules.spaces) if space.weight > 0.0]
    return [(i,) for i in spaces] if rules.mean == "energy" else [tuple(spaces)]


def _tone_rung(size: int, value: float, count: int, graphs: list[str]) -> Rung:
    return Rung(
        name=f"every {GROUP_NAMES[size]} with its own box",
        value_db=value,
        kind=EVIDENCE,
        how=f"mean of {count} best boxes, each found for its tones alone among {', '.join(graphs)}",
        void_if="a better box for some of these tones was missed, or its type was not among those searched",
    )


def rule_rungs(variant: Variant, known: dict[str, Points]) -> list[tuple[str, str, Rung]]:
    """The season without one limit at a time, and with a wider envelope.

    Parameters
    ----------
    variant : Variant
        The season [record].
    known : dict of str to Points
        Best point of each leading graph [record].

    Returns
    -------
    list of tuples
        Key of the rule, graph of the best box without it, rung [mixed].
    """
    changes = [
        (rule.key, f"without {rule.key}", rule.move(variant.rules, None))
        for rule, _ in rules_of(variant.rules)
        if rule.droppable
    ]
    wide = variant.rules
    for rule, value in rules_of(variant.rules):
        if not rule.droppable and rule.key != "envelope.wall_mm":
            wide = rule.move(wide, value * (1.0 + WIDER))
    changes.append(("envelope", f"envelope {100 * WIDER:g} % wider, higher and deeper", wide))
    result = []
    for key, name, rules in changes:
        moved = variant.under(rules)
        best = {graph: best_freed(variant, moved, graph, [point]) for graph, point in known.items()}
        graph = max(best, key=lambda g: best[g])
        how = f"sizes of the best {len(known)} types optimised again from several starts, their sites kept"
        how += f"; best type {graph}"
        if key == "envelope":
            how += "; sites and the body in the cabin as they were"
        rung = Rung(
            name=name,
            value_db=best[graph],
            kind=EVIDENCE,
            how=how,
            void_if="another type or other sites gain more from it",
        )
        result.append((key, graph, rung))
    return result
