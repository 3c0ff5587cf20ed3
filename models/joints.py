"""Ends of elements, gathered by the place where they meet, with the near fields that they have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch, Ducts, End
from models.radiation import disc_length, profile_factor, rectangle_length
from models.rules import Rules


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """One end of one element: where it is and which flow passes it.

    Attributes
    ----------
    unknown : int
        Index of the flow [1].
    sign : float
        +1 where that flow enters the place, -1 where it leaves it [1].
    end : End
        Patch in a chamber or mouth outside [record].
    near_length : ndarray, shape (n_designs,)
        Near-field length of the real end, flanged [m].
    patch_length : ndarray, shape (n_designs,)
        Near-field length that the room's uniform rectangle has [m].
    by_hand : ndarray, shape (n_designs,), or None
        End correction set by hand [m].
    area : ndarray, shape (n_designs,)
        Area of the end [m2].
    yields : bool
        Whether the velocity across it gives way to the near field: a single duct's end [flag].
    """

    unknown: int
    sign: float
    end: End
    near_length: np.ndarray
    patch_length: np.ndarray
    by_hand: np.ndarray | None
    area: np.ndarray
    yields: bool = False


def far_area(duct: Ducts) -> np.ndarray:
    """Cross-section at the second end of a duct, shape (n_designs,) [m2]."""
    return duct.area if duct.area_end is None else duct.area_end


def joints_by_place(batch: DesignBatch, rules: Rules) -> dict[int, list[Joint]]:
    """Ends by the place where they meet, in the order drivers, diaphragms, ducts."""
    result: dict[int, list[Joint]] = {}

    def note(place: int, joint: Joint) -> None:
        result.setdefault(place, []).append(joint)

    def disc(unknown: int, sign: float, end: End, area: np.ndarray) -> Joint:
        length = disc_length(area)
        square = rectangle_length(area)
        return Joint(
            unknown=unknown,
            sign=sign,
            end=end,
            near_length=length,
            patch_length=square,
            by_hand=None,
            area=area,
        )

    area = np.full(batch.size, rules.driver.area)
    for i, (edge, ends) in enumerate(zip(batch.topology.drivers, batch.driver_ends, strict=True)):
        for place, end, sign in zip(edge, ends, (1.0, -1.0), strict=True):
            note(place, disc(i, sign, end, area))
    for i, (edge, diaphragm) in enumerate(zip(batch.topology.diaphragms, batch.diaphragms, strict=True)):
        for place, end, sign in zip(edge, diaphragm.ends, (-1.0, 1.0), strict=True):
            note(place, disc(len(batch.driver_ends) + i, sign, end, diaphragm.area))
    first = len(batch.driver_ends) + len(batch.diaphragms)
    for i, (edge, duct) in enumerate(zip(batch.topology.ducts, batch.ducts, strict=True)):
        sections = (duct.area, far_area(duct))
        for side in (0, 1):
            section = sections[side]
            profile = profile_factor(duct.length, section / duct.count)
            if duct.slot_height is None:
                near = profile * disc_length(section / duct.count)
                patch = rectangle_length(section)
            else:
                width = section / (duct.count * duct.slot_height)
                aspect = width / duct.slot_height
                near = profile * rectangle_length(section / duct.count, aspect)
                patch = rectangle_length(section, aspect)
            joint = Joint(
                unknown=first + 2 * i + side,
                sign=(-1.0, 1.0)[side],
                end=duct.ends[side],
                near_length=near,
                patch_length=patch,
                by_hand=duct.end_lengths[side],
                area=section,
                yields=duct.count == 1,
            )
            note(edge[side], joint)
    return result
