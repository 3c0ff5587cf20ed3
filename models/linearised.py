"""Levels and permitted drives of a batch at given voltages, with exact slopes over all variables.

:mod:`models.linear_terms` turns a batch into numbers with slopes; what follows from these comes from numpy
(:mod:`models.linear_drive`) or from compiled code, as everything else does (:mod:`models.backend`).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from models.backend import Backend
from models.design import DesignBatch
from models.linear_drive import Linear, linear_drive, make_linear
from models.linear_layout import Layout, Medium
from models.linear_terms import Known, Terms, make_terms, near_sums
from models.outside import OutsideTable
from models.rules import Rules


def linearised(
    batch: DesignBatch,
    voltage: np.ndarray,
    rules: Rules,
    layout: Layout,
    medium: Medium,
    table: OutsideTable,
    known: Known,
    backend: Backend,
) -> Linear:
    """Values and slopes of some points.

    Parameters
    ----------
    batch : DesignBatch
        Designs of :func:`models.complex_step.stepped` variables [record].
    voltage : ndarray, shape (n_points, n_columns)
        Given drives; columns run over spaces, then tones [V].
    rules : Rules
        The season's rules [record].
    layout : Layout
        Structure of the batch [record].
    medium : Medium
        Constants of the season for it [record].
    table : OutsideTable
        The outside at the batch's sites [record].
    known : dict
        What is known of the outside by sites, for this layout [record].
    backend : str
        ``compiled`` or ``numpy`` [text].

    Returns
    -------
    Linear
        The results [record].
    """
    points = voltage.shape[0]
    terms = make_terms(batch, points, rules, layout, medium, table, known)
    if backend == "numpy":
        if layout.mode == 2:
            near, d_near = near_sums(batch, points, layout)
            terms = terms._replace(near=near, d_near=d_near)
        return linear_drive(layout, medium, terms, voltage)
    steps = compiled_steps(layout, medium, terms, np.ascontiguousarray(voltage))
    for function, arguments in steps if layout.mode == 2 else steps[1:]:
        function(*arguments)
    found: Linear = steps[-1][1][-1]
    return found


def compiled_steps(
    layout: Layout, medium: Medium, terms: Terms, voltage: np.ndarray
) -> list[tuple[Any, tuple[Any, ...]]]:
    """The compiled functions in turn with their arguments: near fields, then all else.

    Parameters
    ----------
    layout, medium, terms : Layout, Medium, Terms
        Structure, constants, and sizes with slopes, whose sums the first function writes [record].
    voltage : ndarray, shape (n_points, n_columns)
        Given drives, contiguous [V].

    Returns
    -------
    list of pairs of a function and a tuple
        The last argument of the last one takes the results [record].
    """
    from models.linear_drive_kernel import drive_points  # which need numba
    from models.near_slopes_kernel import near_points

    found = make_linear(voltage, terms.slope.shape[2])
    value, slope, near, d_near, *others = terms
    every = d_near.reshape(voltage.shape[0], -1, slope.shape[2])
    rooms = layout.line, layout.rooms, layout.patches, layout.graph.starts, layout.graph.joints
    structure = layout.graph.bounds, layout.firsts, layout.places, layout.by, layout.ways
    season = medium.air, medium.lossy, medium.planes
    return [
        (near_points, (*rooms, value, slope, near, d_near)),
        (drive_points, (*structure, *season, value, slope, near, every, *others, voltage, found)),
    ]
