"""The sizes in a design file as rows of a table: part, dimension, value, unit."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

UNITS = {
    "_pa_s_m2": "Pa s/m2",
    "_mm_n": "mm/N",
    "_mm": "mm",
    "_cm2": "cm2",
    "_l": "l",
    "_g": "g",
}
"""Unit of a key by its ending, the longer endings first."""

AXES = {3: "xyz", 2: "12"}
"""Names of the parts of a list: a point's or a side's axes, or the two axes along a wall."""


def dimensions(design: dict[str, Any]) -> list[dict[str, Any]]:
    """Every number of a design, with what follows at once from it.

    Parameters
    ----------
    design : dict
        Content of a valid design file [record].

    Returns
    -------
    list of dict
        ``part``, ``dimension``, ``value`` and ``unit`` of every number, in the order of the file; chambers
        also have their volume, round ducts the diameter of each tube [mixed].
    """
    rows = []
    for name, chamber in design.get("chambers", {}).items():
        found = list(_numbers(chamber))
        if "sides_mm" in chamber:
            found.append(("volume", math.prod(chamber["sides_mm"]) * 1e-6, "l"))
        rows += _rows(f"chamber {name}", found)
    for index, driver in enumerate(design.get("drivers", []), start=1):
        rows += _rows(f"driver {index}: front {driver['front']}, rear {driver['rear']}", _numbers(driver))
    for index, duct in enumerate(design.get("ducts", []), start=1):
        shape = duct.get("shape", "round")
        found = list(_numbers(duct))
        if shape == "round" and "area_end_cm2" not in duct:
            each = duct["area_cm2"] / duct.get("count", 1)
            found.append(("diameter", math.sqrt(4.0 * each / math.pi) * 10.0, "mm"))
        rows += _rows(f"{duct.get('name', f'duct {index}')}: {shape}, {duct['from']} to {duct['to']}", found)
    for index, diaphragm in enumerate(design.get("diaphragms", []), start=1):
        name = diaphragm.get("name", f"diaphragm {index}")
        rows += _rows(f"{name}: {diaphragm['from']} to {diaphragm['to']}", _numbers(diaphragm))
    return rows


def _rows(part: str, found: Any) -> list[dict[str, Any]]:
    return [{"part": part, "dimension": name, "value": value, "unit": unit} for name, value, unit in found]


def _numbers(table: dict[str, Any], before: str = "") -> Iterator[tuple[str, float, str]]:
    """Name, value and unit of every number in a table and in the tables inside it."""
    for key, value in table.items():
        ending = next((ending for ending in UNITS if key.endswith(ending)), "")
        name = before + key.removesuffix(ending).replace("_", " ")
        if isinstance(value, dict):
            wall = f" on {value['wall']}" if "wall" in value else ""
            yield from _numbers(value, f"{name}{wall}, ")
        elif isinstance(value, list):
            yield from _list(name, value, UNITS[ending])
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield name, float(value), UNITS.get(ending, "1")


def _list(name: str, values: list[Any], unit: str) -> Iterator[tuple[str, float, str]]:
    if values and isinstance(values[0], list):
        for index, (place, correction) in enumerate(values, start=1):
            yield f"{name} {index}, place along", float(place), unit
            yield f"{name} {index}, correction", float(correction), unit
        return
    for axis, number in zip(AXES[len(values)], values, strict=True) if values else ():
        yield f"{name} {axis}", float(number), unit
