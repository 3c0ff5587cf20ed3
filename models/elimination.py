"""Elimination of complex symmetric systems over whole planes, following the pattern of their entries.

A matrix is a dictionary from index pairs (i <= j) to planes of equal shape, one value a design
and tone; absent pairs are zero everywhere. Passive networks need no pivoting: every pivot keeps
the positive real part that dissipation gives it.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

Planes = dict[tuple[int, int], np.ndarray]


def add(planes: Planes, i: int, j: int, value: np.ndarray) -> None:
    """Add a plane to the entry (i, j) of a symmetric matrix, in place."""
    key = (i, j) if i <= j else (j, i)
    present = planes.get(key)
    planes[key] = value if present is None else present + value


def eliminate(planes: Planes, right: dict[int, np.ndarray], pivots: Iterable[int]) -> list[Row]:
    """Eliminate unknowns one after the other, changing matrix and right side in place.

    Parameters
    ----------
    planes : Planes
        Entries of the symmetric matrix; afterwards those of the unknowns that remain [any].
    right : dict of ndarrays
        Right side; absent entries are zero [any].
    pivots : iterable of int
        Unknowns to eliminate, in order [1].

    Returns
    -------
    list of Row
        What :func:`substitute` needs to recover the eliminated unknowns [record].
    """
    rows: list[Row] = []
    for p in pivots:
        inverse = 1.0 / planes.pop((p, p))
        others = sorted({key[0] if key[1] == p else key[1] for key in planes if p in key})
        entries = {i: planes.pop((i, p) if i <= p else (p, i)) for i in others}
        source = right.pop(p, None)
        for position, i in enumerate(others):
            factor = entries[i] * inverse
            for j in others[position:]:
                add(planes, i, j, -factor * entries[j])
            if source is not None:
                right[i] = right[i] - factor * source if i in right else -factor * source
        rows.append((p, inverse, entries, source))
    return rows


Row = tuple[int, np.ndarray, dict[int, np.ndarray], np.ndarray | None]


def substitute(rows: list[Row], known: dict[int, np.ndarray]) -> None:
    """Recover eliminated unknowns, last first, adding them to ``known`` in place."""
    for p, inverse, entries, source in reversed(rows):
        total = source if source is not None else 0.0
        for i, entry in entries.items():
            total = total - entry * known[i]
        known[p] = np.asarray(inverse * total)
