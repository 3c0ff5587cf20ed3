"""Near field of patches on the walls of a cuboid room: the inertance of all modes across the line.

With the room's line along one axis treated exactly (:mod:`models.rooms`), the modes that vary
across it are evanescent at low frequencies. Their part of the pressure at patch i per volume
velocity at patch j is j w rho (M_ij + k^2 N_ij + k^4 P_ij/(1 - k^2/k_1^2)) with M, N and P the sums
(1/V) sum e psi_i psi_j / k_n^2, k_n^4 and k_n^6 over all modes with an index across the line, psi the
mode averaged over the patch, e = 1 or 2 per axis, k_1 the lowest of these modes. The sum for M along
the normal of the first patch's wall is taken in closed form:
sum e_l cos.. /(q^2 + (l pi/W)^2) = W cosh(q(W - y))/(q sinh(q W)).

A driver's face is a rigid piston. Across a duct's end the velocity gives way: the duct's first odd
modes, cos(pi s/a) across either side a, are carried as two more unknowns, whose inertance in the duct
is that of an evanescent wave, a/(pi S), and eliminated; a pressure that varies along the line drives
them too, which is taken as at low frequency. What even modes add is small and nearly the
same everywhere; it lies in :data:`models.radiation.PROFILE`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.design import Patch
from models.envelope import in_plane_axes, wall_axis
from models.near_field_tail import self_tail

MODES = 24
"""Modes an axis in the sums of M."""

MODES_CORNER = 14
"""Modes an axis in the sums of M between walls that meet, which converge faster."""

MODES_SECOND = 7
"""Modes an axis in the sums of N, which converge as the fifth power."""

MODES_THIRD = 4
"""Modes an axis in the sums of P."""

NEAR = 8


def near_field(
    sides: np.ndarray, patches: Sequence[Patch], line: int, ducts: Sequence[int] = ()
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sums M, N and P among the patches of a room.

    Parameters
    ----------
    sides : ndarray, shape (n_designs, 3)
        Inner sides of the room [m].
    patches : sequence of Patch
        Rectangles on its walls [list].
    line : int
        Axis of the line, whose own modes are left out [1].
    ducts : sequence of int
        Which patches are ends of ducts, where M is less by what the velocity gives way [1].

    Returns
    -------
    tuple of three ndarrays, shape (n_designs, n_patches, n_patches)
        M [1/m], N [m] and P [m3].
    """
    count = len(patches)
    kind = np.result_type(sides, *(patch.half for patch in patches))
    first, second, third = (np.zeros((sides.shape[0], count, count), kind) for _ in range(3))
    shapes = [_mode_averages(sides, patch, MODES) for patch in patches]
    odd = {i: [_odd_averages(sides, patches[i], column) for column in (0, 1)] for i in ducts}
    taken = {i: np.zeros((sides.shape[0], 2, count), kind) for i in ducts}
    own = {i: np.zeros((sides.shape[0], 2, 2), kind) for i in ducts}
    square = _inverse_square(sides, line)
    fourth = square**2 * _weight_block(MODES_SECOND)
    few = (slice(None), *[slice(0, MODES_THIRD)] * 3)
    sixth = square[few] ** 3 * _weight_block(MODES_THIRD)
    volume = np.prod(sides, axis=1)
    order = sorted(range(count), key=lambda i: i not in ducts)
    for place, i in enumerate(order):
        for j in order[place:]:
            f = _kernel(sides, patches[i], patches[j], line)
            if i == j and i in ducts:
                table = _products(f, patches[i], shapes[i], odd[i], own=True)
                own[i][:, 0, 0], own[i][:, 1, 1] = table[:, 2, 0], table[:, 0, 2]
                own[i][:, 0, 1] = own[i][:, 1, 0] = table[:, 1, 1]
            else:
                table = _products(f, patches[i], shapes[i], odd.get(i, []), shapes[j])
            m = table[:, 0, 0]
            if i == j:
                m = m + self_tail(sides, patches[i], MODES) * volume
            first[:, i, j] = first[:, j, i] = m / volume
            if i in ducts:
                taken[i][:, 0, j], taken[i][:, 1, j] = table[:, 1, 0], table[:, 0, 1]
            if j in ducts and i != j:
                if wall_axis(patches[i].wall) != wall_axis(patches[j].wall):
                    f = _kernel(sides, patches[j], patches[i], line)
                table = _products(f, patches[j], shapes[j], odd[j], shapes[i])
                taken[j][:, 0, i], taken[j][:, 1, i] = table[:, 1, 0], table[:, 0, 1]
            for sums, block, modes in ((second, fourth, MODES_SECOND), (third, sixth, MODES_THIRD)):
                p, q, r = (shapes[i][a][:, :modes] * shapes[j][a][:, :modes] for a in range(3))
                sums[:, i, j] = sums[:, j, i] = _block_sum(block, p, q, r) / volume
    for i in ducts:
        if line in in_plane_axes(patches[i].wall):
            column = in_plane_axes(patches[i].wall).index(line)
            along = odd[i][column] * _line_weights(sides, line)
            own[i][:, column, column] += (along * odd[i][column]).sum(axis=1)
            for j in range(count):
                taken[i][:, column, j] += (along * shapes[j][line]).sum(axis=1)
        first -= _given_way(sides, patches[i], own[i], taken[i]) / volume[:, None, None]
    return first, second, third


