"""One point of a sweep: its search in a run folder of its own, and what the sweep's table keeps of it."""

from __future__ import annotations

import contextlib
import fcntl
import json
import multiprocessing
import os
import pickle
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from models.backend import choose_backend, code_folder
from optimizer.files import write_json, write_text
from optimizer.reasons import met_limit
from optimizer.results import Candidate, SearchResult
from optimizer.run_folder import write_run
from optimizer.searching import run_search
from optimizer.season import Season, season_from_data
from optimizer.warm_up import COMPLETE

POINT = "point.json"
"""File that says that a point is finished, and what it came to."""

LOCK, ERROR = "point.lock", "error.txt"

DONE, INTERRUPTED, ELSEWHERE, FAILED, NOT_RUN = "done", "interrupted", "elsewhere", "failed", "not run"
"""States of a point."""

LOCK_SECONDS = 5.0
"""How long a point waits for a process that may just be ending."""

_CLOSED, _VENTED = "oA", "oA/Ao"


def run_point(source: dict[str, Any], config: str, folder: Path, *, apart: bool) -> tuple[str, str]:
    """Search one point, unless that has been done, and write its run folder.

    A search that was stopped there is gone on with. Whatever goes wrong is written into the folder, so
    that one point does not end the others.

    Parameters
    ----------
    source : dict
        Content of the point's season [record].
    config : str
        Season file it came from [text].
    folder : Path
        Run folder of the point [path].
    apart : bool
        Whether this is a process of its own, which must end with the one that started it [flag].

    Returns
    -------
    tuple of str and str
        State, and a word on what went wrong [text].
    """
    if apart:
        _end_with_parent()
    try:
        season = season_from_data(source, config)
        folder.mkdir(parents=True, exist_ok=True)
        with _held(folder / LOCK) as mine:
            if not mine:
                return ELSEWHERE, ""
            if finished(folder, season.config_hash) is not None:
                return DONE, ""
            _compile(season)
            result = run_search(season, folder, plans=False, prices=False)
            if result.interrupted:
                return INTERRUPTED, ""
            write_run(folder, season, result)
            write_json(folder / POINT, point_record(season, result))
            (folder / ERROR).unlink(missing_ok=True)  # of an earlier try
            return DONE, ""
    except Exception as error:  # any defect of one point must leave the others alone
        words = " ".join(f"{type(error).__name__}: {error}".split())
        with contextlib.suppress(OSError):
            write_text(folder / ERROR, traceback.format_exc())
        return FAILED, words


def finished(folder: Path, config_hash: str | None = None) -> dict[str, Any] | None:
    """What a finished point came to; None where it is not finished or belongs to another season."""
    try:
        record = json.loads((folder / POINT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if not isinstance(record, dict) or (config_hash is not None and record.get("config_hash") != config_hash):
        return None
    return record


def point_record(season: Season, result: SearchResult) -> dict[str, Any]:
    """What a sweep's table keeps of a search.

    Parameters
    ----------
    season : Season
        The season of the point [record].
    result : SearchResult
        What its search found [record].

    Returns
    -------
    dict
        Plain data: ``best_db`` (highest of all types), the first-ranked box with the share of the score's
        weight that each limit stops, the best of every type, bound, confidence and seconds [mixed].
    """
    by_graph = {best.graph: best.best_db for best in result.topologies if best.best_db is not None}
    first = result.candidates[0] if result.candidates else None
    own = {best.graph for best in result.topologies if not best.reduces_to}
    rivals = {g: db for g, db in by_graph.items() if first and g in own and g != first.graph}
    rival = max(rivals, key=lambda graph: rivals[graph], default=None)
    return {
        "config_hash": season.config_hash,
        "best_db": max(by_graph.values(), default=None),
        "score_db": first.score_db if first else None,
        "topology": first.topology if first else "",
        "graph": first.graph if first else "",
        "next_graph": rival or "",
        "lead_db": by_graph[first.graph] - rivals[rival] if first and rival else None,
        "shares": _shares(season, first) if first else {},
        "limits": _limits(first) if first else [],
        "closed_db": by_graph.get(_CLOSED),
        "vented_db": by_graph.get(_VENTED),
        "bound_db": result.bound_db,
        "settled": bool(result.confidence["settled"]),
        "restarts": result.confidence.get("restarts", 0),
        "agreeing": result.confidence.get("agreeing", 0),
        "topologies": [
            {"topology": best.topology, "graph": best.graph, "best_db": best.best_db}
            for best in result.topologies
            if best.best_db is not None
        ],
        "seconds": sum(result.seconds.values()),
    }


def _limits(candidate: Candidate) -> list[dict[str, Any]]:
    return [
        {"space": space["name"], "hz": tone["hz"], "limit": met_limit(tone) or ""}
        for space in candidate.evaluation["spaces"]
        for tone in space["tones"]
    ]


def _shares(season: Season, candidate: Candidate) -> dict[str, float]:
    """Share of the score's weight, over tones and spaces, that each limit stops."""
    tones = season.rules.tone_weights / season.rules.tone_weights.sum()
    spaces = season.source["spaces"]
    total = sum(space["weight"] for space in spaces)
    shares: dict[str, float] = {}
    for space, one in zip(spaces, candidate.evaluation["spaces"], strict=True):
        for weight, tone in zip(tones, one["tones"], strict=True):
            if met_limit(tone):
                share = float(weight) * space["weight"] / total
                shares[tone["limit"]] = shares.get(tone["limit"], 0.0) + share
    return {name: round(share, 9) for name, share in sorted(shares.items()) if share > 0.0}


@contextlib.contextmanager
def _held(path: Path) -> Iterator[bool]:
    """Hold a lock that ends with this process; false where another one holds it."""
    until = time.monotonic() + LOCK_SECONDS
    with path.open("ab") as file:
        while True:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    yield False
                    return
                time.sleep(0.2)
        yield True


def _compile(season: Season) -> None:
    """Compile on this machine where that has not been done; a worker of a cluster may start no pool."""
    if not multiprocessing.current_process().daemon:
        return  # the search does it itself
    if choose_backend() == "compiled" and not (code_folder() / COMPLETE).exists():
        words = "import pickle, sys; from optimizer.warm_up import compile_once; "
        words += "compile_once(pickle.load(sys.stdin.buffer))"
        subprocess.run([sys.executable, "-c", words], input=pickle.dumps(season), check=True)


_WATCHED = threading.Event()


def _end_with_parent() -> None:
    """End this process soon after the one that started it, so that its point is free again."""
    if _WATCHED.is_set():
        return
    _WATCHED.set()
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
