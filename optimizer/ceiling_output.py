"""The ceiling of a season as text: short tables, and sentences to act on."""

from __future__ import annotations

from typing import Any

from models.catalogue import named_topology, short_name
from optimizer.cli_output import text_table
from optimizer.price_words import listed
from optimizer.priced_rules import PRICED_RULES, REACHES
from optimizer.takeover_words import ceiling_takeovers, range_words

SHOWN = 12
"""Topologies that are listed."""

FREE_NETWORKS = "All boxes here are free networks: what building them by a floor plan costs is not counted."
"""What the numbers of a ceiling are of."""


def ceiling_text(name: str, found: dict[str, Any]) -> str:
    """Readable ceiling.

    Parameters
    ----------
    name : str
        Name of the season [text].
    found : dict
        What :func:`optimizer.ceiling.ceiling` returns [mixed].

    Returns
    -------
    str
        Several lines [text].
    """
    best = found["best_found_db"]
    par = [f"{score:.2f} dB for the best {plain}" for plain, score in found["par"].items()]
    lines = [
        f"{name}: best found {best:.2f} dB with {_short(found['best_graph'])}.",
        f"Par: {listed(par)}." if par else "No plain box was among those searched.",
        *found["verdict"],
        FREE_NETWORKS,
        "",
        _ladder(found["rungs"]),
        "",
        *_notes(found["rungs"]),
        "",
        _topologies(found["topologies"]),
        "",
        *_rules(found),
    ]
    return "\n".join(lines)


def _short(graph: str) -> str:
    return short_name(named_topology(graph))


def _ladder(rungs: list[dict[str, Any]]) -> str:
    rows = [
        [r["name"], f"{r['value_db']:.2f}", f"{r['above_best_db']:+.2f}", r["kind"], _fixed(r["gap_db"])]
        for r in rungs
    ]
    return text_table(["rung", "dB", "above best", "kind", "own gap"], rows)


def _fixed(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def _notes(rungs: list[dict[str, Any]]) -> list[str]:
    lines = [
        "A bound holds for every box of its family in its model; evidence comes from searches that may have",
        "missed a better box. 'Own gap' is what a bound lies above the best box in its own model.",
    ]
    alike: dict[tuple[str, str], list[str]] = {}
    for r in rungs:
        alike.setdefault((r["how"], r["void_if"]), []).append(r["name"])
    return lines + [f"- {', '.join(names)}: {how}. False if {void}." for (how, void), names in alike.items()]


def _topologies(topologies: list[dict[str, Any]]) -> str:
    rows = [
        [
            _short(t["graph"]),
            t["graph"],
            f"{t['best_db']:.2f}",
            f"{t['behind_db']:.2f}",
            _fixed(t.get("bound_db")),
            t["reduces_to"],
        ]
        for t in topologies[:SHOWN]
    ]
    table = text_table(["topology", "graph", "dB", "behind", "bound", "reduces to"], rows)
    more = len(topologies) - SHOWN
    return table + (f"\nand {more} more behind them" if more > 0 else "")


def _rules(found: dict[str, Any]) -> list[str]:
    words = {rule.key: rule.words for rule in PRICED_RULES}
    rows = [
        [
            p["rule"],
            f"{p['db_per_unit']:+.4f} dB per {p['unit']}",
            "" if p["unique"] else f"{p['db_per_unit_less']:+.4f} for less",
            "" if "dropped_gain_db" not in p else f"{p['dropped_gain_db']:+.2f}",
        ]
        for p in found["prices"]
        if abs(p["db_per_unit"]) > 1e-6 or abs(p["db_per_unit_less"]) > 1e-6
    ]
    lines = []
    if rows:
        lines += [text_table(["rule", "price at the best box", "kink", "dropped, dB"], rows), ""]
    if found["dearest"]:
        first = found["dearest"][0]
        lines.append(
            f"The rule that matters most is {first['rule']}: a tenth more of it changes the best score by "
            f"{first['per_tenth_db']:+.2f} dB."
        )
    if found["never_bind"]:
        idle = listed([words[key] for key in found["never_bind"]])
        lines.append(f"Never binding for the leading types: {idle}.")
    lines += ceiling_takeovers(found["takeovers"])
    if not found["takeovers"]:
        lines.append(f"No rule was found at which another leading type overtakes ({range_words(REACHES)}).")
    return lines
