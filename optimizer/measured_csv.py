"""An impedance sweep as a table of text: separator, decimal sign and columns found out, or refused."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from models.impedance_peak import Sweep
from optimizer.faults import ConfigError, Fault
from optimizer.measured_columns import COLUMNS, columns_of_header, needed_columns

LARGEST_BYTES = 20_000_000
"""Largest file that is read."""

LEAST_POINTS = 20
"""Fewest frequencies that can be fitted."""

MOST_FAULTS = 20
"""Faults of one file that are listed."""

HIGHEST_OHM = 1e6
"""Largest impedance that is taken for one."""

HIGHEST_HZ = 1e6
"""Highest frequency that is taken for one."""


def read_sweep(path: Path, columns: tuple[str, ...] | None = None) -> Sweep:
    """Read and check a measured impedance.

    Separators are semicolon, tab or comma; a decimal comma is understood beside the first two. Lines that
    are blank or begin with ``#`` are skipped; the first other line may name the columns.

    Parameters
    ----------
    path : Path
        The file [path].
    columns : tuple of str or None
        Meaning of each column, of :data:`optimizer.measured_columns.COLUMNS`; None reads the header, and
        takes frequency, magnitude in ohm and phase in degrees where there is none [text].

    Returns
    -------
    Sweep
        At least :data:`LEAST_POINTS` rising frequencies [record].

    Raises
    ------
    ConfigError
        Everything that is wrong, by line.
    """
    lines = _lines(path)
    if not lines:
        raise _refusal(path, 1, "file", "is empty: it holds no line of data")
    separator = _separator([text for _, text in lines])
    rows = [(number, [cell.strip().strip('"') for cell in text.split(separator)]) for number, text in lines]
    head = rows[0][1] if not _is_data(rows[0][1], separator) else None
    if head is not None:
        rows = rows[1:]
        if not rows:
            raise _refusal(path, lines[0][0], "file", "holds a header and no line of data")
    if columns is None and head is not None:
        columns, wrong = columns_of_header(head)
        if wrong:
            raise ConfigError(Fault(str(path), lines[0][0], key, message) for key, message in wrong)
    columns = columns or ("hz", "ohm", "deg")
    if missing := needed_columns(columns):
        raise _refusal(path, lines[0][0], "columns", missing)
    table = _numbers(path, rows, columns, separator)
    return _sweep(path, [number for number, _ in rows], table, columns)


def _lines(path: Path) -> list[tuple[int, str]]:
    """Lines that say something, with their numbers."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise _refusal(path, 1, "file", "no such file") from None
    except IsADirectoryError:
        raise _refusal(path, 1, "file", "is a directory, not a file") from None
    except OSError as error:
        raise _refusal(path, 1, "file", f"cannot be read: {error.strerror}") from None
    if len(raw) > LARGEST_BYTES:
        limit = f"{LARGEST_BYTES / 1e6:g} million bytes"
        raise _refusal(path, 1, "file", f"is larger than {limit}; a sweep needs some hundred lines")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _refusal(path, line, "file", f"not UTF-8 text: byte 0x{raw[error.start]:02x}") from None
    if "\0" in text:
        raise _refusal(path, 1, "file", "holds zero bytes, so it is not text")
    every = enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), start=1)
    return [(number, line) for number, line in every if line.strip() and not line.lstrip().startswith("#")]


def _separator(lines: list[str]) -> str:
    """Semicolon or tab where the last line has one, else comma."""
    return next((mark for mark in (";", "\t") if mark in lines[-1]), ",")


def _number(cell: str, separator: str) -> float | None:
    """Value of a cell; None where it is no number."""
    if separator != "," and "." not in cell:
        cell = cell.replace(",", ".", 1)
    try:
        return None if "_" in cell else float(cell)
    except ValueError:
        return None


def _is_data(cells: list[str], separator: str) -> bool:
    return any(_number(cell, separator) is not None for cell in cells if cell)


