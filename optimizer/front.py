"""Non-dominated designs."""

from __future__ import annotations

import numpy as np

_BLOCK = 256
"""Rows that are compared at once."""


def non_dominated(gains: np.ndarray) -> np.ndarray:
    """Rows that no other row beats: at least as good everywhere and better somewhere.

    Of equal rows the first is kept.

    Parameters
    ----------
    gains : ndarray, shape (n, n_objectives)
        Objectives where more is better; rows with nan are never kept [mixed].

    Returns
    -------
    ndarray of int, shape (n_kept,)
        Indexes in the order of falling first objective [1].
    """
    order = np.lexsort(tuple(-gains[:, c] for c in reversed(range(gains.shape[1]))))
    order = order[~np.any(np.isnan(gains[order]), axis=1)]
    # whatever beats or equals a row stands before it
    kept = np.empty(0, dtype=int)
    for start in range(0, order.size, _BLOCK):
        block = order[start : start + _BLOCK]
        before = np.concatenate([kept, block])
        beaten = np.ones((block.size, before.size), dtype=bool)
        for column in gains.T:
            beaten &= column[before] >= column[block, None]
        beaten &= np.arange(before.size) < kept.size + np.arange(block.size)[:, None]
        kept = np.concatenate([kept, block[~beaten.any(axis=1)]])
    return kept


def spread_rows(gains: np.ndarray, count: int) -> np.ndarray:
    """Rows evenly spread along the order they stand in, the best of every objective among them.

    Parameters
    ----------
    gains : ndarray, shape (n, n_objectives)
        Objectives where more is better, in the order of a front [mixed].
    count : int
        Largest number of rows [1].

    Returns
    -------
    ndarray of int, shape (at most count,)
        Indexes in rising order [1].
    """
    total = gains.shape[0]
    if total <= count:
        return np.arange(total)
    extremes = np.argmax(gains, axis=0)
    even = np.linspace(0, total - 1, count - extremes.size).round().astype(int)
    return np.unique(np.concatenate([extremes, even]))
