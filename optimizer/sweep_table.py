"""The table of a sweep, one row a point, as CSV and JSON; and the folders of shards made one."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from models.catalogue import short_label
from optimizer.cli_options import BadOption
from optimizer.cli_output import text_table
from optimizer.files import write_csv, write_json
from optimizer.reasons import LIMIT_WORDS
from optimizer.run_record import columns_of
from optimizer.sweep import PLAN, POINTS, States, read_plan
from optimizer.sweep_keys import is_number, value_text
from optimizer.sweep_plan import plan_differences
from optimizer.sweep_points import DONE, NOT_RUN, finished
from optimizer.sweep_words import sweep_sentences

TABLE = "sweep.json"

_LATER = ("config_hash", "shares", "limits", "topologies", "seconds")
"""Parts of a point's record that the CSV file leaves out, or has in columns of their own."""


def write_tables(out: Path, states: States | None = None) -> dict[str, Any]:
    """Collect the finished points of a sweep's folder and write ``sweep.csv`` and ``sweep.json``.

    Parameters
    ----------
    out : Path
        The sweep's folder [path].
    states : dict of str to tuple, or None
        States of points that were run just now, by id [text].

    Returns
    -------
    dict
        Content of ``sweep.json``: ``season``, ``config``, ``keys``, ``together``, ``sentences`` and
        ``rows`` [mixed].

    Raises
    ------
    BadOption
        The folder holds no sweep.
    OSError
        The folder cannot be written.
    """
    plan = read_plan(out)
    rows = [_row(out, plan["keys"], point, states or {}) for point in plan["points"]]
    table = {key: plan[key] for key in ("season", "config", "keys", "together")}
    table |= {"sentences": sweep_sentences({**table, "rows": rows}), "rows": rows}
    write_json(out / TABLE, table)
    flat = [_flat(row) for row in rows]
    write_csv(out / "sweep.csv", columns_of(flat), flat)
    return table


def merge(folders: Sequence[Path], out: Path) -> None:
    """Bring the finished points of several folders of one sweep into one.

    Parameters
    ----------
    folders : sequence of Path
        Folders of sweeps of the same keys and season [path].
    out : Path
        Where they are brought together; may be one of them [path].

    Raises
    ------
    BadOption
        A folder holds no sweep, or another one.
    OSError
        A folder cannot be read or written.
    """
    plans = [read_plan(folder, "--merge") for folder in folders]
    for folder, plan in zip(folders[1:], plans[1:], strict=True):
        if words := plan_differences(plans[0], plan):
            raise BadOption("--merge", f"{folder} differs from {folders[0]}: {'; '.join(words[:4])}")
    for folder in folders:
        if folder.resolve() == out.resolve():
            continue
        for point in sorted((folder / POINTS).glob("*/")):
            if finished(point) is not None and finished(out / POINTS / point.name) is None:
                _copy(point, out / POINTS / point.name)
    write_json(out / PLAN, {**plans[0], "points": _joined([plan["points"] for plan in plans])})


def table_text(table: Mapping[str, Any], folder: str) -> str:
    """Table and sentences for a person.

    Parameters
    ----------
    table : mapping
        Content of ``sweep.json`` [mixed].
    folder : str
        The sweep's folder [text].

    Returns
    -------
    str
        Several lines [text].
    """
    head = [*table["keys"], "best dB", "winner", "lead dB", "stopped by", "closed dB", "vented dB"]
    rows = []
    for row in table["rows"]:
        cells = [value_text(value) for value in row["values"].values()]
        if row["status"] == DONE and row["graph"]:
            numbers = [_fixed(row[key]) for key in ("best_db", "lead_db", "closed_db", "vented_db")]
            name = short_label(row["topology"], row["graph"])
            cells += [numbers[0], name, numbers[1], _stops(row["shares"]), *numbers[2:]]
        else:
            cells += ["-", row["status"] if row["status"] != DONE else "nothing fits", "-", "-", "-", "-"]
        rows.append(cells)
    last = f"Open {folder}/sweep.html for the figures; every point has a run folder in {folder}/points."
    return "\n".join([text_table(head, rows), "", *table["sentences"], last])


def _row(out: Path, keys: list[str], point: Mapping[str, Any], states: States) -> dict[str, Any]:
    record = finished(out / POINTS / point["id"])
    state, words = (DONE, "") if record else states.get(point["id"], (NOT_RUN, ""))
    row = {"values": dict(zip(keys, point["values"], strict=True)), "status": state, "problem": words}
    return row | (record or {}) | {"run": f"{POINTS}/{point['id']}"}


def _flat(row: Mapping[str, Any]) -> dict[str, Any]:
    """Row of the CSV file."""
    values = {k: v if is_number(v) else value_text(v) for k, v in row["values"].items()}
    plain = {k: v for k, v in row.items() if k not in ("values", *_LATER, "run")}
    shares = {}
    if "shares" in row:
        shares = {f"share_{name}": row["shares"].get(name, 0.0) for name in LIMIT_WORDS}
    return values | plain | shares | {"seconds": row.get("seconds"), "run": row["run"]}


def _stops(shares: Mapping[str, float]) -> str:
    ordered = sorted(shares.items(), key=lambda item: -item[1])
    return ", ".join(f"{name.replace('_', ' ')} {share:.0%}" for name, share in ordered) or "-"


def _fixed(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _copy(source: Path, target: Path) -> None:
    """Copy a run folder whole or not at all."""
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    shutil.rmtree(part, ignore_errors=True)
    shutil.copytree(source, part)
    shutil.rmtree(target, ignore_errors=True)
    part.rename(target)


def _joined(lists: Sequence[list[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Points of several plans once each; in rising order of their values where the plans differ."""
    if all(points == lists[0] for points in lists):
        return lists[0]
    by_values = {repr(point["values"]): point for points in lists for point in points}

    def order(point: dict[str, Any]) -> list[tuple[bool, float, str]]:
        return [(False, v, "") if is_number(v) else (True, 0.0, str(v)) for v in point["values"]]

    return sorted(by_values.values(), key=order)
