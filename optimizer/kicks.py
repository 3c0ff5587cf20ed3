"""Kicks of a hop: points around one, each kind of which leads to other basins.

Moving everything a little meets what lies near. One size drawn anew puts a resonance elsewhere; several drawn
anew, or two ducts or chambers that exchange their sizes, give their parts to others.
"""

from __future__ import annotations

from itertools import combinations, product

import numpy as np

from optimizer.cell import Cell, Points
from optimizer.evolution import redrawn
from optimizer.space import SearchSpace

NEAR, SMALL, WIDE = 0.15, 0.05, 0.1
"""How far variables move that are not drawn anew: by themselves, beside one that is, and beside several or
an exchange; one standard deviation."""

SEVERAL = 4.0
"""Variables that are drawn anew where several are, on average."""

REDRAW_RATE = 0.4
"""Share of sites that a kick draws anew."""


def kick(cell: Cell, rng: np.random.Generator, point: Points, count: int, hop: int) -> list[Points]:
    """Two sets of points around one, of kinds that change from hop to hop.

    Beyond an end a variable is turned back; some sites are drawn anew.

    Parameters
    ----------
    cell : Cell
        The cell [record].
    rng : Generator
        Random numbers [record].
    point : Points
        One point [record].
    count : int
        Points of a set [1].
    hop : int
        Number of the hop, from 0 [1].

    Returns
    -------
    list of Points
        The two sets, evaluated [record].
    """
    dimensions = point.x.shape[1]
    x = np.repeat(point.x, count, axis=0)
    anew = np.zeros((count, dimensions), dtype=bool)
    anew[np.arange(count), rng.integers(0, dimensions, count)] = True
    if hop % 2 == 0:
        sets = [x + _moves(rng, x, NEAR), np.where(anew, rng.random(x.shape), x + _moves(rng, x, SMALL))]
    else:
        anew |= rng.random(x.shape) < SEVERAL / dimensions
        order = exchanges(cell.space)
        changed = np.take_along_axis(x, order[rng.integers(0, len(order), count)], axis=1)
        sets = [np.where(anew, rng.random(x.shape), x + _moves(rng, x, WIDE)), changed + _moves(rng, x, WIDE)]
    site = np.repeat(point.site, count, axis=0)
    return [cell.evaluate(_turned(moved), redrawn(cell, rng, site, REDRAW_RATE)) for moved in sets]


def exchanges(space: SearchSpace) -> np.ndarray:
    """Orders of the variables in which two ducts, two chambers, or both, exchange their sizes.

    Parameters
    ----------
    space : SearchSpace
        Variables of a graph [record].

    Returns
    -------
    ndarray of int, shape (n, dimensions)
        Places from which variables are taken; the usual order where nothing can be exchanged [1].
    """
    at = {variable.name: place for place, variable in enumerate(space.variables)}
    ducts = _swaps(at, ("area", "length", "flare"), len(space.topology.ducts))
    chambers = _swaps(at, ("volume",), space.topology.chambers)
    none: dict[int, int] = {}
    usual = np.arange(len(at))
    orders = []
    for one, other in product([none, *ducts], [none, *chambers]):
        order = usual.copy()
        for place, source in (one | other).items():
            order[place] = source
        orders.append(order)
    return np.array(orders[1:] or orders)


def _swaps(at: dict[str, int], kinds: tuple[str, ...], count: int) -> list[dict[int, int]]:
    """Which places take whose variables, for every two of a number of parts."""
    swaps = []
    for one, other in combinations(range(count), 2):
        pairs = [(at[f"{kind} {one}"], at[f"{kind} {other}"]) for kind in kinds if f"{kind} {one}" in at]
        swaps.append({place: source for a, b in pairs for place, source in ((a, b), (b, a))})
    return swaps


def _moves(rng: np.random.Generator, x: np.ndarray, reach: float) -> np.ndarray:
    return rng.normal(0.0, reach, x.shape)


def _turned(x: np.ndarray) -> np.ndarray:
    """Variables with those beyond an end turned back."""
    return np.clip(np.where(x < 0.0, -x, np.where(x > 1.0, 2.0 - x, x)), 0.0, 1.0)
