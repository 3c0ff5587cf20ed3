"""A candidate's plan against its air in three dimensions: the other half of ``boxwright verify``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from models.plan_comparison import APART, BAND_HZ, NOTCH_DB, Levels, compare, notches
from models.plan_reading import read_plan
from optimizer.design_file import read_design
from optimizer.plan_file import read_plan_file
from optimizer.season import Season

HZ = np.arange(40.0, 461.0, 1.0)
"""Frequencies of the comparison, with some beyond the band whose notches reach into it [Hz]."""

MEDIAN_DB, WORST_DB = 0.2, 1.0
"""Within these a plan's network is called right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Agreement at one opening.

    Attributes
    ----------
    name : str
        The opening [text].
    median_db, worst_db : float
        Median and largest difference of level where it is counted [dB].
    worst_hz : float
        Where it is largest [Hz].
    counted, left_out : int
        Frequencies of the band that count, and that lie too near to a notch [1].
    notches_hz : tuple of float
        Notches by finite elements in the band [Hz].
    """

    name: str
    median_db: float
    worst_db: float
    worst_hz: float
    counted: int
    left_out: int
    notches_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A plan's levels by network and by finite elements.

    Attributes
    ----------
    levels : Levels
        Both curves of every opening [dB].
    openings : tuple of Opening
        Their agreement [list].
    """

    levels: Levels
    openings: tuple[Opening, ...]

    @property
    def median_db(self) -> float:
        """The largest median of all openings [dB]."""
        return max(one.median_db for one in self.openings)

    @property
    def worst(self) -> Opening:
        """The opening with the largest difference."""
        return max(self.openings, key=lambda one: one.worst_db)

    @property
    def agrees(self) -> bool:
        """Whether the network is right within :data:`MEDIAN_DB` and :data:`WORST_DB`."""
        return self.median_db <= MEDIAN_DB and self.worst.worst_db <= WORST_DB

    def record(self) -> dict[str, Any]:
        """Plain data, as ``verify --json`` prints it."""
        return {
            "band_hz": list(BAND_HZ),
            "agrees": self.agrees,
            "median_db": self.median_db,
            "worst_db": self.worst.worst_db,
            "worst_hz": self.worst.worst_hz,
            "openings": [
                {
                    "name": one.name,
                    "median_db": one.median_db,
                    "worst_db": one.worst_db,
                    "worst_hz": one.worst_hz,
                    "counted": one.counted,
                    "left_out": one.left_out,
                    "notches_hz": list(one.notches_hz),
                }
                for one in self.openings
            ],
        }

    def text(self) -> str:
        """Lines for people."""
        low, high = BAND_HZ
        lines = [
            f"network against finite elements of the plan's air in 3-D, {low:g} to {high:g} Hz, level of "
            "each opening:"
        ]
        for one in self.openings:
            places = [f"{hz:.0f}" for hz in one.notches_hz] or [f"beyond {low:g} to {high:g}"]
            whole = one.counted + one.left_out
            out = f"; {one.left_out} of {whole} frequencies left out, notch at {' and '.join(places)} Hz"
            lines.append(
                f"  {one.name}: median {one.median_db:.2f} dB, worst {one.worst_db:.2f} dB at "
                f"{one.worst_hz:.0f} Hz{out if one.left_out else ''}"
            )
        worst = self.worst
        if self.agrees:
            lines.append(
                f"The network is right within {MEDIAN_DB:g} dB in general and {WORST_DB:g} dB at worst: the "
                "levels in the report are those of the air as drawn."
            )
        else:
            lines.append(
                f"The network is off by more than {MEDIAN_DB:g} dB in general or {WORST_DB:g} dB at worst: "
                f"the report's levels may be {worst.worst_db:.1f} dB wrong near {worst.worst_hz:.0f} Hz, and "
                f"{self.median_db:.1f} dB elsewhere."
            )
        lines.append(
            "Both in a half space, without losses at walls, leaks, the driver's body and rounded edges. A "
            f"notch is a dip of at least {NOTCH_DB:g} dB; within {100 * APART:g} % of it nothing counts."
        )
        return "\n".join(lines)


def compare_candidate(parts: Path, season: Season) -> Compared:
    """Compare a built candidate's plan with finite elements.

    Parameters
    ----------
    parts : Path
        Folder with ``plan.json`` and ``design.toml`` [path].
    season : Season
        The season [record].

    Returns
    -------
    Compared
        Levels and agreement [record].

    Raises
    ------
    ConfigError
        A file is missing or cannot be read.
    """
    plan = read_plan_file(parts / "plan.json", season.rules)
    given = read_design(parts / "design.toml", season.rules)
    design = read_plan(plan, season.rules, None, given.diaphragms)
    return compared(compare(plan, design, season.rules, HZ))


def compared(levels: Levels) -> Compared:
    """Agreement of levels, opening by opening [record]."""
    low, high = BAND_HZ
    band = (levels.hz >= low) & (levels.hz <= high)
    openings = []
    for row, name in enumerate(levels.names):
        counts, off = levels.counted[row], np.abs(levels.difference_db[row])
        worst = int(np.argmax(np.where(counts, off, -1.0)))
        places = levels.hz[notches(levels.elements_db[row])]
        openings.append(
            Opening(
                name=name,
                median_db=float(np.median(off[counts])),
                worst_db=float(off[worst]),
                worst_hz=float(levels.hz[worst]),
                counted=int(counts.sum()),
                left_out=int((band & ~counts).sum()),
                notches_hz=tuple(float(hz) for hz in places if low <= hz <= high),
            )
        )
    return Compared(levels=levels, openings=tuple(openings))
