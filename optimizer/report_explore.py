"""The part of the report's page that a reader explores: linked views of many designs, drawn by bokeh."""

from __future__ import annotations

import base64
import json
import zlib
from dataclasses import dataclass
from html import escape
from importlib import resources
from importlib.util import find_spec
from typing import Any

from models.catalogue import short_label
from optimizer.objectives import OBJECTIVES
from optimizer.report_plots import CURVE_TITLES, plot_items
from optimizer.run_folder import Run
from optimizer.style import COLOURS, QUIET

SHAPES = ("circle", "square", "triangle", "diamond", "inverted_triangle", "plus", "x")
"""Marks of topologies on the scatter, in bokeh's words."""

SIGNS = ("●", "■", "▲", "◆", "▼", "✚", "✖")
"""The same marks for the key."""

DASHES = ("solid", "dashed", "dotted", "dotdash")
"""Line patterns of topologies, in bokeh's words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exploring:
    """The three pieces of the page's exploring part.

    Attributes
    ----------
    section : str
        HTML of the section [text].
    data : str
        HTML that holds the data of the scripts [text].
    scripts : tuple of str
        JavaScript in order [text].
    """

    section: str
    data: str
    scripts: tuple[str, ...]


def can_explore(run: Run) -> bool:
    """Whether the folder holds designs to explore and bokeh, the extra ``report``, is installed."""
    return run.explore is not None and bool(run.explore["candidate"]) and find_spec("bokeh") is not None


def exploring(run: Run) -> Exploring:
    """Section, data and scripts for a run that can be explored.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    Exploring
        The pieces [record].

    Raises
    ------
    KeyError
        ``explore.json`` lacks a part.
    """
    from bokeh.resources import Resources

    record = run.explore or {}
    kinds = _kinds(record)
    objectives = [OBJECTIVES[n] for n in ("output", "material", *run.record["objectives"])]
    known = {o.key: o for o in objectives if o.key in record["objectives"]}
    for objective in OBJECTIVES.values():
        if objective.key in record["objectives"]:
            known.setdefault(objective.key, objective)
    first = next((OBJECTIVES[n].key for n in run.record["objectives"] if n != "output"), "material_cm3")
    settings = {
        "kinds": kinds,
        "objectives": [
            {"key": o.key, "label": o.label, "unit": o.unit, "sign": o.sign, "listed": o in objectives}
            for o in known.values()
        ],
        "across": first,
        "quiet": QUIET,
        "items": plot_items(run.record["source"], record["curves"]["hz"]),
    }
    text = json.dumps(record, allow_nan=False, separators=(",", ":"))
    packed = base64.b64encode(zlib.compress(text.encode("utf-8"))).decode()
    data = (
        f'<script type="application/json" id="explore-settings">{script_json(settings)}</script>\n'
        f'<script type="application/octet-stream" id="explore-data">{packed}</script>'
    )
    library = "\n".join(Resources(mode="inline", components=["bokeh"], log_level="fatal").js_raw)
    own = (resources.files("optimizer") / "report_explore.js").read_text(encoding="utf-8")
    return Exploring(
        section=_section(record, known, first, kinds),
        data=data,
        scripts=(script_text(library), script_text(own)),
    )


def script_json(content: Any) -> str:
    """JSON that can stand in a script element: nothing in it ends the element or a line of script.

    Parameters
    ----------
    content : mixed
        Plain data [mixed].

    Returns
    -------
    str
        JSON in ASCII without ``<``, ``>`` and ``&`` [text].
    """
    text = json.dumps(content, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def script_text(script: str) -> str:
    """A script that can stand in a script element and has the same hash in every browser.

    Raises
    ------
    ValueError
        It would end its element.
    """
    script = script.replace("\r\n", "\n").replace("\r", "\n")
    if "</script" in script.lower() or "<!--" in script:
        raise ValueError("a script that ends its own element")
    return script


def _kinds(record: dict[str, Any]) -> list[dict[str, Any]]:
    """Topologies with their marks: the most frequent first, the rare ones alike."""
    names, of = record["topology"]["names"], record["topology"]["of"]
    graphs = record["graph"]["names"]
    graph_of = dict(zip(of, record["graph"]["of"], strict=True))
    counts = [0] * len(names)
    for index in of:
        counts[index] += 1
    ranked = sorted(range(len(names)), key=lambda index: -counts[index])
    kinds: list[dict[str, Any]] = [{} for _ in names]
    for place, index in enumerate(ranked):
        rare = place >= len(COLOURS) - 1
        mark = len(COLOURS) - 1 if rare else place
        label = short_label(names[index], graphs[graph_of[index]])
        kinds[index] = {
            "name": names[index],
            "label": label,
            "count": counts[index],
            "place": place,
            "colour": QUIET if rare else COLOURS[mark],
            "shape": SHAPES[mark],
            "sign": SIGNS[mark],
            "dash": DASHES[place % len(DASHES)],
        }
    return kinds


def _section(record: dict[str, Any], known: dict[str, Any], first: str, kinds: list[dict[str, Any]]) -> str:
    order = sorted(range(len(kinds)), key=lambda index: kinds[index]["place"])
    topologies = "".join(
        f'<option value="{i}">{escape(kinds[i]["label"])} ({kinds[i]["count"]})</option>' for i in order
    )
    key = "".join(
        f'<li><span data-colour="{kind["colour"]}">{kind["sign"]}</span> {escape(kind["label"])}</li>'
        for kind in (kinds[i] for i in order)
    )
    across = "".join(
        f'<option value="{o.key}"{" selected" if o.key == first else ""}>{escape(o.label)} ({o.unit})'
        "</option>"
        for o in known.values()
        if o.key != "output_db"
    )
    spaces = "".join(
        f'<option value="{i}">{escape(name)}</option>' for i, name in enumerate(record["curves"]["spaces"])
    )
    total, drawn = len(record["candidate"]), len(record["curves"]["quantities"]["level_db"]["rows"])
    fewer = "" if drawn == total else f" Curves are kept for {drawn} of them, the front's among these."
    curves = "".join(
        f'<div><h4>{escape(title)}</h4><div id="plot-{name}" role="img" aria-label="{escape(title)}">'
        "</div></div>"
        for name, title in CURVE_TITLES.items()
    )
    return (
        '<section id="explore" class="screen"><h2>Explore</h2>'
        f"<p>{total} designs: the candidates, the front, and of every topology those that no other of their "
        f"kind beats.{fewer} Drag over the points or click rows to select designs; they are then marked in "
        "every view.</p>"
        '<p class="warn" id="explore-fault" hidden>This browser is too old to show this part.</p>'
        '<div id="explore-body" hidden><div class="filters">'
        f'<label>Topology<select id="f-kind"><option value="">all</option>{topologies}</select></label>'
        '<label>Score at least<span><input type="range" id="f-score"><output for="f-score"></output></span>'
        "</label>"
        '<label>Printed material at most<span><input type="range" id="f-material">'
        '<output for="f-material"></output></span></label>'
        '<label class="tick"><input type="checkbox" id="f-front"> the front alone</label></div>'
        f'<ul class="key">{key}</ul>'
        '<div class="pair"><div><div class="filters"><label>Score over'
        f'<select id="f-across">{across}</select></label></div>'
        '<div id="plot-points" role="img" aria-label="Score of every design"></div></div>'
        '<div><h4>Sizes of the selected designs</h4><div id="plot-sizes" role="img" '
        'aria-label="Sizes of the selected designs on parallel axes"></div></div></div>'
        '<p><b id="explore-state" aria-live="polite"></b> <button type="button" id="f-clear">Clear selection'
        "</button></p>"
        f'<div class="filters"><label>Curves in<select id="f-space">{spaces}</select></label></div>'
        f'<div class="pair">{curves}</div>'
        '<p class="kind">Thick: the design named below. Dotted: the tones of the season. Red, dashed: its '
        "limit.</p>"
        '<div class="pair"><div class="chosen"><h3 id="chosen-name"></h3>'
        '<p class="kind" id="chosen-facts"></p><table><tbody id="chosen-sizes"></tbody></table>'
        '<p><button type="button" id="copy">Copy the design file</button> '
        '<button type="button" id="save">Save it</button> <span id="copied" aria-live="polite"></span></p>'
        '<details><summary>The design file</summary><pre id="chosen-file"></pre></details></div>'
        '<div><div class="wide rows" tabindex="0"><table><thead id="rows-head"></thead>'
        '<tbody id="rows"></tbody></table></div><p class="kind" id="rows-note"></p></div></div>'
        "</div></section>"
    )
