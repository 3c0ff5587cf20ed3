"""What the files of a run folder must hold before anything is drawn from them; more keys are welcome."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, ConfigDict, Field

from models.topology import parse_graph_id
from optimizer.checking import Checker, Table, Text
from optimizer.faults import ConfigError, Document, Fault
from optimizer.objectives import OBJECTIVES

MOST_FAULTS = 5
"""Faults of a table that are listed; the rest are counted."""


def _graph(text: str) -> str:
    parse_graph_id(text)
    return text


class _Open(Table):
    """A table that may have more keys."""

    model_config = ConfigDict(extra="allow", strict=True, frozen=True, allow_inf_nan=False)


Positive = Annotated[float, Field(gt=0.0)]
Limit = Literal["excursion", "diaphragm", "power", "air_speed", "voltage", "current"]


class ToneRecord(_Open):
    """A tone of an evaluation."""

    hz: Positive
    level_db: float | None
    drive_v_rms: float | None
    current_a_rms: float | None
    real_power_w: float | None
    excursion_mm: list[float | None]
    air_speed_m_s: dict[str, float | None]
    limit: Limit
    margins_db: dict[Limit, float | None]


class SpaceRecord(_Open):
    """A space of an evaluation."""

    name: Text
    mean_db: float | None
    tones: Annotated[list[ToneRecord], Field(min_length=1)]


class EvaluationRecord(_Open):
    """What ``evaluate --json`` prints of a design."""

    reasons_not: list[str]
    spaces: Annotated[list[SpaceRecord], Field(min_length=1)]


class LimitRecord(_Open):
    """What stops a tone."""

    limit: Limit


class PriceRecord(_Open):
    """The price of a rule."""

    rule: str
    db_per_unit: float
    unit: str
    verified: bool


class CandidateRecord(_Open):
    """An entry of ``candidates.json``."""

    rank: Annotated[int, Field(ge=1)]
    role: str
    topology: Text
    graph: Annotated[str, AfterValidator(_graph)]
    score_db: float
    objectives: dict[str, float]
    reasons: list[str]
    limits: list[LimitRecord]
    prices: list[PriceRecord]
    design: Annotated[str, Field(pattern=r"^candidates/[0-9]{2,}/design\.toml$")]
    evaluation: EvaluationRecord


class CandidatesFile(Table):
    """``candidates.json``, as a table of one key."""

    candidates: list[CandidateRecord]


class SourceTone(_Open):
    """A tone of the season."""

    hz: Positive


class SourceRecord(_Open):
    """What a run's record keeps of its season, as far as figures and report need it."""

    limits: dict[str, float | str | None]
    tones: Annotated[list[SourceTone], Field(min_length=1)]
    spaces: Annotated[list[dict[str, Any]], Field(min_length=1)]


class TimesRecord(_Open):
    """When and how long."""

    seconds: dict[str, float]


class RunFile(_Open):
    """``run.json``."""

    season: Text
    config: str
    config_hash: str
    scale: Positive
    objectives: Annotated[list[str], Field(min_length=1)]
    counts: dict[str, int]
    times: TimesRecord
    versions: dict[str, str]
    source: SourceRecord


def check_run(path: Path, record: Any) -> None:
    """Refuse a ``run.json`` that lacks something.

    Parameters
    ----------
    path : Path
        The file [path].
    record : object
        Its content [mixed].

    Raises
    ------
    ConfigError
        Every fault, with its key.
    """
    checker = Checker(Document(file=str(path), data={}))
    checker.validate(RunFile, record)
    names = record.get("objectives") if isinstance(record, dict) else None
    for index, name in enumerate(names if isinstance(names, list) else ()):
        if isinstance(name, str) and name not in OBJECTIVES:
            checker.add(("objectives", index), f"is {name!r}, which is no objective")
    if checker.faults:
        raise ConfigError(checker.faults)


def check_candidates(path: Path, content: Any, objectives: Sequence[str]) -> None:
    """Refuse a ``candidates.json`` that lacks something.

    Parameters
    ----------
    path : Path
        The file [path].
    content : object
        Its content [mixed].
    objectives : sequence of str
        Objectives of the run, which every candidate must have [text].

    Raises
    ------
    ConfigError
        Every fault, with its key.
    """
    checker = Checker(Document(file=str(path), data={}))
    valid = checker.validate(CandidatesFile, {"candidates": content})
    for index, candidate in enumerate(valid.candidates if valid else ()):
        for name in objectives:
            key = OBJECTIVES[name].key
            checker.refuse_if(
                key not in candidate.objectives, ("candidates", index, "objectives", key), "missing"
            )
    if checker.faults:
        raise ConfigError(checker.faults)


def check_table(
    path: Path,
    rows: Sequence[Mapping[Any, Any]],
    texts: Collection[str],
    numbers: Collection[str],
    *,
    empty: bool = False,
) -> None:
    """Refuse a CSV table with a column missing, a row cut short, or words where a number should be.

    Parameters
    ----------
    path : Path
        The file [path].
    rows : sequence of mapping
        Its rows as :class:`csv.DictReader` gives them [text].
    texts, numbers : collection of str
        Columns that every row must have [text].
    empty : bool
        Whether a number may be missing [flag].

    Raises
    ------
    ConfigError
        Every fault, with line and column.
    """
    faults = []
    for line, row in enumerate(rows, start=2):
        if None in row or None in row.values():
            faults.append(Fault(str(path), line, "row", "has not as many cells as there are columns"))
            continue
        for column in (*texts, *numbers):
            if column not in row:
                faults.append(Fault(str(path), 1, column, "the column is missing"))
            elif column in numbers and not _is_number(row[column], empty):
                faults.append(Fault(str(path), line, column, f"must be a number, is {row[column]!r}"))
    if len(faults) > MOST_FAULTS:
        more = len(faults) - MOST_FAULTS
        faults = [*faults[:MOST_FAULTS], Fault(str(path), len(rows) + 1, "file", f"{more} more faults")]
    if faults:
        raise ConfigError(faults)


def _is_number(text: str, empty: bool) -> bool:
    if not text:
        return empty
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False
