"""The points of a sweep: every combination of the swept values as a checked season."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import metadata
from itertools import product
from pathlib import Path
from typing import Any

from optimizer.cli_options import BadOption, season_with
from optimizer.faults import ConfigError, Document, Fault, read_toml
from optimizer.searching import changes_between
from optimizer.season import Season, season_from_data
from optimizer.season_driver import SEASON_KEYS
from optimizer.sweep_keys import OPTION, Vary, is_number, read_vary, value_text, with_value
from optimizer.toml_lines import Location

MOST_POINTS = 10_000
"""Points that one sweep may have."""

DRIVER_FILE: Location = ("driver", "file")

ID_LENGTH = 12
"""Digits of a season's hash that name its point."""

_PLACES_TOLD = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of a sweep.

    Attributes
    ----------
    id : str
        Start of the hash of its season, which names its folder [text].
    values : tuple
        Value of every swept key [mixed].
    season : Season
        The season with these values [record].
    """

    id: str
    values: tuple[Any, ...]
    season: Season


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a sweep covers.

    Attributes
    ----------
    config : Path
        Season file [path].
    varied : tuple of Vary
        Swept keys with their values [list].
    together : bool
        Whether the keys change together, instead of in every combination [flag].
    points : tuple of Point
        The points, the first key changing slowest [list].
    base : dict
        The season without the swept keys [record].
    """

    config: Path
    varied: tuple[Vary, ...]
    together: bool
    points: tuple[Point, ...]
    base: dict[str, Any]

    def record(self) -> dict[str, Any]:
        """The plan as plain data."""
        return {
            "config": str(self.config),
            "version": metadata.version("boxwright"),
            "season": self.points[0].season.name,
            "keys": [vary.key for vary in self.varied],
            "together": self.together,
            "points": [{"id": point.id, "values": list(point.values)} for point in self.points],
            "base": self.base,
        }


def make_plan(
    config: Path, texts: Sequence[str], *, together: bool = False, effort: str | None, seed: int | None
) -> Plan:
    """Read what is to be varied, and check every point's season before anything is run.

    Parameters
    ----------
    config : Path
        Season file, valid as it is [path].
    texts : sequence of str
        ``KEY=VALUES`` of every swept key [text].
    together : bool
        Whether the keys change together [flag].
    effort : str or None
        Instead of the season's [text].
    seed : int or None
        Instead of the season's [1].

    Returns
    -------
    Plan
        The points [record].

    Raises
    ------
    ConfigError
        Every fault of the season, of the keys and of any point, with the points that have it.
    """
    season = season_with(config, effort, seed)
    varied = _read(texts, season.source)
    if together and len({len(vary.values) for vary in varied}) > 1:
        lengths = ", ".join(f"{vary.key} {len(vary.values)}" for vary in varied)
        raise BadOption("--together", f"needs as many values of every key, has {lengths}")
    if math.prod(1 if together and i else len(vary.values) for i, vary in enumerate(varied)) > MOST_POINTS:
        raise BadOption(OPTION, f"would make more than {MOST_POINTS} points")
    values = [vary.values for vary in varied]
    combinations = list(zip(*values, strict=True) if together else product(*values))
    return Plan(
        config=config,
        varied=varied,
        together=together,
        points=_checked_points(season, varied, combinations),
        base=_without(season.source, varied),
    )


