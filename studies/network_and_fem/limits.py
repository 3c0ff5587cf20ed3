"""Where the network stops to agree: high tones, wide ducts, patches that nearly touch, short ducts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from studies.network_and_fem.cases import PISTON_SIDE, Case, Spot, chamber_and_duct, two_chambers
from studies.network_and_fem.comparing import AIR, BAND_HZ, Errors, errors, fem_curves, network_curves

FLAT = (0.200, 0.125, 0.080)
SHARES = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Edges of the bands of frequency over that of the first mode across the room."""


def compared(case: Case, hz: np.ndarray) -> Errors:
    """Errors of one case."""
    return errors(hz, fem_curves(case, hz), network_curves(case.batch, hz))


def _square(wall: str, first: float, second: float) -> Spot:
    return Spot(wall=wall, at=(first, second), size=(0.035, 0.035))


def high_tones() -> list[tuple[float, float, float, float]]:
    """Edges of a band over the first mode across, largest of the curves' medians, largest error, in dB.

    Three rooms with a narrow duct, and one with a duct of 110 x 80 mm, itself near its first mode.
    """
    first = AIR.sound_speed / (2.0 * FLAT[1])
    hz = np.arange(100.0, 1.1 * first, 4.0)
    cases = [
        chamber_and_duct("a", FLAT, Spot(wall="x-", at=(0.04, 0.04)), _square("x+", 0.04, 0.03), 0.15),
        chamber_and_duct("b", FLAT, Spot(wall="z+", at=(0.06, 0.04)), _square("x+", 0.03, 0.04), 0.15),
        chamber_and_duct("c", FLAT, Spot(wall="y-", at=(0.10, 0.04)), _square("y+", 0.15, 0.04), 0.15),
        wide_duct(0.110),
    ]
    found = [compared(case, hz) for case in cases]
    rows = []
    for low, high in pairwise(SHARES):
        band = (hz / first >= low) & (hz / first < high)
        curves = [np.abs(c[band]) for e in found for c in (e.impedance_db, e.transfer_db)]
        curves = [c[np.isfinite(c)] for c in curves]
        curves = [c for c in curves if c.size]
        rows.append(
            (low, high, max(float(np.median(c)) for c in curves), max(float(c.max()) for c in curves))
        )
    return rows


def sweep(values: Sequence[float], build: Callable[[float], Case]) -> list[tuple[float, float, float, float]]:
    """Value, median and largest error over both curves in dB, largest shift of a pole or zero in percent."""
    hz = np.arange(40.0, 461.0, 2.0)
    band = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    rows = []
    for value in values:
        e = compared(build(value), hz)
        level = np.abs(np.concatenate([e.impedance_db[band], e.transfer_db[band]]))
        shift = float(np.max(np.abs(e.shifts_percent), initial=0.0))
        rows.append((value, float(np.nanmedian(level)), float(np.nanmax(level)), shift))
    return rows


def wide_duct(width: float) -> Case:
    """A full-height duct of a width in an end wall of 125 mm, driver in the side wall."""
    duct = Spot(wall="x+", at=(width / 2.0, 0.04), size=(width, 0.08))
    return chamber_and_duct("wide", FLAT, Spot(wall="y-", at=(0.07, 0.04)), duct, 0.25)


def close_on_a_wall(gap: float) -> Case:
    """Driver and duct side by side on an end wall."""
    at = (0.004 + PISTON_SIDE / 2.0, 0.004 + PISTON_SIDE + gap + 0.02)
    duct = Spot(wall="x-", at=(at[1], 0.04), size=(0.04, 0.06))
    return chamber_and_duct("close", FLAT, Spot(wall="x-", at=(at[0], 0.04)), duct, 0.25)


def close_around_a_corner(gap: float) -> Case:
    """Driver on a side wall and duct in the end wall, each a gap from their common edge."""
    duct = Spot(wall="x+", at=(gap + 0.02, 0.04), size=(0.04, 0.06))
    driver = Spot(wall="y-", at=(FLAT[0] - gap - PISTON_SIDE / 2.0, 0.04))
    return chamber_and_duct("corner", FLAT, driver, duct, 0.25)


def facing(depth: float) -> Case:
    """Driver facing the duct across the shortest side of a room."""
    duct = Spot(wall="z+", at=(0.15, 0.06), size=(0.04, 0.06))
    return chamber_and_duct("facing", (0.2, 0.125, depth), Spot(wall="z-", at=(0.15, 0.06)), duct, 0.25)


def hole(length: float) -> Case:
    """Two rooms joined by a hole of 50 x 70 mm in a partition."""
    size = (0.05, 0.07)
    return two_chambers(
        "hole", ((0.14, 0.15, 0.10), (0.10, 0.15, 0.10)), Spot(wall="y-", at=(0.07, 0.05)),
        (Spot(wall="x+", at=(0.04, 0.05), size=size), Spot(wall="x-", at=(0.04, 0.05), size=size)),
        Spot(wall="y-", at=(0.05, 0.05), size=(0.035, 0.035)), (length, 0.15),
    )  # fmt: skip
