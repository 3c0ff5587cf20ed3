"""Designs in a run folder: those of the candidates, of the front, and the best of every topology."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from models.design import DesignBatch
from models.score import Judge
from optimizer.curves import CurveMaker
from optimizer.design_file import read_design, write_design
from optimizer.files import write_csv, write_json, write_text
from optimizer.laid_out import LaidOut
from optimizer.plan_file import plan_data
from optimizer.planned import room_reasons
from optimizer.results import Candidate, SearchResult
from optimizer.run_record import candidate_record, columns_of
from optimizer.season import Season
from optimizer.season_text import season_text

READ_BACK_TOLERANCE_DB = 0.01
"""Largest change of a score when a design is written and read back."""


PLAN_FILE, NETWORK_FILE = "plan.json", "network.toml"
"""Of a candidate: its floor plan, and the free network that was laid out."""


class InternalError(RuntimeError):
    """A result contradicts itself; a defect of the program, not of its input."""


def candidate_folder(rank: int) -> str:
    """Folder of a candidate, relative to the run folder."""
    return f"candidates/{rank:02d}"


def candidate_records(result: SearchResult) -> list[dict[str, Any]]:
    """Content of ``candidates.json``."""
    return [candidate_record(candidate, candidate_folder(candidate.rank)) for candidate in result.candidates]


def write_designs(folder: Path, season: Season, result: SearchResult) -> None:
    """Write the season, designs with plans and curves, and the tables of front and topologies.

    Parameters
    ----------
    folder : Path
        Run folder, made where missing [path].
    season : Season
        The season [record].
    result : SearchResult
        What the search found; prices and reasons are not asked for [record].

    Raises
    ------
    InternalError
        A design read back from its file scores otherwise than the search says.
    OSError
        The folder cannot be written.
    """
    for name in ("candidates", "front", "topologies"):  # of an earlier, unfinished writing
        shutil.rmtree(folder / name, ignore_errors=True)
    write_text(folder / "season.toml", season_text(season.source))
    judge, curves = Judge(season.rules, backend="numpy"), CurveMaker(season.rules, season.scale)
    for candidate in result.candidates:
        _write_candidate(folder, candidate, season, judge, curves)
    _write_front(folder, result)
    _write_topologies(folder, result)


def _write_candidate(
    folder: Path, candidate: Candidate, season: Season, judge: Judge, curves: CurveMaker
) -> None:
    place = candidate_folder(candidate.rank)
    title, about = f"candidate {candidate.rank}: {candidate.role}", f"season {season.name}"
    found, planned = candidate.laid_out, isinstance(candidate.laid_out, LaidOut)
    if isinstance(found, LaidOut):
        write_json(folder / place / PLAN_FILE, plan_data(found))
    text = write_design(
        candidate.design,
        0,
        label=candidate.topology,
        comments=[
            title,
            f"score {candidate.score_db:.3f} dB, graph {candidate.graph}",
            about,
        ],
        plan=PLAN_FILE if planned else None,
    )
    path = folder / place / "design.toml"
    write_text(path, text)
    if candidate.network is not None:
        free = f"its free network, score {candidate.network_db:.3f} dB"
        text = write_design(candidate.network, 0, label=candidate.topology, comments=[title, free, about])
        write_text(folder / place / NETWORK_FILE, text)
    design = read_design(path, season.rules)
    back = float(judge.scores(judge.respond(design))[0])
    if planned and (wrong := room_reasons(path, design, season.rules)):
        raise InternalError(f"candidate {candidate.rank} does not fit as read back from {path}: {wrong[0]}")
    if not abs(back - candidate.score_db) <= READ_BACK_TOLERANCE_DB:
        raise InternalError(
            f"candidate {candidate.rank} ({candidate.topology}, {candidate.graph}) scores "
            f"{candidate.score_db:.4f} dB, but {back:.4f} dB as read back from {path}"
        )
    rows = curves.rows(candidate.design)
    write_csv(folder / place / "response.csv", columns_of(rows), rows)


def _write_design_of(folder: Path, place: str, design: DesignBatch, label: str) -> str:
    write_text(folder / place, write_design(design, 0, label=label, comments=[]))
    return place


def _write_front(folder: Path, result: SearchResult) -> None:
    rows = [
        {"topology": point.topology, "graph": point.graph}
        | point.objectives
        | {"design": _write_design_of(folder, f"front/{index:03d}.toml", point.design, point.topology)}
        for index, point in enumerate(result.front, start=1)
    ]
    write_csv(folder / "front.csv", columns_of(rows) or ["topology", "graph", "design"], rows)


def _write_topologies(folder: Path, result: SearchResult) -> None:
    columns = (
        "topology",
        "graph",
        "best_db",
        "restart_scores_db",
        "evaluations",
        "surveyed_only",
        "left_after",
        "reduces_to",
        "bound_db",
        "why_none",
        "design",
    )
    rows = []
    for index, best in enumerate(result.topologies, start=1):
        design = ""
        if best.design is not None:
            design = _write_design_of(folder, f"topologies/{index:03d}.toml", best.design, best.topology)
        rows.append(
            {
                "topology": best.topology,
                "graph": best.graph,
                "best_db": best.best_db,
                "restart_scores_db": " ".join(f"{score:.4f}" for score in best.restart_scores_db),
                "evaluations": best.evaluations,
                "surveyed_only": best.surveyed_only,
                "left_after": best.left_after,
                "reduces_to": best.reduces_to,
                "bound_db": result.bound_db,
                "why_none": best.why_none,
                "design": design,
            }
        )
    write_csv(folder / "topologies.csv", columns, rows)