def plan_differences(then: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """What keeps a sweep's folder from taking another plan's points, in words.

    Other values of the same keys are no difference, so that a sweep can be extended.

    Parameters
    ----------
    then, now : dict
        Plans as :meth:`Plan.record` gives them [mixed].

    Returns
    -------
    list of str
        Sentence parts; empty where they belong together [text].
    """
    words = []
    if then["keys"] != now["keys"]:
        words.append(f"it sweeps {', '.join(then['keys'])}, not {', '.join(now['keys'])}")
    if then["together"] != now["together"]:
        words.append(f"its keys change {'together' if then['together'] else 'in every combination'}")
    if then["version"] != now["version"]:
        words.append(f"it is of version {then['version']}, not {now['version']}")
    if not words:
        changes = changes_between(then["base"], now["base"])
        words += [f"{key} was {old!r} and is {new!r}" for key, (old, new) in changes]
    return words


def _read(texts: Sequence[str], source: dict[str, Any]) -> tuple[Vary, ...]:
    varied: list[Vary] = []
    faults: list[Fault] = []
    for text in texts:
        try:
            vary = read_vary(text, source)
            if any(vary.location == other.location for other in varied):
                raise BadOption(OPTION, f"{vary.key} is given twice")
            varied.append(vary)
        except BadOption as error:
            faults.append(Fault("command line", 1, OPTION, error.message))
    if faults:
        raise ConfigError(faults)
    return tuple(varied)


def _checked_points(
    season: Season, varied: tuple[Vary, ...], combinations: Sequence[tuple[Any, ...]]
) -> tuple[Point, ...]:
    document = read_toml(season.path)
    points: list[Point] = []
    found: dict[Fault, list[str]] = {}
    for values in combinations:
        try:
            one = _season_at(season, varied, values, document)
        except ConfigError as error:
            named = zip(varied, values, strict=True)
            place = ", ".join(f"{vary.key} = {value_text(value)}" for vary, value in named)
            for fault in error.faults:
                found.setdefault(_placed(fault, document, varied), []).append(place)
            continue
        points.append(Point(id=one.config_hash[:ID_LENGTH], values=values, season=one))
    if found:
        total = len(combinations)
        raise ConfigError(
            Fault(fault.file, fault.line, fault.key, f"{fault.message} ({_places(places, total)})")
            for fault, places in found.items()
        )
    return tuple(points)


def _season_at(
    season: Season, varied: tuple[Vary, ...], values: tuple[Any, ...], document: Document
) -> Season:
    """The season with other values; a driver file comes first, so that keys of its driver can be varied."""
    data = season.source
    pairs = [(vary.location, value) for vary, value in zip(varied, values, strict=True)]
    for location, value in pairs:
        if location == DRIVER_FILE:
            own = document.data["driver"]
            kept = {key: own[key] for key in SEASON_KEYS if key in own}
            data = season_from_data({**data, "driver": kept | {"file": value}}, season.path).source
    for location, value in pairs:
        if location != DRIVER_FILE:
            data = with_value(data, location, value)
    return season_from_data(data, season.path)


def _placed(fault: Fault, document: Document, varied: tuple[Vary, ...]) -> Fault:
    """The fault where a person can mend it: a swept key on the command line, others in the file."""
    if fault.file != document.file:
        return fault
    location: Location = tuple(
        int(part) if part.isdecimal() else part for part in re.findall(r"[^.\[\]]+", fault.key)
    )
    for vary in varied:
        shared = min(len(location), len(vary.location))
        if location[:shared] == vary.location[:shared]:
            return Fault("command line", 1, f"{OPTION} {fault.key}", fault.message)
    return Fault(fault.file, document.line(location), fault.key, fault.message)


def _places(places: list[str], total: int) -> str:
    if len(places) == total and total > 1:
        return "at every point"
    more = len(places) - _PLACES_TOLD
    return f"at {'; '.join(places[:_PLACES_TOLD])}{f'; and {more} more' if more > 0 else ''}"


def _without(source: dict[str, Any], varied: Iterable[Vary]) -> dict[str, Any]:
    """Content of a season that a sweep does not change."""
    for vary in varied:
        location = vary.location[:1] if vary.location == DRIVER_FILE else vary.location
        source = with_value(source, location, None)
    return source


def is_axis(values: Iterable[Any]) -> bool:
    """Whether values are all numbers, so that they can stand on an axis to scale."""
    return all(is_number(value) for value in values)
