"""Near field of patches on the walls of a cuboid room: the inertance of all modes across the line.

With the room's line along one axis treated exactly (:mod:`models.rooms`), the modes that vary
across it are evanescent at low frequencies. Their part of the pressure at patch i per volume
velocity at patch j is j w rho (M_ij + k^2 N_ij) with M = (1/V) sum e psi_i psi_j / k_n^2 and
N = (1/V) sum e psi_i psi_j / k_n^4 over all modes with an index across the line, psi the mode
averaged over the patch, e = 1 or 2 per axis. The sum along the normal of the first patch's wall
is taken in closed form: sum e_l cos.. /(q^2 + (l pi/W)^2) = W cosh(q(W - y))/(q sinh(q W)).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.design import Patch
from models.envelope import in_plane_axes, wall_axis
from models.radiation import rectangle_length

MODES = 24
"""Modes an axis in the sums of M."""

MODES_CORNER = 14
"""Modes an axis in the sums of M between walls that meet, which converge faster."""

MODES_SECOND = 7
"""Modes an axis in the sums of N, which converge as the fifth power."""

_NEAR = 8
_NARROW, _WIDE = 3.0, 4.0
"""Half a patch's side times the last mode's wavenumber: below the first, the tail is that of a small
patch, above the second that of a large one, between them a blend."""
_CORNER = 0.276142
"""Integral of 1/(u^2 v^2 sqrt(u^2 + v^2)) over u, v > 1, by quadrature."""

_POINTS, _POINT_WEIGHTS = np.polynomial.legendre.leggauss(16)
_NODES, _NODE_WEIGHTS = (_POINTS + 1.0) / 2.0, _POINT_WEIGHTS / 2.0


def near_field(sides: np.ndarray, patches: Sequence[Patch], line: int) -> tuple[np.ndarray, np.ndarray]:
    """Sums M and N among the patches of a room.

    Parameters
    ----------
    sides : ndarray, shape (n_designs, 3)
        Inner sides of the room [m].
    patches : sequence of Patch
        Rectangles on its walls [list].
    line : int
        Axis of the line, whose own modes are left out [1].

    Returns
    -------
    tuple of two ndarrays, shape (n_designs, n_patches, n_patches)
        M [1/m] and N [m].
    """
    count = len(patches)
    first = np.zeros((sides.shape[0], count, count))
    second = np.zeros_like(first)
    shapes = [_mode_averages(sides, patch, MODES) for patch in patches]
    inverse_fourth = _inverse_fourth(sides, line)
    volume = np.prod(sides, axis=1)
    for i in range(count):
        for j in range(i, count):
            if wall_axis(patches[i].wall) == wall_axis(patches[j].wall):
                m = _facing(sides, patches[i], patches[j], shapes[i], shapes[j], line)
            else:
                m = _around_corner(sides, patches[i], patches[j], shapes[i], shapes[j], line)
            if i == j:
                m = m + _tail(sides, patches[i]) * volume
            first[:, i, j] = first[:, j, i] = m / volume
            p, q, r = (shapes[i][a][:, :MODES_SECOND] * shapes[j][a][:, :MODES_SECOND] for a in range(3))
            n = inverse_fourth @ r[:, None, :, None]
            n = (n[..., 0] @ q[:, :, None])[..., 0]
            n = (n * p).sum(axis=1)
            second[:, i, j] = second[:, j, i] = n / volume
    return first, second


def _mode_averages(sides: np.ndarray, patch: Patch, modes: int) -> list[np.ndarray]:
    """Averages of cos(m pi x/L) over the patch, each axis, shape (n_designs, modes)."""
    order = np.arange(modes)
    result: list[np.ndarray] = [np.empty(0)] * 3
    normal = wall_axis(patch.wall)
    high = patch.wall[1] == "+"
    result[normal] = np.broadcast_to((-1.0) ** order if high else np.ones(modes), (sides.shape[0], modes))
    for column, axis in enumerate(in_plane_axes(patch.wall)):
        place = (patch.centre[:, column] / sides[:, axis])[:, None]
        width = (patch.half[:, column] / sides[:, axis])[:, None]
        result[axis] = np.cos(np.pi * order * place) * np.sinc(order * width)
    return result


def _weights(modes: int) -> np.ndarray:
    weights = np.full(modes, 2.0)
    weights[0] = 1.0
    return weights


def _inverse_fourth(sides: np.ndarray, line: int) -> np.ndarray:
    """e/k_n^4 over a small block of modes, those of the line alone left out, shape (n, N, N, N)."""
    order = np.pi * np.arange(MODES_SECOND)
    x, y, z = ((order / sides[:, axis, None]) ** 2 for axis in range(3))
    square = x[:, :, None, None] + y[:, None, :, None] + z[:, None, None, :]
    along = [slice(None), 0, 0, 0]
    along[1 + line] = slice(None)
    square[tuple(along)] = np.inf
    e = _weights(MODES_SECOND)
    result: np.ndarray = e[:, None, None] * e[:, None] * e / square**2
    return result


def _facing(
    sides: np.ndarray, one: Patch, two: Patch, a: list[np.ndarray], b: list[np.ndarray], line: int
) -> np.ndarray:
    """V times M for two patches on the same wall or on opposite walls."""
    normal = wall_axis(one.wall)
    u, v = in_plane_axes(one.wall)
    depth = sides[:, normal, None, None]
    same = one.wall == two.wall
    e = _weights(MODES)
    order = np.pi * np.arange(MODES)
    ku, kv = order / sides[:, u, None], order / sides[:, v, None]
    across = np.sqrt(ku[:, :, None] ** 2 + kv[:, None, :] ** 2)
    across[:, 0, 0] = 1.0
    near = across[:, :_NEAR, :_NEAR] * depth
    fade = np.exp(-near)
    if same:
        f = depth / across
        f[:, :_NEAR, :_NEAR] *= (1.0 + fade**2) / (1.0 - fade**2)
    else:
        f = np.zeros_like(across)
        f[:, :_NEAR, :_NEAR] = depth / across[:, :_NEAR, :_NEAR] * 2.0 * fade / (1.0 - fade**2)
    f[:, 0, 0] = 0.0
    if line == u:
        f[:, 1:, 0] -= 1.0 / across[:, 1:, 0] ** 2
    elif line == v:
        f[:, 0, 1:] -= 1.0 / across[:, 0, 1:] ** 2
    if line != normal:
        f[:, 0, 0] = sides[:, normal] ** 2 * (1.0 / 3.0 if same else -1.0 / 6.0)
    p, q = e * a[u] * b[u], e * a[v] * b[v]
    return np.asarray(((p[:, None, :] @ f)[:, 0, :] * q).sum(axis=1))


def _around_corner(
    sides: np.ndarray, one: Patch, two: Patch, a: list[np.ndarray], b: list[np.ndarray], line: int
) -> np.ndarray:
    """V times M for two patches on walls that meet: closed form along the first one's normal."""
    normal = wall_axis(one.wall)
    u, v = in_plane_axes(one.wall)
    depth = sides[:, normal]
    e = _weights(MODES_CORNER)
    order = np.pi * np.arange(MODES_CORNER)
    ku, kv = order / sides[:, u, None], order / sides[:, v, None]
    across = np.sqrt(ku[:, :, None] ** 2 + kv[:, None, :] ** 2)
    across[:, 0, 0] = 1.0
    column = in_plane_axes(two.wall).index(normal)
    centre, half = two.centre[:, column], two.half[:, column]
    if one.wall[1] == "+":
        centre = depth - centre
    low, high = np.maximum(centre - half, 0.0), np.minimum(centre + half, depth)
    # mean over low..high of W cosh(q (W - y)) / (q sinh(q W))
    d, y1, y2 = (x[:, None, None] for x in (depth, low, high))
    f = np.exp(-across * y1) - np.exp(-across * y2)
    near = across[:, :_NEAR, :_NEAR]
    echo = np.exp(-near * (2.0 * d - y2)) - np.exp(-near * (2.0 * d - y1))
    f[:, :_NEAR, :_NEAR] = (f[:, :_NEAR, :_NEAR] + echo) / (1.0 - np.exp(-2.0 * near * d))
    f *= d / (across**2 * (y2 - y1))
    f[:, 0, 0] = 0.0
    if line == u:
        f[:, 1:, 0] -= 1.0 / across[:, 1:, 0] ** 2
    elif line == v:
        f[:, 0, 1:] -= 1.0 / across[:, 0, 1:] ** 2
    if line != normal:
        square_mean = (low**2 + low * high + high**2) / 3.0
        f[:, 0, 0] = depth**2 / 3.0 - depth * (low + high) / 2.0 + square_mean / 2.0
    p, q = (e * (a[axis] * b[axis])[:, :MODES_CORNER] for axis in (u, v))
    return np.asarray(((p[:, None, :] @ f)[:, 0, :] * q).sum(axis=1))


