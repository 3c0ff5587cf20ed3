"""The printer of a season, and how parts lie on its bed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from optimizer.season import Season
from optimizer.season_schema import PrinterTable

MOST_PIECES = 8


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


def split_for_bed(solid: Any, bed_mm: tuple[float, float, float], keep: list[np.ndarray]) -> list[Any]:
    """Pieces of a solid that fit a bed, cut by planes across its axes; the solid itself where it fits.

    Parameters
    ----------
    solid : Manifold
        Solid in its print orientation [mm].
    bed_mm : tuple of three floats
        Room for a part [mm].
    keep : list of ndarray, shape (3, 2)
        Cuboids that no plane should pass, such as cut-outs [mm].

    Returns
    -------
    list of Manifold
        One to :data:`MOST_PIECES` pieces in their places; more are needed where it is empty [list].
    """
    box = np.array(solid.bounding_box()).reshape(2, 3)
    size = box[1] - box[0]
    if fits_bed(size, bed_mm):
        return [solid]
    bed = np.array(bed_mm)
    if size[0] > size[1]:
        bed[:2] = np.sort(bed[:2])[::-1]
    else:
        bed[:2] = np.sort(bed[:2])
    counts = [max(1, int(np.ceil(s / b - 1e-9))) for s, b in zip(size, bed, strict=True)]
    if np.prod(counts) > MOST_PIECES:
        return []
    pieces = [solid]
    for axis, count in enumerate(counts):
        planes = _planes(float(box[0, axis]), float(box[1, axis]), count, float(bed[axis]), axis, keep)
        for plane in planes:
            normal = tuple(1.0 if a == axis else 0.0 for a in range(3))
            halves = [half for piece in pieces for half in piece.split_by_plane(normal, plane)]
            pieces = [half for half in halves if not half.is_empty() and half.volume() > 1.0]
    return pieces


def _planes(
    low: float, high: float, count: int, bed: float, axis: int, keep: list[np.ndarray]
) -> list[float]:
    """Where to cut: near equal shares, moved off what should stay whole where the bed allows."""
    planes: list[float] = []
    for number in range(1, count):
        wish = low + (high - low) * number / count
        last = planes[-1] if planes else low
        left = count - number
        options = [
            at
            for at in sorted(
                np.arange(last + 5.0, min(last + bed, high - 5.0), 1.0), key=lambda a: abs(a - wish)
            )
            if high - at <= left * bed + 1e-6
        ]
        clear = [a for a in options if not any(k[axis, 0] - 3.0 < a < k[axis, 1] + 3.0 for k in keep)]
        planes.append(float((clear or options or [wish])[0]))
    assert all(b > a for a, b in pairwise(planes))
    return planes
