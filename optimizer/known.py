"""The best box of every topology, from a search that has just ended or from a finished run folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from models.design import DesignBatch
from optimizer.design_file import read_design
from optimizer.faults import ConfigError, Fault
from optimizer.results import SearchResult
from optimizer.run_folder import read_run
from optimizer.season import Season

BESIDE = ("search", "tolerances", "driver_options", "printer")
"""Tables of a season that decide no score."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Best box that a search found for a topology.

    Attributes
    ----------
    topology, graph : str
        Name and id of its graph [text].
    best_db : float
        Its score [dB].
    design : DesignBatch
        A batch of one [record].
    reduces_to : str
        Simpler graph that it does not beat; empty if none [text].
    """

    topology: str
    graph: str
    best_db: float
    design: DesignBatch
    reduces_to: str


def known_of_result(result: SearchResult) -> list[Known]:
    """Best boxes of a search, the best first, those that reduce to others last."""
    return [
        Known(
            topology=best.topology,
            graph=best.graph,
            best_db=best.best_db,
            design=best.design,
            reduces_to=best.reduces_to,
        )
        for best in result.topologies
        if best.design is not None and best.best_db is not None
    ]


def known_of_run(folder: Path, season: Season) -> list[Known]:
    """Best boxes of a finished run folder.

    Parameters
    ----------
    folder : Path
        The run folder [path].
    season : Season
        The season it must belong to; tables that decide no score may differ [record].

    Returns
    -------
    list of Known
        In the order of ``topologies.csv`` [list].

    Raises
    ------
    ConfigError
        The folder is not finished, is damaged, or belongs to another season.
    """
    run = read_run(folder)
    refuse_other_season(folder, season)
    found = []
    for row in run.topologies:
        try:
            if row["best_db"] and row["design"]:
                found.append(
                    Known(
                        topology=row["topology"],
                        graph=row["graph"],
                        best_db=float(row["best_db"]),
                        design=read_design(folder / row["design"], season.rules),
                        reduces_to=row["reduces_to"],
                    )
                )
        except (KeyError, ValueError) as error:
            fault = Fault(str(folder / "topologies.csv"), 1, "file", f"damaged: {error!r}")
            raise ConfigError([fault]) from None
    return found


def _listed(tables: tuple[str, ...]) -> str:
    return ", ".join(f"[{name}]" for name in tables)


def refuse_other_season(folder: Path, season: Season) -> None:
    """Raise a ConfigError where a run folder is of another season; what is beside the rules may differ."""

    def rules_in(source: object) -> object:
        return {k: v for k, v in source.items() if k not in BESIDE} if isinstance(source, dict) else source

    if rules_in(_source_of(folder)) != rules_in(season.source):
        words = f"the run is of another season than {season.path}; only {_listed(BESIDE)} may differ"
        raise ConfigError([Fault(str(folder / "season.toml"), 1, "season", words)])


def _source_of(folder: Path) -> object:
    from optimizer.season import load_season

    return load_season(folder / "season.toml").source
