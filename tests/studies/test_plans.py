"""Random designs of graphs: each has a plan that passes every check, or is refused with a reason."""

from __future__ import annotations

import pytest

from studies.plans.study import main

pytest.importorskip("manifold3d")


def test_random_designs_pass_or_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    graphs = ["oA/Ao", "AB/Ao", "AB/AB.Ao", "oA//Ao", "oA.AB", "oA/AB.BC.Co"]
    rows = main(["--reduced", "--graphs", *graphs])
    assert [row.graph for row in rows] == graphs
    for row in rows:
        assert row.failed == [], row.graph
        assert row.designs == 1 == row.built + sum(row.refused.values())
        assert all(row.refused)
    assert sum(row.built for row in rows) >= 5
    assert "| oA/Ao | vented box | 1 | 1 | 0 |" in capsys.readouterr().out
