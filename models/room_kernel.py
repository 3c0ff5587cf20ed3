"""The line of a room of :mod:`models.rooms` and its near field, compiled, designs side by side.

With C = mean cos k|x - x'| and S = mean sin k|x - x'| over two patches, the mean of cos k(L - |x - x'|)
is C cos kL + S sin kL; where patches overlap, S takes differences of (y - sin y)/k^2, which lose nothing
for patches short against the wave.
"""

from __future__ import annotations

import math

import numpy as np

from models.duct_kernel import reciprocal, root, times
from models.jit import compiled, exp, inlined, sin_cos
from models.near_field_modes_kernel import first_axis


@inlined
def complex_sin_cos(re: float, im: float) -> tuple[float, float, float, float]:
    """Sine and cosine of a complex number, real and imaginary parts in turn."""
    s, c = sin_cos(re)
    up = exp(im)
    down = 1.0 / up
    cosh, sinh = 0.5 * (up + down), 0.5 * (up - down)
    return s * cosh, c * sinh, c * cosh, -s * sinh


@inlined
def _lack(re: float, im: float) -> tuple[float, float]:
    """What y exceeds sin y by, of a complex number, in full accuracy for small ones."""
    s_re, s_im, _, _ = complex_sin_cos(re, im)
    q_re, q_im = times(re, im, re, im)
    t_re, t_im = 1.0 - q_re / 210.0, -q_im / 210.0
    for divisor in (156.0, 110.0, 72.0, 42.0, 20.0):
        t_re, t_im = times(q_re / divisor, q_im / divisor, t_re, t_im)
        t_re, t_im = 1.0 - t_re, -t_im
    t_re, t_im = times(t_re, t_im, q_re / 6.0, q_im / 6.0)
    t_re, t_im = times(t_re, t_im, re, im)
    small = q_re * q_re + q_im * q_im < 0.25
    return (t_re if small else re - s_re), (t_im if small else im - s_im)


@compiled
def room_medium(
    omega: float, sides: np.ndarray, volume: np.ndarray, line: np.ndarray, air: np.ndarray, lossy: bool,
    leak: float, wave: np.ndarray,
) -> None:  # fmt: skip
    """Wavenumber, length and factor of the lines of rooms side by side at one tone.

    Parameters
    ----------
    omega : float
        Angular frequency [rad/s].
    sides : ndarray, shape (3, n)
        Inner sides [m].
    volume : ndarray, shape (n,)
        Air volume [m3].
    line : ndarray of int, shape (n,)
        Axis of the line [1].
    air : ndarray
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].
    lossy : bool
        Whether walls take energy [flag].
    leak : float
        Angular frequency of the leak's corner [rad/s].
    wave : ndarray, shape (9, n)
        k, sin kL, cos kL, -j w rho L/(2 V k sin kL) as pairs, and L, written in place [mixed].
    """
    bulk = air[0] * air[1] * air[1]
    viscous = math.sqrt(2.0 * air[2] / omega)
    thermal = viscous / air[4]
    for lane in range(volume.size):
        x, y, z = sides[0, lane], sides[1, lane], sides[2, lane]
        length = x if line[lane] == 0 else (y if line[lane] == 1 else z)
        v = volume[lane]
        heavy_re, heavy_im, soft_re, soft_im = 1.0, 0.0, 1.0, 0.0
        if lossy:
            share = viscous * (x + y + z - length) * length / v
            heavy_re, heavy_im = 1.0 + share, -share
            warm = (air[3] - 1.0) * thermal * (x * y + y * z + z * x) / v
            soft_re, soft_im = 1.0 + warm, -warm
        soft_im -= leak / omega
        q_re, q_im = times(heavy_re, heavy_im, soft_re, soft_im)
        k_re, k_im = root(q_re, q_im)
        scale = omega * math.sqrt(air[0] / bulk)
        k_re, k_im = scale * k_re, scale * k_im
        sin_re, sin_im, cos_re, cos_im = complex_sin_cos(k_re * length, k_im * length)
        over_re, over_im = times(k_re, k_im, sin_re, sin_im)
        over_re, over_im = reciprocal(over_re, over_im)
        over_re, over_im = times(over_re, over_im, heavy_re, heavy_im)
        factor = 0.5 * omega * air[0] * length / v
        wave[0, lane], wave[1, lane] = k_re, k_im
        wave[2, lane], wave[3, lane], wave[4, lane], wave[5, lane] = sin_re, sin_im, cos_re, cos_im
        wave[6, lane], wave[7, lane] = factor * over_im, -factor * over_re
        wave[8, lane] = length