def _given_way(sides: np.ndarray, patch: Patch, own: np.ndarray, taken: np.ndarray) -> np.ndarray:
    """V times what two odd modes of a duct take off M, shape (n_designs, n_patches, n_patches)."""
    volume = np.prod(sides, axis=1)
    a, b = 2.0 * patch.half[:, 0], 2.0 * patch.half[:, 1]
    g00 = own[:, 0, 0] + volume / (np.pi * b)
    g11 = own[:, 1, 1] + volume / (np.pi * a)
    g01 = own[:, 0, 1]
    over = 1.0 / (g00 * g11 - g01**2)
    inverse = np.empty_like(own)
    inverse[:, 0, 0], inverse[:, 1, 1] = g11 * over, g00 * over
    inverse[:, 0, 1] = inverse[:, 1, 0] = -g01 * over
    return np.asarray(taken.transpose(0, 2, 1) @ (inverse @ taken))


def _products(
    f: np.ndarray,
    patch: Patch,
    here: list[np.ndarray],
    odd: list[np.ndarray],
    there: list[np.ndarray] | None = None,
    *,
    own: bool = False,
) -> np.ndarray:
    """Double sums of a kernel: the patch's even velocity (index 0) or its odd mode (1) along either axis.

    With ``own`` both sides of the product belong to the patch: index 0 is even times even, 1 odd
    times even, 2 odd times odd.
    """
    modes = f.shape[1]
    e = _weights(modes)
    factors = []
    for column, axis in enumerate(in_plane_axes(patch.wall)):
        a = here[axis][:, :modes]
        if own:
            b = odd[column][:, :modes]
            rows = [a * a, a * b, b * b]
        else:
            assert there is not None
            rows = [x[:, :modes] * there[axis][:, :modes] for x in ([a, odd[column]] if odd else [a])]
        factors.append(np.stack(rows, axis=1) * e)
    return np.asarray(factors[0] @ f @ factors[1].transpose(0, 2, 1))


