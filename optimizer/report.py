"""The report of a run: one self-contained HTML page for screen, phone and print."""

from __future__ import annotations

from html import escape
from typing import Any

from optimizer.box_names import box_names, first_kind
from optimizer.figures_spread import spread_candidates
from optimizer.report_cards import candidates_section
from optimizer.report_explore import Exploring, can_explore, exploring
from optimizer.report_parts import figure, page, table
from optimizer.report_rules import rules_section
from optimizer.report_words import (
    CAUTION_IN_SHORT,
    cautions,
    ceiling_sentences,
    facts,
    not_modelled,
    summary_sentences,
    sure_sentences,
)
from optimizer.run_folder import Run
from optimizer.spread_words import AMONG, APART, HEAD, NOTE, spread_cells, spread_sentences

MOST_ROWS = 40
"""Rows of a long table that the page shows; the CSV file holds all."""

CONTENTS = (
    ("candidates", "Candidates"),
    ("spread", "When they are built"),
    ("front", "Trade-offs"),
    ("explore", "Explore"),
    ("topologies", "Topologies"),
    ("rules", "Rules"),
    ("record", "Record"),
)
"""Sections that the page's top links to, where they are there."""


def report_page(run: Run, explored: Exploring | None = None) -> str:
    """Write the page from a run folder's data and its figures.

    Parameters
    ----------
    run : Run
        The folder's content, its figures drawn [record].
    explored : Exploring or None
        What :func:`optimizer.report_explore.exploring` makes of the run, where that is done already [record].

    Returns
    -------
    str
        HTML text that needs no other file [text].

    Raises
    ------
    FileNotFoundError
        A figure is missing.
    """
    if explored is None and can_explore(run):
        explored = exploring(run)
    sections = [
        candidates_section(run),
        _spread(run),
        _front(run, folded=explored is not None),
        explored.section if explored else "",
        _topologies(run),
        rules_section(run),
        _model(run),
        _record(run),
    ]
    top = _summary(run, "".join(sections))
    title = f"{run.record['season']}: search report"
    if explored is None:
        return page(title, [top, *sections])
    return page(title, [top, *sections], explored.scripts, explored.data)


def _summary(run: Run, below: str) -> str:
    folded = sure_sentences(run)
    told = [sentence for sentence in summary_sentences(run) if sentence not in folded]
    told += ceiling_sentences(run) if run.candidates else []
    sentences = "".join(f"<p>{escape(sentence)}</p>" for sentence in told)
    sure = "".join(f"<li>{escape(sentence)}</li>" for sentence in folded)
    listed = "".join(f"<li>{escape(caution)}</li>" for caution in cautions(run))
    stopped = '<p class="warn">The search was stopped early. More time may find better boxes.</p>'
    tiles = "".join(
        f"<div><dt>{escape(fact.name)}</dt><dd><b>{escape(fact.value)}</b>{escape(fact.words)}</dd></div>"
        for fact in facts(run)
    )
    links = "".join(f'<a href="#{key}">{name}</a>' for key, name in CONTENTS if f'id="{key}"' in below)
    return (
        f"<header><p class=kind>Enclosure search report</p><h1>{escape(run.record['season'])}</h1></header>"
        f'<section class="lead">{stopped if run.record.get("interrupted") else ""}'
        f'<dl class="tiles">{tiles}</dl>{sentences}'
        + (f"<details><summary>How sure the search is</summary><ul>{sure}</ul></details>" if sure else "")
        + "</section>"
        f'<section class="caution"><p><b>{escape(CAUTION_IN_SHORT)}</b></p>'
        f"<details><summary>Cautions in full</summary><ul>{listed}</ul></details></section>"
        f'<nav aria-label="Sections">{links}</nav>'
    )


