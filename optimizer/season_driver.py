"""The driver of a season, where it stands in a file of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from models.air import Air
from models.driver import Driver, DriverDataError, driver_from_parameters
from optimizer.checking import Checker, Table, is_text
from optimizer.faults import ConfigError, Document, read_toml
from optimizer.season_schema import DriverOptionTable, DriverTable
from optimizer.toml_lines import Location

SEASON_KEYS = ("count", "wiring")
"""Keys that the season may set although the driver's file sets them too."""


def merge_driver_file(document: Document, checker: Checker, folder: Path) -> dict[str, Any]:
    """Content of a season file with the data of driver files in its ``driver`` tables.

    A driver file holds the keys of ``[driver]``, with or without that header.

    Parameters
    ----------
    document : Document
        The season file [record].
    checker : Checker
        Told about faults, and about which keys come from a driver's file [record].
    folder : Path
        Where a relative path starts [path].

    Returns
    -------
    dict
        Merged content; the ``driver`` table is left out where its file cannot be read [record].
    """
    data = document.data
    if _names_file(data.get("driver")):
        merged = _with_file(document, checker, folder, ("driver",), data["driver"])
        rest = {k: v for k, v in data.items() if k != "driver"}
        data = rest if merged is None else rest | {"driver": merged}
    options = data.get("driver_options")
    if isinstance(options, list):
        for i, table in enumerate(options):
            if _names_file(table):
                merged = _with_file(document, checker, folder, ("driver_options", i), table) or table
                merged = {k: v for k, v in merged.items() if k in table or k not in SEASON_KEYS}
                data = data | {"driver_options": [*data["driver_options"][:i], merged, *options[i + 1 :]]}
    return data


def _names_file(table: Any) -> bool:
    return isinstance(table, dict) and is_text(table.get("file"))


def _with_file(
    document: Document, checker: Checker, folder: Path, at: Location, table: dict[str, Any]
) -> dict[str, Any] | None:
    """A table at a location with the data of the file that it names; None where that cannot be read."""
    path = folder / table["file"]
    try:
        part = read_toml(path)
    except ConfigError as error:
        for fault in error.faults:
            if fault.key == "file":  # the season names the wrong file; other faults are the file's own
                checker.add((*at, "file"), f"{path}: {fault.message}")
            else:
                checker.faults.append(fault)
        checker.unread.add(str(at[0]))
        return None
    start: Location = ("driver",) if isinstance(part.data.get("driver"), dict) else ()
    inner = part.data["driver"] if start else part.data
    if start:
        for key in part.data.keys() - {"driver"}:
            checker.parts[(key,)] = (part, (key,))
            checker.add((key,), "a driver file holds the table [driver] and nothing else")
            del checker.parts[(key,)]
    checker.parts[at] = (part, start)
    for key in inner:
        if key in table and key in SEASON_KEYS:
            continue
        checker.parts[(*at, key)] = (part, (*start, key))
        if key == "file":
            checker.add((*at, "file"), "a driver file cannot name another one")
        elif key in table:
            message = f"is set in {document.file}:{document.line((*at, key))} too; set it in one place"
            checker.add((*at, key), message)
    own = {key: value for key, value in table.items() if key != "file"}
    return own | {k: v for k, v in inner.items() if k not in own and k != "file"}


def driver_of(table: DriverOptionTable, at: Location, air: Air, checker: Checker) -> Driver | None:
    """Driver of a table at a location; None where its data give none, which the checker is told [record]."""
    keys = table.model_dump(exclude={"name", "count", "wiring", "file"})
    try:
        return driver_from_parameters(air, name=table.name, **keys)
    except DriverDataError as error:
        for key, message in error.faults:
            checker.add(at if key == "driver" else (*at, key), message)
        return None


class _DriverFile(Table):
    """A driver file as the table of a season."""

    driver: DriverTable


def load_driver(path: Path, air: Air, count: int) -> Driver:
    """Driver of a file of its own, outside any season.

    Parameters
    ----------
    path : Path
        TOML file with the keys of ``[driver]``, with or without that header [path].
    air : Air
        The gas [record].
    count : int
        Drivers that an entry carries; the file may say the same, but not otherwise [1].

    Returns
    -------
    Driver
        The driver [record].

    Raises
    ------
    ConfigError
        Every fault of the file, with file, line and key.
    """
    document = Document(file=str(path), data={"driver": {"file": path.name}})
    checker = Checker(document)
    data = merge_driver_file(document, checker, path.parent)
    valid = checker.validate(_DriverFile, data)
    driver = None if valid is None else driver_of(valid.driver, ("driver",), air, checker)
    if valid is not None and "count" in valid.driver.model_fields_set and valid.driver.count != count:
        words = f"is {valid.driver.count}, but entries of the season carry {count}"
        checker.add(("driver", "count"), words)
    if driver is not None:
        try:
            driver.mass_in_vacuo(air)
        except ValueError as error:
            checker.add(("driver",), str(error))
    if checker.faults or driver is None:
        raise ConfigError(checker.faults)
    return driver
