"""The printer of a season, and whether parts fit its bed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.season import Season
from optimizer.season_schema import PrinterTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Printer:
    """What parts must suit.

    Attributes
    ----------
    bed_mm : tuple of three floats
        Room for a part: width, depth, height [mm].
    nozzle_mm : float
        Width of a printed line [mm].
    bridge_mm : float
        Longest span without support [mm].
    density_g_cm3 : float
        Of the filament [g/cm3].
    given : bool
        Whether the season names them; otherwise they are defaults [flag].
    """

    bed_mm: tuple[float, float, float]
    nozzle_mm: float
    bridge_mm: float
    density_g_cm3: float
    given: bool


def printer_of(season: Season) -> Printer:
    """Printer of a season's ``[printer]`` table, or defaults [record]."""
    data = season.source.get("printer")
    table = PrinterTable(**(data or {}))
    x, y, z = table.bed_mm
    return Printer(
        bed_mm=(x, y, z),
        nozzle_mm=table.nozzle_mm,
        bridge_mm=table.bridge_mm,
        density_g_cm3=table.density_g_cm3,
        given=data is not None,
    )


def fits_bed(size_mm: np.ndarray, bed_mm: tuple[float, float, float]) -> bool:
    """Whether a part of a size stands on a bed, turned by a right angle where that helps."""
    foot, bed = np.sort(size_mm[:2]), np.sort(np.array(bed_mm[:2]))
    return bool(np.all(foot <= bed + 1e-6) and size_mm[2] <= bed_mm[2] + 1e-6)
