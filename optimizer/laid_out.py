"""What a search for a plan leaves: the plan with its design, or why there is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch
from models.plan import PlanBatch


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidOut:
    """A plan found for a design.

    Attributes
    ----------
    plan : PlanBatch
        Batch of one [record].
    x : ndarray, shape (dimensions,)
        Its variables of :func:`models.plan.lay` [1].
    design : DesignBatch
        Read off the plan, mouths exactly where they are drawn [record].
    score_db : float
        Its score [dB].
    network_db : float
        Score of the network design that it started from [dB].
    evaluations : int
        Plans whose score was asked for on the way [1].
    searches_db : tuple of float
        Scores at which all searches for a plan of the design ended, where there were several [dB].
    """

    plan: PlanBatch
    x: np.ndarray
    design: DesignBatch
    score_db: float
    network_db: float
    evaluations: int = 0
    searches_db: tuple[float, ...] = ()

    @property
    def cost_db(self) -> float:
        """What building costs against the free network, negative where the plan is better [dB]."""
        return self.network_db - self.score_db


@dataclass(frozen=True, slots=True, kw_only=True)
class NoPlan:
    """Why a design has no plan.

    Attributes
    ----------
    reasons : tuple of str
        What stood in the way, the most frequent or nearest first [text].
    evaluations : int
        Plans whose score was asked for on the way [1].
    """

    reasons: tuple[str, ...]
    evaluations: int = 0
