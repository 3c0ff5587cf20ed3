"""A season's validated content as TOML text that reads back to the same season."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any


def season_text(source: dict[str, Any]) -> str:
    """Write a season with every default and the driver's data filled in.

    Parameters
    ----------
    source : dict
        Content as in :attr:`optimizer.season.Season.source` [record].

    Returns
    -------
    str
        TOML text [text].
    """
    return "\n".join(_table(source, ())).lstrip("\n") + "\n"


def _table(table: dict[str, Any], path: tuple[str, ...]) -> Iterable[str]:
    nested: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
            nested.append((key, value))
        else:
            yield f"{key} = {_value(value)}"
    for key, value in nested:
        name = ".".join((*path, key))
        for one in [value] if isinstance(value, dict) else value:
            yield f"\n[{name}]" if isinstance(value, dict) else f"\n[[{name}]]"
            yield from _table(one, (*path, key))


def _value(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)
