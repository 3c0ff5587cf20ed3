"""The dense reference of the speed study gives the levels of the elimination."""

from __future__ import annotations

from studies.evaluation_speed.study import compare


def test_dense_and_elimination_agree() -> None:
    rows = compare(8, 1)
    assert len(rows) >= 7
    for name, size, rate, ratio, worst in rows:
        assert size == 8, name
        assert rate > 0.0 and ratio > 0.0
        assert worst < 1e-5, name
