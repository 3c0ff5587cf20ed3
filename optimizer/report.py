"""The report of a run: one self-contained HTML page for screen, phone and print."""

from __future__ import annotations

import base64
from html import escape
from typing import Any

from models.catalogue import short_label
from optimizer.objectives import OBJECTIVES
from optimizer.report_style import PAGE_STYLE
from optimizer.report_words import cautions, not_modelled, summary_sentences
from optimizer.run_folder import Run

MOST_ROWS = 40
"""Rows of a long table that the page shows; the CSV file holds all."""


def report_page(run: Run) -> str:
    """Write the page from a run folder's data and its figures.

    Parameters
    ----------
    run : Run
        The folder's content, its figures drawn [record].

    Returns
    -------
    str
        HTML text that needs no other file [text].

    Raises
    ------
    FileNotFoundError
        A figure is missing.
    """
    name = escape(run.record["season"])
    parts = [
        _summary(run),
        _ranking(run),
        *(_candidate(run, candidate) for candidate in run.candidates),
        _front(run),
        _topologies(run),
        _model(run),
        _record(run),
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{name}: search report</title>\n<style>{PAGE_STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(part for part in parts if part)
        + "\n</main>\n</body>\n</html>\n"
    )


def table(head: list[str], rows: list[list[Any]], numeric: set[int], *, raw: set[int] | None = None) -> str:
    """HTML table; cells are escaped but those of the ``raw`` columns.

    Parameters
    ----------
    head : list of str
        Column headings [text].
    rows : list of list
        Cells; None becomes an empty cell [mixed].
    numeric : set of int
        Columns that are set flush right [1].
    raw : set of int or None
        Columns whose cells are HTML already [1].

    Returns
    -------
    str
        HTML text [text].
    """

    def row(tag: str, cells: list[Any], keep: set[int]) -> str:
        written = ""
        for i, cell in enumerate(cells):
            inner = cell if i in keep else escape(_cell(cell))
            written += f"<{tag}{' class=n' if i in numeric else ''}>{inner}</{tag}>"
        return f"<tr>{written}</tr>"

    body = "".join(row("td", cells, raw or set()) for cells in rows)
    return (
        f'<div class="wide"><table><thead>{row("th", head, set())}</thead><tbody>{body}</tbody></table></div>'
    )


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def _figure(run: Run, place: str, words: str) -> str:
    image = base64.b64encode((run.folder / f"{place}.svg").read_bytes()).decode()
    words = escape(words, quote=True)
    picture = f'<img src="data:image/svg+xml;base64,{image}" alt="{words}">'
    return f"<figure>{picture}<figcaption>{words}</figcaption></figure>"


def _summary(run: Run) -> str:
    sentences = "".join(f"<p>{escape(sentence)}</p>" for sentence in summary_sentences(run))
    listed = "".join(f"<li>{escape(caution)}</li>" for caution in cautions(run))
    stopped = '<p class="warn">The search was stopped early. More time may find better boxes.</p>'
    return (
        f"<header><p class=kind>Enclosure search report</p><h1>{escape(run.record['season'])}</h1></header>"
        f'<section class="lead">{stopped if run.record.get("interrupted") else ""}{sentences}</section>'
        f'<section class="caution"><h2>Before you build or drive one</h2><ul>{listed}</ul></section>'
    )


def _ranking(run: Run) -> str:
    if not run.candidates:
        return "<section><h2>Candidates</h2><p>No design that fits was found.</p></section>"
    objectives = [
        OBJECTIVES[name] for name in run.record["objectives"] if name != "output"
    ]  # that is the score
    head = ["", "role", "topology", "score (dB)"]
    head += [f"{objective.label} ({objective.unit})" for objective in objectives]
    rows = [
        [
            f'<a href="#candidate-{int(c["rank"])}">{int(c["rank"])}</a>',
            c["role"],
            short_label(c["topology"], c["graph"]),
            float(c["score_db"]),
            *(c["objectives"].get(objective.key) for objective in objectives),
        ]
        for c in run.candidates
    ]
    return f"<section><h2>Candidates</h2>{table(head, rows, set(range(3, len(head))), raw={0})}</section>"


def _candidate(run: Run, candidate: dict[str, Any]) -> str:
    rank = int(candidate["rank"])
    place = str(candidate["design"]).rpartition("/")[0]
    name = escape(candidate["topology"])
    reasons = "".join(f"<li>{escape(reason)}</li>" for reason in candidate["reasons"])
    evaluation = candidate["evaluation"]
    unfit = "".join(f"<li>{escape(reason)}</li>" for reason in evaluation["reasons_not"])
    design = escape((run.folder / candidate["design"]).read_text(encoding="utf-8"))
    return (
        f'<section class="candidate" id="candidate-{rank}"><h2>{rank}. {name}</h2>'
        f"<p class=kind>{escape(candidate['role'])}; {float(candidate['score_db']):.2f} dB; "
        f"graph {escape(candidate['graph'])}</p>"
        + '<div class="sketch">'
        + _figure(run, f"{place}/graph", f"Candidate {rank}: its chambers and what joins them.")
        + "</div>"
        + (f"<h3>Why</h3><ul>{reasons}</ul>" if reasons else "")
        + (f'<div class="warn"><h3>Does not fit</h3><ul>{unfit}</ul></div>' if unfit else "")
        + _prices(candidate["prices"])
        + '<div class="pair">'
        + _figure(
            run,
            f"{place}/tones",
            f"Candidate {rank}: level at every tone, and the drive left before each limit.",
        )
        + _figure(
            run, f"{place}/response", f"Candidate {rank}: response over frequency at the permitted drive."
        )
        + f"</div><details><summary>Sizes ({escape(candidate['design'])})</summary>"
        + f"<pre>{design}</pre></details></section>"
    )


def _prices(prices: list[dict[str, Any]]) -> str:
    if not prices:
        return ""
    rows = [
        [
            price["rule"],
            f"{price['db_per_unit']:+.3g} dB per {price['unit']}"
            if abs(price["db_per_unit"]) > 1e-6
            else "nothing",
            "solved again with a new box" if price["verified"] else "this box unchanged, driven anew",
        ]
        for price in prices
    ]
    head = ["rule", "one unit more gives", "how known"]
    return f"<h3>What wider rules would give</h3>{table(head, rows, {1})}"


def _front(run: Run) -> str:
    if not run.shows_front:
        return ""
    figure = _figure(run, "front", "The front: designs that no other design found beats in every objective.")
    return (
        "<section><h2>Trade-offs</h2><p>Every point is a box that no other box found beats in all objectives "
        f"at once; there are {len(run.front)}. front.csv names the file with the sizes of each.</p>"
        f"{figure}</section>"
    )


def _topologies(run: Run) -> str:
    found = [row for row in run.topologies if row["best_db"]]
    if not run.topologies:
        return ""
    figure = _figure(run, "topologies", "Best score of every topology and of its restarts.") if found else ""
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
    details = f"<details><summary>As a table</summary>{listing}{note}</details>"
    return f"<section><h2>Topologies</h2>{figure}{details}</section>"


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
    return f"<section><h2>What the numbers leave out</h2><ul>{points}</ul></section>"


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
    return f'<section class="record"><h2>Record</h2>{table(["item", "value"], rows, set())}</section>'
