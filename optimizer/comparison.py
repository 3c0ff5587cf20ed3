"""Several runs side by side in one page: scores, rules that differ, topologies, winners, what binds."""

from __future__ import annotations

import os
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

from models.catalogue import short_label
from optimizer.evaluation import unique_names
from optimizer.files import write_text
from optimizer.priced_rules import PRICED_RULES
from optimizer.reasons import LIMIT_WORDS
from optimizer.report_cards import price_text
from optimizer.report_extras import sketch
from optimizer.report_parts import page, table
from optimizer.report_rules import ceiling_facts
from optimizer.report_words import CAUTION_IN_SHORT
from optimizer.run_designs import candidate_folder
from optimizer.run_folder import Run

COMPARISON = "comparison.html"
"""Name of the page where none is given."""

WINNER_REASONS = 3
"""Reasons of each winner that are shown."""

FEW = 15
"""Rules that differ and are all listed at once; of more, those of :data:`FIRST_TABLES` come first."""

FIRST_TABLES = ("season", "envelope", "limits")
"""Tables of a season whose differences are always in sight."""


def comparison_page(runs: list[Run], folder: Path) -> str:
    """Write the page from the data of several run folders.

    Parameters
    ----------
    runs : list of Run
        Two or more run folders, their figures drawn [record].
    folder : Path
        Folder of the page, for its links to the reports [path].

    Returns
    -------
    str
        HTML text that needs no other file [text].

    Raises
    ------
    FileNotFoundError
        A figure is missing.
    """
    names = run_names(runs)
    seasons = list(dict.fromkeys(str(run.record["season"]) for run in runs))
    different = differing(runs)
    rules = [row for row in different if not row[0].startswith("search.")]
    return page(
        f"{len(runs)} runs side by side",
        [
            f"<header><p class=kind>Enclosure searches side by side</p><h1>{escape(' / '.join(seasons))}</h1>"
            f"</header>{_overview(runs, names, folder, bool(rules))}"
            f'<section class="caution"><p><b>{escape(CAUTION_IN_SHORT)}</b></p></section>',
            _rules(rules, [row for row in different if row not in rules], names),
            _winners(runs, names),
            _topologies(runs, names),
            _binding(runs, names),
        ],
    )


def write_comparison(runs: list[Run], place: Path) -> None:
    """Write the page.

    Raises
    ------
    OSError
        The page cannot be written.
    """
    write_text(place, comparison_page(runs, place.resolve().parent))


def run_names(runs: list[Run]) -> list[str]:
    """Short names of run folders, each one once."""
    return unique_names([run.folder.resolve().name for run in runs])


def differing(runs: list[Run]) -> list[list[Any]]:
    """Keys of the seasons whose values differ.

    Parameters
    ----------
    runs : list of Run
        Run folders [record].

    Returns
    -------
    list of list
        Rows of the key and its value in every run, None where a season does not set it [mixed].
    """
    flat = [_flat(run.record["source"], "") for run in runs]
    keys = dict.fromkeys(key for one in flat for key in one)
    rows = [[key, *(one.get(key) for one in flat)] for key in keys]
    return [row for row in rows if any(value != row[1] for value in row[2:])]


def _flat(value: Any, key: str) -> dict[str, Any]:
    """Every value of nested tables and lists of tables by its dotted key."""
    if isinstance(value, dict):
        parts = [(f"{key}.{name}".lstrip("."), one) for name, one in value.items()]
    elif isinstance(value, list) and any(isinstance(one, dict) for one in value):
        parts = [(f"{key}[{place}]", one) for place, one in enumerate(value)]
    else:
        return {key: value}
    return {name: one for part, inner in parts for name, one in _flat(inner, part).items()}


def _best(run: Run) -> dict[str, Any] | None:
    return run.candidates[0] if run.candidates else None


def _overview(runs: list[Run], names: list[str], folder: Path, unlike: bool) -> str:
    rows = []
    for run, name in zip(runs, names, strict=True):
        best, sure = _best(run), run.record.get("confidence", {})
        address = quote(os.path.relpath(run.folder.resolve() / "report.html", folder).replace(os.sep, "/"))
        ceiling = ceiling_facts(run).get("bound")
        own = sure.get("first") or sure  # of the type in the row, not of the loudest free network
        restarts = own.get("restarts")
        rows.append(
            [
                f'<a href="{address}">{escape(name)}</a>',
                run.record["season"],
                float(best["score_db"]) if best else "none fits",
                short_label(best["topology"], best["graph"]) if best else "",
                float(ceiling["value_db"]) if ceiling else "not sought",
                f"{own.get('agreeing')} of {restarts} restarts" if restarts else "not known",
                run.record.get("effort"),
                run.record.get("seed"),
                run.record["counts"].get("evaluations"),
            ]
        )
    head = ["run", "season", "best score (dB)", "topology", "ceiling (dB)", "agree"]
    head += ["effort", "seed", "designs"]
    scored = [float(best["score_db"]) for run in runs if (best := _best(run))]
    words = f"The best scores lie {max(scored) - min(scored):.2f} dB apart. " if len(scored) > 1 else ""
    words += (
        "The rules differ, so the scores say what the rules permit, not which search was better."
        if unlike
        else "All runs have the same rules, so their scores can be compared."
    )
    return f'<section class="lead"><p>{words}</p>{table(head, rows, {2, 4, 7, 8}, raw={0})}</section>'


