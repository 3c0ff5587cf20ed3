"""The end of a search: what is begun before prices are known must be what would be drawn after."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.finishing import Finishing
from optimizer.progress import silent
from optimizer.results import SearchResult
from optimizer.run_folder import draw_run, write_run
from optimizer.season import Season

POOL = """
import multiprocessing, os
from optimizer import processes
if __name__ == "__main__":
    processes.start_early()
    for wish in ("", "numpy"):
        if wish:
            os.environ["BOXWRIGHT_BACKEND"] = wish
        with processes.worker_pool(2) as pool:
            there = pool.submit(os.getenv, "BOXWRIGHT_BACKEND").result()
        print(processes.process_context().get_start_method(), there)
"""

BRIEF = """
import sys
from multiprocessing import forkserver
from optimizer import cli, processes
if __name__ == "__main__":
    processes.start_early()
    print(forkserver._forkserver._forkserver_pid, flush=True)
    cli.main(["search", sys.argv[1], "--workers", "2"])
"""


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file by its place, without the time of writing."""
    found = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {name: re.sub(rb"20\d\d-\d\d-\d\dT[\d:+]+", b"", text) for name, text in found.items()}


@pytest.mark.parametrize("workers", [1, 2])
def test_beginning_early_changes_no_file(
    workers: int, season: Season, result: SearchResult, tmp_path: Path
) -> None:
    """With another process, and without one, where nothing is begun early."""
    draw_run(write_run(tmp_path / "after" / "run", season, result))
    unpriced = tuple(replace(candidate, reasons=(), prices=()) for candidate in result.candidates)
    with Finishing(tmp_path / "early" / "run", season, workers) as finishing:
        finishing.idle()
        finishing.begin(replace(result, candidates=unpriced))
        assert not (tmp_path / "early" / "run" / "run.json").exists()
        run = finishing.finish(result, silent)
    assert [candidate["reasons"] for candidate in run.candidates] == [
        list(candidate.reasons) for candidate in result.candidates
    ]
    early, after = files_of(tmp_path / "early" / "run"), files_of(tmp_path / "after" / "run")
    assert early.keys() == after.keys()
    assert [name for name in early if early[name] != after[name]] == []


@pytest.mark.skipif(sys.platform == "darwin", reason="no process is copied there")
def test_the_fork_server_ends_with_the_command(tmp_path: Path) -> None:
    """After a fault in the season file, too, while it still loads its libraries."""
    script, told = tmp_path / "brief.py", tmp_path / "process"
    script.write_text(BRIEF, encoding="utf-8")
    with told.open("w") as out:  # a pipe would be read until the server ends
        done = subprocess.run([sys.executable, script, tmp_path / "none.toml"], stdout=out, check=False)
    assert done.returncode == 2
    with pytest.raises(ProcessLookupError):
        os.kill(int(told.read_text()), 0)


@pytest.mark.skipif(sys.platform == "darwin", reason="no process is copied there")
def test_workers_are_copies_unless_settings_have_changed(tmp_path: Path) -> None:
    """A server keeps the environment that it was started with."""
    script = tmp_path / "script.py"
    script.write_text(POOL, encoding="utf-8")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["forkserver None", "spawn numpy"]
