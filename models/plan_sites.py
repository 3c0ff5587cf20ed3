"""Mouths of plans rounded to given sites."""

from __future__ import annotations

import numpy as np

from models.envelope import WALLS, Site
from models.plan import ALONG, PLAN_AXES, Plans


def mouth_sites(
    plans: Plans, axis: np.ndarray, high: np.ndarray, centre: np.ndarray, sites: tuple[Site, ...]
) -> np.ndarray:
    """Given sites that are nearest to one mouth or face outside of each plan.

    Parameters
    ----------
    plans : Plans
        Plans, of one or of several arrangements of a graph [record].
    axis, high : ndarray of int, shape (n_plans,)
        Plan axis and side of the face that carries it [1].
    centre : ndarray, shape (n_plans, 3)
        Its middle, along u, v, h [m].
    sites : tuple of Site
        The sites [list].

    Returns
    -------
    ndarray of int, shape (n_plans,)
        Their indexes [1].
    """
    every = np.arange(plans.size)
    axes = PLAN_AXES[plans.codes.height_axis]
    at = np.empty((plans.size, 3))
    at[every[:, None], axes] = centre
    normal = axes[every, axis]
    return nearest_sites(2 * normal + high, at[every[:, None], ALONG[normal]], sites)


def nearest_sites(walls: np.ndarray, at: np.ndarray, sites: tuple[Site, ...]) -> np.ndarray:
    """Sites on the same faces that are nearest to places.

    Parameters
    ----------
    walls : ndarray of int, shape (n,)
        Faces, as indexes of :data:`models.envelope.WALLS` [1].
    at : ndarray, shape (n, 2)
        Places on them [m].
    sites : tuple of Site
        The sites [list].

    Returns
    -------
    ndarray of int, shape (n,)
        Their indexes [1].

    Raises
    ------
    ValueError
        A face has no site.
    """
    own = np.array([WALLS.index(site.wall) for site in sites])
    away = np.abs(at[:, None] - np.array([site.at for site in sites])).sum(axis=2)
    away = np.where(walls[:, None] == own, away, np.inf)
    nearest = np.argmin(away, axis=1)
    if np.any(own[nearest] != walls):
        name = WALLS[walls[np.nonzero(own[nearest] != walls)[0][0]]]
        raise ValueError(f"none of the given sites lies on the face {name}")
    return np.asarray(nearest)
