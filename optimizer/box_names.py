"""What the candidates of a run folder are called beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def is_built(candidate: Mapping[str, Any]) -> bool:
    """Whether a candidate's score is that of a floor plan."""
    return (candidate.get("plan") or {}).get("cost_db") is not None  # folders of earlier versions have none


def box_names(candidates: Sequence[Mapping[str, Any]]) -> list[str]:
    """Names by rank; free networks are said to be such where others have a plan, as plans cost them.

    Parameters
    ----------
    candidates : sequence of mapping
        Entries of ``candidates.json`` [list].

    Returns
    -------
    list of str
        Such as ``candidate 4 (free network)`` [text].
    """
    some = any(map(is_built, candidates))
    told = [" (free network)" if some and not is_built(candidate) else "" for candidate in candidates]
    return [f"candidate {c['rank']}{words}" for c, words in zip(candidates, told, strict=True)]


def first_kind(candidates: Sequence[Mapping[str, Any]]) -> list[int]:
    """Places of the boxes that the first one is ranked among: those with a plan, or the free networks."""
    return [i for i, candidate in enumerate(candidates) if is_built(candidate) == is_built(candidates[0])]
