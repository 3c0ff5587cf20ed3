"""A season: the rules that decide a score and the settings of the search, read from a TOML file."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from models.air import Air
from models.driver import Driver
from models.envelope import Envelope
from models.rules import Limits, Physics, Rules
from models.spaces import Cabin, HalfSpace, Opening, Space
from optimizer.checking import Checker
from optimizer.faults import ConfigError, Document, read_toml
from optimizer.season_checks import check_season
from optimizer.season_driver import driver_of, merge_driver_file
from optimizer.season_schema import CabinTable, EnvelopeTable, HalfSpaceTable, SeasonFile
from optimizer.season_sections import Sections
from optimizer.season_tolerances import season_tolerances


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchSettings:
    """What is searched, for which objectives, and how hard.

    Attributes
    ----------
    topologies : str or tuple of str
        ``all``, ``named``, or trade names and graph ids [text].
    max_chambers, max_ducts, max_diaphragms : int
        Largest graph of ``all`` [1].
    objectives : tuple of str
        Names of :data:`optimizer.season_schema.OBJECTIVES` [list].
    candidates : int
        Number of ranked candidates wanted [1].
    seed : int
        Root of all random numbers [1].
    effort : str
        ``quick``, ``normal`` or ``thorough`` [text].
    duct_shape : str
        ``round`` or ``slot`` [text].
    duct_profile : str
        ``uniform``, ``conical`` or ``exponential`` [text].
    plans : bool
        Whether candidates are laid out, and ranked by the score of their floor plan [flag].
    """

    topologies: str | tuple[str, ...]
    max_chambers: int
    max_ducts: int
    max_diaphragms: int
    objectives: tuple[str, ...]
    candidates: int
    seed: int
    effort: str
    duct_shape: str = "round"
    duct_profile: str = "uniform"
    plans: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """A model league's season.

    Attributes
    ----------
    path : Path
        File it was read from [path].
    name : str
        Name in reports [text].
    scale : float
        Full-size lengths over model lengths [1].
    rules : Rules
        Everything that decides a score [record].
    search : SearchSettings
        What is searched and how hard [record].
    driver_options : tuple of Driver
        Drivers that the season could have instead [list].
    source : dict
        Validated content with all defaults and the driver file's data filled in [record].
    config_hash : str
        SHA-256 of the canonical JSON of ``source`` but for ``search.plans``, which changes no design, in
        hexadecimal [text].
    """

    path: Path
    name: str
    scale: float
    rules: Rules
    search: SearchSettings
    source: dict[str, Any]
    config_hash: str
    driver_options: tuple[Driver, ...] = ()


def load_season(path: Path | str) -> Season:
    """Read and check a season file.

    Parameters
    ----------
    path : Path or str
        TOML file; a driver file it names is sought beside it [path].

    Returns
    -------
    Season
        The season [record].

    Raises
    ------
    ConfigError
        Every fault of the file and of its driver file, with file, line and key.
    """
    path = Path(path)
    document = read_toml(path)
    checker = Checker(document)
    data = merge_driver_file(document, checker, path.parent)
    return _season(path, data, checker)


def season_from_data(data: dict[str, Any], path: Path | str) -> Season:
    """Check plain data such as a changed copy of :attr:`Season.source`.

    Parameters
    ----------
    data : dict
        Content of a season file [record].
    path : Path or str
        File the data came from, named in faults [path].

    Returns
    -------
    Season
        The season [record].

    Raises
    ------
    ConfigError
        Every fault; lines are not known and given as 1.
    """
    path = Path(path)
    document = Document(file=str(path), data=data)
    checker = Checker(document)
    return _season(path, merge_driver_file(document, checker, path.parent), checker)


def with_settings(season: Season, effort: str | None, seed: int | None) -> Season:
    """The season with some settings of its search changed; its hash is that of the changed season.

    Parameters
    ----------
    season : Season
        The season [record].
    effort : str or None
        ``quick``, ``normal`` or ``thorough``; None for the season's own [text].
    seed : int or None
        Root of all random numbers; None for the season's own [1].

    Returns
    -------
    Season
        The season itself where nothing changes [record].

    Raises
    ------
    ConfigError
        A setting cannot be used.
    """
    changes = {key: value for key, value in (("effort", effort), ("seed", seed)) if value is not None}
    if not changes:
        return season
    return season_from_data(season.source | {"search": season.source["search"] | changes}, season.path)


def _season(path: Path, data: dict[str, Any], checker: Checker) -> Season:
    valid = checker.validate(SeasonFile, data)
    sections = Sections.of(data)
    gas = sections.gas()
    driver = None if sections.driver is None else driver_of(sections.driver, ("driver",), gas, checker)
    read = {
        i: driver_of(table, ("driver_options", i), gas, checker)
        for i, table in sections.options.items()
        if table.file is None
    }
    options = {i: one for i, one in read.items() if one is not None}
    check_season(sections, driver, checker, options)
    if checker.faults or valid is None or driver is None:
        raise ConfigError(checker.faults)
    source = valid.model_dump(exclude_none=True)
    decisive = source | {"search": {k: v for k, v in source["search"].items() if k != "plans"}}
    canonical = json.dumps(decisive, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return Season(
        path=path,
        name=valid.season.name,
        scale=valid.season.scale,
        rules=_rules(valid, driver, sections.gas()),
        search=_search(valid),
        source=source,
        driver_options=tuple(options.values()),
        config_hash=hashlib.sha256(canonical.encode()).hexdigest(),
    )


def _rules(valid: SeasonFile, driver: Driver, air: Air) -> Rules:
    limits, spaces = valid.limits, tuple(_space(space) for space in valid.spaces)
    highest = max(tone.hz for tone in valid.tones)
    return Rules(
        driver=driver,
        driver_count=valid.driver.count,
        wiring=valid.driver.wiring,
        envelope=envelope_of(valid.envelope),
        limits=Limits(
            power=limits.power_w,
            power_kind=limits.power_kind,
            excursion=limits.excursion_mm * 1e-3,
            air_speed=limits.air_speed_m_s,
            voltage=limits.amplifier_v,
            current=limits.amplifier_a,
        ),
        tones_hz=np.array([tone.hz for tone in valid.tones]),
        tone_weights=np.array([tone.weight for tone in valid.tones]),
        spaces=spaces,
        air=air,
        physics=Physics(**valid.physics.model_dump()),
        drive=limits.drive,
        mean=valid.score.mean,
        tolerances=season_tolerances(valid.tolerances, valid.air, spaces, highest),
    )


def _search(valid: SeasonFile) -> SearchSettings:
    keys = valid.search.model_dump()
    if not isinstance(keys["topologies"], str):
        keys["topologies"] = tuple(keys["topologies"])
    return SearchSettings(**{**keys, "objectives": tuple(keys["objectives"])})


def envelope_of(table: EnvelopeTable) -> Envelope:
    """Envelope of its table [record]."""
    return Envelope(
        width=table.width_mm * 1e-3,
        height=table.height_mm * 1e-3,
        depth=table.depth_mm * 1e-3,
        wall=table.wall_mm * 1e-3,
    )


def _metres(point_mm: list[float]) -> tuple[float, float, float]:
    x, y, z = (value * 1e-3 for value in point_mm)
    return x, y, z


def _space(table: CabinTable | HalfSpaceTable) -> Space:
    if isinstance(table, HalfSpaceTable):
        return HalfSpace(name=table.name, weight=table.weight, distance=table.distance_m)
    return Cabin(
        name=table.name,
        weight=table.weight,
        size=_metres(table.size_mm),
        enclosure_at=_metres(table.enclosure_at_mm),
        microphone_at=_metres(table.microphone_at_mm),
        damping=table.damping,
        leak_corner_hz=table.leak_corner_hz,
        obstacle=table.obstacle,
        openings=tuple(
            Opening(at=_metres(o.at_mm), area=o.area_cm2 * 1e-4, thickness=o.thickness_mm * 1e-3)
            for o in table.openings
        ),
    )
