"""The tolerances of a season in SI units, with the air at every temperature that it may have."""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import NormalDist

from models.air import Air, humid_air
from models.cabin_modes import highest_frequency
from models.spaces import Cabin, Space
from models.tolerances import Tolerances
from optimizer.season_schema import AirTable, TolerancesTable

TEMPERATURES = 5
"""Equally likely temperatures that stand for all."""

COLDEST_C, WARMEST_C = -10.0, 50.0
"""Range of :func:`models.air.humid_air` [degC]."""


def temperature_steps() -> tuple[float, ...]:
    """Means of equally likely parts of a normal distribution, in rising order, spread to deviate by 1 [1]."""
    normal = NormalDist()
    cuts = [normal.inv_cdf(k / TEMPERATURES) for k in range(1, TEMPERATURES)]
    heights = [0.0, *(normal.pdf(cut) for cut in cuts), 0.0]
    means = [low - high for low, high in pairwise(heights)]
    size = math.sqrt(sum(mean**2 for mean in means) / TEMPERATURES)
    return tuple(mean / size for mean in means)


def season_tolerances(
    table: TolerancesTable | None, air: AirTable, spaces: tuple[Space, ...], highest_hz: float
) -> Tolerances:
    """Tolerances of their table, or the default ones.

    Temperatures that the models of air and cabin do not reach are moved to the nearest one that they do.

    Parameters
    ----------
    table : TolerancesTable or None
        What the season says [record].
    air : AirTable
        State of the season's air [record].
    spaces : tuple of Space
        Listening spaces [list].
    highest_hz : float
        Highest tone [Hz].

    Returns
    -------
    Tolerances
        Standard deviations [record].
    """
    t = table or TolerancesTable()
    airs: list[tuple[float, Air]] = []
    if t.temperature_c > 0.0:
        for step in sorted(temperature_steps(), reverse=True):
            celsius = min(max(air.temperature_c + t.temperature_c * step, COLDEST_C), WARMEST_C)
            gas = humid_air(**(air.model_dump() | {"temperature_c": celsius}))
            if airs and not _reaches(gas, spaces, highest_hz):
                gas = airs[-1][1]
            airs.append((step, gas))
    return Tolerances(
        duct_section=t.duct_section_mm * 1e-3,
        duct_length=t.duct_length_mm * 1e-3,
        chamber_side=t.chamber_side_mm * 1e-3,
        compliance=t.compliance_percent * 1e-2,
        moving_mass=t.moving_mass_percent * 1e-2,
        force_factor=t.force_factor_percent * 1e-2,
        coil_resistance=t.coil_resistance_percent * 1e-2,
        leak_corner_hz=t.leak_corner_hz,
        airs=tuple(reversed(airs)),
    )


def _reaches(air: Air, spaces: tuple[Space, ...], highest_hz: float) -> bool:
    cabins = [space for space in spaces if isinstance(space, Cabin)]
    return all(highest_hz <= highest_frequency(cabin.size, air.sound_speed) for cabin in cabins)
