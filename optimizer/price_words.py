"""Prices of rules as short sentences with numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from models.rules import Rules
from optimizer.priced_rules import PRICED_RULES

NOTABLE_DB = 0.02
"""A tenth more of a rule that changes the score by less is not spoken of."""

IDLE_DB = 1e-4
"""A tenth more of a rule that changes the score by less changes nothing."""

_WORDS = {rule.key: rule.words for rule in PRICED_RULES}
_READ = {rule.key: rule.read for rule in PRICED_RULES}


def listed(words: Sequence[str]) -> str:
    """Words as a list in a sentence."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def price_sentences(prices: Sequence[dict[str, Any]], rules: Rules, built: bool = False) -> list[str]:
    """What moving the rules a little would give a box, and dropping them.

    Parameters
    ----------
    prices : sequence of dict
        Prices of :mod:`optimizer.prices` [mixed].
    rules : Rules
        The season's rules [record].
    built : bool
        Whether the box is a floor plan; then boxes designed anew are its free network [flag].

    Returns
    -------
    list of str
        Sentences [text].
    """
    weighed = [(_tenth(price, rules), price) for price in prices]
    paying = [p for worth, p in sorted(weighed, key=lambda w: -w[0]) if worth > NOTABLE_DB]
    costing = [p for worth, p in weighed if worth < -NOTABLE_DB]
    anew = "Designed anew as a free network" if built else "Designed anew"
    how = anew if prices and prices[0]["verified"] else "Unchanged"
    if not paying:
        sentences = ["Raising any one limit a little would not help this box."]
    else:
        words = [f"{p['db_per_unit']:.2g} dB per {p['unit']} of {_WORDS[p['rule']]}" for p in paying]
        sentences = [f"{how}, it would gain {listed(words)}."]
    if costing:
        words = [f"{-p['db_per_unit']:.2g} dB per {p['unit']} of {_WORDS[p['rule']]}" for p in costing]
        sentences.append(f"It would lose {listed(words)}.")
    for p in prices:
        if p["verified"] and not p["unique"]:
            more, less = (f"{p[f'db_per_unit_{side}']:.2g} dB per {p['unit']}" for side in ("more", "less"))
            name = _WORDS[p["rule"]]
            sentences.append(f"The price of {name} has a kink: {more} for more of it, {less} for less.")
    idle = [_WORDS[p["rule"]] for worth, p in weighed if abs(worth) < IDLE_DB and _is_limit(p)]
    if idle and paying:
        sentences.append(f"More {listed(idle)} would give it nothing.")
    dropped = [p for p in prices if p.get("dropped_gain_db", 0.0) > 0.05]
    if dropped:
        words = [f"{p['dropped_gain_db']:.1f} dB without a limit of {_WORDS[p['rule']]}" for p in dropped]
        sentences.append(f"{anew}, this type would gain {listed(words)}.")
    return sentences


def _tenth(price: dict[str, Any], rules: Rules) -> float:
    value = _READ[price["rule"]](rules)
    return 0.0 if value is None else float(price["db_per_unit"]) * value * 0.1


def _is_limit(price: dict[str, Any]) -> bool:
    return str(price["rule"]).startswith("limits.")
