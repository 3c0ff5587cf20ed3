"""The public summary of a run: scores, reasons and curves for a league's page, without any dimension.

Designs belong to their entrants. So files, sizes, volumes, material, air speeds, impedances and the graph
of a box stay out; its trade name, its levels, what stops it and its rank are told.
"""

from __future__ import annotations

import io
from html import escape
from typing import Any

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from optimizer.figures_response import response_figure
from optimizer.figures_tones import tones_figure
from optimizer.files import write_json, write_text
from optimizer.public_words import is_public, public_name, public_sentences
from optimizer.report_parts import data_address, page, picture, table
from optimizer.report_words import cautions, summary_sentences
from optimizer.run_folder import Run, damaged
from optimizer.style import FIGURE_STYLE

PUBLIC_OBJECTIVES = {
    "output_db": "averaged output (dB)",
    "worst_tone_db": "weakest tone (dB)",
    "evenness_db": "spread between tones (dB)",
}
"""Objectives that tell nothing of a box's size, and their headings."""

TONE_KEYS = (
    "hz", "level_db", "drive_v_rms", "current_a_rms", "real_power_w", "limit", "margins_db", "hot_level_db",
    "exposure",
)  # fmt: skip
"""What is told of a tone."""

CURVE_DIGITS = 1
"""Digits after the point of the levels of a curve: enough to see it, too few to work backwards well."""

WITHHELD = (
    "Sizes, volumes, material and drawings are not published here, nor how the chambers of a box are joined, "
    "beyond its trade name: they belong to its entrant. Curves are rounded to 0.1 dB; what a box does always "
    "tells something of what it is."
)
"""What the page says of what it leaves out."""


def public_record(run: Run) -> dict[str, Any]:
    """Content of ``public.json``.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    dict
        Season, summary and candidates as plain data [mixed].
    """
    record = run.record
    return {
        "season": record["season"],
        "scale": record["scale"],
        "config_hash": record["config_hash"],
        "written": record["times"].get("written"),
        "tones_hz": [tone["hz"] for tone in record["source"]["tones"]],
        "summary": public_sentences(_named(run, sentence) for sentence in summary_sentences(run)),
        "cautions": cautions(run),
        "withheld": WITHHELD,
        "candidates": [_candidate(run, candidate) for candidate in run.candidates],
    }


def _named(run: Run, sentence: str) -> str:
    """A sentence on the first-ranked box with the name that it has in public."""
    name = run.candidates[0]["topology"] if run.candidates else ""
    return sentence.replace(name, public_name(name)) if name else sentence


def _candidate(run: Run, candidate: dict[str, Any]) -> dict[str, Any]:
    evaluation = candidate["evaluation"]
    curves: dict[str, dict[str, list[float | None]]] = {}
    for row in _level_rows(run, candidate):
        curve = curves.setdefault(row["space"], {"hz": [], "level_db": []})
        curve["hz"].append(round(float(row["hz"]), 2))
        curve["level_db"].append(float(row["level_db"]) if row["level_db"] else None)
    return {
        "rank": int(candidate["rank"]),
        "role": "; ".join(part for part in candidate["role"].split("; ") if is_public(part)),
        "topology": public_name(candidate["topology"]),
        "score_db": _rounded(float(candidate["score_db"])),
        "fits": evaluation["fits"],
        "objectives": {
            key: _rounded(float(value))
            for key, value in candidate["objectives"].items()
            if key in PUBLIC_OBJECTIVES
        },
        "reasons": public_sentences(candidate["reasons"]),
        "prices": [
            {key: _rounded(price[key]) for key in ("rule", "db_per_unit", "unit", "verified")}
            for price in candidate["prices"]
        ],
        "spaces": [
            {
                "name": space["name"],
                "weight": space["weight"],
                "mean_db": _rounded(space["mean_db"]),
                "tones": [
                    {key: _rounded(tone[key]) for key in TONE_KEYS if key in tone} for tone in space["tones"]
                ],
            }
            for space in evaluation["spaces"]
        ],
        "curves": curves,
    }


def _rounded(value: Any) -> Any:
    """Data with its numbers cut to what a table shows."""
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    return round(value, 2) if isinstance(value, float) else value


