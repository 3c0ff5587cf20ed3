"""The candidates of a run as cards: what each is, why, and its files."""

from __future__ import annotations

from html import escape
from typing import Any

from models.catalogue import short_label
from optimizer.objectives import OBJECTIVES
from optimizer.price_words import written
from optimizer.priced_rules import RULES
from optimizer.report_extras import hot_words, sketch, tolerance_words
from optimizer.report_parts import download, figure, file_links, table
from optimizer.run_designs import candidate_folder
from optimizer.run_folder import Run

CARD_REASONS = 3
"""Reasons on the face of a card; the rest are folded below it."""


def candidates_section(run: Run) -> str:
    """All candidates, a card each.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    str
        HTML text [text].

    Raises
    ------
    FileNotFoundError
        A figure or design file is missing.
    """
    if not run.candidates:
        return '<section id="candidates"><h2>Candidates</h2><p>No design that fits was found.</p></section>'
    cards = "".join(_card(run, candidate) for candidate in run.candidates)
    return f'<section id="candidates"><h2>Candidates</h2>{cards}</section>'


def _card(run: Run, candidate: dict[str, Any]) -> str:
    rank = int(candidate["rank"])
    place = candidate_folder(rank)
    reasons = [str(reason) for reason in candidate["reasons"]]
    more = [*reasons[CARD_REASONS:], *hot_words(candidate), *tolerance_words(candidate)]
    return (
        f'<article class="card" id="candidate-{rank}">'
        f'<div class="sketch">{sketch(run.folder, candidate, place)}</div>'
        f'<div class="facts"><p class="role">{escape(candidate["role"])}</p>'
        f"<h3>{rank}. {escape(candidate['topology'])}</h3>"
        f'<p class="score">{float(candidate["score_db"]):.2f} dB</p>{_objectives(run, candidate)}'
        f"{_list(reasons[:CARD_REASONS])}{_unfit(candidate)}"
        f"{_files(run, candidate, place)}</div>"
        f'<details><summary>All about candidate {rank}</summary><div class="inside">'
        f"{_list(more)}{_prices(candidate['prices'])}{_pair(run, rank, place)}{_sizes(run, place)}"
        "</div></details></article>"
    )


def _objectives(run: Run, candidate: dict[str, Any]) -> str:
    shown = [OBJECTIVES[name] for name in run.record["objectives"] if name != "output"]
    values = [
        f"{escape(o.label)} {float(candidate['objectives'][o.key]):.4g} {o.unit}"
        for o in shown
        if candidate["objectives"].get(o.key) is not None
    ]
    graph = f"graph {escape(short_label(candidate['graph'], candidate['graph']))}"
    return f'<p class="kind">{"; ".join([*values, graph])}</p>'


def _list(sentences: list[str]) -> str:
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    return f"<ul>{items}</ul>" if items else ""


def _unfit(candidate: dict[str, Any]) -> str:
    reasons = candidate["evaluation"]["reasons_not"]
    return f'<div class="warn"><h4>Does not fit</h4>{_list(reasons)}</div>' if reasons else ""


def _files(run: Run, candidate: dict[str, Any], place: str) -> str:
    text = (run.folder / place / "design.toml").read_text(encoding="utf-8")
    parts = sorted(p.name for p in (run.folder / place / "parts").glob("*") if p.is_file())
    known = ("design.toml", "network.toml", "response.csv", "plan.json", "plan.svg")
    named = [*known, *(f"parts/{name}" for name in parts)]
    links = file_links(run.folder, [f"{place}/{name}" for name in named])
    saved = download(f"candidate-{int(candidate['rank']):02d}.toml", text, "Save the design file")
    return f'<p class="files">{saved}<span>In the run folder: {", ".join(links)}</span></p>'


def _sizes(run: Run, place: str) -> str:
    text = (run.folder / place / "design.toml").read_text(encoding="utf-8")
    return f"<h4>Sizes</h4><pre>{escape(text)}</pre>"


def _pair(run: Run, rank: int, place: str) -> str:
    tones = f"Candidate {rank}: level at every tone, and the drive left before each limit."
    response = f"Candidate {rank}: response over frequency at the permitted drive."
    folder = run.folder / place
    return f'<div class="pair">{figure(folder / "tones", tones)}{figure(folder / "response", response)}</div>'


def _prices(prices: list[dict[str, Any]]) -> str:
    if not prices:
        return ""
    title = "<h4>What wider rules would give</h4>"
    if "base_db" not in prices[0]:  # folders of earlier versions
        rows = [[_rule(p), price_text(p), how_known(p)] for p in prices]
        return title + table(["rule", "one unit more gives", "how known"], rows, {1})
    told: list[list[Any]] = [
        [_rule(p), price_text(p), _unchanged(p), p.get("dropped_gain_db")] for p in prices
    ]
    head = ["rule", "one unit more gives", "this very box", "without it, at least (dB)"]
    own = "“This very box” is the candidate with its sizes unchanged, driven anew."
    return f"{title}<p>{escape(basis(prices[0]))} {own}</p>{table(head, told, {1, 2, 3})}"


def basis(price: dict[str, Any]) -> str:
    """Of what box prices are, and how they were found, as a sentence."""
    return (
        f"Prices are of a {price['of']} of {float(price['base_db']):.2f} dB, not of a floor plan; "
        f"{price['held']} are kept, all else is designed anew: {how_known(price)}."
    )


def _rule(price: dict[str, Any]) -> str:
    rule = RULES.get(price["rule"])
    return rule.words if rule else str(price["rule"])


def _unchanged(price: dict[str, Any]) -> str:
    gain = price.get("unchanged_db_per_unit")
    return "" if gain is None else _per_unit(float(gain), price["unit"])


def price_text(price: dict[str, Any]) -> str:
    """A price with its unit, and the other one where it is another for less of its rule."""
    text = _per_unit(float(price["db_per_unit"]), price["unit"])
    if price.get("unique", True):
        return text
    return f"{text}; one unit less {_per_unit(-float(price['db_per_unit_less']), price['unit'])}"


def _per_unit(gain: float, unit: str) -> str:
    return f"{'+' if gain > 0.0 else ''}{written(gain, 3)} dB per {unit}" if abs(gain) > 1e-6 else "nothing"


def how_known(price: dict[str, Any]) -> str:
    """How a price was found."""
    if price["verified"]:
        return "solved again with a new box"
    if price.get("box") == "designed anew":
        return "multipliers of the optimum, not solved again"
    return "this box unchanged, driven anew"
