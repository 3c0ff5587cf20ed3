"""Which topology takes over, and at what change of which rule, as short sentences with numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from models.catalogue import named_topology, short_name
from optimizer.price_words import listed
from optimizer.priced_rules import RULES
from optimizer.takeover import FREE

SHOWN = 3
"""Changes that are told; data hold all."""

ROUGH = (
    "These values are rough: gains flatten as a rule moves, so it may take several times the change, or "
    "never come; effort normal solves them again."
)
"""What is said of changes that prices alone foresee."""


def takeover_sentences(takeover: dict[str, Any]) -> list[str]:
    """What moving one rule does to a candidate's type among the others.

    Parameters
    ----------
    takeover : dict
        Of :class:`optimizer.pricing.Priced`; empty where it was not sought [mixed].

    Returns
    -------
    list of str
        One, which says where it is rough; none where there is nothing to compare with [text].
    """
    if not takeover or takeover["types"] < 2:
        return []
    changes, leads = takeover["changes"], takeover["leads"]
    against, gap = _name(takeover["against_graph"]), abs(takeover["ahead_db"])
    if not changes:
        return [_none(takeover, against, gap)]
    how, rough = _how(takeover), "" if takeover["verified"] else f" {ROUGH}"
    told = changes[:SHOWN]
    left = len(changes) - len(told)
    more = f"; and {left} further change{'s' if left > 1 else ''}" if left else ""
    if leads:
        by_type: dict[str, list[str]] = {}
        for change in told:
            by_type.setdefault(_name(change["graph"]), []).append(change_words(change))
        parts = [f"{name} with {listed(words, 'or')}" for name, words in by_type.items()]
        return [f"Another type takes over when one rule moves ({how}): {'; '.join(parts)}{more}.{rough}"]
    words = listed([change_words(change) for change in told], "or")
    passes = f"Its type passes the leading one, {against}, {gap:.2f} dB ahead, with {words}{more} ({how})."
    return [f"{passes}{rough}"]


def change_words(change: dict[str, Any]) -> str:
    """A rule at its changed value, beside the one it has."""
    to = f"{change['to']:.4g}"
    if not change["verified"]:
        rounded = float(f"{change['to']:.2g}")
        to = f"about {to if rounded == change['from'] else format(rounded, 'g')}"
    return f"{RULES[change['rule']].words} at {to} {change['unit']} instead of {change['from']:g}"


def range_words(within: dict[str, float]) -> str:
    """How far rules are moved."""
    sizes = f"sizes by {100.0 * (within['sizes'] - 1.0):.0f} %"
    return f"limits by up to a factor of {within['limits']:g}, {sizes}"


def _how(takeover: dict[str, Any]) -> str:
    """What is compared, and whether it was solved again."""
    kept = "free networks" if takeover["compared"] == FREE else "building costs kept"
    solved = (
        "solved again" if takeover["verified"] else "foreseen from prices, not solved again"
    )
    return f"{kept}, {solved}"


def _none(takeover: dict[str, Any], against: str, gap: float) -> str:
    how = f"{_how(takeover)}; {range_words(takeover['within'])}"
    if takeover["leads"]:
        return (
            f"No rule moved alone puts another of the {takeover['types']} types compared first ({how}); "
            f"the next, {against}, is {gap:.2f} dB behind."
        )
    return f"No rule moved alone takes its type past the leading one, {against}, {gap:.2f} dB ahead ({how})."


def _name(graph: str) -> str:
    return short_name(named_topology(graph))


def ceiling_takeovers(changes: Sequence[dict[str, Any]]) -> list[str]:
    """Takeovers among the leading types, for the text of a ceiling."""
    lines = []
    for change in changes:
        digits = 2 if change["best_db"] is None or change["other_db"] - change["best_db"] >= 0.01 else 4
        best = "none that fits" if change["best_db"] is None else f"{change['best_db']:.{digits}f} dB"
        levels = f"{change['other_db']:.{digits}f} dB against {best}"
        lines.append(f"With {change_words(change)}, {_name(change['graph'])} overtakes: {levels}.")
    return lines
