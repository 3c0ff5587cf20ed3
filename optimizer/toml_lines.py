"""The line of every key in a TOML text, so that a fault can point at it."""

from __future__ import annotations

import tomllib
from bisect import bisect_right

Location = tuple[str | int, ...]
"""Way to a value: keys and list indexes."""


def key_lines(text: str) -> dict[Location, int]:
    """Line of every table, key and list element.

    Parameters
    ----------
    text : str
        A text that :mod:`tomllib` accepts [text].

    Returns
    -------
    dict
        One-based line by location [1].
    """
    scanner = _Scanner(text)
    try:
        scanner.document()
    except (IndexError, RecursionError):  # lines only help the reader: those found so far must do
        pass
    return scanner.lines


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.at = 0
        self.lines: dict[Location, int] = {}
        self._counts: dict[Location, int] = {}
        self._ends = [i for i, c in enumerate(self.text) if c == "\n"]

    def document(self) -> None:
        header: Location = ()
        while self._skip_blank():
            if self.text[self.at] == "[":
                header = self._header()
            else:
                self._assignment(header)

    def _line(self) -> int:
        return bisect_right(self._ends, self.at - 1) + 1

    def _skip_blank(self) -> bool:
        """Move past spaces, line ends and comments; false at the end of the text."""
        while self.at < len(self.text):
            if self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif self.text[self.at] in " \t\n":
                self.at += 1
            else:
                return True
        return False

    def _header(self) -> Location:
        line, repeated = self._line(), self.text.startswith("[[", self.at)
        self.at += 2 if repeated else 1
        *parents, last = self._dotted_key()
        self.at += 2 if repeated else 1
        path: Location = ()
        for part in parents:
            path = (*path, part)
            self.lines.setdefault(path, line)
            path = self._latest(path)
        path = (*path, last)
        self.lines.setdefault(path, line)
        if repeated:
            self._counts[path] = self._counts.get(path, 0) + 1
        path = self._latest(path)
        self.lines.setdefault(path, line)
        return path

    def _latest(self, path: Location) -> Location:
        """Location of the latest element where the path is a list of tables."""
        return (*path, self._counts[path] - 1) if path in self._counts else path

    def _assignment(self, table: Location) -> None:
        line = self._line()
        path = table
        for part in self._dotted_key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._skip_blank()
        self.at += 1  # the sign of equality
        self._value(path)

    def _dotted_key(self) -> list[str]:
        parts = []
        while True:
            self._skip_blank()
            start = self.at
            if self.text[start] in "\"'":
                self._string()
                parts.append(tomllib.loads("key = " + self.text[start : self.at])["key"])
            else:
                while self.text[self.at] not in " \t.=]":
                    self.at += 1
                parts.append(self.text[start : self.at])
            self._skip_blank()
            if self.text[self.at] != ".":
                return parts
            self.at += 1

    def _string(self) -> None:
        quote = self.text[self.at]
        long = self.text.startswith(quote * 3, self.at)
        mark = quote * 3 if long else quote
        self.at += len(mark)
        while not self.text.startswith(mark, self.at):
            self.at += 2 if self.text[self.at] == "\\" and quote == '"' else 1
        self.at += len(mark)
        while long and self.at < len(self.text) and self.text[self.at] == quote:
            self.at += 1  # one or two quotes may touch the closing three

    def _value(self, path: Location) -> None:
        self._skip_blank()
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first in "[{":
            self._group(path, "]" if first == "[" else "}")
        else:
            while self.at < len(self.text) and self.text[self.at] not in ",]}#\n":
                self.at += 1

    def _group(self, path: Location, closing: str) -> None:
        """Elements of a list, or assignments of an inline table."""
        self.at += 1
        index = 0
        while self._skip_blank() and self.text[self.at] != closing:
            if self.text[self.at] == ",":
                self.at += 1
            elif closing == "}":
                self._assignment(path)
            else:
                self.lines.setdefault((*path, index), self._line())
                self._value((*path, index))
                index += 1
        self.at += 1
