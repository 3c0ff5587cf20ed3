"""The front door for notebooks and scripts: load a season, search it, open a run, evaluate designs.

``from optimizer import load_season, search, open_run, evaluate``. The functions do what the commands of the
same names do, with the same files; tables are pandas data frames, figures are matplotlib figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from optimizer.evaluation import evaluate_files
from optimizer.finishing import Finishing
from optimizer.folders import make_run_folder
from optimizer.progress import progress_bar
from optimizer.run_folder import read_run
from optimizer.run_view import CandidateResult, RunResult, tone_rows
from optimizer.searching import run_search
from optimizer.season import Season, load_season, with_settings

__all__ = ["evaluate", "load_season", "open_run", "search"]

# A notebook may have imported numpy before, whose libraries then read none of the variables that
# ``optimizer/__init__.py`` sets; the limit stays for the process.
threadpool_limits(1)


def search(
    season: Season | Path | str,
    folder: Path | str | None = None,
    *,
    effort: str | None = None,
    seed: int | None = None,
    workers: int = 1,
) -> RunResult:
    """Search a season and write its run folder, as ``boxwright search`` does.

    Parameters
    ----------
    season : Season, Path or str
        The season, or its file [record].
    folder : Path, str or None
        New or empty run folder; None for ``runs/NAME-NUMBER`` [path].
    effort : str or None
        ``quick``, ``normal`` or ``thorough``; None for the season's own [text].
    seed : int or None
        Root of all random numbers; None for the season's own [1].
    workers : int
        Processes; the result does not depend on their number. A script that asks for more than one must
        stand below ``if __name__ == "__main__":``, since every process reads it again [1].

    Returns
    -------
    RunResult
        What was found; after an interrupt what was found until then [record].

    Raises
    ------
    ConfigError
        The season has faults.
    FolderError
        The folder holds something or cannot be written.
    """
    if not isinstance(season, Season):
        season = load_season(season)
    season = with_settings(season, effort, seed)
    place = make_run_folder(None if folder is None else Path(folder), season.path.stem)
    with Finishing(place, season, workers) as finishing:
        with progress_bar("searching") as progress:
            result = run_search(season, place, workers=workers, progress=progress, finishing=finishing)
        with progress_bar("drawing") as progress:
            return RunResult(finishing.finish(result, progress))


def open_run(folder: Path | str) -> RunResult:
    """Open a finished run folder.

    Parameters
    ----------
    folder : Path or str
        The run folder [path].

    Returns
    -------
    RunResult
        Its tables and candidates [record].

    Raises
    ------
    ConfigError
        A file is missing or damaged.
    """
    return RunResult(read_run(Path(folder)))


def evaluate(
    season: Season | Path | str,
    *designs: CandidateResult | Path | str,
    hz: Sequence[float] | np.ndarray | None = None,
    drive_v: float | None = None,
) -> pd.DataFrame:
    """Evaluate design files or candidates under a season, as ``boxwright evaluate`` does.

    Parameters
    ----------
    season : Season, Path or str
        The season, or its file [record].
    *designs : CandidateResult, Path or str
        Candidates of a run, or design files [path].
    hz : sequence of float or None
        Frequencies instead of the season's tones [Hz].
    drive_v : float or None
        Amplifier voltage, rms; None seeks the largest permitted drive at every tone [V].

    Returns
    -------
    DataFrame
        One row a design, space and tone; ``score_db`` is the same in all rows of a design [mixed].

    Raises
    ------
    ConfigError
        The faults of all files.
    ValueError
        A frequency or the voltage cannot be used.
    """
    if not isinstance(season, Season):
        season = load_season(season)
    frequencies = None if hz is None else np.atleast_1d(np.asarray(hz, dtype=float))
    if frequencies is not None:
        inside = (frequencies >= 1.0) & (frequencies <= 2e4)
        if not (inside.size and inside.all()):
            raise ValueError(f"frequencies must be 1 to 20000 Hz, are {frequencies.tolist()}")
    if drive_v is not None and not 1e-6 <= drive_v <= 1e5:
        raise ValueError(f"drive_v must be 1e-06 to 100000 V, is {drive_v:g}")
    paths = [one.design_path if isinstance(one, CandidateResult) else Path(one) for one in designs]
    rows = []
    for one in evaluate_files(season, paths, frequencies, drive_v):
        head = {key: one[key] for key in ("design", "topology", "graph", "score_db", "fits")}
        rows += [head | row for row in tone_rows(one, season.scale)]
    return pd.DataFrame(rows)
