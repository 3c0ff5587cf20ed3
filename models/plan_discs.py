"""What drivers and diaphragms need on the wall of a floor plan and behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.rules import Rules

FRAME_MARGIN = 0.006
"""Ring around a diaphragm on which it is glued [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """What a driver or diaphragm needs.

    Attributes
    ----------
    cutout, frame : ndarray, shape (n_plans,)
        Diameters of its hole and of its frame [m].
    depth : float
        Depth of its body behind the wall [m].
    clearance : float
        Free depth that its face needs [m].
    """

    cutout: np.ndarray
    frame: np.ndarray
    depth: float
    clearance: float


def bridged_chord(disc: Disc) -> float:
    """Chord of the first plan's round cut-out above which its top overhangs beyond 45 degrees [m]."""
    return float(disc.cutout[0]) * float(np.sqrt(0.5))


def discs_of(rules: Rules, n: int, diaphragm_area: tuple[float, ...]) -> tuple[Disc, ...]:
    """Sizes of a season's drivers, then of diaphragms of given areas, for n plans [record]."""
    driver = rules.driver
    reach = 2.0 * rules.limits.excursion + 0.004
    one = Disc(
        cutout=np.full(n, driver.cutout),
        frame=np.full(n, driver.frame),
        depth=driver.depth,
        clearance=reach,
    )
    discs = [one] * rules.driver_count
    for area in diaphragm_area:
        cutout = np.full(n, 2.0 * np.sqrt(area / np.pi))
        discs.append(Disc(cutout=cutout, frame=cutout + 2.0 * FRAME_MARGIN, depth=reach, clearance=reach))
    return tuple(discs)
