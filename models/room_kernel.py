"""The line of a room of :mod:`models.rooms` and its near field, compiled, designs side by side.

With C = mean cos k|x - x'| and S = mean sin k|x - x'| over two patches, the mean of cos k(L - |x - x'|)
is C cos kL + S sin kL; where patches overlap, S takes differences of (y - sin y)/k^2, which lose nothing
for patches short against the wave.
"""

from __future__ import annotations

import math

import numpy as np

from models.drive_kernel import reciprocal, times
from models.duct_kernel import root
from models.jit import compiled, exp, inlined, sin_cos
from models.lanes import any_lane, choose, load, store


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
    return choose(small, t_re, re - s_re), choose(small, t_im, im - s_im)


@inlined
def _put(waves: np.ndarray, i: int, row: int, values: tuple[float, float, float, float]) -> None:
    """Store four rows."""
    store(waves, (i, row), values[0])
    store(waves, (i, row + 1), values[1])
    store(waves, (i, row + 2), values[2])
    store(waves, (i, row + 3), values[3])


@inlined
def _pair(waves: np.ndarray, i: int, row: int) -> tuple[float, float]:
    """A complex number of two rows."""
    return load(waves, (i, row)), load(waves, (i, row + 1))


@compiled
def room_medium(
    omega: float, sides: tuple[float, float, float], volume: float, line: float, air: np.ndarray, lossy: bool,
    leak: float, wave: np.ndarray,
) -> None:  # fmt: skip
    """Wavenumber, length and factor of the lines of rooms side by side at one tone.

    Parameters
    ----------
    omega : float
        Angular frequency [rad/s].
    sides : tuple of three lanes
        Inner sides [m].
    volume, line : lanes
        Air volume [m3] and axis of the line [1].
    air : ndarray
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].
    lossy : bool
        Whether walls take energy [flag].
    leak : float
        Angular frequency of the leak's corner [rad/s].
    wave : ndarray, shape (1, 9, WIDTH)
        k, sin kL, cos kL, -j w rho L/(2 V k sin kL) as pairs, and L, written in place [mixed].
    """
    x, y, z = sides
    length = choose(line == 0.0, x, choose(line == 1.0, y, z))
    viscous = math.sqrt(2.0 * air[2] / omega)
    over = 1.0 / volume
    zero = 0.0 * volume
    heavy_re, heavy_im, soft_re, soft_im = 1.0 + zero, zero, 1.0 + zero, zero
    if lossy:
        share = viscous * (x + y + z - length) * length * over
        heavy_re, heavy_im = 1.0 + share, -share
        warm = (air[3] - 1.0) * viscous / air[4] * (x * y + y * z + z * x) * over
        soft_re, soft_im = 1.0 + warm, -warm
    soft_im -= leak / omega
    k_re, k_im = times(heavy_re, heavy_im, soft_re, soft_im)
    k_re, k_im = root(k_re, k_im)
    k_re, k_im = omega / air[1] * k_re, omega / air[1] * k_im
    sine_cosine = complex_sin_cos(k_re * length, k_im * length)
    o_re, o_im = times(k_re, k_im, sine_cosine[0], sine_cosine[1])
    o_re, o_im = reciprocal(o_re, o_im)
    o_re, o_im = times(o_re, o_im, heavy_re, heavy_im)
    factor = 0.5 * omega * air[0] * length * over
    store(wave, (0, 0), k_re)
    store(wave, (0, 1), k_im)
    _put(wave, 0, 2, sine_cosine)
    store(wave, (0, 6), factor * o_im)
    store(wave, (0, 7), -factor * o_re)
    store(wave, (0, 8), length)


@compiled
def patch_waves(wave: np.ndarray, i: int, end: int, x: float, h: float, waves: np.ndarray) -> None:
    """Sine and cosine of k x and of k (L - x), and sin(k h)/(k h), of a patch.

    Parameters
    ----------
    wave : ndarray, shape (1, 9, WIDTH)
        From :func:`room_medium` [mixed].
    i : int
        Which patch [1].
    end : int
        1 where it lies on the low end of the line in all rooms, 2 on the high one, else 0 [1].
    x, h : lanes
        Centre and half width along the line [m].
    waves : ndarray, shape (n_patches, 10, WIDTH)
        Written in place, real and imaginary parts in turn [1].
    """
    k_re, k_im = _pair(wave, 0, 0)
    zero = 0.0 * x
    if end > 0:
        whole, none = (load(wave, (0, 2)), load(wave, (0, 3)), load(wave, (0, 4)), load(wave, (0, 5))), (
            zero, zero, 1.0 + zero, zero
        )  # fmt: skip
        _put(waves, i, 0 if end == 2 else 4, whole)
        _put(waves, i, 4 if end == 2 else 0, none)
        store(waves, (i, 8), 1.0 + zero)
        store(waves, (i, 9), zero)
        return
    _put(waves, i, 0, complex_sin_cos(k_re * x, k_im * x))
    there = load(wave, (0, 8)) - x
    _put(waves, i, 4, complex_sin_cos(k_re * there, k_im * there))
    flat = h == 0.0
    z_re, z_im = choose(flat, 1.0, k_re * h), choose(flat, 0.0, k_im * h)
    s_re, s_im, _, _ = complex_sin_cos(z_re, z_im)
    o_re, o_im = reciprocal(z_re, z_im)
    s_re, s_im = times(s_re, s_im, o_re, o_im)
    store(waves, (i, 8), choose(flat, 1.0, s_re))
    store(waves, (i, 9), choose(flat, 0.0, s_im))


