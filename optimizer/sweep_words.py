"""A sweep in sentences: slopes, where the winner changes hands, where a rule stops binding."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from models.catalogue import graph_name, short_label
from models.topology import parse_graph_id
from optimizer.reasons import LIMIT_WORDS
from optimizer.sweep_keys import is_number, value_text
from optimizer.sweep_plan import is_axis
from optimizer.sweep_points import DONE

LIMIT_OF = {
    "limits.power_w": "power",
    "limits.excursion_mm": "excursion",
    "limits.air_speed_m_s": "air_speed",
    "limits.amplifier_v": "voltage",
    "limits.amplifier_a": "current",
}
"""Limit that each rule sets; a larger value permits every box of a smaller one."""

UNITS = {
    "_m_s": "m/s",
    "_mm_n": "mm/N",
    "_kg_s": "kg/s",
    "_cm2": "cm²",
    "_cm3": "cm³",
    "_mm": "mm",
    "_hz": "Hz",
    "_ohm": "ohm",
    "_kpa": "kPa",
    "_percent": "%",
    "_w": "W",
    "_v": "V",
    "_a": "A",
    "_l": "l",
    "_m": "m",
    "_c": "°C",
    "_mh": "mH",
    "_tm": "T m",
    "_g": "g",
}
"""Unit of a key by its end."""

NOTHING_DB = 0.05
"""Change of the score that does not count."""

LEAST_MISS_DB = 0.005
"""Smallest fall of the score that is told where none can be."""

SMALL_LEAD_DB = 0.1
"""Lead below which the winner might as well be the next one."""


def unit_of(key: str) -> str:
    """Unit of a key's values; empty where it has none."""
    last = "_" + re.sub(r"(\[\d+\])+$", "", key).rsplit(".", 1)[-1]
    return next((unit for end, unit in UNITS.items() if last.endswith(end)), "")


def with_unit(key: str, value: Any) -> str:
    """Value of a key with its unit."""
    unit = unit_of(key)
    return f"{value_text(value)} {unit}" if unit and is_number(value) else value_text(value)


def graph_label(graph: str) -> str:
    """Name of a graph in tables and figures of a sweep."""
    return short_label(graph_name(parse_graph_id(graph)), graph)


def graph_words(graph: str, rows: Iterable[Any]) -> str:
    """Name of a graph, and of its winning designs where their proportions make them lines or horns."""
    names = [graph_label(graph)]
    names += [_name(row) for row in rows if row["graph"] == graph]
    return " or ".join(dict.fromkeys(names))


def sweep_sentences(table: Mapping[str, Any]) -> list[str]:
    """What a sweep shows.

    Parameters
    ----------
    table : mapping
        ``keys``, ``together`` and ``rows`` of a sweep [mixed].

    Returns
    -------
    list of str
        Sentences [text].
    """
    keys: list[str] = table["keys"]
    found = [row for row in table["rows"] if row["status"] == DONE and row["graph"]]
    sentences = _counts(table["rows"], found)
    if len(found) < 2:
        return sentences
    numeric = [key for key in keys if is_axis(row["values"][key] for row in found)]
    line = len(keys) == 1 or table["together"]
    if line and numeric:
        key = numeric[0]
        rows = sorted(found, key=lambda row: row["values"][key])
        others = [other for other in keys if other != key]
        sentences += [*_slope(rows, key, others), *_winners(rows, key)]
        sentences += _binding(rows, key, None if others else LIMIT_OF.get(key))
        sentences += [] if others else _contradictions(rows, key)
    else:
        sentences += [*_extremes(found), *_wins(found)]
        for key in [] if line else numeric:
            sentences += [*_mean_slope(found, key), *_contradictions(found, key)]
    return sentences + _sureness(found)


