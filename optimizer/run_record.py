"""A search result as plain data: what stands in a run folder's JSON and CSV files."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from importlib import metadata
from typing import Any

from optimizer.laid_out import NoPlan
from optimizer.results import Candidate, SearchResult
from optimizer.season import Season

PACKAGES = ("boxwright", "numpy", "scipy", "optuna", "moocore", "scikit-fem", "matplotlib")
"""Packages whose versions a run records."""


SPREAD_COLUMNS = ("p10_db", "p50_db", "p90_db", "keeps_rank")
"""What ``candidates.csv`` holds of a candidate's tolerance."""


def run_record(season: Season, result: SearchResult) -> dict[str, Any]:
    """Content of ``run.json``: what was searched, with what, and how long it took.

    Parameters
    ----------
    season : Season
        The season [record].
    result : SearchResult
        What the search found [record].

    Returns
    -------
    dict
        Plain data [mixed].
    """
    return {
        "season": season.name,
        "config": str(season.path),
        "config_hash": season.config_hash,
        "scale": season.scale,
        "seed": season.search.seed,
        "effort": season.search.effort,
        "objectives": list(result.objectives),
        "interrupted": result.interrupted,
        "confidence": dict(result.confidence),
        "counts": dict(result.counts),
        "times": {
            "written": datetime.now(UTC).isoformat(timespec="seconds"),
            "seconds": dict(result.seconds),
        },
        "versions": {"python": platform.python_version()} | {name: _version(name) for name in PACKAGES},
        "source": season.source,
        "without_plan": [dict(one) for one in result.without_plan],
        "history": [dict(row) for row in result.history],
    }


def candidate_record(candidate: Candidate, folder: str) -> dict[str, Any]:
    """One entry of ``candidates.json``.

    Parameters
    ----------
    candidate : Candidate
        A ranked design [record].
    folder : str
        Its folder, relative to the run folder [text].

    Returns
    -------
    dict
        Plain data [mixed].
    """
    evaluation = candidate.evaluation
    tolerance = {"tolerance": dict(candidate.tolerance)} if candidate.tolerance else {}
    return {
        "rank": candidate.rank,
        "role": candidate.role,
        "topology": candidate.topology,
        "graph": candidate.graph,
        "score_db": candidate.score_db,
        "objectives": dict(candidate.objectives),
        "reasons": list(candidate.reasons),
        "limits": [
            {
                "space": space["name"],
                "hz": tone["hz"],
                "limit": tone["limit"],
                "margins_db": tone["margins_db"],
            }
            for space in evaluation["spaces"]
            for tone in space["tones"]
        ],
        "plan": plan_record(candidate),
        "prices": [dict(price) for price in candidate.prices],
        "takeover": dict(candidate.takeover),
        "agreement": dict(candidate.agreement),
        "design": f"{folder}/design.toml",
        "evaluation": evaluation,
    } | tolerance


def plan_record(candidate: Candidate) -> dict[str, Any]:
    """What building a candidate costs, or why it has no floor plan.

    Parameters
    ----------
    candidate : Candidate
        A ranked design [record].

    Returns
    -------
    dict
        ``score_db`` of the plan, ``network_db`` of the free network, ``cost_db``, their difference,
        ``searches_db``, where all searches for its plan ended, and ``reasons_none``; None stands for what
        there is not [mixed].
    """
    found = candidate.laid_out
    if isinstance(found, NoPlan):
        network = candidate.score_db if candidate.network_db is None else candidate.network_db
        costs = {"score_db": None, "network_db": network, "cost_db": None}
        return costs | {"searches_db": [], "reasons_none": list(found.reasons)}
    costs = {"score_db": found.score_db, "network_db": found.network_db, "cost_db": found.cost_db}
    return costs | {"searches_db": list(found.searches_db), "reasons_none": []}


def candidate_row(record: Mapping[str, Any]) -> dict[str, Any]:
    """One row of ``candidates.csv``, units in the column names."""
    row = {key: record[key] for key in ("rank", "role", "topology", "graph", "score_db")}
    if "plan" in record:  # folders of earlier versions have none
        row |= {"network_db": record["plan"]["network_db"], "building_cost_db": record["plan"]["cost_db"]}
    row |= record["objectives"]
    row |= {key: record["tolerance"][key] for key in SPREAD_COLUMNS if "tolerance" in record}
    for index, space in enumerate(record["evaluation"]["spaces"], start=1):
        row[f"mean_db {index} {space['name']}"] = space["mean_db"]
        for tone in space["tones"]:
            row[f"level_db {index} {space['name']} {tone['hz']:g} Hz"] = tone["level_db"]
            row[f"limit {index} {space['name']} {tone['hz']:g} Hz"] = tone["limit"]
    row["reasons"] = " ".join(record["reasons"])
    row["design"] = record["design"]
    return row


def columns_of(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Every column that any row has, in the order of first appearance."""
    return list(dict.fromkeys(key for row in rows for key in row))


def _version(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return "not installed"
