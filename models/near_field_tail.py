"""What modes beyond the last one summed add to the near field of a patch with itself."""

from __future__ import annotations

import numpy as np

from models.design import Patch
from models.envelope import in_plane_axes
from models.radiation import rectangle_length

NARROW, WIDE = 3.0, 4.0
"""Half a patch's side times the last mode's wavenumber: below the first, the tail is that of a small
patch, above the second that of a large one, between them a blend."""
CORNER = 0.276142
"""Integral of 1/(u^2 v^2 sqrt(u^2 + v^2)) over u, v > 1, by quadrature."""

_POINTS, _POINT_WEIGHTS = np.polynomial.legendre.leggauss(16)
NODES, NODE_WEIGHTS = (_POINTS + 1.0) / 2.0, _POINT_WEIGHTS / 2.0


def self_tail(sides: np.ndarray, patch: Patch, modes: int) -> np.ndarray:
    """Part of M that modes beyond the last one kept add for a patch with itself, as an integral.

    Parameters
    ----------
    sides : ndarray, shape (n_designs, 3)
        Inner sides of the room [m].
    patch : Patch
        Rectangle on one of its walls [record].
    modes : int
        Modes an axis that the sum has kept [1].

    Returns
    -------
    ndarray, shape (n_designs,)
        What the sum lacks [1/m].
    """
    u, v = in_plane_axes(patch.wall)
    a, b = patch.half[:, 0], patch.half[:, 1]
    ku = (modes - 0.5) * np.pi / sides[:, u]
    kv = (modes - 0.5) * np.pi / sides[:, v]
    strips = 1.0 / (8.0 * np.pi * b * (a * ku) ** 2) + 1.0 / (8.0 * np.pi * a * (b * kv) ** 2)
    higher = (1.0 / ku**3 + 1.0 / kv**3) / 12.0 + CORNER / (4.0 * (ku * kv) ** 1.5)
    tail = np.maximum(strips - higher / (np.pi * a * b) ** 2, 0.0)
    narrow = np.minimum(a * ku, b * kv)
    rows = narrow < WIDE
    if np.any(rows):
        share = np.clip((narrow[rows] - NARROW) / (WIDE - NARROW), 0.0, 1.0)
        small = _small_patch_tail(a[rows], b[rows], ku[rows], kv[rows])
        tail[rows] = share * tail[rows] + (1.0 - share) * small
    return np.asarray(tail)


def _small_patch_tail(a: np.ndarray, b: np.ndarray, ku: np.ndarray, kv: np.ndarray) -> np.ndarray:
    """The same for a patch smaller than the last mode's wave: the flanged value less the modes kept.

    The modes kept are (1/pi^2) times the integral of sinc^2 sinc^2/k over the rectangle ku by kv,
    taken in two triangles that meet the origin with their tips.
    """
    kept = np.zeros_like(a)
    for one, two, k1, k2 in ((a, b, ku, kv), (b, a, kv, ku)):
        s, t = NODES[:, None], NODES[None, :]
        wide = np.sinc((one * k1 / np.pi)[:, None, None] * s) * np.sinc(
            (two * k2 / np.pi)[:, None, None] * s * t
        )
        root = np.sqrt(k1[:, None] ** 2 + (k2[:, None] * NODES) ** 2)
        kept += k1 * k2 * np.einsum("s,t,nst,nt->n", NODE_WEIGHTS, NODE_WEIGHTS, wide**2, 1.0 / root)
    area = 4.0 * a * b
    return np.asarray(rectangle_length(area, a / b) / area - kept / np.pi**2)
