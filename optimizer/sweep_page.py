"""The page of a sweep: sentences, figures and table in one HTML file."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

from models.catalogue import short_label
from optimizer.figures import draw_figure
from optimizer.figures_sweep import sweep_figures
from optimizer.files import write_text
from optimizer.report_parts import data_address, page, picture
from optimizer.report_parts import table as html_table
from optimizer.report_words import CAUTIONS
from optimizer.sweep_keys import value_text

PAGE = "sweep.html"


def draw_sweep(out: Path, table: Mapping[str, Any]) -> None:
    """Draw the figures and the page of a sweep.

    Parameters
    ----------
    out : Path
        The sweep's folder [path].
    table : mapping
        Content of ``sweep.json`` [mixed].

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    pictures = []
    for name, make, words in sweep_figures(table):
        draw_figure(make, out / name)
        address = data_address("image/svg+xml", (out / f"{name}.svg").read_bytes())
        pictures.append(picture(address, words))
    write_text(out / PAGE, _page(table, pictures))


def _page(table: Mapping[str, Any], pictures: list[str]) -> str:
    season, keys = escape(table["season"]), escape(", ".join(table["keys"]))
    sentences = "".join(f"<p>{escape(sentence)}</p>" for sentence in table["sentences"])
    cautions = "".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    parts = [
        f"<header><p class=kind>Sweep of {keys}</p><h1>{season}</h1></header>",
        f'<section class="lead">{sentences}'
        "<p>All numbers come from the model; none was measured on a built box.</p></section>",
        f'<section class="pair">{"".join(pictures)}</section>',
        f"<section><h2>Points</h2>{_table(table)}</section>",
        f'<section class="caution"><h2>Before you build or drive one</h2><ul>{cautions}</ul></section>',
    ]
    return page(f"{table['season']}: sweep of {', '.join(table['keys'])}", parts)


def _table(table: Mapping[str, Any]) -> str:
    keys = table["keys"]
    head = [*keys, "best (dB)", "winner", "lead (dB)", "closed (dB)", "vented (dB)", "bound (dB)", "run"]
    rows = []
    for row in table["rows"]:
        name = short_label(row["topology"], row["graph"]) if row.get("graph") else row["status"]
        rows.append(
            [
                *(value_text(value) for value in row["values"].values()),
                row.get("best_db"),
                name,
                *(row.get(key) for key in ("lead_db", "closed_db", "vented_db", "bound_db")),
                f'<a href="{escape(row["run"], quote=True)}/">{escape(row["run"].rpartition("/")[2])}</a>',
            ]
        )
    first = len(keys)
    words = (
        "<p>Bound: no enclosure at all can play louder with this driver in these spaces, in the model. "
        "<code>boxwright report</code> with a run folder draws its figures.</p>"
    )
    numbers = {*range(first + 1), *range(first + 2, first + 6)}
    return html_table(head, rows, numbers, raw={first + 6}) + words
