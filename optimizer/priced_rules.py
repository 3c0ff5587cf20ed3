"""The rules of a season that have a price: how each one is read, moved and dropped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from models.rules import Rules

UNLIMITED = 1e6
"""What a limit that must have a value is multiplied by where it is dropped."""

LIMIT_REACH, SIZE_REACH = 2.0, 1.25
"""Factors by which limits and sizes are moved at most; places on the box and in a cabin stay as they are."""

REACHES = {"limits": LIMIT_REACH, "sizes": SIZE_REACH}
"""The same as data."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PricedRule:
    """One rule.

    Attributes
    ----------
    key : str
        Its key in a season [text].
    words : str
        Its name in sentences [text].
    unit : str
        Its unit for people [text].
    read : callable
        Value in that unit, None where the season sets none [any].
    move : callable
        Rules with another value, or without one [any].
    droppable : bool
        Whether a season could do without it [flag].
    step : float
        Share of its value by which it is moved to find its price [1].
    reach : float
        Factor by which it is raised or lowered at most to see which topology takes over [1].
    """

    key: str
    words: str
    unit: str
    read: Callable[[Rules], float | None]
    move: Callable[[Rules, float | None], Rules]
    droppable: bool
    step: float
    reach: float


def _limit(
    field: str, key: str, words: str, unit: str, per_si: float = 1.0, needed: bool = False
) -> PricedRule:
    def read(rules: Rules) -> float | None:
        value = getattr(rules.limits, field)
        return None if value is None else float(value) * per_si

    def move(rules: Rules, value: float | None) -> Rules:
        new: Any = None if value is None else value / per_si
        if new is None and needed:
            new = getattr(rules.limits, field) * UNLIMITED
        return replace(rules, limits=replace(rules.limits, **{field: new}))

    return PricedRule(
        key=key, words=words, unit=unit, read=read, move=move, droppable=True, step=0.01, reach=LIMIT_REACH
    )


def _size(field: str, words: str) -> PricedRule:
    def read(rules: Rules) -> float | None:
        return float(getattr(rules.envelope, field)) * 1e3

    def move(rules: Rules, value: float | None) -> Rules:
        assert value is not None
        return replace(rules, envelope=replace(rules.envelope, **{field: value / 1e3}))

    key = f"envelope.{field}_mm"
    step = 0.03 if field == "wall" else 0.005
    return PricedRule(
        key=key, words=words, unit="mm", read=read, move=move, droppable=False, step=step, reach=SIZE_REACH
    )


PRICED_RULES = (
    _limit("excursion", "limits.excursion_mm", "excursion", "mm", 1e3, needed=True),
    _limit("power", "limits.power_w", "power", "W", needed=True),
    _limit("air_speed", "limits.air_speed_m_s", "air speed", "m/s"),
    _limit("voltage", "limits.amplifier_v", "amplifier voltage", "V"),
    _limit("current", "limits.amplifier_a", "amplifier current", "A"),
    _size("width", "envelope width"),
    _size("height", "envelope height"),
    _size("depth", "envelope depth"),
    _size("wall", "wall thickness"),
)
"""Every rule with a price, limits first."""

RULES = {rule.key: rule for rule in PRICED_RULES}
"""The same by key."""


def rules_of(rules: Rules) -> list[tuple[PricedRule, float]]:
    """The rules that a season sets, with their values in natural units."""
    return [(rule, value) for rule in PRICED_RULES if (value := rule.read(rules)) is not None]
