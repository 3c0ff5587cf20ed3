"""Files written whole or not at all, and tables read back."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any


def write_bytes(path: Path, content: bytes) -> None:
    """Write beside the target and move into place, so that readers never see half a file.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def write_text(path: Path, content: str) -> None:
    """Write a UTF-8 text whole; see :func:`write_bytes`."""
    write_bytes(path, content.encode("utf-8"))


def write_json(path: Path, content: Any) -> None:
    """Write JSON whole; a value that is not finite is an error, since JSON has none."""
    write_text(path, json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def write_csv(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a table whole; None becomes an empty cell."""
    text = io.StringIO()
    table = csv.DictWriter(text, fieldnames=list(columns), lineterminator="\n")
    table.writeheader()
    table.writerows(rows)
    write_text(path, text.getvalue())


def read_csv(path: Path) -> list[dict[str, str]]:
    """Rows of a table as texts by column."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def json_of(path: Path) -> Any:
    """Content of a JSON file."""
    return json.loads(path.read_text(encoding="utf-8"))
