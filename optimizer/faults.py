"""Faults of input files: each with its file, line and key, all of a file listed at once."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from optimizer.toml_lines import Location, key_lines


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with an input file.

    Attributes
    ----------
    file : str
        File as the user named it [text].
    line : int
        Line, counted from 1 [1].
    key : str
        Key as it would be written, such as ``spaces[0].size_mm[2]`` [text].
    message : str
        What is wrong, with the values [text].
    """

    file: str
    line: int
    key: str
    message: str

    def __str__(self) -> str:
        """One line for a person or an editor: ``file:line: key: what is wrong``."""
        return f"{_one_line(self.file)}:{self.line}: {_one_line(self.key)}: {_one_line(self.message)}"


class ConfigError(Exception):
    """An input file is not valid.

    Attributes
    ----------
    faults : tuple of Fault
        Everything that is wrong with it, by file and line [list].
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line)))
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[ConfigError], tuple[Any, ...]]:
        """Come whole out of another process."""
        return type(self), (self.faults,)


@dataclass(slots=True, kw_only=True)
class Document:
    """A TOML file and where its keys stand.

    Attributes
    ----------
    file : str
        File as the user named it [text].
    data : dict
        Its content [record].
    lines : dict
        One-based line by location [1].
    """

    file: str
    data: dict[str, Any]
    lines: dict[Location, int] = field(default_factory=dict)

    def line(self, location: Location) -> int:
        """Line of a key, or of the nearest table around it that is written down."""
        while location and location not in self.lines:
            location = location[:-1]
        return self.lines.get(location, 1)


def read_toml(path: Path) -> Document:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        File to read [path].

    Returns
    -------
    Document
        Content and lines [record].

    Raises
    ------
    ConfigError
        The file is missing, a directory, unreadable, not UTF-8 or not TOML.
    """

    def refuse(message: str, line: int = 1, key: str = "file") -> ConfigError:
        return ConfigError([Fault(str(path), line, key, message)])

    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise refuse("no such file") from None
    except IsADirectoryError:
        raise refuse("is a directory, not a file") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        byte = error.object[error.start]
        raise refuse(f"not UTF-8 text: byte 0x{byte:02x} at offset {error.start}", line) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"cannot be read: {reason}") from None
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise refuse("lists or tables are nested too deeply", key="toml") from None
    except ValueError as error:
        line, message = _place_of(str(error), text)
        raise refuse(f"not TOML: {message}", line, key="toml") from None
    return Document(file=str(path), data=data, lines=key_lines(text))


def written_key(location: Location) -> str:
    """Location as a person would write it: ``spaces[0].size_mm``."""
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _place_of(message: str, text: str) -> tuple[int, str]:
    """Line that the parser's message names, and the message without it."""
    head, found, tail = message.rpartition(" (at ")
    if not found:
        return 1, message
    if tail.startswith("line "):
        return int(tail.removeprefix("line ").split(",")[0]), head
    return max(1, text.rstrip("\n").count("\n") + 1), f"{head} at the end of the file"


def _one_line(text: str) -> str:
    """Text with its control characters written out, so that a fault stays one line."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