def _spread(run: Run) -> str:
    told = spread_candidates(run.candidates)
    if not told:
        return ""
    names, kind = box_names(told), first_kind(told)
    mixed = len(kind) < len(told)
    tolerances = [told[i]["tolerance"] for i in kind]
    sentences = spread_sentences([names[i] for i in kind], tolerances, AMONG if mixed else "")
    sentences += [APART] if mixed else []
    lead = "".join(f"<p>{escape(sentence)}</p>" for sentence in [*sentences, NOTE])
    drawn = figure(run.folder / "spread", "Scores of built boxes, and the causes of their spread.")
    rows = [
        [name, *spread_cells(c["score_db"], c["tolerance"])] for name, c in zip(names, told, strict=True)
    ]
    listing = table(["box, dB", *HEAD], rows, set(range(1, len(HEAD))))
    details = f"<details><summary>As a table</summary>{listing}</details>"
    return f'<section id="spread"><h2>When they are built</h2>{lead}{drawn}{details}</section>'


def _front(run: Run, *, folded: bool) -> str:
    """The front as a still picture, folded where the reader can explore it."""
    if not run.shows_front:
        return ""
    start = "<details><summary>As a still picture</summary>" if folded else ""
    words = "The front: designs that no other design found beats in every objective."
    built = any((candidate.get("plan") or {}).get("cost_db") is not None for candidate in run.candidates)
    free = " They are free networks; candidates with a floor plan stand at their score as built."
    return (
        '<section id="front"><h2>Trade-offs</h2><p>Every point is a box that no other box found beats in '
        f"all objectives at once; there are {len(run.front)}. front.csv names the file with the sizes of "
        f"each.{free if built else ''}</p>"
        f"{start}{figure(run.folder / 'front', words)}{'</details>' if folded else ''}</section>"
    )


def _topologies(run: Run) -> str:
    if not run.topologies:
        return ""
    found = any(row["best_db"] for row in run.topologies)
    words = "Best score of every topology and of its restarts."
    rows = [
        [
            row["topology"],
            row["graph"],
            float(row["best_db"]) if row["best_db"] else row["why_none"] or "none found",
            _standing(row),
        ]
        for row in run.topologies[:MOST_ROWS]
    ]
    more = len(run.topologies) - len(rows)
    note = f"<p>{more} more are in topologies.csv.</p>" if more > 0 else ""
    listing = table(["topology", "graph", "best found (dB)", "remark"], rows, {2})
    return (
        f'<section id="topologies"><h2>Topologies</h2>'
        f"{figure(run.folder / 'topologies', words) if found else ''}"
        f"<details><summary>As a table</summary>{listing}{note}</details></section>"
    )


def _standing(row: dict[str, str]) -> str:
    """What there is to say on a topology's score."""
    remarks = []
    if row.get("reduces_to"):
        remarks.append(f"reduces to {row['reduces_to']}: the simpler graph does as well")
    rung = int(row.get("left_after") or 0)
    if rung:
        remarks.append(f"left after {rung} short {'look' if rung == 1 else 'rounds'}")
    return "; ".join(remarks)


def _model(run: Run) -> str:
    points = "".join(f"<li>{escape(point)}</li>" for point in not_modelled(run))
    return f'<section id="model"><h2>What the numbers leave out</h2><ul>{points}</ul></section>'


def _record(run: Run) -> str:
    record = run.record
    rows: list[list[Any]] = [
        ["season file", record["config"]],
        ["config hash", record["config_hash"]],
        ["seed", record.get("seed")],
        ["effort", record.get("effort")],
        ["written", record["times"].get("written")],
    ]
    rows += [[key.replace("_", " "), value] for key, value in record["counts"].items()]
    rows += [
        [f"{key.replace('_', ' ')} (s)", float(value)] for key, value in record["times"]["seconds"].items()
    ]
    rows += [[package, version] for package, version in record["versions"].items()]
    listing = table(["item", "value"], rows, set())
    return f'<section id="record" class="record"><h2>Record</h2>{listing}</section>'
