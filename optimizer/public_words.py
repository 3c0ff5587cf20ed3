"""What may be said of a box in public: sentences without any of its dimensions, names without its graph.

A sentence is passed by what it holds, not refused by what it must not hold: every number in it must stand
before a unit of sound, electricity or frequency, or be a count that is known. So a reason that is new to
this filter, and quotes a length in whatever unit, stays out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from models.catalogue import LINE_NAMES, TRADE_NAMES

UNNAMED = "type without a trade name"
"""What a graph without a trade name is called: its id would tell how the box is made."""

PUBLIC_NAMES = frozenset(TRADE_NAMES.values()) | {n for pair in LINE_NAMES.values() for n in pair if n}
"""Trade names of boxes."""

_NUMBER = re.compile(r"[+-]?\d[\d.,]*(?:e[+-]?\d+)?", re.IGNORECASE)
_UNIT = re.compile(r"\s*(?:dB\(A\)|dB\(C\)|dB|Hz|W|V|A|m/s|s|min|h)(?![\w/²³^(])")
_COUNT = re.compile(r"\s*(?:of\s+\d+\b|(?:more |independent |short )?(?:restarts?|tones?|spaces?|types?)\b)")
_COUNTED = re.compile(r"(?:[Cc]andidate|(?<!\d)\d+ of|NIOSH|Directive)\s*$")
_JOINED = re.compile(r"\b(?:driver between|joined by|opens outside|diaphragm outside)\b")
"""Words of :func:`models.catalogue.graph_name` for graphs without a trade name."""

_GRAPH = re.compile(r"\bgraph\b|(?<!\w)[oA-N]{2}(?:\.[oA-N]{2})*(?:/[oA-N.]*)+(?!\w)|(?<!\w)oA(?!\w)")


def public_name(topology: str) -> str:
    """The trade name of a box, or :data:`UNNAMED`."""
    return topology if topology in PUBLIC_NAMES else UNNAMED


def is_public(text: str) -> bool:
    """Whether a text holds neither a dimension nor a graph.

    Parameters
    ----------
    text : str
        A sentence or a part of one [text].

    Returns
    -------
    bool
        True where every number in it is known to be harmless [flag].
    """
    if _GRAPH.search(text) or _JOINED.search(text):
        return False
    for found in _NUMBER.finditer(text):
        before, after = text[: found.start()], text[found.end() :]
        if re.search(r"\w$", before):  # part of a word or of a unit, such as m2 or cm3
            return False
        ended = found.group().endswith((".", ","))
        if not ended and (_UNIT.match(after) or _COUNT.match(after)):
            continue
        if _COUNTED.search(before):
            continue
        return False
    return True


def public_sentences(sentences: Iterable[str]) -> list[str]:
    """Sentences that may be published, and of lists after a colon the parts that may.

    Parameters
    ----------
    sentences : iterable of str
        Reasons or summaries [text].

    Returns
    -------
    list of str
        Those that hold no dimension and no graph [text].
    """
    result = []
    for sentence in sentences:
        if is_public(sentence):
            result.append(sentence)
            continue
        head, colon, tail = sentence.partition(": ")
        parts = [part for part in tail.removesuffix(".").split("; ") if is_public(part)]
        if colon and parts and is_public(head):
            result.append(f"{head}: {'; '.join(parts)}.")
    return result
