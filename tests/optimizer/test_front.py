"""Non-dominated rows and how they are thinned."""

from __future__ import annotations

import numpy as np

from optimizer.front import non_dominated, spread_rows


def test_agrees_with_the_definition() -> None:
    rng = np.random.default_rng(0)
    gains = rng.integers(0, 6, (80, 3)).astype(float)
    gains[3, 1] = np.nan
    kept = set(non_dominated(gains).tolist())
    unique: dict[tuple[float, ...], int] = {}
    for i, row in enumerate(gains):
        if np.any(np.isnan(row)):
            continue
        beaten = np.any(np.all(gains >= row, axis=1) & np.any(gains > row, axis=1))
        if not beaten:
            unique.setdefault(tuple(row), i)
    assert kept == set(unique.values())
    first = gains[non_dominated(gains), 0]
    assert np.all(np.diff(first) <= 0.0)


def test_spread_keeps_the_best_of_every_objective() -> None:
    rng = np.random.default_rng(1)
    gains = rng.random((500, 3))
    rows = spread_rows(gains, 50)
    assert rows.size <= 50
    assert set(np.argmax(gains, axis=0)) <= set(rows.tolist())
    assert np.array_equal(spread_rows(gains[:10], 50), np.arange(10))
