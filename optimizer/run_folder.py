"""The run folder: everything a search found, as files that other programs can read."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.explore import EXPLORE, explore_record
from optimizer.faults import ConfigError, Fault
from optimizer.files import json_of, read_csv, write_csv, write_json, write_text
from optimizer.objectives import OBJECTIVES
from optimizer.progress import Progress, silent
from optimizer.results import SearchResult
from optimizer.run_designs import candidate_folder, candidate_records, write_designs
from optimizer.run_record import candidate_row, columns_of, run_record
from optimizer.run_schema import check_candidates, check_run, check_table
from optimizer.season import Season

if TYPE_CHECKING:
    from optimizer.drawing import Drawing

CEILING = "ceiling.json"
"""What ``boxwright ceiling --json`` prints, in the run folder."""
CURVES = ("level_db", "drive_v_rms", "excursion_mm", "impedance_ohm")
"""Columns of numbers that every ``response.csv`` has."""


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
    write_designs(folder, season, result)
    write_explore(folder, season, result)
    return write_records(folder, season, result)


def write_explore(folder: Path, season: Season, result: SearchResult) -> None:
    """Write the designs to look around in, which only need the sizes of the candidates."""
    write_text(folder / EXPLORE, json.dumps(explore_record(season, result), separators=(",", ":")) + "\n")


def write_records(folder: Path, season: Season, result: SearchResult) -> Run:
    """Write what says that a folder is complete, when all else of :func:`write_run` is there."""
    records = candidate_records(result)
    write_json(folder / "candidates.json", records)
    rows = [candidate_row(record) for record in records]
    write_csv(folder / "candidates.csv", columns_of(rows) or ["rank"], rows)
    write_json(folder / "run.json", run_record(season, result))
    return read_run(folder)


def unfinished_run(folder: Path, season: Season, result: SearchResult) -> Run:
    """What figures need of a folder that holds no more than its designs."""
    return Run(
        folder=folder,
        record=run_record(season, result),
        candidates=candidate_records(result),
        front=read_csv(folder / "front.csv"),
        topologies=read_csv(folder / "topologies.csv"),
    )


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


def draw_run(
    run: Run, progress: Progress = silent, workers: int | None = None, drawing: Drawing | None = None
) -> None:
    """Draw every figure and the report of a run folder from its data.

    Parameters
    ----------
    run : Run
        The folder's content [record].
    progress : callable
        Told the figures done, their total and the place of the latest [any].
    workers : int or None
        Processes at most; None for as many as there are cores [1].
    drawing : Drawing or None
        Where drawing has begun already; its processes are used then [record].

    Raises
    ------
    ConfigError
        A table of the folder is missing or damaged.
    OSError
        The folder cannot be written.
    """
    from optimizer.drawing import Drawing
    from optimizer.report import report_page
    from optimizer.report_explore import can_explore, exploring

    try:
        with nullcontext(drawing) if drawing else Drawing(len(run.candidates), workers) as processes:
            processes.begin(run)
            explored = exploring(run) if can_explore(run) else None  # while the others draw
            processes.finish(run, progress)
        write_text(run.folder / "report.html", report_page(run, explored))
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
