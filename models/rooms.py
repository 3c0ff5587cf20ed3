"""A chamber as a rigid cuboid room: impedances among patches on its walls.

The line along the longest side carries the dynamics exactly,
Z = -j (rho c/S) cos(k x<) cos(k (L - x>))/sin(k L) averaged over both patches, and
:mod:`models.near_field` adds everything that varies across it. Walls take energy through
their viscous and thermal boundary layers (L. Cremer, M. Moeser and others; the wide-duct limit of
:mod:`models.ducts`), leakage through a resistance spread over the volume.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.air import Air
from models.design import Patch
from models.envelope import in_plane_axes, wall_axis
from models.lining import lined_medium
from models.near_field import near_field
from models.rules import Physics

NEAREST = 0.9
"""Largest square of frequency over that of the first mode across at which that mode is followed;
above it the model is not to be trusted (:mod:`models.trust`)."""


def line_axis(sides: np.ndarray) -> np.ndarray:
    """Axis of the longest side of each room, shape (n_designs,); the first of equals."""
    longest = np.max(sides, axis=1, keepdims=True)
    return np.asarray(np.argmax(sides >= longest * (1.0 - 1e-9), axis=1))


def medium(
    omega: np.ndarray,
    sides: np.ndarray,
    volume: np.ndarray,
    line: int,
    air: Air,
    physics: Physics,
    lining: np.ndarray | None = None,
    leak: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Effective density and compressibility of the air in a room, losses included.

    Parameters
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequency [rad/s].
    sides : ndarray, shape (n_designs, 3)
        Inner sides [m].
    volume : ndarray, shape (n_designs,)
        Air volume [m3].
    line : int
        Axis of the line [1].
    air : Air
        The gas [record].
    physics : Physics
        Switches for wall losses and leakage [record].
    lining : ndarray, shape (n_designs,), or None
        Flow resistivity of a filling, which takes the place of wall losses; 0 or None for none [Pa s/m2].
    leak : ndarray, shape (n_designs,), or None
        Corner of the room's own leakage, on top of the one in ``physics`` [Hz].

    Returns
    -------
    tuple of two complex ndarrays, shape (n_designs, n_tones)
        Density [kg/m3] and compressibility [1/Pa].
    """
    shape = (sides.shape[0], omega.size)
    density = np.full(shape, air.density, dtype=complex)
    compression = np.ones(shape, dtype=complex)
    if physics.wall_losses:
        y, z = (sides[:, axis] for axis in range(3) if axis != line)
        x = sides[:, line]
        viscous = (1.0 - 1j) * np.sqrt(2.0 * air.kinematic_viscosity / omega)
        thermal = (1.0 - 1j) * np.sqrt(2.0 * air.thermal_diffusivity / omega)
        section = volume / x
        density *= 1.0 + viscous * ((y + z) / section)[:, None]
        surface = 2.0 * (x * y + y * z + z * x)
        compression += (air.heat_ratio - 1.0) * thermal * (surface / (2.0 * volume))[:, None]
    if lining is not None:
        filled = lining[:, None] > 0.0
        heavy, soft = lined_medium(omega, lining, air)
        density = np.where(filled, heavy, density)
        compression = np.where(filled, soft * air.bulk_modulus, compression)
    if physics.leak_corner_hz:
        compression += -2j * np.pi * physics.leak_corner_hz / omega
    if leak is not None:
        compression += -2j * np.pi * leak[:, None] / omega
    return density, compression / air.bulk_modulus


def room_impedance(
    omega: np.ndarray,
    sides: np.ndarray,
    volume: np.ndarray,
    patches: Sequence[Patch],
    air: Air,
    physics: Physics,
    ducts: Sequence[int] = (),
    lining: np.ndarray | None = None,
    leak: np.ndarray | None = None,
) -> np.ndarray:
    """Impedance matrix among the patches of a room.

    Parameters
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequency [rad/s].
    sides : ndarray, shape (n_designs, 3)
        Inner sides [m].
    volume : ndarray, shape (n_designs,)
        Air volume: that of the cuboid less what stands in it [m3].
    patches : sequence of Patch
        Rectangles on the walls [list].
    air : Air
        The gas [record].
    physics : Physics
        ``chambers`` chooses room, line or lump; wall losses and leakage [record].
    ducts : sequence of int
        Which patches are ends of ducts, whose velocity gives way to the near field [1].
    lining : ndarray, shape (n_designs,), or None
        Flow resistivity of a filling. Of the near field only each patch's own part has its density; that
        between patches is air's, so that no error of a real number can give energy [Pa s/m2].
    leak : ndarray, shape (n_designs,), or None
        Corner of the room's own leakage [Hz].

    Returns
    -------
    complex ndarray, shape (n_patches, n_patches, n_designs, n_tones)
        Pressure at one patch per volume velocity into the room at another [Pa s/m3].
    """
    axes = line_axis(sides)
    result = np.empty((len(patches), len(patches), sides.shape[0], omega.size), dtype=complex)
    for line in np.unique(axes):
        rows = axes == line
        picked = [Patch(wall=p.wall, centre=p.centre[rows], half=p.half[rows]) for p in patches]
        result[:, :, rows] = _one_axis(
            omega,
            sides[rows],
            volume[rows],
            picked,
            int(line),
            air,
            physics,
            ducts,
            None if lining is None else lining[rows],
            None if leak is None else leak[rows],
        )
    return result


