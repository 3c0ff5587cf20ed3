"""How sure a search is, in a few words: of the loudest free network, the first-ranked box and its plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from models.catalogue import short_label


def agreeing_words(sure: Mapping[str, Any]) -> str:
    """Whose restarts agree: those of the loudest free network's type, and of the first-ranked box's own.

    Parameters
    ----------
    sure : mapping
        The record of :func:`optimizer.confidence.confidence`; of folders of earlier versions a part [mixed].

    Returns
    -------
    str
        Such as ``2 of 2 restarts of its type agree`` [text].
    """
    first = sure.get("first")
    loudest = f"{sure.get('agreeing', 0)} of {sure.get('restarts', 0)} restarts of"
    if not first or first["graph"] == sure["graph"]:
        return f"{loudest} its type agree"
    name = short_label(first["topology"], first["graph"])
    own = f"{first['agreeing']} of {first['restarts']} of its own type, {name}"
    if not first["restarts"]:
        own = f"none was spent on its own type, {name}"
    return f"{loudest} the loudest free network's type, graph {sure['graph']}, agree, and {own}"


def plan_words(sure: Mapping[str, Any]) -> str:
    """How often the first-ranked box's plan was sought; empty where it has none or the searches agree.

    Parameters
    ----------
    sure : mapping
        As of :func:`agreeing_words` [mixed].

    Returns
    -------
    str
        Such as ``its plan was sought once`` [text].
    """
    first = sure.get("first") or {}
    searches, agreeing = first.get("plan_searches", 0), first.get("plans_agreeing", 0)
    if searches == 1:
        return "its plan was sought once"
    return f"{agreeing} of {searches} searches for its plan agree" if agreeing < min(searches, 2) else ""