def _tail(sides: np.ndarray, patch: Patch) -> np.ndarray:
    """What modes beyond the last one kept add to M of a patch with itself [1/m], as an integral."""
    u, v = in_plane_axes(patch.wall)
    a, b = patch.half[:, 0], patch.half[:, 1]
    ku = (MODES - 0.5) * np.pi / sides[:, u]
    kv = (MODES - 0.5) * np.pi / sides[:, v]
    strips = 1.0 / (8.0 * np.pi * b * (a * ku) ** 2) + 1.0 / (8.0 * np.pi * a * (b * kv) ** 2)
    higher = (1.0 / ku**3 + 1.0 / kv**3) / 12.0 + _CORNER / (4.0 * (ku * kv) ** 1.5)
    tail = np.maximum(strips - higher / (np.pi * a * b) ** 2, 0.0)
    narrow = np.minimum(a * ku, b * kv)
    rows = narrow < _WIDE
    if np.any(rows):
        share = np.clip((narrow[rows] - _NARROW) / (_WIDE - _NARROW), 0.0, 1.0)
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
        s, t = _NODES[:, None], _NODES[None, :]
        wide = np.sinc((one * k1 / np.pi)[:, None, None] * s) * np.sinc(
            (two * k2 / np.pi)[:, None, None] * s * t
        )
        root = np.hypot(k1[:, None], k2[:, None] * _NODES)
        kept += k1 * k2 * np.einsum("s,t,nst,nt->n", _NODE_WEIGHTS, _NODE_WEIGHTS, wide**2, 1.0 / root)
    area = 4.0 * a * b
    return np.asarray(rectangle_length(area, a / b) / area - kept / np.pi**2)
