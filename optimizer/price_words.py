"""Prices of rules as short sentences with numbers."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from models.rules import Rules
from optimizer.priced_rules import PRICED_RULES

NOTABLE_DB = 0.02
"""A tenth more of a rule that changes the score by less is not spoken of."""

KINK_DB = 0.05
"""Prices up and down that differ by less over a tenth of a rule are not spoken of as a kink."""

IDLE_DB = 1e-4
"""A tenth more of a rule that changes the score by less changes nothing."""

ALIKE_DB = 0.005
"""Scores that differ by less are those of one box [dB]."""

_WORDS = {rule.key: rule.words for rule in PRICED_RULES}
_READ = {rule.key: rule.read for rule in PRICED_RULES}


def written(value: float, digits: int = 2) -> str:
    """A number to some digits, never with a power of ten: 170, not 1.7e+02."""
    return f"{Decimal(f'{value:.{digits}g}'):f}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words as a list in a sentence."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def price_sentences(
    prices: Sequence[dict[str, Any]], rules: Rules, network_db: float, built: bool
) -> list[str]:
    """What moving the rules a little would give a box, and dropping them.

    Parameters
    ----------
    prices : sequence of dict
        Prices of :mod:`optimizer.prices`, those of limits with ``unchanged_db_per_unit`` [mixed].
    rules : Rules
        The season's rules [record].
    network_db : float
        Score of the candidate's free network [dB].
    built : bool
        Whether the candidate is a floor plan [flag].

    Returns
    -------
    list of str
        Sentences [text].
    """
    if not prices:
        return []
    weighed = [(_tenth(price, "db_per_unit", rules), price) for price in prices]
    paying = [p for worth, p in sorted(weighed, key=lambda w: -w[0]) if worth > NOTABLE_DB]
    costing = [p for worth, p in sorted(weighed, key=lambda w: w[0]) if worth < -NOTABLE_DB]
    parts = [f"gain {_told(paying)}"] if paying else ["gain from no rule raised a little"]
    parts += [f"lose {_told(costing)}"] if costing else []
    moved = [f"{_basis(prices[0], network_db, built)} would {', and '.join(parts)}."]
    sentences = moved + [_kink(p) for p in prices if _kinks(p, rules)]
    idle = [_WORDS[p["rule"]] for worth, p in weighed if abs(worth) < IDLE_DB and _is_limit(p)]
    if idle and paying:
        sentences.append(f"More {listed(idle)} would give it nothing.")
    dropped = [p for p in prices if p.get("dropped_gain_db", 0.0) > 0.05]
    if dropped:
        words = [f"{p['dropped_gain_db']:.1f} dB without the {_WORDS[p['rule']]} limit" for p in dropped]
        sentences.append(f"It would gain at least {listed(words)}.")
    elif not prices[0]["verified"]:
        sentences.append("What dropping a rule would give it was not sought; effort normal does so.")
    own = [p for p in prices if built and _tenth(p, "unchanged_db_per_unit", rules) > NOTABLE_DB]
    if own:
        gains = _told(own, "unchanged_db_per_unit")
        sentences.append(f"Its plan as built, its sizes unchanged, would gain {gains}.")
    return sentences


def _basis(price: dict[str, Any], network_db: float, built: bool) -> str:
    """What the prices are of, and how they were found."""
    how = "Designed anew with one rule moved"
    if not price["verified"]:
        how = "By the multipliers of the optimum, not solved again"
    if price["base_db"] > network_db + ALIKE_DB:
        return f"{how}, the loudest free network of its type with its mouths, {price['base_db']:.2f} dB,"
    how += " and its mouths kept," if price["verified"] else ","
    return f"{how} {'its free network' if built else 'it'}"


def _told(prices: Sequence[dict[str, Any]], key: str = "db_per_unit") -> str:
    return listed([f"{written(abs(p[key]))} dB per {p['unit']} of {_WORDS[p['rule']]}" for p in prices])


def _kinks(price: dict[str, Any], rules: Rules) -> bool:
    """Whether a price is another one for more of its rule than for less, by enough to matter."""
    if not price["verified"] or price["unique"]:
        return False
    more, less = (_tenth(price, f"db_per_unit_{side}", rules) for side in ("more", "less"))
    return abs(more - less) > KINK_DB


def _kink(price: dict[str, Any]) -> str:
    more, less = (
        f"{written(price[f'db_per_unit_{side}'])} dB per {price['unit']}" for side in ("more", "less")
    )
    return f"The price of {_WORDS[price['rule']]} has a kink: {more} for more of it, {less} for less."


def _tenth(price: dict[str, Any], key: str, rules: Rules) -> float:
    """What a tenth more of a rule would give by one of its prices; 0 where there is none [dB]."""
    value = _READ[price["rule"]](rules)
    return 0.0 if value is None else float(price.get(key, 0.0)) * value * 0.1


def _is_limit(price: dict[str, Any]) -> bool:
    return str(price["rule"]).startswith("limits.")
