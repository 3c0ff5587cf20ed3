"""The driver of a season, where it stands in a file of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from models.air import Air
from models.driver import Driver, DriverDataError, driver_from_parameters
from optimizer.checking import Checker, Table, is_text
from optimizer.faults import ConfigError, Document, read_toml
from optimizer.season_schema import DriverTable
from optimizer.toml_lines import Location

SEASON_KEYS = ("count", "wiring")
"""Keys that the season may set although the driver's file sets them too."""


def merge_driver_file(document: Document, checker: Checker, folder: Path) -> dict[str, Any]:
    """Content of a season file with the driver file's data in its ``driver`` table.

    A driver file holds the keys of ``[driver]``, with or without that header.

    Parameters
    ----------
    document : Document
        The season file [record].
    checker : Checker
        Told about faults, and about which keys come from the driver's file [record].
    folder : Path
        Where a relative path starts [path].

    Returns
    -------
    dict
        Merged content; the ``driver`` table is left out where its file cannot be read [record].
    """
    table = document.data.get("driver")
    if not isinstance(table, dict) or not is_text(table.get("file")):
        return document.data
    path = folder / table["file"]
    try:
        part = read_toml(path)
    except ConfigError as error:
        for fault in error.faults:
            if fault.key == "file":  # the season names the wrong file; other faults are the file's own
                checker.add(("driver", "file"), f"{path}: {fault.message}")
            else:
                checker.faults.append(fault)
        checker.unread.add("driver")
        return {key: value for key, value in document.data.items() if key != "driver"}
    start: Location = ("driver",) if isinstance(part.data.get("driver"), dict) else ()
    inner = part.data["driver"] if start else part.data
    if start:
        for key in part.data.keys() - {"driver"}:
            checker.parts[(key,)] = (part, (key,))
            checker.add((key,), "a driver file holds the table [driver] and nothing else")
            del checker.parts[(key,)]
    checker.parts[("driver",)] = (part, start)
    for key in inner:
        if key in table and key in SEASON_KEYS:
            continue
        checker.parts[("driver", key)] = (part, (*start, key))
        if key == "file":
            checker.add(("driver", "file"), "a driver file cannot name another one")
        elif key in table:
            message = f"is set in {document.file}:{document.line(('driver', key))} too; set it in one place"
            checker.add(("driver", key), message)
    own = {key: value for key, value in table.items() if key != "file"}
    return {**document.data, "driver": own | {k: v for k, v in inner.items() if k not in own and k != "file"}}


def driver_of(table: DriverTable, air: Air, checker: Checker) -> Driver | None:
    """Driver of a table's data, None where they do not give one, which the checker is told [record]."""
    keys = table.model_dump(exclude={"name", "count", "wiring", "file"})
    try:
        return driver_from_parameters(air, name=table.name, **keys)
    except DriverDataError as error:
        for key, message in error.faults:
            checker.add(("driver",) if key == "driver" else ("driver", key), message)
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
    driver = None if valid is None else driver_of(valid.driver, air, checker)
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