@compiled
def along_line(
    sides: np.ndarray, line: np.ndarray, axis: int, high: bool, centre: np.ndarray, half: np.ndarray,
    i: int, x: np.ndarray, h: np.ndarray,
) -> int:  # fmt: skip
    """Centre and half width of a patch along the line; whether it lies on its low (1) or high (2) end.

    Parameters
    ----------
    sides : ndarray, shape (3, n)
        Inner sides [m].
    line : ndarray of int, shape (n,)
        Axis of the line [1].
    axis : int
        Axis that the patch's wall is normal to [1].
    high : bool
        Whether the wall is the one at the end of that axis [flag].
    centre, half : ndarray, shape (n_patches, 2, n)
        Centres and half sides of all patches [m].
    i : int
        Which patch [1].
    x, h : ndarray, shape (n_patches, n)
        Centre and half width along the line, written in place [m].

    Returns
    -------
    int
        1 or 2 where all rooms of the block have it on that end, else 0 [1].
    """
    at_end = 0
    for lane in range(line.size):
        if line[lane] == axis:
            at_end += 1
            x[i, lane] = sides[axis, lane] if high else 0.0
            h[i, lane] = 0.0
        else:
            column = 0 if first_axis(axis) == line[lane] else 1
            x[i, lane] = centre[i, column, lane]
            h[i, lane] = half[i, column, lane]
    if at_end < line.size:
        return 0
    return 2 if high else 1


@compiled
def patch_waves(wave: np.ndarray, i: int, end: int, x: np.ndarray, h: np.ndarray, waves: np.ndarray) -> None:
    """Sine and cosine of k x and of k (L - x), and sin(k h)/(k h), of a patch.

    Parameters
    ----------
    wave : ndarray, shape (9, n)
        From :func:`room_medium` [mixed].
    i, end : int
        Which patch, and its end of the line from :func:`along_line` [1].
    x, h : ndarray, shape (n_patches, n)
        Centre and half width along the line [m].
    waves : ndarray, shape (n_patches, 10, n)
        Written in place, real and imaginary parts in turn [1].
    """
    if end > 0:
        near, far = (0, 4) if end == 1 else (4, 0)
        for lane in range(x.shape[1]):
            waves[i, near, lane], waves[i, near + 1, lane] = 0.0, 0.0
            waves[i, near + 2, lane], waves[i, near + 3, lane] = 1.0, 0.0
            waves[i, 8, lane], waves[i, 9, lane] = 1.0, 0.0
        for part in range(4):
            for lane in range(x.shape[1]):
                waves[i, far + part, lane] = wave[2 + part, lane]
        return
    for lane in range(x.shape[1]):
        k_re, k_im = wave[0, lane], wave[1, lane]
        here = x[i, lane]
        there = wave[8, lane] - here
        s_re, s_im, c_re, c_im = complex_sin_cos(k_re * here, k_im * here)
        waves[i, 0, lane], waves[i, 1, lane], waves[i, 2, lane], waves[i, 3, lane] = s_re, s_im, c_re, c_im
        s_re, s_im, c_re, c_im = complex_sin_cos(k_re * there, k_im * there)
        waves[i, 4, lane], waves[i, 5, lane], waves[i, 6, lane], waves[i, 7, lane] = s_re, s_im, c_re, c_im
    for lane in range(x.shape[1]):
        reach = h[i, lane]
        z_re, z_im = wave[0, lane] * reach, wave[1, lane] * reach
        s_re, s_im, _, _ = complex_sin_cos(z_re, z_im)
        flat = reach == 0.0
        o_re, o_im = reciprocal(1.0 if flat else z_re, 0.0 if flat else z_im)
        s_re, s_im = times(s_re, s_im, o_re, o_im)
        waves[i, 8, lane], waves[i, 9, lane] = (1.0 if flat else s_re), (0.0 if flat else s_im)


