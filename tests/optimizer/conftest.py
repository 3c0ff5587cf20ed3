"""Files and results that the tests of this folder share: a half-space season and three boxes by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.catalogue import graph_name
from models.design import DesignBatch
from models.score import Judge
from optimizer.cli import main
from optimizer.design_file import read_design
from optimizer.evaluation import evaluation
from optimizer.objectives import measure
from optimizer.results import Candidate, ExploredDesigns, FrontPoint, SearchResult, TopologyBest
from optimizer.season import Season, load_season

SEASON = """
[season]
name = "Test league"
scale = 4
[driver]
name = "test driver"
fs_hz = 95.0
qms = 4.0
qes = 0.5
vas_l = 0.9
re_ohm = 3.4
sd_cm2 = 21.0
le_mh = 0.15
displaced_cm3 = 30.0
cutout_mm = 58.0
frame_mm = 68.0
depth_mm = 38.0
[envelope]
width_mm = 240.0
height_mm = 180.0
depth_mm = 160.0
wall_mm = 3.0
[limits]
power_w = 12.0
excursion_mm = 3.0
air_speed_m_s = 25.0
amplifier_v = 30.0
amplifier_a = 6.0
[[tones]]
hz = 112.0
[[tones]]
hz = 160.0
[[tones]]
hz = 224.0
[[spaces]]
name = "court"
kind = "half_space"
weight = 2.0
[[spaces]]
name = "far court"
kind = "half_space"
distance_m = 2.0
[search]
objectives = ["output", "evenness", "material"]
"""

CLOSED = """
topology = "closed box"
[chambers.A]
sides_mm = [150.0, 160.0, 120.0]
[[drivers]]
front = "outside"
rear = "A"
"""

VENTED = """
topology = "vented box"
[chambers.A]
sides_mm = [150.0, 180.0, 140.0]
[[drivers]]
front = "outside"
front_patch = { wall = "x-", at_mm = [60.0, 90.0] }
rear = "A"
[[ducts]]
name = "port"
from = "A"
to = "outside"
to_patch = { wall = "x-", at_mm = [180.0, 90.0] }
area_cm2 = 9.0
length_mm = 60.0
"""

BANDPASS = """
[chambers.A]
sides_mm = [150.0, 100.0, 140.0]
[chambers.B]
sides_mm = [150.0, 90.0, 140.0]
[[drivers]]
front = "A"
rear = "B"
[[ducts]]
name = "port"
from = "A"
to = "outside"
area_cm2 = 9.0
length_mm = 50.0
"""


@pytest.fixture
def season_path(tmp_path: Path) -> Path:
    """A season file in the open air."""
    path = tmp_path / "league.toml"
    path.write_text(SEASON, encoding="utf-8")
    return path


@pytest.fixture
def season(season_path: Path) -> Season:
    """That season, read."""
    return load_season(season_path)


@pytest.fixture
def design_paths(tmp_path: Path) -> list[Path]:
    """A closed box, a vented box and a fourth-order bandpass."""
    paths = []
    for name, text in (("closed", CLOSED), ("vented", VENTED), ("bandpass", BANDPASS)):
        path = tmp_path / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    return paths


@pytest.fixture
def designs(design_paths: list[Path], season: Season) -> list[DesignBatch]:
    """Those boxes, read."""
    return [read_design(path, season.rules) for path in design_paths]


@pytest.fixture
def run(capsys):
    """Run the command; returns exit status, standard output and standard error."""

    def call(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as leaving:
            main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return leaving.value.code, out, err

    return call


def hand_made_result(
    season: Season, designs: list[DesignBatch], *, interrupted: bool = False
) -> SearchResult:
    """What a search would leave behind if it had found these designs only."""
    judge = Judge(season.rules)
    found = []
    for design in designs:
        values = {k: float(v[0]) for k, v in measure(judge, design, judge.respond(design)).items()}
        found.append((design, evaluation(judge, design)[0], values))
    found.sort(key=lambda item: -item[1]["score_db"])
    candidates = tuple(
        Candidate(
            rank=rank,
            role="highest output" if rank == 1 else "another topology",
            topology=graph_name(design.topology),
            graph=design.topology.graph_id,
            design=design,
            objectives=values,
            evaluation=one,
            reasons=(f"It scores {one['score_db']:.2f} dB.", "Its ducts are short."),
            prices=({"rule": "limits.excursion_mm", "db_per_unit": 1.25, "unit": "mm", "verified": True},),
            agreement={"restarts": 4, "within_0.1_db": 3},
        )
        for rank, (design, one, values) in enumerate(found, start=1)
    )
    topologies = [
        TopologyBest(
            topology=c.topology,
            graph=c.graph,
            design=c.design,
            best_db=c.score_db,
            restart_scores_db=tuple(c.score_db - d for d in (0.0, 0.02, 0.5)),
            evaluations=1000,
        )
        for c in candidates
    ]
    topologies.append(
        TopologyBest(
            topology="passive radiator box",
            graph="oA//Ao",
            design=None,
            best_db=None,
            restart_scores_db=(),
            evaluations=10,
            why_none="nothing fits the envelope",
        )
    )
    return SearchResult(
        candidates=candidates,
        front=tuple(
            FrontPoint(topology=c.topology, graph=c.graph, design=c.design, objectives=c.objectives)
            for c in candidates
        ),
        topologies=tuple(topologies),
        objectives=season.search.objectives,
        interrupted=interrupted,
        confidence={"settled": True, "sentences": ["3 of 3 restarts agree."]},
        history=(),
        counts={"cells": 4, "restarts": 12, "evaluations": 3010},
        seconds={"search": 1.5, "ranking": 0.25},
        bound_db=152.5,
    )


@pytest.fixture
def result(season: Season, designs: list[DesignBatch]) -> SearchResult:
    """A search result made by hand from the three boxes."""
    return hand_made_result(season, designs)


@pytest.fixture
def explored_result(season: Season, result: SearchResult) -> SearchResult:
    """That result with thirty sizes of each box to explore, the last of them the front's."""
    return replace(result, explored=explored_sizes(season, result))


def explored_sizes(season: Season, result: SearchResult) -> tuple[ExploredDesigns, ...]:
    """The front's boxes with all chambers smaller and smaller."""
    judge = Judge(season.rules)
    groups = []
    for row, point in enumerate(result.front, start=1):
        few = np.zeros(30, dtype=int)
        shares = np.linspace(0.75, 1.0, few.size)
        batch = point.design.rows(few)
        batch = replace(batch, sides=batch.sides * np.array([1.0, 1.0, 0.0]) + batch.sides * _third(shares))
        values = measure(judge, batch, judge.respond(batch))
        front = np.where(shares == 1.0, row, 0)
        groups.append(ExploredDesigns(graph=point.graph, design=batch, objectives=values, front=front))
    return tuple(groups)


def _third(shares: np.ndarray) -> np.ndarray:
    return np.stack([0.0 * shares, 0.0 * shares, shares], axis=1)[:, None]
