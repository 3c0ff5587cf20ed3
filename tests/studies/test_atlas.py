"""The reduced atlas: every graph to two chambers in one season."""

from __future__ import annotations

from pathlib import Path

from models.reduction import simpler_graphs
from models.topology import parse_graph_id
from optimizer.files import read_csv
from studies.atlas.study import main, useful_graphs


def test_atlas_of_small_graphs(tmp_path: Path) -> None:
    """Each graph has a score with either form of duct, and none is far below one that it contains."""
    rows = main(["--reduced", "--out", str(tmp_path)])
    graphs = useful_graphs(2)
    assert len(graphs) == 10
    assert len(rows) == 2 * len(graphs)
    for profile in ("uniform", "conical"):
        best = {row.graph: row.best_db for row in rows if row.profile == profile}
        for graph, score in best.items():
            assert score is not None
            for simple in simpler_graphs(parse_graph_id(graph)) & best.keys():
                assert score > best[simple] - 1.0, (graph, simple)
    assert len(read_csv(tmp_path / "scores.csv")) == len(rows)
    for name in ("half_space.png", "half_space.svg", "graphs/AB_AB-Ao.png"):
        assert (tmp_path / name).stat().st_size > 5_000