@compiled
def line_impedance(
    wave: np.ndarray, waves: np.ndarray, x: np.ndarray, h: np.ndarray, i: int, j: int
) -> tuple[float, float]:
    """Impedance of the line between two patches, or of a patch with itself.

    Parameters
    ----------
    wave : ndarray, shape (1, 9, WIDTH)
        From :func:`room_medium` [mixed].
    waves : ndarray, shape (n_patches, 10, WIDTH)
        From :func:`patch_waves` [1].
    x, h : ndarray, shape (n_patches, WIDTH)
        Centres and half widths along the line [m].
    i, j : int
        The patches [1].

    Returns
    -------
    tuple of two lanes
        Real and imaginary part [Pa s/m3].
    """
    h_i, h_j = load(h, i), load(h, j)
    swap = load(x, i) > load(x, j)
    apart, reach = abs(load(x, i) - load(x, j)), h_i + h_j
    spread_re, spread_im = _pair(waves, i, 8)
    a_re, a_im = _pair(waves, j, 8)
    spread_re, spread_im = times(spread_re, spread_im, a_re, a_im)
    i_re, i_im = _pair(waves, i, 2)
    j_re, j_im = _pair(waves, j, 2)
    far_i_re, far_i_im = _pair(waves, i, 6)
    far_j_re, far_j_im = _pair(waves, j, 6)
    mean_re, mean_im = times(
        choose(swap, j_re, i_re), choose(swap, j_im, i_im), choose(swap, far_i_re, far_j_re),
        choose(swap, far_i_im, far_j_im),
    )  # fmt: skip
    mean_re, mean_im = times(2.0 * mean_re, 2.0 * mean_im, spread_re, spread_im)
    w_re, w_im = _pair(wave, 0, 6)
    both = (h_i > 0.0) & (h_j > 0.0) & (apart < reach)
    if not any_lane(both):
        return times(mean_re, mean_im, w_re, w_im)
    less = abs(h_i - h_j)
    k_re, k_im = _pair(wave, 0, 0)
    lack_re, lack_im = _lack(k_re * (apart + reach), k_im * (apart + reach))
    for step, sign in ((reach - apart, 1.0), (apart + less, -1.0), (abs(apart - less), -1.0)):
        a_re, a_im = _lack(k_re * step, k_im * step)
        lack_re, lack_im = lack_re + sign * a_re, lack_im + sign * a_im
    q_re, q_im = times(k_re, k_im, k_re, k_im)
    share = 4.0 * h_i * h_j
    q_re, q_im = reciprocal(q_re * share, q_im * share)
    a_re, a_im = _pair(wave, 0, 2)
    q_re, q_im = times(q_re, q_im, a_re, a_im)
    sine_re, sine_im = times(lack_re, lack_im, q_re, q_im)
    # cos k(x - x') and cos k(L - x - x') from the waves of either patch
    s_j_re, s_j_im = _pair(waves, j, 0)
    c_re, c_im = times(i_re, i_im, j_re, j_im)
    a_re, a_im = _pair(waves, i, 0)
    s_re, s_im = times(a_re, a_im, s_j_re, s_j_im)
    a_re, a_im = _pair(wave, 0, 4)
    near_re, near_im = times(c_re + s_re, c_im + s_im, a_re, a_im)
    c_re, c_im = times(far_i_re, far_i_im, j_re, j_im)
    a_re, a_im = _pair(waves, i, 4)
    s_re, s_im = times(a_re, a_im, s_j_re, s_j_im)
    near_re, near_im = times(near_re + c_re + s_re, near_im + c_im + s_im, spread_re, spread_im)
    mean_re, mean_im = choose(both, near_re + sine_re, mean_re), choose(both, near_im + sine_im, mean_im)
    return times(mean_re, mean_im, w_re, w_im)
