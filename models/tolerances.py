"""How boxes and drivers deviate from what they are designed to be, and batches with such deviations.

All deviations are independent. Sizes, driver and temperature are normal with the stated standard
deviations, cut at three of them; leakage is only ever more than none, half of a normal distribution.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from models.air import Air
from models.design import DesignBatch, Diaphragms, Ducts, Specimens

if TYPE_CHECKING:
    from models.rules import Rules

CUT = 3.0
"""Standard deviations at which normal distributions are cut [1]."""

HALF_NORMAL = float(np.sqrt(1.0 - 2.0 / np.pi))
"""Standard deviation of the positive half of a normal distribution over that of the whole [1]."""

LEAST_SHARE = 0.1
"""Share of its nominal value that a size keeps at least [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """Standard deviations; the values given here are common practice, no source.

    Attributes
    ----------
    duct_section : float
        Of the clear height and width, or diameter, of a duct [m].
    duct_length : float
        Of the length of a duct [m].
    chamber_side : float
        Of the three sides of a chamber, which deviate together [m].
    compliance, moving_mass : float
        Of the driver's suspension and moving mass, and of those of diaphragms, relative [1].
    force_factor, coil_resistance : float
        Of the driver, relative [1].
    leak_corner_hz : float
        Of the leakage of all chambers of a box beyond that of the rules [Hz].
    airs : tuple of (float, Air)
        The air at equally likely temperatures, with each one's deviation in standard deviations, in
        rising order; empty where the temperature is that of the rules [list].
    """

    duct_section: float = 0.2e-3
    duct_length: float = 0.5e-3
    chamber_side: float = 0.3e-3
    compliance: float = 0.10
    moving_mass: float = 0.03
    force_factor: float = 0.03
    coil_resistance: float = 0.03
    leak_corner_hz: float = 5.0
    airs: tuple[tuple[float, Air], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One thing that deviates by itself.

    Attributes
    ----------
    kind : str
        ``driver``, ``air``, ``leak``, ``chamber``, ``duct`` or ``diaphragm`` [text].
    part : int
        Which chamber, duct or diaphragm [1].
    quantity : str
        Which of its values [text].
    name : str
        Words for it [text].
    """

    kind: str
    part: int
    quantity: str
    name: str

    @property
    def shared(self) -> bool:
        """Whether all boxes of a contest have it in common: the driver and the day."""
        return self.kind in ("driver", "air")


def causes_of(batch: DesignBatch, tolerances: Tolerances) -> tuple[Cause, ...]:
    """Everything that deviates in designs of a topology, shared causes first.

    Parameters
    ----------
    batch : DesignBatch
        Designs [record].
    tolerances : Tolerances
        Standard deviations; what has none is left out [record].

    Returns
    -------
    tuple of Cause
        Driver and temperature, then leakage, chambers, ducts and diaphragms [list].
    """
    t = tolerances
    driver = (
        ("compliance", "suspension compliance", t.compliance),
        ("mass", "moving mass", t.moving_mass),
        ("force_factor", "force factor", t.force_factor),
        ("coil_resistance", "coil resistance", t.coil_resistance),
    )
    found = [
        Cause(kind="driver", part=0, quantity=quantity, name=f"the driver's {words}")
        for quantity, words, size in driver
        if size > 0.0
    ]
    if t.airs:
        found.append(Cause(kind="air", part=0, quantity="temperature", name="temperature"))
    if t.leak_corner_hz > 0.0:
        found.append(Cause(kind="leak", part=0, quantity="leak", name="leakage"))
    if t.chamber_side > 0.0:
        for i in range(batch.topology.chambers):
            letter = chr(ord("A") + i)
            found.append(
                Cause(kind="chamber", part=i, quantity="sides", name=f"the sides of chamber {letter}")
            )
    for i, duct in enumerate(batch.ducts):
        for quantity, size in (("section", t.duct_section), ("length", t.duct_length)):
            if size > 0.0:
                found.append(
                    Cause(kind="duct", part=i, quantity=quantity, name=f"the {quantity} of {duct.name}")
                )
    for i, one in enumerate(batch.diaphragms):
        for quantity, size in (("mass", t.moving_mass), ("compliance", t.compliance)):
            if size > 0.0:
                name = f"the {quantity} of {one.name}"
                found.append(Cause(kind="diaphragm", part=i, quantity=quantity, name=name))
    return tuple(found)


def deviated(batch: DesignBatch, rules: Rules, causes: tuple[Cause, ...], by: np.ndarray) -> DesignBatch:
    """Designs with other sizes and leaks than they were designed to have, drivers as specimens.

    The temperature is not a design's; causes of that kind change nothing here.

    Parameters
    ----------
    batch : DesignBatch
        Designs [record].
    rules : Rules
        Driver and tolerances [record].
    causes : tuple of Cause
        What deviates [list].
    by : ndarray, shape (n_designs, n_causes)
        By how many standard deviations [1].

    Returns
    -------
    DesignBatch
        As many designs; without specimens where no driver deviates [record].
    """
    t, driver = rules.tolerances, rules.driver
    column = {(c.kind, c.part, c.quantity): by[:, i] for i, c in enumerate(causes)}
    none = np.zeros(batch.size)

    def change(kind: str, part: int, quantity: str) -> np.ndarray:
        return column.get((kind, part, quantity), none)

    sides = np.stack(
        [
            _grown(batch.sides[:, i], t.chamber_side * change("chamber", i, "sides")[:, None])
            for i in range(batch.topology.chambers)
        ],
        axis=1,
    )
    ducts = tuple(
        _duct(
            duct, t.duct_section * change("duct", i, "section"), t.duct_length * change("duct", i, "length")
        )
        for i, duct in enumerate(batch.ducts)
    )
    diaphragms = tuple(
        _diaphragm(
            one,
            t.moving_mass * change("diaphragm", i, "mass"),
            t.compliance * change("diaphragm", i, "compliance"),
        )
        for i, one in enumerate(batch.diaphragms)
    )
    specimens = Specimens(
        mass=driver.mass * (1.0 + t.moving_mass * change("driver", 0, "mass")),
        compliance=driver.compliance * (1.0 + t.compliance * change("driver", 0, "compliance")),
        force_factor=driver.force_factor * (1.0 + t.force_factor * change("driver", 0, "force_factor")),
        coil_resistance=driver.coil_resistance
        * (1.0 + t.coil_resistance * change("driver", 0, "coil_resistance")),
    )
    alike = not any(np.any(column[key]) for key in column if key[0] == "driver")
    leak = t.leak_corner_hz * np.abs(change("leak", 0, "leak"))
    return replace(
        batch,
        sides=sides,
        ducts=ducts,
        diaphragms=diaphragms,
        specimens=None if alike else specimens,
        leak=_leaks(batch, leak) if np.any(leak) else batch.leak,
    )


def _leaks(batch: DesignBatch, more: np.ndarray) -> tuple[np.ndarray, ...]:
    """Leaks of all chambers with as much more in each."""
    own = [batch.leak_of(chamber) for chamber in range(batch.topology.chambers)]
    return tuple(more if leak is None else leak + more for leak in own)


def _grown(size: np.ndarray, by: np.ndarray) -> np.ndarray:
    return np.asarray(np.maximum(size + by, LEAST_SHARE * size))


def _duct(duct: Ducts, section: np.ndarray, length: np.ndarray) -> Ducts:
    """A duct whose clear height and width, or diameter, and length are others."""
    grown: Callable[[np.ndarray], np.ndarray]
    if duct.slot_height is None:

        def grown(area: np.ndarray) -> np.ndarray:
            diameter = _grown(np.sqrt(4.0 * area / duct.count / np.pi), section)
            return np.asarray(duct.count * np.pi * diameter**2 / 4.0)

    else:
        height = duct.slot_height

        def grown(area: np.ndarray) -> np.ndarray:
            width = _grown(area / duct.count / height, section)
            return np.asarray(duct.count * width * _grown(height, section))

    return replace(
        duct,
        area=grown(duct.area),
        area_end=None if duct.area_end is None else grown(duct.area_end),
        slot_height=None if duct.slot_height is None else _grown(duct.slot_height, section),
        length=_grown(duct.length, length),
    )


def _diaphragm(one: Diaphragms, mass: np.ndarray, compliance: np.ndarray) -> Diaphragms:
    return replace(one, mass=one.mass * (1.0 + mass), compliance=one.compliance * (1.0 + compliance))
