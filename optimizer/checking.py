"""Validation of plain data by a schema, with faults that name file, line and key."""

from __future__ import annotations

import difflib
import typing
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError

from optimizer.faults import Document, Fault, written_key
from optimizer.toml_lines import Location


class Table(BaseModel):
    """A TOML table: no unknown keys, no conversion of types, no infinite numbers."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def _plain_text(text: str) -> str:
    for character in text:
        if unicodedata.category(character) in ("Cc", "Zl", "Zp", "Cs"):
            raise ValueError(f"holds the control character U+{ord(character):04X}")
    if not text.strip():
        raise ValueError("is empty")
    return text


def is_text(value: Any) -> bool:
    """Whether a value is text of one line."""
    try:
        return isinstance(value, str) and bool(_plain_text(value))
    except ValueError:
        return False


Text = Annotated[str, AfterValidator(_plain_text)]
"""Any text of one line."""

AnyTable = TypeVar("AnyTable", bound=Table)

_UNION_TAGS = frozenset({"cabin", "half_space"})


class Checker:
    """Collects the faults of one season or design.

    Parameters
    ----------
    main : Document
        File that is read [record].
    parts : mapping of location to document
        Values that come from another file [record].
    """

    def __init__(
        self, main: Document, parts: Mapping[Location, tuple[Document, Location]] | None = None
    ) -> None:
        self.main = main
        self.parts = dict(parts or {})
        self.faults: list[Fault] = []
        self.unread: set[str] = set()
        """Tables whose own file could not be read, which are not missing."""

    def add(self, location: Location, message: str) -> None:
        """Note a fault of the value at a location."""
        document, place = self.main, location
        for length in range(len(location), 0, -1):
            if location[:length] in self.parts:
                document, start = self.parts[location[:length]]
                place = (*start, *location[length:])
                break
            if location[:length] in self.main.lines:
                break
        self.faults.append(Fault(document.file, document.line(place), written_key(location), message))

    def refuse_if(self, wrong: bool, location: Location, message: str) -> bool:
        """Note a fault where a condition holds; returns the condition."""
        if wrong:
            self.add(location, message)
        return wrong

    def validate(self, schema: type[AnyTable], data: Any) -> AnyTable | None:
        """Typed table, or None with every fault noted."""
        try:
            return schema.model_validate(data)
        except ValidationError as error:
            for one in error.errors():
                raw = one["loc"]
                location = tuple(part for i, part in enumerate(raw) if not _is_tag(raw, i))
                if one["type"] == "missing":
                    self.refuse_if(location[0] not in self.unread, location, "missing")
                elif one["type"] == "extra_forbidden":
                    self.add(location, _unknown(str(location[-1]), _keys_at(schema, raw[:-1])))
                elif one["type"] == "union_tag_not_found":
                    self.add((*location, "kind"), "missing")
                else:
                    self.add(location, _in_words(one))
            return None


def nearest(word: str, valid: Iterable[str]) -> str:
    """Valid word that is most like the given one."""

    def likeness(one: str) -> tuple[float, int]:
        # letters in common beside the order tell a swapped pair from another word
        return difflib.SequenceMatcher(None, word, one).ratio(), (Counter(word) & Counter(one)).total()

    return max(valid, key=likeness)


def _is_tag(location: Location, i: int) -> bool:
    """Whether a part of a validator's location tells a kind of table, not a key."""
    return i > 0 and isinstance(location[i - 1], int) and location[i] in _UNION_TAGS


def _unknown(key: str, valid: list[str]) -> str:
    return f"unknown key; the nearest valid key is {nearest(key, valid)}"


def _keys_at(schema: type[Table], location: Location) -> list[str]:
    """Keys that the table at a location may have."""
    candidates: list[type[BaseModel]] = [schema]
    for i, part in enumerate(location):
        if _is_tag(location, i):
            candidates = [c for c in candidates if part in typing.get_args(c.model_fields["kind"].annotation)]
        elif isinstance(part, str):
            annotations = [c.model_fields[part].annotation for c in candidates if part in c.model_fields]
            # otherwise the part is a free name in a table of tables, which the annotation already led to
            candidates = [t for a in annotations for t in _tables_in(a)] or candidates
    return [field.alias or name for c in candidates for name, field in c.model_fields.items()]


def _tables_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [table for inner in typing.get_args(annotation) for table in _tables_in(inner)]


_TYPES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}

_LIMITS: dict[str, tuple[str, str]] = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}


def _in_words(error: Any) -> str:
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    special: dict[str, Callable[[], str]] = {
        "finite_number": lambda: f"must be a finite number, is {value}",
        "literal_error": lambda: (
            f"is {in_short(value)}; must be one of {context['expected'].replace(chr(39), '')}"
        ),
        "union_tag_invalid": lambda: (
            f"is {in_short(context['tag'])}; must be one of {context['expected_tags'].replace(chr(39), '')}"
        ),
        "too_short": lambda: (
            f"must hold at least {context['min_length']} values, holds {context['actual_length']}"
        ),
        "too_long": lambda: (
            f"must hold at most {context['max_length']} values, holds {context['actual_length']}"
        ),
        "value_error": lambda: str(context["error"]),
    }
    if kind in special:
        return special[kind]()
    if kind in _TYPES:
        return f"must be {_TYPES[kind]}, is {in_short(value)}"
    if kind in _LIMITS:
        words, bound = _LIMITS[kind]
        return f"must be {words} {context[bound]:g}, is {in_short(value)}"
    return f"{error['msg']}, is {in_short(value)}"


def in_short(value: Any) -> str:
    """Value as a fault quotes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    try:
        text = (
            f'"{value}"'
            if isinstance(value, str)
            else f"{value:g}"
            if isinstance(value, float)
            else str(value)
        )
    except ValueError:  # a whole number of more digits than may be written
        text = "a number of thousands of digits"
    return text if len(text) <= 60 else text[:57] + "..."
