"""What a model becomes at full size: levels, limits, order, and what the model cannot tell of them.

Everything lossless carries over exactly (:mod:`models.scaling`). The layers at the walls do not, and the
model knows them, so the change that it predicts is theirs alone where the driver is scaled too. Two things
the model takes as given, and they may differ at full size: the loss of duct ends, whose flow becomes more
turbulent, and the damping of the cabin. Each is varied, so that a result says how much hangs on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.catalogue import design_names
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.driver import Driver
from models.fit import reasons_not
from models.rules import Rules
from models.scaling import enlarged_batch, enlarged_rules
from models.score import Judge, Responses
from models.similarity import (
    hydraulic_diameter,
    reynolds_number,
    share_lost_at_walls,
    thermal_layer,
    viscous_layer,
)
from models.spaces import Cabin, HalfSpace
from optimizer.evaluation import unique_names
from optimizer.plain import number
from optimizer.season import Season

END_LOSS_BAND = (0.5, 1.5)
"""Factors on the loss of duct ends: from K of rounded mouths to well above sharp ones (K from 0.5 to 1.5 in
handbooks for ends that a flow passes, after I. E. Idelchik's tables; the band itself is a choice) [1]."""

DAMPING_BAND = (0.5, 2.0)
"""Factors on the loss factor of the cabin's modes; a choice, as no source covers all cabins [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FullSize:
    """A season at full size, with all that is needed to put a model beside it.

    Attributes
    ----------
    scale : float
        Full-size lengths over model lengths [1].
    model, full : Rules
        The season's rules, and those of full size [record].
    scaled_driver : bool
        Whether the full-size driver is the season's, enlarged [flag].
    judges : dict of str to Judge
        Evaluators: ``model``, ``full``, and of full size with other damping, ``damping low`` and
        ``damping high``, where there is a cabin [record].
    """

    scale: float
    model: Rules
    full: Rules
    scaled_driver: bool
    judges: dict[str, Judge]


def full_size(
    season: Season, driver: Driver | None = None, power: float | None = None, excursion: float | None = None
) -> FullSize:
    """A season at full size.

    Parameters
    ----------
    season : Season
        The model league's season [record].
    driver : Driver or None
        A full-size driver; None enlarges the season's [record].
    power : float or None
        Full-size ceiling of power; None takes the season's times the square of the scale [W].
    excursion : float or None
        Full-size limit of excursion, peak; None takes the season's times the scale [m].

    Returns
    -------
    FullSize
        Rules and evaluators of both sizes [record].
    """
    model, n = season.rules, season.scale
    full = enlarged_rules(model, n)
    limits = full.limits
    limits = replace(
        limits,
        power=limits.power if power is None else power,
        excursion=limits.excursion if excursion is None else excursion,
    )
    full = replace(full, driver=driver or full.driver, limits=limits)
    judges = {"model": Judge(model, backend="numpy"), "full": Judge(full, backend="numpy")}
    if any(isinstance(space, Cabin) for space in full.spaces):
        for word, factor in zip(("low", "high"), DAMPING_BAND, strict=True):
            spaces = tuple(
                replace(s, damping=min(1.0, s.damping * factor)) if isinstance(s, Cabin) else s
                for s in full.spaces
            )
            judges[f"damping {word}"] = Judge(replace(full, spaces=spaces), backend="numpy")
    return FullSize(scale=n, model=model, full=full, scaled_driver=driver is None, judges=judges)


def put_beside(sizes: FullSize, design: DesignBatch) -> dict[str, Any]:
    """A design as a model and at full size, as plain data that is valid JSON.

    Parameters
    ----------
    sizes : FullSize
        Rules and evaluators [record].
    design : DesignBatch
        A batch of one, at model size [record].

    Returns
    -------
    dict
        Scores, levels tone by tone, the spread of what is not known, layers and Reynolds numbers [mixed].
    """
    large = enlarged_batch(design, sizes.scale)
    judges = sizes.judges
    small = judges["model"].respond(design)
    full = judges["full"].respond(large)
    varied: dict[str, list[tuple[float, np.ndarray]]] = {"end_loss": [], "damping": []}
    if large.ducts and sizes.full.physics.duct_end_loss:
        for factor in END_LOSS_BAND:
            ducts = tuple(replace(d, loss_factor=d.loss_factor * factor) for d in large.ducts)
            varied["end_loss"].append(_outcome(judges["full"], replace(large, ducts=ducts)))
    for key in ("damping low", "damping high"):
        if key in judges:
            varied["damping"].append(_outcome(judges[key], large))
    scores = [float(judges[key].scores(r)[0]) for key, r in (("model", small), ("full", full))]
    reasons = reasons_not(large, sizes.full)[0]
    return {
        "topology": design_names(design)[0],
        "graph": design.topology.graph_id,
        "score_db": number(scores[0]),
        "full_size_score_db": number(scores[1]),
        "change_db": number(scores[1] - scores[0]),
        "settled": bool(small.settled.all() and full.settled.all()),
        "fits_full_size": not reasons,
        "reasons_not": reasons,
        **{f"{key}_scores_db": [number(score) for score, _ in found] for key, found in varied.items()},
        "spaces": [
            {
                "name": space.name,
                "full_size_distance_m": space.distance if isinstance(space, HalfSpace) else None,
                "tones": [
                    _tone(sizes, small, full, (0, place, tone), varied)
                    for tone in range(sizes.model.tones_hz.size)
                ],
            }
            for place, space in enumerate(sizes.full.spaces)
        ],
        "ducts": _ducts(sizes, design, small, full),
    }


def _outcome(judge: Judge, design: DesignBatch) -> tuple[float, np.ndarray]:
    found = judge.respond(design)
    return float(judge.scores(found)[0]), found.level_db


def _tone(
    sizes: FullSize,
    small: Responses,
    full: Responses,
    at: tuple[int, int, int],
    varied: dict[str, list[tuple[float, np.ndarray]]],
) -> dict[str, Any]:
    power = full.voltage[at] * np.conj(full.current[at])
    hz = float(sizes.model.tones_hz[at[2]])
    return {
        "hz": hz,
        "full_size_hz": hz / sizes.scale,
        "level_db": number(small.level_db[at]),
        "full_size_level_db": number(full.level_db[at]),
        "change_db": number(full.level_db[at] - small.level_db[at]),
        "limit": LIMIT_NAMES[int(small.limit[at])],
        "full_size_limit": LIMIT_NAMES[int(full.limit[at])],
        "full_size_drive_v_rms": number(full.voltage[at]),
        "full_size_real_power_w": number(power.real),
        "full_size_excursion_mm": number(full.excursion[at].max() * 1e3),
        "full_size_air_speed_m_s": number(full.air_speed[at].max()) if full.air_speed.shape[-1] else None,
        **{
            f"{key}_change_db": [number(level[at] - full.level_db[at]) for _, level in found]
            for key, found in varied.items()
        },
    }


def _ducts(sizes: FullSize, design: DesignBatch, small: Responses, full: Responses) -> list[dict[str, Any]]:
    """Layers and Reynolds numbers of each duct at its fastest tone, at both sizes."""
    result = []
    air, omega = sizes.model.air, sizes.model.omega
    names = unique_names([duct.name for duct in design.ducts])
    for i, (name, duct) in enumerate(zip(names, design.ducts, strict=True)):
        place, tone = np.unravel_index(int(np.argmax(small.air_speed[0, :, :, i])), small.level_db.shape[1:])
        diameter = float(hydraulic_diameter(duct)[0])
        entry: dict[str, Any] = {"duct": name, "hz": float(sizes.model.tones_hz[tone])}
        for word, n, found in (("model", 1.0, small), ("full_size", sizes.scale, full)):
            speed = found.air_speed[0, place, tone, i]
            viscous = viscous_layer(air, omega[tone] / n)
            entry[word] = {
                "hydraulic_diameter_mm": diameter * n * 1e3,
                "viscous_layer_mm": float(viscous * 1e3),
                "thermal_layer_mm": float(thermal_layer(air, omega[tone] / n) * 1e3),
                "lost_per_radian": float(share_lost_at_walls(air, omega[tone] / n, np.array(diameter * n))),
                "air_speed_m_s": number(speed),
                "reynolds": number(float(reynolds_number(air, speed, np.array(diameter * n)))),
                "layer_reynolds": number(float(reynolds_number(air, speed, viscous))),
            }
        result.append(entry)
    return result
