"""Parts that every page is made of: the frame with its security policy, tables, pictures, links."""

from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

from PIL import Image

from optimizer.report_style import PAGE_STYLE

PICTURE_COLOURS = 64
"""Colours of a figure in the page: its few hues with their soft edges."""

Compressed = tuple[str, str]
"""Address of a picture that a page holds, and its size as attributes."""

_KEPT: dict[Path, tuple[int, Compressed]] = {}
"""Figures drawn a moment ago, when, and what a page shows of them."""

PRINT_SCRIPT = """addEventListener("beforeprint", () => {
  for (const one of document.querySelectorAll("details:not([open])")) {
    one.open = true; one.dataset.closed = ""; } });
addEventListener("afterprint", () => {
  for (const one of document.querySelectorAll("details[data-closed]")) {
    one.open = false; delete one.dataset.closed; } });"""
"""Opens everything that is folded for print, and closes it again."""


def page(title: str, parts: Sequence[str], scripts: Sequence[str] = (), data: str = "") -> str:
    """One HTML file that asks the network for nothing and runs no script but its own.

    Parameters
    ----------
    title : str
        Title of the page, escaped here [text].
    parts : sequence of str
        HTML of the page in order; empty parts are left out [text].
    scripts : sequence of str
        JavaScript to run after the page, in order [text].
    data : str
        HTML that holds data for the scripts, put after the page [text].

    Returns
    -------
    str
        HTML text that needs no other file [text].
    """
    body = "\n".join(part for part in parts if part)
    scripts = [PRINT_SCRIPT, *scripts] if "<details" in body else list(scripts)
    allowed = " ".join(f"'sha256-{_digest(script)}'" for script in scripts) or "'none'"
    policy = (
        "default-src 'none'; img-src data: blob:; style-src 'unsafe-inline'; base-uri 'none'; "
        f"form-action 'none'; script-src {allowed}"
    )
    head = (
        '<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{PAGE_STYLE}</style>\n"
    )
    code = "\n".join(f"<script>{script}</script>" for script in scripts)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n{head}</head>\n<body>\n<main>\n{body}\n</main>\n'
        f"{data}\n{code}\n</body>\n</html>\n"
    )


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode()


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
        f'<div class="wide" tabindex="0"><table><thead>{row("th", head, set())}</thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def figure(stem: Path, words: str) -> str:
    """A figure of the run folder with its caption.

    The page holds it as lossless WebP of few colours: a tenth of the SVG, whose letters are outlines.

    Parameters
    ----------
    stem : Path
        The figure's file without its suffix [path].
    words : str
        Caption [text].

    Returns
    -------
    str
        HTML text [text].

    Raises
    ------
    FileNotFoundError
        There is no such PNG.
    """
    path = _png(stem)
    written_ns, kept = _KEPT.pop(path, (0, None))
    if kept is None or written_ns != path.stat().st_mtime_ns:
        with Image.open(path) as image:
            kept = for_page(image)
    address, size = kept
    return picture(address, words, size)


def keep(stem: Path, compressed: Compressed) -> None:
    """Keep what :func:`for_page` made of a figure just drawn, for :func:`figure` to find."""
    _KEPT[_png(stem)] = _png(stem).stat().st_mtime_ns, compressed


def for_page(image: Image.Image) -> Compressed:
    """Address of a picture in the page, and its size as attributes."""
    content = io.BytesIO()
    width, height = image.size
    few = image.convert("RGB").quantize(
        PICTURE_COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE
    )
    few.convert("RGB").save(content, "webp", lossless=True, method=2, quality=30)
    return data_address("image/webp", content.getvalue()), f' width="{width}" height="{height}"'


def _png(stem: Path) -> Path:
    return stem.with_name(f"{stem.name}.png")


def picture(address: str, words: str, size: str = "") -> str:
    """A picture with its caption; its size, where given, keeps the page from jumping."""
    words = escape(words, quote=True)
    return (
        f'<figure><img src="{address}" alt="{words}"{size}>'
        f"<figcaption>{words}</figcaption></figure>"
    )


def data_address(kind: str, content: bytes) -> str:
    """Address that holds its content."""
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def file_links(folder: Path, places: Sequence[str]) -> list[str]:
    """Links, relative to the run folder's pages, to those of some files that exist.

    Parameters
    ----------
    folder : Path
        Run folder [path].
    places : sequence of str
        Files relative to it [text].

    Returns
    -------
    list of str
        HTML texts [text].
    """
    there = [place for place in places if (folder / place).is_file()]
    return [f'<a href="{quote(place)}">{escape(Path(place).name)}</a>' for place in there]


def download(name: str, content: str, words: str) -> str:
    """Link that saves a text which the page itself holds."""
    address = data_address("text/plain", content.encode("utf-8"))
    return f'<a class="get" download="{escape(name, quote=True)}" href="{address}">{escape(words)}</a>'
