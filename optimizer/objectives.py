"""Objectives by name: what each one measures on a design, and which way is better."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch
from models.fit import material_volume, outer_volume
from models.rules import Rules
from models.score import Judge, Responses
from optimizer.tolerance import Tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Objective:
    """One objective.

    Attributes
    ----------
    name : str
        Name in a season [text].
    key : str
        Name with unit in tables [text].
    label : str
        Words for axes and sentences [text].
    unit : str
        Unit for people [text].
    sign : float
        +1 where more is better, -1 where less is better [1].
    """

    name: str
    key: str
    label: str
    unit: str
    sign: float


OBJECTIVES = {
    o.name: o
    for o in (
        Objective(name="output", key="output_db", label="averaged output", unit="dB", sign=1.0),
        Objective(
            name="worst_tone", key="worst_tone_db", label="level of the weakest tone", unit="dB", sign=1.0
        ),
        Objective(name="evenness", key="evenness_db", label="spread between tones", unit="dB", sign=-1.0),
        Objective(name="material", key="material_cm3", label="printed material", unit="cm3", sign=-1.0),
        Objective(name="outer_volume", key="outer_volume_l", label="outer volume", unit="l", sign=-1.0),
        Objective(
            name="tolerance", key="tolerance_db", label="sensitivity to tolerance", unit="dB", sign=-1.0
        ),
    )
}
"""Every objective a season may name."""


def objective_keys(names: tuple[str, ...]) -> tuple[str, ...]:
    """Keys of all objectives that are measured; the costly one only where it is named."""
    return tuple(o.key for o in OBJECTIVES.values() if o.name != "tolerance" or o.name in names)


def measure(
    judge: Judge, batch: DesignBatch, responses: Responses, tolerance: Tolerance | None = None
) -> dict[str, np.ndarray]:
    """All objectives of a batch.

    The spread between tones is the difference of the highest and the lowest level in a space,
    averaged over the spaces by their weights; the weakest tone is sought over all spaces.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    batch : DesignBatch
        Designs [record].
    responses : Responses
        Their responses at the permitted drive [record].
    tolerance : Tolerance or None
        Deviations, where the sensitivity to them is wanted [record].

    Returns
    -------
    dict of ndarray, shape (n_designs,)
        By the keys of :data:`OBJECTIVES` [mixed].
    """
    level = responses.level_db
    weights = np.array([space.weight for space in judge.rules.spaces])
    spread = level.max(axis=2) - level.min(axis=2)
    output = judge.scores(responses)
    found = {
        "output_db": output,
        "worst_tone_db": level.min(axis=(1, 2)),
        "evenness_db": (spread * weights).sum(axis=1) / weights.sum(),
        **size_objectives(batch, judge.rules),
    }
    return found if tolerance is None else found | {"tolerance_db": tolerance.measure(batch, output)}


def size_objectives(batch: DesignBatch, rules: Rules) -> dict[str, np.ndarray]:
    """Objectives that depend on the sizes alone, by key, each of shape (n_designs,)."""
    return {
        "material_cm3": material_volume(batch, rules) * 1e6,
        "outer_volume_l": outer_volume(batch, rules) * 1e3,
    }


def gains(columns: dict[str, np.ndarray], names: tuple[str, ...]) -> np.ndarray:
    """Objectives as columns where more is better, shape (n_designs, n_objectives)."""
    return np.stack([OBJECTIVES[n].sign * columns[OBJECTIVES[n].key] for n in names], axis=1)
