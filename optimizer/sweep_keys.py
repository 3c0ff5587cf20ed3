"""The keys and values of a sweep, as ``KEY=VALUES`` on the command line."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.checking import nearest
from optimizer.cli_options import BadOption
from optimizer.faults import written_key
from optimizer.toml_lines import Location

OPTION = "--vary"

MOST_VALUES = 10_000
"""Values that one key may have."""

_PART = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|\[\s*(\d+)\s*\]|([^.=\["']+?))\s*(?=[.=\[]|$)""")

_FORMS = "START:STOP:COUNT, START:STOP:COUNT:log, or values with commas between them"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vary:
    """One key and the values that it takes.

    Attributes
    ----------
    location : tuple of str and int
        Where the key stands in a season [text].
    values : tuple
        Its values, in the order given [mixed].
    """

    location: Location
    values: tuple[Any, ...]

    @property
    def key(self) -> str:
        """The key as tables and figures write it, such as ``tones[0].hz``."""
        return written_key(self.location)


def read_vary(text: str, source: dict[str, Any]) -> Vary:
    """Read one ``KEY=VALUES``.

    Parameters
    ----------
    text : str
        Dotted key, elements of lists by index or name; an equals sign; values [text].
    source : dict
        Season in which the key is sought, with all defaults [record].

    Returns
    -------
    Vary
        Key and values [record].

    Raises
    ------
    BadOption
        The text has another form, or names an element that is not there.
    """
    parts, values = _split(text)
    return Vary(location=_location(parts, source), values=_values(values, text))


def with_value(table: Any, location: Location, value: Any) -> Any:
    """Copy of a season's content with another value at a location; tables on the way are made."""
    if not location:
        return value
    first, rest = location[0], location[1:]
    if isinstance(first, int):
        return [with_value(one, rest, value) if i == first else one for i, one in enumerate(table)]
    inner = table if isinstance(table, dict) else {}
    return {**inner, first: with_value(inner.get(first), rest, value)}


def value_text(value: Any) -> str:
    """Value as tables and figures write it."""
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def is_number(value: Any) -> bool:
    """Whether a value can be put on an axis."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def _split(text: str) -> tuple[list[str | int], str]:
    """Parts of the key, those in quotes or without digits as texts, and what follows the equals sign."""
    parts: list[str | int] = []
    at = 0
    while (found := _PART.match(text, at)) is not None:
        double, single, index, bare = found.groups()
        quoted = double if double is not None else single
        if quoted is not None:
            parts.append(quoted)
        else:
            word = index or bare
            parts.append(int(word) if word.isdecimal() else word)
        at = found.end()
        if at < len(text) and text[at] == "=":
            if isinstance(parts[0], int):
                break
            return parts, text[at + 1 :].strip()
        at += at < len(text) and text[at] == "."
    raise BadOption(OPTION, f"must be KEY=VALUES such as limits.power_w=8:16:5, is {text!r}")


def _location(parts: list[str | int], source: dict[str, Any]) -> Location:
    here: Any = source
    location: Location = ()
    for part in parts:
        name = written_key(location)
        if isinstance(here, list):
            index = _index(part, here, name)
            location, here = (*location, index), here[index]
        elif isinstance(here, dict) or here is None:
            location = (*location, str(part))
            here = None if here is None else here.get(str(part))
        else:
            raise BadOption(OPTION, f"{name} is a single value, so there is no {part} in it")
    return location


def _index(part: str | int, elements: list[Any], name: str) -> int:
    if isinstance(part, int):
        if part >= len(elements):
            last = len(elements) - 1
            words = "is empty" if last < 0 else "has element 0 only" if last == 0 else f"has 0 to {last}"
            raise BadOption(OPTION, f"there is no {name}[{part}]: {name} {words}")
        return part
    names = [one.get("name") if isinstance(one, dict) else None for one in elements]
    if part in names:
        return names.index(part)
    known = [one for one in names if isinstance(one, str)]
    hint = f"the nearest name is {nearest(part, known)!r}" if known else "give an index, from 0"
    raise BadOption(OPTION, f"there is no {part!r} in {name}; {hint}")


def _values(text: str, whole: str) -> tuple[Any, ...]:
    parts = [part.strip() for part in text.split(":")]
    ranged = len(parts) > 1 and "," not in text and _number(parts[0]) is not None
    values = _range(parts, whole) if ranged else list(_listed(text))
    if not values or any(value == "" for value in values):
        raise BadOption(OPTION, f"lacks a value, must be {_FORMS}: {whole!r}")
    if len(values) > MOST_VALUES:
        raise BadOption(OPTION, f"has {len(values)} values, at most {MOST_VALUES}: {whole[:60]!r}")
    seen: set[str] = set()
    for value in values:
        mark = repr(float(value)) if is_number(value) else repr(value)
        if mark in seen:
            raise BadOption(OPTION, f"has the value {value_text(value)} twice: {whole!r}")
        seen.add(mark)
    return tuple(values)


def _range(parts: list[str], whole: str) -> list[Any]:
    ends = [_number(part) for part in parts[:2]]
    start, stop = ([*ends, None])[:2]
    count = int(parts[2]) if len(parts) > 2 and parts[2].isdecimal() else 0
    spread = parts[3:]
    if start is None or stop is None or spread not in ([], ["log"]) or not 2 <= count <= MOST_VALUES:
        raise BadOption(OPTION, f"must be {_FORMS}, COUNT 2 to {MOST_VALUES}: {whole!r}")
    if start == stop:
        raise BadOption(OPTION, f"starts and stops at {start:g}, so there is nothing to vary: {whole!r}")
    if spread and min(start, stop) <= 0.0:
        raise BadOption(OPTION, f"must be above 0 at both ends to be spread by logarithm: {whole!r}")
    if spread:
        values = [float(f"{value:.6g}") for value in np.geomspace(start, stop, count)]
    else:
        values = [float(f"{value:.12g}") for value in np.linspace(start, stop, count)]
    if all(value.is_integer() for value in values):
        return [int(value) for value in values]  # a number takes a whole one too, but not the other way
    return values


def _listed(text: str) -> Iterator[Any]:
    """Values with commas between them, as TOML writes them; words need no quotes."""
    try:
        found = tomllib.loads(f"values = [{text}]")
        if set(found) == {"values"}:
            yield from found["values"]
            return
    except (ValueError, RecursionError):
        pass
    for part in text.split(","):
        try:
            found = tomllib.loads(f"value = {part}")
            yield found["value"] if set(found) == {"value"} else part.strip()
        except (ValueError, RecursionError):
            yield part.strip()


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