def _counts(rows: Sequence[Any], found: Sequence[Any]) -> list[str]:
    words = []
    missing: dict[str, int] = {}
    for row in rows:
        if row["status"] != DONE:
            missing[row["status"]] = missing.get(row["status"], 0) + 1
    if missing:
        parts = ", ".join(f"{count} {status}" for status, count in missing.items())
        words.append(f"{sum(missing.values())} of {len(rows)} points are missing: {parts}.")
    if empty := sum(1 for row in rows if row["status"] == DONE) - len(found):
        words.append(f"At {empty} of {len(rows)} points no design fits.")
    return words


def _slope(rows: Sequence[Any], key: str, others: Sequence[str]) -> list[str]:
    first, last = rows[0], rows[-1]
    change = last["best_db"] - first["best_db"]
    span = last["values"][key] - first["values"][key]
    beside = f" (together with {', '.join(others)})" if others else ""
    low, high = (with_unit(key, row["values"][key]) for row in (first, last))
    if abs(change) < NOTHING_DB and all(abs(r["best_db"] - first["best_db"]) < NOTHING_DB for r in rows):
        words = f"the best score stays within {NOTHING_DB:g} dB of {first['best_db']:.2f} dB"
        return [f"{key}{beside}: {words} from {low} to {high}."]
    per = unit_of(key) or "1"
    words = (
        f"{key}{beside}: the best score goes from {first['best_db']:.2f} dB at {low} to "
        f"{last['best_db']:.2f} dB at {high}, on average {change / span:+.3g} dB per {per}."
    )
    if len(rows) == 2:
        return [words]
    slopes = [
        ((b["best_db"] - a["best_db"]) / (b["values"][key] - a["values"][key]), a, b)
        for a, b in pairwise(rows)
        if b["values"][key] != a["values"][key]
    ]
    steep = max(slopes, key=lambda item: abs(item[0]))
    flat = min(slopes, key=lambda item: abs(item[0]))
    return [
        words,
        f"It is steepest {_between(key, *steep[1:])} ({steep[0]:+.3g} dB per {per}) and flattest "
        f"{_between(key, *flat[1:])} ({flat[0]:+.3g} dB per {per}).",
    ]


def _between(key: str, a: Any, b: Any) -> str:
    return f"between {value_text(a['values'][key])} and {with_unit(key, b['values'][key])}"


def _winners(rows: Sequence[Any], key: str) -> list[str]:
    graphs = {row["graph"] for row in rows}
    if len(graphs) == 1:
        return _wins(rows)
    words = []
    for a, b in pairwise(rows):
        if a["graph"] == b["graph"]:
            continue
        at = crossing(a, b, key)
        where = f"near {with_unit(key, float(f'{at:.3g}'))}" if at is not None else _between(key, a, b)
        words.append(f"The winner changes {where}: {_name(a)} below, {_name(b)} above.")
    return words


def crossing(a: Any, b: Any, key: str) -> float | None:
    """Where two winners' scores cross, by straight lines between the points; None where one is unknown."""
    scores = [{one["graph"]: one["best_db"] for one in row["topologies"]} for row in (a, b)]
    old, new = a["graph"], b["graph"]
    if any(graph not in score for graph in (old, new) for score in scores):
        return None
    before, after = (score[old] - score[new] for score in scores)
    if before <= 0.0 or after >= 0.0:
        return None
    low, high = a["values"][key], b["values"][key]
    return float(low + (high - low) * before / (before - after))


def _binding(rows: Sequence[Any], key: str, swept: str | None) -> list[str]:
    """Where limits begin and cease to stop tones; more words on the limit that is swept alone."""
    words = []
    for limit, name in LIMIT_WORDS.items():
        shares = [row["shares"].get(limit, 0.0) for row in rows]
        stops = [i for i, share in enumerate(shares) if share > 0.0]
        if not stops:
            continue
        first, last = stops[0], stops[-1]
        own = limit == swept
        if own and last == len(rows) - 1:
            words.append(
                f"At {with_unit(key, rows[-1]['values'][key])} {name} still stops {shares[-1]:.0%} of the "
                "score's weight, so a higher limit would still raise the score."
            )
        elif last < len(rows) - 1:
            more = ": beyond, this rule changes nothing" if own else ""
            words.append(
                f"{_capital(name)} stops tones up to {with_unit(key, rows[last]['values'][key])} and none "
                f"from {with_unit(key, rows[last + 1]['values'][key])} on{more}."
            )
        if first > 0:
            words.append(
                f"{_capital(name)} stops tones from {with_unit(key, rows[first]['values'][key])} on, and "
                f"none up to {with_unit(key, rows[first - 1]['values'][key])}."
            )
    return words


