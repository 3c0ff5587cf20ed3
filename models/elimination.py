"""Elimination of complex symmetric systems over whole planes, following the pattern of their entries.

A matrix is a dictionary from index pairs (i <= j) to planes of equal shape, one value a design
and tone; absent pairs are zero everywhere. Passive networks need no pivoting: every pivot keeps
the positive real part that dissipation gives it. Which entries meet is worked out once for a pattern
(:func:`schedule_of`); numpy follows that schedule here, compiled code in :mod:`models.drive_kernel`.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

Key = tuple[int, int]
Planes = dict[Key, np.ndarray]
Row = tuple[int, np.ndarray, dict[int, np.ndarray], np.ndarray | None]


def entry(i: int, j: int) -> Key:
    """Key of the entry (i, j) of a symmetric matrix, of which one half is kept."""
    return (i, j) if i <= j else (j, i)


def add(planes: Planes, i: int, j: int, value: np.ndarray) -> None:
    """Add a plane to the entry (i, j) of a symmetric matrix, in place."""
    key = entry(i, j)
    present = planes.get(key)
    planes[key] = value if present is None else present + value


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Elimination of one unknown.

    Attributes
    ----------
    pivot : int
        The unknown [1].
    others : tuple of int
        Unknowns that share an entry with it, in rising order [1].
    """

    pivot: int
    others: tuple[int, ...]

    @property
    def targets(self) -> list[tuple[int, int, Key]]:
        """Places in ``others`` of every pair of unknowns, and the entry that the pair changes."""
        return [
            (a, b, entry(i, j))
            for a, i in enumerate(self.others)
            for b, j in enumerate(self.others[a:], start=a)
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Order of an elimination, known from the pattern of a matrix alone.

    Attributes
    ----------
    steps : tuple of Step
        One an eliminated unknown [record].
    left : frozenset of pairs of int
        Entries of the unknowns that remain, those filled in on the way among them [1].
    """

    steps: tuple[Step, ...]
    left: frozenset[Key]


@functools.lru_cache(maxsize=4096)
def schedule_of(pattern: frozenset[Key], pivots: tuple[int, ...]) -> Schedule:
    """Schedule that eliminates some unknowns, those with the fewest neighbours first.

    Parameters
    ----------
    pattern : frozenset of pairs of int
        Entries that are not zero [1].
    pivots : tuple of int
        Unknowns to eliminate; of equals the first in this order [1].

    Returns
    -------
    Schedule
        The steps [record].
    """
    left = set(pattern)
    waiting = list(pivots)
    steps = []

    def neighbours(p: int) -> list[int]:
        return sorted({i if j == p else j for i, j in left if p in (i, j)} - {p})

    while waiting:
        pivot = min(waiting, key=lambda p: len(neighbours(p)))
        waiting.remove(pivot)
        step = Step(pivot=pivot, others=tuple(neighbours(pivot)))
        left = {key for key in left if pivot not in key} | {key for _, _, key in step.targets}
        steps.append(step)
    return Schedule(steps=tuple(steps), left=frozenset(left))


def eliminate(planes: Planes, right: dict[int, np.ndarray], pivots: Iterable[int]) -> list[Row]:
    """Eliminate unknowns one after the other, changing matrix and right side in place.

    Parameters
    ----------
    planes : Planes
        Entries of the symmetric matrix; afterwards those of the unknowns that remain [any].
    right : dict of ndarrays
        Right side; absent entries are zero [any].
    pivots : iterable of int
        Unknowns to eliminate [1].

    Returns
    -------
    list of Row
        What :func:`substitute` needs to recover the eliminated unknowns [record].
    """
    rows: list[Row] = []
    for step in schedule_of(frozenset(planes), tuple(pivots)).steps:
        p = step.pivot
        inverse = 1.0 / planes.pop((p, p))
        entries = {i: planes.pop(entry(i, p)) for i in step.others}
        source = right.pop(p, None)
        factors = [entries[i] * inverse for i in step.others]
        for a, b, key in step.targets:
            change = factors[a] * entries[step.others[b]]
            planes[key] = planes[key] - change if key in planes else -change
        if source is not None:
            for i, factor in zip(step.others, factors, strict=True):
                right[i] = right[i] - factor * source if i in right else -factor * source
        rows.append((p, inverse, entries, source))
    return rows


def substitute(rows: list[Row], known: dict[int, np.ndarray]) -> None:
    """Recover eliminated unknowns, last first, adding them to ``known`` in place."""
    for p, inverse, entries, source in reversed(rows):
        total = source if source is not None else 0.0
        for i, plane in entries.items():
            total = total - plane * known[i]
        known[p] = np.asarray(inverse * total)
