"""The run folder: everything a search found, as files that other programs can read."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from models.design import DesignBatch
from models.score import Judge
from optimizer.curves import CurveMaker
from optimizer.design_file import read_design, write_design
from optimizer.explore import EXPLORE, explore_record
from optimizer.faults import ConfigError, Fault
from optimizer.files import json_of, read_csv, write_csv, write_json, write_text
from optimizer.layout_search import LaidOut
from optimizer.objectives import OBJECTIVES
from optimizer.plan_file import plan_data
from optimizer.planned import room_reasons
from optimizer.progress import Progress, silent
from optimizer.results import Candidate, SearchResult
from optimizer.run_record import candidate_record, candidate_row, columns_of, run_record
from optimizer.run_schema import check_candidates, check_run, check_table
from optimizer.season import Season
from optimizer.season_text import season_text

READ_BACK_TOLERANCE_DB = 0.01
"""Largest change of a score when a design is written and read back."""


PLAN_FILE, NETWORK_FILE = "plan.json", "network.toml"
"""Of a candidate: its floor plan, and the free network that was laid out."""
CEILING = "ceiling.json"
"""What ``boxwright ceiling --json`` prints, in the run folder."""
CURVES = ("level_db", "drive_v_rms", "excursion_mm", "impedance_ohm")
"""Columns of numbers that every ``response.csv`` has."""


class InternalError(RuntimeError):
    """A result contradicts itself; a defect of the program, not of its input."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A run folder as read back.

    Attributes
    ----------
    folder : Path
        Where it is [path].
    record : dict
        Content of ``run.json`` [mixed].
    candidates : list of dict
        Content of ``candidates.json`` [mixed].
    front : list of dict
        Rows of ``front.csv``, as texts [text].
    topologies : list of dict
        Rows of ``topologies.csv``, as texts [text].
    ceiling : dict or None
        Content of ``ceiling.json``, where ``boxwright ceiling`` has written one [mixed].
    explore : dict or None
        Content of ``explore.json``; None in folders of older versions [mixed].
    """

    folder: Path
    record: dict[str, Any]
    candidates: list[dict[str, Any]]
    front: list[dict[str, str]]
    topologies: list[dict[str, str]]
    ceiling: dict[str, Any] | None = None
    explore: dict[str, Any] | None = None

    @property
    def shows_front(self) -> bool:
        """Whether there are trade-offs to draw: points, candidates and more than one objective."""
        return bool(self.front and self.candidates and len(self.record["objectives"]) > 1)

    def curves(self, rank: int) -> list[dict[str, str]]:
        """Rows of a candidate's ``response.csv``; ``ConfigError`` where it is damaged."""
        path = self.folder / candidate_folder(rank) / "response.csv"
        rows: list[dict[str, str]] = _read(path, read_csv)
        if not rows:
            raise damaged(path, "holds no curves")
        check_table(path, rows, ["space"], ["hz"])
        others = [column for column in rows[0] if column not in ("space", "hz", "limit")]
        check_table(path, rows, [], sorted({*others, *CURVES}), empty=True)
        return rows


def candidate_folder(rank: int) -> str:
    """Folder of a candidate, relative to the run folder."""
    return f"candidates/{rank:02d}"


def write_run(folder: Path, season: Season, result: SearchResult) -> Run:
    """Write a search's data; figures and report are drawn from them by :func:`draw_run`.

    Parameters
    ----------
    folder : Path
        Run folder, made where missing [path].
    season : Season
        The season [record].
    result : SearchResult
        What the search found [record].

    Returns
    -------
    Run
        The folder's content [record].

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
    records = [_write_candidate(folder, candidate, season, judge, curves) for candidate in result.candidates]
    write_json(folder / "candidates.json", records)
    rows = [candidate_row(record) for record in records]
    write_csv(folder / "candidates.csv", columns_of(rows) or ["rank"], rows)
    _write_front(folder, result)
    _write_topologies(folder, result)
    write_text(folder / EXPLORE, json.dumps(explore_record(season, result), separators=(",", ":")) + "\n")
    write_json(folder / "run.json", run_record(season, result))
    return read_run(folder)


def read_run(folder: Path) -> Run:
    """Read a run folder back.

    Raises
    ------
    ConfigError
        A file is missing or damaged.
    """
    record = _read(folder / "run.json", json_of)
    check_run(folder / "run.json", record)
    candidates = _read(folder / "candidates.json", json_of)
    check_candidates(folder / "candidates.json", candidates, record["objectives"])
    front = _read(folder / "front.csv", read_csv)
    keys = [OBJECTIVES[name].key for name in record["objectives"]]
    check_table(folder / "front.csv", front, ["topology", "graph"], keys)
    topologies = _read(folder / "topologies.csv", read_csv)
    texts = ["topology", "graph", "restart_scores_db", "why_none", "design"]
    check_table(folder / "topologies.csv", topologies, texts, ["best_db"], empty=True)
    return Run(
        folder=folder,
        record=record,
        candidates=candidates,
        front=front,
        topologies=topologies,
        ceiling=_table_where_there(folder / CEILING),
        explore=_table_where_there(folder / EXPLORE),
    )


def _table_where_there(path: Path) -> dict[str, Any] | None:
    content = _read(path, json_of) if path.exists() else None
    if content is not None and not isinstance(content, dict):
        raise damaged(path, "must hold a table")
    return content


def draw_run(run: Run, progress: Progress = silent, workers: int | None = None) -> None:
    """Draw every figure and the report of a run folder from its data.

    Parameters
    ----------
    run : Run
        The folder's content [record].
    progress : callable
        Told the figures done, their total and the place of the latest [any].
    workers : int or None
        Processes at most; None for as many as there are cores [1].

    Raises
    ------
    ConfigError
        A table of the folder is missing or damaged.
    OSError
        The folder cannot be written.
    """
    from optimizer.figures import draw_figures, figure_makers
    from optimizer.report import report_page
    from optimizer.report_parts import prepare_figures

    try:
        draw_figures(run, progress, workers)
        prepare_figures([run.folder / place for place, _ in figure_makers(run)])
        write_text(run.folder / "report.html", report_page(run))
    except FileNotFoundError as error:
        raise damaged(Path(str(error.filename)), "no such file") from None
    except (KeyError, ValueError, TypeError, IndexError) as error:
        raise damaged(run.folder, f"its files do not fit together ({error!r})") from error


def _read(path: Path, reader: Callable[[Path], Any]) -> Any:
    try:
        return reader(path)
    except FileNotFoundError:
        raise damaged(path, "no such file; is this a finished run folder?") from None
    except NotADirectoryError:
        raise damaged(path.parent, "is a file, not a run folder") from None
    except OSError as error:
        raise damaged(path, f"cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise damaged(path, f"damaged: {error}") from None


def damaged(path: Path, message: str) -> ConfigError:
    """Fault of a file of a run folder."""
    return ConfigError([Fault(str(path), 1, "file", message)])


def _write_candidate(
    folder: Path, candidate: Candidate, season: Season, judge: Judge, curves: CurveMaker
) -> dict[str, Any]:
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
    return candidate_record(candidate, place)


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
