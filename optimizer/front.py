"""Non-dominated designs."""

from __future__ import annotations

import moocore
import numpy as np


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
    known = np.nonzero(~np.any(np.isnan(gains), axis=1))[0]
    if known.size == 0:
        return known
    kept = known[moocore.is_nondominated(gains[known], maximise=True, keep_weakly=False)]
    return np.asarray(kept[np.lexsort(tuple(-gains[kept, c] for c in reversed(range(gains.shape[1]))))])


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