def _numbers(
    path: Path, rows: list[tuple[int, list[str]]], columns: tuple[str, ...], separator: str
) -> np.ndarray:
    """All cells that count, shape (n_rows, n_columns); every cell that is no number is a fault."""
    faults: list[Fault] = []
    signs: set[str] = set()
    table = np.zeros((len(rows), len(columns)))
    for row, (number, cells) in enumerate(rows):
        if len(cells) != len(columns):
            words = f"{len(cells)} columns where {len(columns)} are expected ({', '.join(columns)})"
            if separator == "," and len(cells) > len(columns):
                words += "; decimal commas need semicolons or tabs between columns"
            faults.append(Fault(str(path), number, "columns", words))
            continue
        for place, (name, cell) in enumerate(zip(columns, cells, strict=True)):
            if name == "skip":
                continue
            value = _number(cell, separator)
            signs |= {sign for sign in ",." if sign in cell}
            if len(signs) > 1:
                words = f"{cell!r}: decimal commas and points are mixed, so numbers cannot be told"
                raise ConfigError([*faults, Fault(str(path), number, name, words)])
            if value is None:
                faults.append(Fault(str(path), number, name, f"{cell!r} is not a number"))
            elif not math.isfinite(value):
                faults.append(Fault(str(path), number, name, f"{cell!r} is not a finite number"))
            else:
                table[row, place] = value
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise ConfigError(faults)
    return table


def _sweep(path: Path, numbers: list[int], table: np.ndarray, columns: tuple[str, ...]) -> Sweep:
    """Table in SI, checked as an impedance."""
    values = {}
    for name, column in zip(columns, table.T, strict=True):
        if name != "skip":
            role, unit = COLUMNS[name]
            values[role] = column * unit
    faults: list[Fault] = []

    def check(wrong: np.ndarray, key: str, words: str, shown: np.ndarray) -> None:
        for row in np.flatnonzero(wrong)[:MOST_FAULTS]:
            faults.append(Fault(str(path), numbers[row], key, words.format(shown[row])))

    hz = values["frequency"]
    span = f"{{:g}} Hz must be above 0 and at most {HIGHEST_HZ:g}"
    check((hz <= 0.0) | (hz > HIGHEST_HZ), "frequency", span, hz)
    before = np.concatenate([[-np.inf], hz[:-1]])
    check(hz == before, "frequency", "{:g} Hz is there twice", hz)
    check(hz < before, "frequency", "{:g} Hz is below the line before; frequencies must rise", hz)
    if "magnitude" in values:
        size, angle = values["magnitude"], values["phase"]
        check(size <= 0.0, "magnitude", "{:g} ohm must be above 0", size)
        check(size > HIGHEST_OHM, "magnitude", f"{{:g}} ohm must be at most {HIGHEST_OHM:g}", size)
        words = "{:g} degrees is beyond -90 to 90: no passive device has it, so perhaps the unit is wrong"
        check(np.abs(angle) > np.pi / 2.0, "phase", words, np.degrees(angle))
        impedance = size * np.exp(1j * angle)
    else:
        impedance = values["real"] + 1j * values["imaginary"]
        check(impedance.real <= 0.0, "real", "{:g} ohm must be above 0", impedance.real)
        size, most = np.abs(impedance), f"{{:g}} ohm must be at most {HIGHEST_OHM:g}"
        check(size > HIGHEST_OHM, "impedance", most, size)
    if faults:
        raise ConfigError(faults)
    if hz.size < LEAST_POINTS:
        words = f"{hz.size} frequencies are too few; at least {LEAST_POINTS} are needed"
        raise _refusal(path, numbers[-1], "file", words)
    return Sweep(hz=hz, impedance=impedance)


def _refusal(path: Path, line: int, key: str, message: str) -> ConfigError:
    return ConfigError([Fault(str(path), line, key, message)])