def _block_sum(block: np.ndarray, p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Sum of block times p, q, r along its three axes, shape (n_designs,)."""
    n, modes = p.shape
    along = (block.reshape(n, modes * modes, modes) @ r[:, :, None]).reshape(n, modes, modes)
    return np.asarray(((along @ q[:, :, None])[..., 0] * p).sum(axis=1))


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


def _odd_averages(sides: np.ndarray, patch: Patch, column: int) -> np.ndarray:
    """Averages of sqrt(2) cos(pi s/a) cos(m pi x/L) along an axis, s from the patch's edge, a its side."""
    side = sides[:, in_plane_axes(patch.wall)[column], None]
    order = np.arange(MODES)
    centre, half = patch.centre[:, column, None] / side, patch.half[:, column, None] / side
    spread = np.sinc(order * half - 0.5) - np.sinc(order * half + 0.5)
    return np.asarray(-np.sqrt(0.5) * np.sin(np.pi * order * centre) * spread)


def _weights(modes: int) -> np.ndarray:
    weights = np.full(modes, 2.0)
    weights[0] = 1.0
    return weights


def _line_weights(sides: np.ndarray, line: int) -> np.ndarray:
    """e/k_n^2 of the line's own modes, which the sums across leave out, shape (n_designs, MODES)."""
    order = np.arange(1, MODES)
    weights = np.zeros((sides.shape[0], MODES), sides.dtype)
    weights[:, 1:] = 2.0 * (sides[:, line, None] / (np.pi * order)) ** 2
    return weights


def _weight_block(modes: int) -> np.ndarray:
    e = _weights(modes)
    return np.asarray(e[:, None, None] * e[:, None] * e)


def _inverse_square(sides: np.ndarray, line: int) -> np.ndarray:
    """1/k_n^2 over a small block of modes, those of the line alone left out, shape (n, N, N, N)."""
    order = np.pi * np.arange(MODES_SECOND)
    x, y, z = ((order / sides[:, axis, None]) ** 2 for axis in range(3))
    square = x[:, :, None, None] + y[:, None, :, None] + z[:, None, None, :]
    along = [slice(None), 0, 0, 0]
    along[1 + line] = slice(None)
    square[tuple(along)] = np.inf
    return np.asarray(1.0 / square)


def _kernel(sides: np.ndarray, one: Patch, two: Patch, line: int) -> np.ndarray:
    """Terms of V times M for each pair of modes in the first one's wall, weights left out."""
    if wall_axis(one.wall) == wall_axis(two.wall):
        return _facing(sides, one, two, line)
    return _around_corner(sides, one, two, line)


def _facing(sides: np.ndarray, one: Patch, two: Patch, line: int) -> np.ndarray:
    """Two patches on the same wall or on opposite walls."""
    normal = wall_axis(one.wall)
    u, v = in_plane_axes(one.wall)
    depth = sides[:, normal, None, None]
    same = one.wall == two.wall
    order = np.pi * np.arange(MODES)
    ku, kv = order / sides[:, u, None], order / sides[:, v, None]
    across = np.sqrt(ku[:, :, None] ** 2 + kv[:, None, :] ** 2)
    across[:, 0, 0] = 1.0
    near = across[:, :NEAR, :NEAR] * depth
    fade = np.exp(-near)
    if same:
        f = depth / across
        f[:, :NEAR, :NEAR] *= (1.0 + fade**2) / (1.0 - fade**2)
    else:
        f = np.zeros_like(across)
        f[:, :NEAR, :NEAR] = depth / across[:, :NEAR, :NEAR] * 2.0 * fade / (1.0 - fade**2)
    f[:, 0, 0] = 0.0
    if line == u:
        f[:, 1:, 0] -= 1.0 / across[:, 1:, 0] ** 2
    elif line == v:
        f[:, 0, 1:] -= 1.0 / across[:, 0, 1:] ** 2
    if line != normal:
        f[:, 0, 0] = sides[:, normal] ** 2 * (1.0 / 3.0 if same else -1.0 / 6.0)
    return np.asarray(f)


def _around_corner(sides: np.ndarray, one: Patch, two: Patch, line: int) -> np.ndarray:
    """Two patches on walls that meet, the second of even velocity: closed form along the first's normal."""
    normal = wall_axis(one.wall)
    u, v = in_plane_axes(one.wall)
    depth = sides[:, normal]
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
    near = across[:, :NEAR, :NEAR]
    echo = np.exp(-near * (2.0 * d - y2)) - np.exp(-near * (2.0 * d - y1))
    f[:, :NEAR, :NEAR] = (f[:, :NEAR, :NEAR] + echo) / (1.0 - np.exp(-2.0 * near * d))
    f *= d / (across**2 * (y2 - y1))
    f[:, 0, 0] = 0.0
    if line == u:
        f[:, 1:, 0] -= 1.0 / across[:, 1:, 0] ** 2
    elif line == v:
        f[:, 0, 1:] -= 1.0 / across[:, 0, 1:] ** 2
    if line != normal:
        square_mean = (low**2 + low * high + high**2) / 3.0
        f[:, 0, 0] = depth**2 / 3.0 - depth * (low + high) / 2.0 + square_mean / 2.0
    return np.asarray(f)
