"""A finished run as objects for notebooks: its tables as data frames, its candidates with their figures."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from html import escape
from pathlib import Path
from typing import Any

import pandas as pd
from matplotlib.figure import Figure

from models.catalogue import short_label
from optimizer.dimensions import dimensions
from optimizer.figures import figure_of
from optimizer.run_designs import candidate_folder
from optimizer.run_folder import Run
from optimizer.run_record import candidate_row

TONE_COLUMNS = ("level_db", "limit", "drive_v_rms", "current_a_rms", "real_power_w")
"""What a table of tones takes from an evaluation as it is."""

DIGITS = 6
"""Decimals kept of the drive that is left before a limit, so that none reads 1e-9 dB."""


def tone_rows(evaluation: dict[str, Any], scale: float) -> list[dict[str, Any]]:
    """One flat row a space and tone of an evaluation.

    Parameters
    ----------
    evaluation : dict
        One object of ``evaluate --json`` [mixed].
    scale : float
        Full-size lengths over model lengths [1].

    Returns
    -------
    list of dict
        Level, drive, what stops it, largest excursion and air speed, and the drive left before each limit
        that the season has [mixed].
    """
    tones = [(space["name"], tone) for space in evaluation["spaces"] for tone in space["tones"]]
    known = {name for _, tone in tones for name, left in tone["margins_db"].items() if left is not None}
    rows = []
    for space, tone in tones:
        row = {"space": space, "hz": tone["hz"], "full_size_hz": tone["hz"] / scale}
        row |= {key: tone[key] for key in TONE_COLUMNS}
        row["excursion_mm"] = _largest(tone["excursion_mm"])
        row["air_speed_m_s"] = _largest(tone["air_speed_m_s"].values())
        for name, left in tone["margins_db"].items():
            if name in known:
                row[f"left_{name}_db"] = None if left is None else round(left, DIGITS)
        rows.append(row)
    return rows


def _largest(values: Any) -> float | None:
    return max((value for value in values if value is not None), default=None)


class CandidateResult:
    """A ranked box of a finished run.

    Parameters
    ----------
    run : Run
        The run folder's content [record].
    record : dict
        The candidate's entry of ``candidates.json`` [mixed].

    Attributes
    ----------
    rank : int
        Place in the ranking, from 1 [1].
    role : str
        What it is best at [text].
    topology, graph : str
        Trade name or description of its graph, and the graph's id [text].
    score_db : float
        Its score [dB].
    reasons : list of str
        Why it is what it is, in sentences [text].
    """

    def __init__(self, run: Run, record: dict[str, Any]) -> None:
        self._run = run
        self._record = record
        self.rank = int(record["rank"])
        self.role = str(record["role"])
        self.topology = str(record["topology"])
        self.graph = str(record["graph"])
        self.score_db = float(record["score_db"])
        self.reasons = [str(reason) for reason in record["reasons"]]

    def __repr__(self) -> str:
        """Rank, type and score on one line."""
        name = short_label(self.topology, self.graph)
        return f"<candidate {self.rank}: {name}, {self.score_db:.2f} dB, {self.role}>"

    @property
    def design_path(self) -> Path:
        """File with its sizes, which :func:`optimizer.evaluate` reads."""
        return self._run.folder / candidate_folder(self.rank) / "design.toml"

    @property
    def design(self) -> str:
        """Text of that file, as TOML."""
        return self.design_path.read_text(encoding="utf-8")

    def table(self) -> pd.DataFrame:
        """Its sizes: one row a dimension, with part, value and unit."""
        return pd.DataFrame(dimensions(tomllib.loads(self.design)))

    def limits(self) -> pd.DataFrame:
        """Every tone in every space: level, drive, what stops it, and what is left before other limits."""
        return pd.DataFrame(tone_rows(self._record["evaluation"], self._run.record["scale"]))

    def prices(self) -> pd.DataFrame:
        """What one unit more of every rule would add to the score."""
        return pd.DataFrame(self._record["prices"])

    def response(self) -> pd.DataFrame:
        """Its curves over frequency: level, drive, impedance, excursion and air speed in every space."""
        return table_of(self._run.folder / candidate_folder(self.rank) / "response.csv")

    def plot(self) -> Figure:
        """Its curves over frequency at the permitted drive, with limits and tones."""
        return self._figure("response")

    def plot_tones(self) -> Figure:
        """Its level at every tone, and the drive left before each limit."""
        return self._figure("tones")

    def plot_plan(self) -> Figure:
        """Its floor plan; ``LookupError`` where it has none."""
        return self._figure("plan")

    def plot_graph(self) -> Figure:
        """A sketch of its chambers and what joins them."""
        return self._figure("graph")

    def _figure(self, name: str) -> Figure:
        return figure_of(self._run, f"{candidate_folder(self.rank)}/{name}")


class RunResult:
    """A finished run: its tables, and its candidates by rank as in ``run[1]``.

    Parameters
    ----------
    run : Run
        The run folder's content [record].

    Attributes
    ----------
    folder : Path
        The run folder [path].
    record : dict
        Content of ``run.json``: seed, versions, counts, times, how sure the search is [mixed].
    """

    def __init__(self, run: Run) -> None:
        self._run = run
        self.folder = run.folder
        self.record = run.record

    @property
    def candidates(self) -> pd.DataFrame:
        """The ranked boxes, one row each, indexed by rank."""
        rows = [candidate_row(record) for record in self._run.candidates]
        return pd.DataFrame(rows, columns=None if rows else ["rank"]).set_index("rank")

    @property
    def front(self) -> pd.DataFrame:
        """Boxes that no other box found beats in all objectives at once."""
        return table_of(self.folder / "front.csv")

    @property
    def topologies(self) -> pd.DataFrame:
        """The best box of every topology, and where its restarts ended."""
        return table_of(self.folder / "topologies.csv")

    def __len__(self) -> int:
        """Number of candidates."""
        return len(self._run.candidates)

    def __iter__(self) -> Iterator[CandidateResult]:
        """Candidates in order of rank."""
        return (CandidateResult(self._run, record) for record in self._run.candidates)

    def __getitem__(self, rank: int) -> CandidateResult:
        """The candidate of a rank, from 1; ``LookupError`` where there is none."""
        for candidate in self:
            if candidate.rank == rank:
                return candidate
        ranks = ", ".join(str(candidate.rank) for candidate in self)
        raise LookupError(f"no candidate {rank!r}; there are {ranks or 'none'}")

    def __repr__(self) -> str:
        """Season and best box on one line."""
        best = next(iter(self), None)
        words = "nothing that fits" if best is None else f"best {best.score_db:.2f} dB, {best.topology}"
        return f"<run of {self.record['season']} in {self.folder}: {words}>"

    def _repr_html_(self) -> str:
        short = self.candidates.reindex(columns=["role", "topology", "graph", "score_db"])
        words = [f"<b>{escape(str(self.record['season']))}</b>, {escape(str(self.folder))}"]
        words += [escape(sentence) for sentence in self.record.get("confidence", {}).get("sentences", [])]
        return "".join(f"<p>{sentence}</p>" for sentence in words) + str(
            short.to_html(escape=True, float_format="{:.2f}".format)
        )

    def plot_front(self) -> Figure:
        """What can be traded for what; ``LookupError`` where there is nothing to trade."""
        return figure_of(self._run, "front")

    def plot_topologies(self) -> Figure:
        """Best score of every topology and of its restarts."""
        return figure_of(self._run, "topologies")


def table_of(path: Path) -> pd.DataFrame:
    """A CSV table of a run folder; only empty cells are missing values.

    Parameters
    ----------
    path : Path
        The file [path].

    Returns
    -------
    DataFrame
        Its rows [mixed].

    Raises
    ------
    FileNotFoundError
        There is no such file.
    """
    return pd.read_csv(path, keep_default_na=False, na_values=[""])