def _contradictions(rows: Sequence[Any], key: str) -> list[str]:
    """Falls of the score where a limit got looser: at least so much was missed by the search."""
    if key not in LIMIT_OF:
        return []
    worst, where = 0.0, rows[0]
    for line in _lines(rows, key):
        best = line[0]["best_db"]
        for row in line[1:]:
            if best - row["best_db"] > worst:
                worst, where = best - row["best_db"], row
            best = max(best, row["best_db"])
    if worst < LEAST_MISS_DB:
        return []
    return [
        "A looser limit permits every box of a tighter one, yet the score at "
        f"{_place(where)} is {worst:.2f} dB below a tighter one's: the search missed at least that much "
        "there. More effort narrows it."
    ]


def _extremes(rows: Sequence[Any]) -> list[str]:
    high, low = (pick(rows, key=lambda row: row["best_db"]) for pick in (max, min))
    return [
        f"The score is highest, {high['best_db']:.2f} dB, at {_place(high)} ({_name(high)}), and lowest, "
        f"{low['best_db']:.2f} dB, at {_place(low)} ({_name(low)})."
    ]


def _wins(rows: Sequence[Any]) -> list[str]:
    if len({row["graph"] for row in rows}) == 1:
        return [f"One type wins at every point: {graph_words(rows[0]['graph'], rows)}."]
    count: dict[str, int] = {}
    for row in rows:
        name = graph_words(row["graph"], rows)
        count[name] = count.get(name, 0) + 1
    ordered = sorted(count.items(), key=lambda item: -item[1])
    return [f"Points won: {', '.join(f'{name} {number}' for name, number in ordered)}, of {len(rows)}."]


def _mean_slope(rows: Sequence[Any], key: str) -> list[str]:
    """Average slope along one key, all other keys kept."""
    slopes = []
    for line in _lines(rows, key):
        span = line[-1]["values"][key] - line[0]["values"][key]
        if span:
            slopes.append((line[-1]["best_db"] - line[0]["best_db"]) / span)
    if not slopes:
        return []
    per = unit_of(key) or "1"
    return [
        f"{key}: {sum(slopes) / len(slopes):+.3g} dB per {per} on average, from {min(slopes):+.3g} to "
        f"{max(slopes):+.3g}, depending on the other values."
    ]


def _lines(rows: Sequence[Any], key: str) -> list[list[Any]]:
    """Rows that differ in one key alone, in rising order of its values."""
    lines: dict[str, list[Any]] = {}
    for row in rows:
        lines.setdefault(repr({k: v for k, v in row["values"].items() if k != key}), []).append(row)
    return [sorted(line, key=lambda row: row["values"][key]) for line in lines.values()]


def _sureness(rows: Sequence[Any]) -> list[str]:
    words = []
    close = [row for row in rows if row["lead_db"] is not None and row["lead_db"] < SMALL_LEAD_DB]
    if close:
        words.append(
            f"At {len(close)} of {len(rows)} points the winner leads by less than {SMALL_LEAD_DB:g} dB, so "
            "the type is not sure there."
        )
    unsure = sum(1 for row in rows if not row["settled"])
    if unsure:
        words.append(
            f"At {unsure} of {len(rows)} points the restarts did not agree well enough to be sure of the "
            "best; more effort makes it surer."
        )
    return words


def _place(row: Any) -> str:
    return ", ".join(f"{key} = {value_text(value)}" for key, value in row["values"].items())


def _name(row: Any) -> str:
    return short_label(row["topology"], row["graph"])


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
