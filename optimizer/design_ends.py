"""Ends of a design's connections: what the file gives, as patches in metres."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.design import Patch
from models.envelope import Site
from models.places import section_sides
from optimizer.design_schema import PatchTable

DISC_TO_HALF = math.sqrt(math.pi) / 4.0
"""Half side of the square of equal area, over the diameter of a disc."""


@dataclass(frozen=True, slots=True)
class GivenEnd:
    """One end as the file gives it.

    Attributes
    ----------
    place : str
        Chamber's name or ``outside`` [text].
    patch : PatchTable or None
        Place on a wall [record].
    at : float or None
        Place along the chamber's longest side [1].
    """

    place: str
    patch: PatchTable | None
    at: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeEnd:
    """Section of a connection at one end, for patches whose size is not given.

    Attributes
    ----------
    area : float
        Area [m2].
    slot_height : float or None
        Short side of a slot; None for a round section [m].
    """

    area: float
    slot_height: float | None = None


def patch_of(table: PatchTable, section: EdgeEnd) -> Patch:
    """Patch of its table, batch of one, with the section's size where the table gives none [record]."""
    return Patch(
        wall=table.wall,
        centre=np.array([table.at_mm]) * 1e-3,
        half=np.array([patch_half(table, section)]),
    )


def patch_half(table: PatchTable, section: EdgeEnd) -> tuple[float, float]:
    """Half sides of a patch along the wall's two axes [m]."""
    if table.size_mm is not None:
        return table.size_mm[0] * 0.5e-3, table.size_mm[1] * 0.5e-3
    if table.diameter_mm is not None:
        half = table.diameter_mm * 1e-3 * DISC_TO_HALF
        return half, half
    height = None if section.slot_height is None else np.array([section.slot_height])
    long, short = section_sides(np.array([section.area]), "round" if height is None else "slot", height)
    return 0.5 * float(long[0]), 0.5 * float(short[0])


def site_of(table: PatchTable) -> Site:
    """Site on the envelope of its table [record]."""
    return Site(table.wall, (table.at_mm[0] * 1e-3, table.at_mm[1] * 1e-3))