def _one_axis(
    omega: np.ndarray,
    sides: np.ndarray,
    volume: np.ndarray,
    patches: Sequence[Patch],
    line: int,
    air: Air,
    physics: Physics,
    ducts: Sequence[int],
    lining: np.ndarray | None,
    leak: np.ndarray | None,
) -> np.ndarray:
    density, compressibility = medium(omega, sides, volume, line, air, physics, lining, leak)
    count = len(patches)
    if physics.chambers == "lump":
        lump = 1.0 / (1j * omega * volume[:, None] * compressibility)
        return np.broadcast_to(lump, (count, count, *lump.shape)).copy()
    length = sides[:, line]
    k = omega * np.sqrt(density * compressibility)
    over = -0.5j * omega * density / (k * np.sin(k * length[:, None])) * (length / volume)[:, None]
    places = [_along(patch, sides, line) for patch in patches]
    result = np.empty((count, count, *k.shape), dtype=complex)
    for i in range(count):
        for j in range(i, count):
            mean = _line_mean(k, length[:, None], *places[i], *places[j])
            result[i, j] = result[j, i] = over * mean
    if physics.chambers == "room":
        sums = [s[..., None] for s in near_field(sides, patches, line, ducts)]
        square = (omega / air.sound_speed) ** 2
        lowest = np.pi / np.sort(sides, axis=1)[:, 1, None]  # the first mode across the line
        fourth = square**2 / (1.0 - np.minimum(square / lowest**2, NEAREST))
        unit = 1j * omega * air.density
        own = unit if lining is None else 1j * omega * lined_medium(omega, lining, air)[0]
        for i in range(count):
            for j in range(i, count):
                m, n, p = (s[:, i, j] for s in sums)
                near = (own if i == j else unit) * (m + square * n + fourth * p)
                result[i, j] += near
                if i != j:
                    result[j, i] += near
    return result


def _along(patch: Patch, sides: np.ndarray, line: int) -> tuple[np.ndarray, np.ndarray]:
    """Centre and half width of a patch along the line, each shape (n_designs, 1) [m]."""
    if wall_axis(patch.wall) == line:
        end = sides[:, line] if patch.wall[1] == "+" else np.zeros(sides.shape[0])
        return end[:, None], np.zeros((sides.shape[0], 1))
    column = in_plane_axes(patch.wall).index(line)
    return patch.centre[:, column, None], patch.half[:, column, None]


def _line_mean(
    k: np.ndarray, length: np.ndarray, x1: np.ndarray, h1: np.ndarray, x2: np.ndarray, h2: np.ndarray
) -> np.ndarray:
    """Mean over both patches of cos(k(L - |x - x'|)) + cos(k(L - x - x'))."""
    spread = np.sinc(k * h1 / np.pi) * np.sinc(k * h2 / np.pi)
    far = spread * np.cos(k * (length - x1 - x2))
    apart = np.abs(x1 - x2)
    direct = spread * np.cos(k * (length - apart))
    overlap = np.broadcast_to((apart < h1 + h2) & (h1 > 0.0) & (h2 > 0.0), k.shape)
    if np.any(overlap):
        square = k**2
        slope = np.sin(k * length) / k

        def twice(d: np.ndarray) -> np.ndarray:
            return np.asarray(-np.cos(k * (length - np.abs(d))) / square + np.abs(d) * slope)

        with np.errstate(divide="ignore", invalid="ignore"):
            mean = twice(apart + h1 + h2) - twice(apart + h1 - h2) - twice(apart - h1 + h2)
            mean = (mean + twice(apart - h1 - h2)) / (4.0 * h1 * h2)
        direct = np.where(overlap, mean, direct)
    return np.asarray(far + direct)