@compiled
def line_impedance(
    wave: np.ndarray, waves: np.ndarray, x: np.ndarray, h: np.ndarray, i: int, j: int, z: np.ndarray
) -> None:
    """Impedance of the line between two patches, or of a patch with itself.

    Parameters
    ----------
    wave : ndarray, shape (9, n)
        From :func:`room_medium` [mixed].
    waves : ndarray, shape (n_patches, 10, n)
        From :func:`patch_waves` [1].
    x, h : ndarray, shape (n_patches, n)
        Centres and half widths along the line [m].
    i, j : int
        The patches [1].
    z : ndarray, shape (2, n)
        Written in place [Pa s/m3].
    """
    overlap = 0
    for lane in range(x.shape[1]):
        apart = abs(x[i, lane] - x[j, lane])
        both = h[i, lane] > 0.0 and h[j, lane] > 0.0
        overlap += 1 if both and apart < h[i, lane] + h[j, lane] else 0
    for lane in range(x.shape[1]):
        spread_re, spread_im = times(
            waves[i, 8, lane], waves[i, 9, lane], waves[j, 8, lane], waves[j, 9, lane]
        )
        swap = x[i, lane] > x[j, lane]
        near_i_re, near_i_im, near_j_re, near_j_im = (
            waves[i, 2, lane], waves[i, 3, lane], waves[j, 2, lane], waves[j, 3, lane]
        )  # fmt: skip
        far_i_re, far_i_im, far_j_re, far_j_im = (
            waves[i, 6, lane], waves[i, 7, lane], waves[j, 6, lane], waves[j, 7, lane]
        )  # fmt: skip
        low_re, low_im = (near_j_re if swap else near_i_re), (near_j_im if swap else near_i_im)
        up_re, up_im = (far_i_re if swap else far_j_re), (far_i_im if swap else far_j_im)
        mean_re, mean_im = times(low_re, low_im, up_re, up_im)
        mean_re, mean_im = times(2.0 * mean_re, 2.0 * mean_im, spread_re, spread_im)
        z[0, lane], z[1, lane] = times(mean_re, mean_im, wave[6, lane], wave[7, lane])
    if overlap == 0:
        return
    for lane in range(x.shape[1]):
        apart, reach = abs(x[i, lane] - x[j, lane]), h[i, lane] + h[j, lane]
        less = abs(h[i, lane] - h[j, lane])
        if not (h[i, lane] > 0.0 and h[j, lane] > 0.0 and apart < reach):
            continue
        k_re, k_im = wave[0, lane], wave[1, lane]
        a_re, a_im = _lack(k_re * (apart + reach), k_im * (apart + reach))
        e_re, e_im = _lack(k_re * (reach - apart), k_im * (reach - apart))
        lack_re, lack_im = a_re + e_re, a_im + e_im
        for step in (apart + less, abs(apart - less)):
            b_re, b_im = _lack(k_re * step, k_im * step)
            lack_re, lack_im = lack_re - b_re, lack_im - b_im
        q_re, q_im = times(k_re, k_im, k_re, k_im)
        share = 4.0 * h[i, lane] * h[j, lane]
        q_re, q_im = reciprocal(q_re * share, q_im * share)
        sine_re, sine_im = times(lack_re, lack_im, q_re, q_im)
        sine_re, sine_im = times(sine_re, sine_im, wave[2, lane], wave[3, lane])
        spread_re, spread_im = times(
            waves[i, 8, lane], waves[i, 9, lane], waves[j, 8, lane], waves[j, 9, lane]
        )
        # cos k(x - x') and cos k(L - x - x') from the waves of either patch
        c_re, c_im = times(waves[i, 2, lane], waves[i, 3, lane], waves[j, 2, lane], waves[j, 3, lane])
        s_re, s_im = times(waves[i, 0, lane], waves[i, 1, lane], waves[j, 0, lane], waves[j, 1, lane])
        near_re, near_im = times(c_re + s_re, c_im + s_im, wave[4, lane], wave[5, lane])
        c_re, c_im = times(waves[i, 6, lane], waves[i, 7, lane], waves[j, 2, lane], waves[j, 3, lane])
        s_re, s_im = times(waves[i, 4, lane], waves[i, 5, lane], waves[j, 0, lane], waves[j, 1, lane])
        near_re, near_im = near_re + c_re + s_re, near_im + c_im + s_im
        mean_re, mean_im = times(near_re, near_im, spread_re, spread_im)
        mean_re, mean_im = mean_re + sine_re, mean_im + sine_im
        z[0, lane], z[1, lane] = times(mean_re, mean_im, wave[6, lane], wave[7, lane])
