"""The objective ``tolerance``: how much a score changes when print, driver and day are not as designed.

To first order: every cause of :mod:`models.tolerances` is taken alone, by one standard deviation, with the
drive set anew to its limits; the sensitivity is the root of the sum of the squared changes of the averaged
output. :mod:`optimizer.spread` samples the same distributions together.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.design import DesignBatch, Specimens
from models.rules import Rules
from models.score import Judge
from models.tolerances import HALF_NORMAL, Cause, causes_of, deviated


class Tolerance:
    """Evaluators of a season's deviations, sharing the tables of the outside.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    """

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        self._others: dict[Cause, Judge] = {}

    def changes(self, batch: DesignBatch, scores: np.ndarray) -> dict[str, np.ndarray]:
        """Changes of the averaged output by one standard deviation of each cause.

        Parameters
        ----------
        batch : DesignBatch
            Designs [record].
        scores : ndarray, shape (n_designs,)
            Their averaged outputs [dB].

        Returns
        -------
        dict of str to ndarray, shape (n_designs,)
            By the name of the cause [dB].
        """
        causes = causes_of(batch, self.judge.rules.tolerances)
        return {cause.name: self._change(batch, scores, cause) for cause in causes}

    def measure(self, batch: DesignBatch, scores: np.ndarray) -> np.ndarray:
        """Sensitivity to tolerance, shape (n_designs,) [dB]."""
        squares = [change**2 for change in self.changes(batch, scores).values()]
        return np.asarray(np.sqrt(np.sum(squares, axis=0)) if squares else np.zeros(batch.size))

    def _change(self, batch: DesignBatch, scores: np.ndarray, cause: Cause) -> np.ndarray:
        rules = self.judge.rules
        if cause.kind == "air":
            step, air = min(rules.tolerances.airs, key=lambda pair: abs(pair[0] - 1.0))
            other = self.judge.in_air(air)
            return np.asarray((other.scores(other.respond(batch)) - scores) / step)
        box = deviated(batch, rules, (cause,), np.ones((batch.size, 1)))
        judge = self.judge
        if cause.kind in ("driver", "leak"):  # alike in all designs, so they may as well be the rules'
            if cause not in self._others:
                self._others[cause] = judge.with_rules(_rules_of(rules, box.specimens))
            judge, box = self._others[cause], replace(box, specimens=None, leak=batch.leak)
        change = judge.scores(judge.respond(box)) - scores
        return np.asarray(change * (HALF_NORMAL if cause.kind == "leak" else 1.0))


def _rules_of(rules: Rules, specimens: Specimens | None) -> Rules:
    """Rules whose driver is that of the first design, or whose leakage is one deviation more."""
    if specimens is None:
        leak = rules.physics.leak_corner_hz + rules.tolerances.leak_corner_hz
        return replace(rules, physics=replace(rules.physics, leak_corner_hz=leak))
    driver = replace(
        rules.driver,
        mass=float(specimens.mass[0]),
        compliance=float(specimens.compliance[0]),
        force_factor=float(specimens.force_factor[0]),
        coil_resistance=float(specimens.coil_resistance[0]),
    )
    return replace(rules, driver=driver)
