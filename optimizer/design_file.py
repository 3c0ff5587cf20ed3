"""A design file: one box as TOML, read into a batch of one."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Literal

import numpy as np

from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth
from models.envelope import Site, front_centre
from models.places import SLOT_ASPECT, default_patch
from models.rules import Rules
from models.topology import OUTSIDE, Edge, Topology
from optimizer.checking import Checker
from optimizer.design_checks import check_design, check_linings
from optimizer.design_ends import EdgeEnd, GivenEnd, patch_of, site_of
from optimizer.design_schema import ChamberTable, DesignFile, DiaphragmTable, DriverTable, DuctTable
from optimizer.design_writing import write_design
from optimizer.faults import ConfigError, read_toml

__all__ = ["read_design", "write_design"]


def read_design(path: Path | str, rules: Rules, tones_hz: np.ndarray | None = None) -> DesignBatch:
    """Read and check a design file.

    Parameters
    ----------
    path : Path or str
        TOML file [path].
    rules : Rules
        Season whose driver and envelope it is for [record].
    tones_hz : ndarray, shape (n_tones,), or None
        Frequencies at which it is to be evaluated instead of the season's tones [Hz].

    Returns
    -------
    DesignBatch
        Batch of one design [record].

    Raises
    ------
    ConfigError
        Every fault of the file, with file, line and key.
    """
    document = read_toml(Path(path))
    checker = Checker(document)
    design = checker.validate(DesignFile, document.data)
    if design is None:
        raise ConfigError(checker.faults)
    places = {"outside": OUTSIDE} | {name: i for i, name in enumerate(design.chambers)}
    sides = {name: inner_sides(table) for name, table in design.chambers.items()}
    check_design(design, sides, rules, checker)
    check_linings(design, rules.tones_hz if tones_hz is None else tones_hz, checker)
    if checker.faults:
        raise ConfigError(checker.faults)
    return _Assembly(design, places, sides, rules).batch()


def inner_sides(table: ChamberTable) -> np.ndarray | None:
    """Inner sides of a chamber, shape (3,), None where its table does not tell them [m]."""
    if table.sides_mm is not None:
        return np.array(table.sides_mm) * 1e-3
    if table.volume_l is None:
        return None
    volume = table.volume_l * 1e-3
    if table.length_mm is None:
        return np.full(3, math.cbrt(volume))
    length = table.length_mm * 1e-3
    return np.array([length, math.sqrt(volume / length), math.sqrt(volume / length)])


class _Assembly:
    """Turns checked tables into a batch, counting connections at each chamber for the default places."""

    def __init__(
        self, design: DesignFile, places: dict[str, int], sides: dict[str, np.ndarray | None], rules: Rules
    ) -> None:
        self.design = design
        self.places = places
        self.sides = {name: side for name, side in sides.items() if side is not None}
        self.rules = rules
        self.orders = dict.fromkeys(places, 0)
        self.sites: list[Site] = []

    def batch(self) -> DesignBatch:
        drivers = tuple(self._driver(table) for table in self.design.drivers)
        ducts = tuple(self._duct(table, i) for i, table in enumerate(self.design.ducts))
        diaphragms = tuple(self._diaphragm(table, i) for i, table in enumerate(self.design.diaphragms))
        topology = Topology(
            chambers=len(self.sides),
            drivers=tuple(self._edge(d.front, d.rear) for d in self.design.drivers),
            ducts=tuple(self._edge(d.start, d.end) for d in self.design.ducts),
            diaphragms=tuple(self._edge(d.start, d.end) for d in self.design.diaphragms),
        )
        linings = tuple(_optional(table.lining_pa_s_m2, 1.0) for table in self.design.chambers.values())
        leaks = tuple(_optional(table.leak_corner_hz, 1.0) for table in self.design.chambers.values())
        return DesignBatch(
            topology=topology,
            sides=np.array([list(self.sides.values())]),
            driver_ends=drivers,
            ducts=ducts,
            diaphragms=diaphragms,
            sites=tuple(self.sites),
            lining=linings if any(one is not None for one in linings) else (),
            leak=leaks if any(one is not None for one in leaks) else (),
        )

    def _edge(self, first: str, second: str) -> Edge:
        return self.places[first], self.places[second]

    def _driver(self, table: DriverTable) -> tuple[End, End]:
        section = EdgeEnd(area=self.rules.driver.area)
        return (
            self._end(GivenEnd(table.front, table.front_patch, table.front_at), section),
            self._end(GivenEnd(table.rear, table.rear_patch, table.rear_at), section),
        )

    def _pair(self, table: DuctTable | DiaphragmTable, first: EdgeEnd, second: EdgeEnd) -> tuple[End, End]:
        return (
            self._end(GivenEnd(table.start, table.from_patch, table.from_at), first),
            self._end(GivenEnd(table.end, table.to_patch, table.to_at), second),
        )

    def _end(self, given: GivenEnd, section: EdgeEnd) -> End:
        order = self.orders[given.place]
        self.orders[given.place] += 1
        if given.place == "outside":
            site = front_centre(self.rules.envelope) if given.patch is None else site_of(given.patch)
            if site not in self.sites:
                self.sites.append(site)
            return Mouth(site=np.array([self.sites.index(site)]))
        if given.patch is not None:
            return patch_of(given.patch, section)
        at = None if given.at is None else np.array([given.at])
        height = None if section.slot_height is None else np.array([section.slot_height])
        shape: Literal["round", "slot"] = "round" if height is None else "slot"
        sides = self.sides[given.place][None]
        return default_patch(sides, order, at, np.array([section.area]), shape=shape, slot_height=height)

    def _duct(self, table: DuctTable, index: int) -> Ducts:
        area = table.area_cm2 * 1e-4
        area_end = None if table.area_end_cm2 is None else table.area_end_cm2 * 1e-4
        height = None
        if table.shape == "slot":
            default = math.sqrt(area / table.count / SLOT_ASPECT)
            height = default if table.height_mm is None else table.height_mm * 1e-3
        first = EdgeEnd(area=area, slot_height=height)
        second = EdgeEnd(area=area if area_end is None else area_end, slot_height=height)
        return Ducts(
            name=table.name or f"duct {index + 1}",
            ends=self._pair(table, first, second),
            area=np.array([area]),
            length=np.array([table.length_mm * 1e-3]),
            shape=table.shape,
            slot_height=None if height is None else np.array([height]),
            count=table.count,
            end_lengths=(_optional(table.from_end_mm, 1e-3), _optional(table.to_end_mm, 1e-3)),
            loss_factor=np.array([table.loss_factor]),
            area_end=None if area_end is None else np.array([area_end]),
            profile=table.profile or "conical",
            bends=tuple((np.array([at * 1e-3]), np.array([by * 1e-3])) for at, by in table.bends_mm),
            lining=_optional(table.lining_pa_s_m2, 1.0),
        )

    def _diaphragm(self, table: DiaphragmTable, index: int) -> Diaphragms:
        section = EdgeEnd(area=table.area_cm2 * 1e-4)
        return Diaphragms(
            name=table.name or f"diaphragm {index + 1}",
            ends=self._pair(table, section, section),
            area=np.array([section.area]),
            mass=np.array([table.mass_g * 1e-3]),
            compliance=np.array([table.compliance_mm_n * 1e-3]),
            q=np.array([table.qm]),
            excursion_limit=np.array([table.excursion_mm * 1e-3]),
        )


def _optional(value: float | None, unit: float) -> np.ndarray | None:
    return None if value is None else np.array([value * unit])