def _level_rows(run: Run, candidate: dict[str, Any]) -> list[dict[str, str]]:
    """A candidate's curves, nothing in them but levels."""
    rows = []
    for row in run.curves(int(candidate["rank"])):
        level = f"{float(row['level_db']):.{CURVE_DIGITS}f}" if row["level_db"] else ""
        rows.append({"space": row["space"], "hz": row["hz"], "level_db": level})
    return rows


def public_page(run: Run, record: dict[str, Any]) -> str:
    """The page, one HTML text that needs no other file.

    Parameters
    ----------
    run : Run
        The folder's content [record].
    record : dict
        What :func:`public_record` returns [mixed].

    Returns
    -------
    str
        HTML [text].
    """
    name = escape(record["season"])
    summary = "".join(f"<p>{escape(sentence)}</p>" for sentence in record["summary"])
    warned = "".join(f"<li>{escape(caution)}</li>" for caution in record["cautions"])
    keys = [k for k in PUBLIC_OBJECTIVES if any(k in c["objectives"] for c in record["candidates"])]
    head = ["", "type", "role", "score (dB)", *(PUBLIC_OBJECTIVES[k] for k in keys if k != "output_db")]
    rows = [
        [
            str(c["rank"]), c["topology"], c["role"], c["score_db"],
            *(c["objectives"].get(key) for key in keys if key != "output_db"),
        ]
        for c in record["candidates"]
    ]  # fmt: skip
    ranking = table(head, rows, set(range(3, len(head)))) if rows else "<p>No design that fits was found.</p>"
    sections = [
        _section(run, candidate, told)
        for candidate, told in zip(run.candidates, record["candidates"], strict=True)
    ]
    parts = [
        f"<header><p class=kind>Results of an enclosure search</p><h1>{name}</h1></header>",
        f'<section class="lead">{summary}</section>',
        f'<section class="caution"><h2>Before you drive a box</h2><ul>{warned}</ul></section>',
        f"<section><h2>Ranking</h2>{ranking}<p>{escape(record['withheld'])}</p></section>",
        *sections,
        f'<section class="record"><p class=kind>config hash {escape(record["config_hash"])}, '
        f"{escape(str(record['written'] or ''))}</p></section>",
    ]
    return page(f"{record['season']}: results", parts)


def _section(run: Run, candidate: dict[str, Any], told: dict[str, Any]) -> str:
    title = f"{told['rank']}. {told['topology']}"
    reasons = "".join(f"<li>{escape(reason)}</li>" for reason in told["reasons"])
    source, scale = run.record["source"], run.record["scale"]
    tones = [tone["hz"] for tone in source["tones"]]
    rows = _level_rows(run, candidate)
    evaluation = {"spaces": told["spaces"]}
    with matplotlib.rc_context(FIGURE_STYLE):
        pictures = [
            (tones_figure(f"{title}: tones and limits", evaluation, scale), "level at every tone, and the "
             "drive left before each limit"),
            (response_figure(f"{title}: at the permitted drive", rows, tones, {}, scale, levels_only=True),
             "level over frequency at the permitted drive"),
        ]  # fmt: skip
        figures = "".join(_figure(figure, f"{title}: {words}.") for figure, words in pictures)
    return (
        f'<section class="candidate"><h2>{escape(title)}</h2>'
        f"<p class=kind>{escape(told['role'])}; {told['score_db']:.2f} dB</p>"
        + (f"<h3>Why</h3><ul>{reasons}</ul>" if reasons else "")
        + f'<div class="pair">{figures}</div></section>'
    )


def _figure(figure: Figure, words: str) -> str:
    FigureCanvasAgg(figure)
    image = io.BytesIO()
    figure.savefig(image, format="svg", metadata={"Date": None})
    return picture(data_address("image/svg+xml", image.getvalue()), words)


def write_public(run: Run) -> list[str]:
    """Write ``public.html`` and ``public.json`` into a run folder; returns their paths.

    Raises
    ------
    ConfigError
        The folder's data do not fit together.
    OSError
        The folder cannot be written.
    """
    try:
        record = public_record(run)
        text = public_page(run, record)
    except (KeyError, ValueError, TypeError, IndexError) as error:
        words = f"the folder's data do not fit together ({error!r})"
        raise damaged(run.folder / "run.json", words) from error
    write_json(run.folder / "public.json", record)
    write_text(run.folder / "public.html", text)
    return [str(run.folder / "public.html"), str(run.folder / "public.json")]
