"""Slopes of ducts that have no formulas of their own: tapered, bent or lined ones.

They are Cauchy's integrals over a small circle around each size in the complex plane. The entries of a
duct's chain matrix have no poles near, so eight points give all digits (J. N. Lyness, C. B. Moler, SIAM J.
Numer. Anal. 4, 1967, 202-210, from memory). Places and sizes of bends and linings stay as they are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.complex_step import parted
from models.design import Ducts
from models.network import duct_planes
from models.rules import Rules

CONTOUR = np.exp(2j * np.pi * np.arange(8) / 8)
RADIUS = 0.02
"""Circle of points around a size, as a share of it, on which a tapered duct's slopes are integrals."""


def given_duct(
    duct: Ducts, points: int, rules: Rules, omega: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Impedances of a duct with slopes.

    Parameters
    ----------
    duct : Ducts
        A duct of a stepped batch [record].
    points : int
        Number of points [1].
    rules : Rules
        Air and switches [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].

    Returns
    -------
    tuple of two complex ndarrays, shape (n_points, 3, n_tones) and (n_points, 3, n_tones, n)
        z11, z12 and z22 [Pa s/m3], and their slopes over the variables [mixed].
    """
    every_name = ("area", "length", "slot_height", "area_end")
    names = [name for name in every_name if getattr(duct, name) is not None]
    size, slope = parted(np.stack([getattr(duct, name) + 0j for name in names]), points)
    turns = np.ones((len(names), CONTOUR.size, len(names)), dtype=complex)
    turns[np.arange(len(names)), :, np.arange(len(names))] += RADIUS * CONTOUR
    around = np.concatenate([np.ones((1, len(names))), turns.reshape(-1, len(names))])
    moved = (size[:, None] * around).reshape(-1, len(names))
    n = slope.shape[2]

    def every(column: np.ndarray) -> np.ndarray:
        return np.repeat(column[::n].real, around.shape[0])

    bends = tuple((every(at), every(correction)) for at, correction in duct.bends)
    lining = None if duct.lining is None else every(duct.lining)
    sizes = {name: moved[:, i] for i, name in enumerate(names)}
    one = replace(duct, **sizes, lining=lining, bends=bends)
    z11, z12, z22 = (plane.reshape(points, -1, omega.size) for plane in duct_planes(one, rules, omega))
    chain = np.stack([z11 / z12, 1.0 / z12, z22 / z12])
    rest = chain[:, :, 1:].reshape(3, points, len(names), CONTOUR.size, -1)
    rate = (rest * np.conj(CONTOUR)[:, None]).mean(axis=3) / (RADIUS * size[..., None])
    moves = np.einsum("cpst,psn->cptn", rate, slope)
    a, c, d = chain[:, :, 0, :]
    d_c = -moves[1] / (c**2)[..., None]
    value = np.stack([a / c, 1.0 / c, d / c], axis=1)
    change = [moves[0] / c[..., None] + a[..., None] * d_c, d_c, moves[2] / c[..., None] + d[..., None] * d_c]
    return value, np.stack(change, axis=1)