def _rules(rules: list[list[Any]], search: list[list[Any]], names: list[str]) -> str:
    known = [row for row in rules if row[0].partition(".")[0] in FIRST_TABLES] if len(rules) > FEW else rules
    rest = [row for row in rules if row not in known]
    listed = _settings("rule", known, names) if known else "" if rules else "<p>None.</p>"
    if rest:
        listed += f"<details><summary>{len(rest)} more: driver, tones, spaces and the like</summary>"
        listed += f"{_settings('rule', rest, names)}</details>"
    if search:
        listed += f"<h3>Search settings that differ</h3>{_settings('setting', search, names)}"
    return f"<section><h2>Rules that differ</h2>{listed}</section>"


def _settings(head: str, rows: list[list[Any]], names: list[str]) -> str:
    return table([head, *names], [[row[0], *map(_text, row[1:])] for row in rows], set())


def _text(value: Any) -> str:
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_text(one) for one in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _winners(runs: list[Run], names: list[str]) -> str:
    cards = ""
    for run, name in zip(runs, names, strict=True):
        best = _best(run)
        if best is None:
            title = f'<article class="winner"><p class="role">{escape(name)}</p>'
            cards += f"{title}<p>No design fits.</p></article>"
            continue
        reasons = "".join(f"<li>{escape(str(reason))}</li>" for reason in best["reasons"][:WINNER_REASONS])
        drawing = sketch(run.folder, best, candidate_folder(int(best["rank"])))
        cards += (
            f'<article class="winner"><p class="role">{escape(name)}</p><h3>{escape(best["topology"])}</h3>'
            f'<p class="score">{float(best["score_db"]):.2f} dB</p><div class="sketch">{drawing}</div>'
            f"<ul>{reasons}</ul></article>"
        )
    return f'<section><h2>Winners</h2><div class="side">{cards}</div></section>'


def _topologies(runs: list[Run], names: list[str]) -> str:
    found: dict[str, list[float | None]] = {}
    labels: dict[str, str] = {}
    for place, run in enumerate(runs):
        for row in run.topologies:
            scores = found.setdefault(row["graph"], [None] * len(runs))
            labels.setdefault(row["graph"], row["topology"])
            scores[place] = float(row["best_db"]) if row["best_db"] else None
    order = sorted(found, key=lambda graph: -max((s for s in found[graph] if s is not None), default=-1e9))
    rows = [
        [labels[graph], graph, *("none" if score is None else score for score in found[graph])]
        + ([_gap(found[graph])] if len(runs) == 2 else [])
        for graph in order
    ]
    head = ["topology", "graph", *(f"{name} (dB)" for name in names)]
    head += ["second less first (dB)"] if len(runs) == 2 else []
    return (
        '<section><h2>Best of every topology</h2><p>"none" means not searched, or no design that fits.</p>'
        f"{table(head, rows, set(range(2, len(head))))}</section>"
    )


def _gap(scores: list[float | None]) -> str:
    first, second = scores
    return "" if first is None or second is None else f"{second - first:+.2f}"


def _binding(runs: list[Run], names: list[str]) -> str:
    stops = [[entry["limit"] for entry in best["limits"]] if (best := _best(run)) else [] for run in runs]
    rows: list[list[Any]] = [
        [words, *(f"{one.count(limit)} of {len(one)}" if one else "" for one in stops)]
        for limit, words in LIMIT_WORDS.items()
        if any(limit in one for one in stops)
    ]
    prices = [{p["rule"]: p for p in best["prices"]} if (best := _best(run)) else {} for run in runs]
    worth = [
        [rule.words, *(price_text(one[rule.key]) if rule.key in one else "not known" for one in prices)]
        for rule in PRICED_RULES
        if any(rule.key in one for one in prices)
    ]
    return (
        "<section><h2>What binds the winners</h2><p>Tones at which each limit stops the drive:</p>"
        f"{table(['limit', *names], rows, set(range(1, len(names) + 1)))}"
        "<p>What one unit more of a rule would give:</p>"
        f"{table(['rule', *names], worth, set(range(1, len(names) + 1)))}</section>"
    )
