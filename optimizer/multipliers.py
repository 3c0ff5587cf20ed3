"""Prices of rules from the multipliers of the optimum, one batch of neighbours for all of them.

At an optimum the slope of the score is a non-negative sum of the slopes of the constraints that are
met; its weights are found by non-negative least squares. The price of a rule is what it does to the
constraints and to the score with all variables kept, weighted by them (sensitivity theorem; for
example J. Nocedal, S. J. Wright, Numerical Optimization, section 12.8, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from optimizer.cell import Points
from optimizer.polish import drive_problems
from optimizer.priced_rules import PricedRule
from optimizer.variants import Variant

MET = 2e-4
"""Room of a constraint, in its logarithm or as a share, below which it counts as met."""

STEP = 1e-4
"""Share of a rule's value by which it is moved to see what it does to the constraints."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Multipliers:
    """Weights of the constraints at one point.

    Attributes
    ----------
    variables : ndarray
        Dimensions and logarithms of drives [1].
    weights : ndarray, shape (n_constraints,)
        Multiplier of each constraint, zero where it is not met [dB].
    misfit : float
        Slope of the score that no constraint accounts for, over the whole slope [1].
    """

    variables: np.ndarray
    weights: np.ndarray
    misfit: float


def multipliers_at(variant: Variant, graph: str, point: Points) -> Multipliers:
    """Multipliers of a polished point.

    Parameters
    ----------
    variant : Variant
        Evaluator and search spaces [record].
    graph : str
        Graph of the point [text].
    point : Points
        One point that fits [record].

    Returns
    -------
    Multipliers
        Of the season's constraints; bounds of variables have theirs but are not listed [record].
    """
    problem = drive_problems(variant.cell(graph), point)[0]
    y = problem.start
    rise, room, slopes = -problem.slope(y), problem.room(y), problem.room_slope(y)
    met = np.nonzero(room < MET)[0]
    low = np.array([bound[0] for bound in problem.bounds])
    high = np.array([bound[1] for bound in problem.bounds])
    ends = np.eye(y.size)[y <= low + 1e-7]
    tops = -np.eye(y.size)[y >= high - 1e-7]
    columns = np.concatenate([slopes[met], ends, tops]).T
    weights = np.zeros(room.size)
    solved, left = nnls(columns, -rise)
    weights[met] = solved[: met.size]
    return Multipliers(variables=y, weights=weights, misfit=float(left / np.linalg.norm(rise)))


def multiplier_price(
    variant: Variant, graph: str, point: Points, found: Multipliers, rule: PricedRule, value: float
) -> float:
    """Price of a rule from multipliers.

    Parameters
    ----------
    variant : Variant
        Evaluator and search spaces of the season as it is [record].
    graph : str
        Graph of the point [text].
    point : Points
        The point [record].
    found : Multipliers
        Its multipliers [record].
    rule : PricedRule
        The rule [record].
    value : float
        Its value in its unit [mixed].

    Returns
    -------
    float
        Change of the score per unit [dB per unit].
    """
    step = STEP * value
    moved = variant.under(rule.move(variant.rules, value + step))
    carried = moved.carried(graph, point, variant)
    here = drive_problems(variant.cell(graph), point)[0]
    there = drive_problems(moved.cell(graph), carried)[0]
    y = found.variables.copy()
    gains = there.room(np.concatenate([carried.x[0], y[point.x.shape[1] :]])) - here.room(y)
    score = here.value(y) - there.value(np.concatenate([carried.x[0], y[point.x.shape[1] :]]))
    return float((score + found.weights @ gains) / step)
