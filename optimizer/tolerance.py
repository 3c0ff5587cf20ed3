"""How much a score changes when the print and the driver are not quite as designed.

Each deviation is taken alone, upwards and by one standard deviation, with the drive set anew to its
limits; the sensitivity is the root of the sum of the squared changes of the averaged output. The
deviations are common practice, no source: 0.2 mm on the clear height and width of ducts, 0.5 mm on their
lengths, 0.3 mm on the sides of chambers, 10 % on the suspension's compliance, 3 % each on moving mass
and force factor.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.design import DesignBatch, Ducts
from models.score import Judge

DUCT_SECTION, DUCT_LENGTH, CHAMBER_SIDE = 0.2e-3, 0.5e-3, 0.3e-3
"""Standard deviations of printed sizes [m]."""

COMPLIANCE, MASS, FORCE_FACTOR = 0.10, 0.03, 0.03
"""Relative standard deviations of the driver [1]."""


class Tolerance:
    """Evaluators of a season's deviations, sharing the tables of the outside.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    """

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        driver = judge.rules.driver
        deviating = (
            replace(driver, compliance=driver.compliance * (1.0 + COMPLIANCE)),
            replace(driver, mass=driver.mass * (1.0 + MASS)),
            replace(driver, force_factor=driver.force_factor * (1.0 + FORCE_FACTOR)),
        )
        self.others = [judge.with_rules(replace(judge.rules, driver=other)) for other in deviating]

    def changes(self, batch: DesignBatch, scores: np.ndarray) -> np.ndarray:
        """Changes of the averaged output by each deviation.

        Parameters
        ----------
        batch : DesignBatch
            Designs [record].
        scores : ndarray, shape (n_designs,)
            Their averaged outputs [dB].

        Returns
        -------
        ndarray, shape (6, n_designs)
            Duct sections, duct lengths, chamber sides, compliance, mass, force factor [dB].
        """
        wider = replace(batch, ducts=tuple(_wider(duct) for duct in batch.ducts))
        longer = replace(
            batch, ducts=tuple(replace(duct, length=duct.length + DUCT_LENGTH) for duct in batch.ducts)
        )
        larger = replace(batch, sides=batch.sides + CHAMBER_SIDE)
        boxes = [self.judge.scores(self.judge.respond(box)) for box in (wider, longer, larger)]
        drivers = [other.scores(other.respond(batch)) for other in self.others]
        return np.asarray(np.stack([*boxes, *drivers]) - scores)

    def measure(self, batch: DesignBatch, scores: np.ndarray) -> np.ndarray:
        """Sensitivity to tolerance, shape (n_designs,) [dB]."""
        return np.asarray(np.sqrt((self.changes(batch, scores) ** 2).sum(axis=0)))


def _wider(duct: Ducts) -> Ducts:
    """A duct whose clear height and width, or diameter, are larger."""

    def grown(area: np.ndarray) -> np.ndarray:
        one = area / duct.count
        if duct.slot_height is None:
            diameter = np.sqrt(4.0 * one / np.pi) + DUCT_SECTION
            return np.asarray(duct.count * np.pi * diameter**2 / 4.0)
        width = one / duct.slot_height
        return np.asarray(duct.count * (width + DUCT_SECTION) * (duct.slot_height + DUCT_SECTION))

    return replace(
        duct,
        area=grown(duct.area),
        area_end=None if duct.area_end is None else grown(duct.area_end),
        slot_height=None if duct.slot_height is None else duct.slot_height + DUCT_SECTION,
    )
