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
    """Rows that lie far apart, the best of every objective among them.

    After these each further row is the one that is farthest from those taken, every objective scaled to its
    range (T. F. Gonzalez, Theoretical Computer Science 38, 1985, 293-306, from memory).

    Parameters
    ----------
    gains : ndarray, shape (n, n_objectives)
        Objectives where more is better [mixed].
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
    low = gains.min(axis=0)
    scaled = (gains - low) / np.maximum(gains.max(axis=0) - low, 1e-12)
    chosen = list(dict.fromkeys(np.argmax(gains, axis=0).tolist()))
    nearest = np.min([((scaled - scaled[row]) ** 2).sum(axis=1) for row in chosen], axis=0)
    while len(chosen) < count:
        chosen.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, ((scaled - scaled[chosen[-1]]) ** 2).sum(axis=1))
    return np.unique(chosen)
