"""Modes of a cabin with the enclosure in it, and the static near field that the kept modes lack.

Everything here is geometry: no air, no damping. The results are cached on disk by a hash of
the sizes they depend on, one file for the modes and one for each port.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import LinearOperator, eigsh

from models.cabin_grid import Grid
from models.cabin_local import FINENESS, Port, factor, local_excess
from models.cache import cache_key, cached_arrays

SCHEME = "q2-1"
"""Name of the numerical scheme; change it when the numbers of cached arrays would change."""

LEVELS = (3.0, 4.5, 6.4, 9.0)
"""Steps of the largest wavenumber times the cube root of the cabin's volume."""

MODE_SPAN = 2.5
"""The modes kept reach up to at least this multiple of the largest wavenumber."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PortTable:
    """What a set of ports and the microphone see of a cabin; n_points is n_ports + 1.

    Attributes
    ----------
    wavenumbers : ndarray, shape (n_modes,)
        Of the kept modes, rising; the first is 0 [1/m].
    shapes : ndarray, shape (n_points, n_modes)
        Mode shapes averaged over the ports, then at the microphone; their mean square over
        the air is 1 [1].
    residual : ndarray, shape (n_points, n_ports)
        Static potential at a point per unit flux through a port, less the kept modes' part [1/m].
    volume : float
        Of the air [m3].
    """

    wavenumbers: np.ndarray
    shapes: np.ndarray
    residual: np.ndarray
    volume: float


def _axis_lines(size: float, keys: list[float], step: float) -> np.ndarray:
    """Lines of one axis through the keys, cells at most a step, half of it beside a key."""
    marks = [0.0, *[k for k in sorted(keys) if 1e-9 * size < k < size * (1 - 1e-9)], size]
    lines = [0.0]
    for index, (low, high) in enumerate(pairwise(marks)):
        inner_low, inner_high = index > 0, index < len(marks) - 2
        count = max(1, math.ceil((high - low) / step + 0.5 * (inner_low + inner_high)))
        weights = np.ones(count)
        if count > 1:
            weights[0] = 0.5 if inner_low else 1.0
            weights[-1] = 0.5 if inner_high else 1.0
        lines.extend(low + (high - low) * np.cumsum(weights) / weights.sum())
        lines[-1] = high
    return np.array(lines)


def cabin_grid(size: np.ndarray, block: np.ndarray | None, keys: np.ndarray, step: float) -> Grid:
    """Tensor grid of a cabin.

    Parameters
    ----------
    size : ndarray, shape (3,)
        Sides [m].
    block : ndarray, shape (2, 3), or None
        Corners of the rigid block [m].
    keys : ndarray, shape (2, 3)
        Places along each axis that must be lines: the envelope's faces, block or not [m].
    step : float
        Largest cell [m].

    Returns
    -------
    Grid
        The grid [m].
    """
    x, y, z = (_axis_lines(float(size[i]), [float(k) for k in keys[:, i]], step) for i in range(3))
    return Grid(lines=(x, y, z), block=block)


System = tuple[sparse.csc_matrix, Callable[[np.ndarray], np.ndarray]]


@functools.lru_cache(maxsize=4)
def _system(lines: tuple[tuple[float, ...], ...], block: tuple[float, ...] | None, shift: float) -> System:
    """Mass matrix of a grid and solver of stiffness + shift * mass, kept: a cabin is asked for many sites."""
    x, y, z = (np.array(line) for line in lines)
    grid = Grid(lines=(x, y, z), block=None if block is None else np.array(block).reshape(2, 3))
    stiffness, mass = grid.matrices()
    return mass, factor(sparse.csc_matrix(stiffness + shift * mass))


class CabinSolver:
    """Modes and static solutions of one cabin on one grid, from the cache or by computation.

    Parameters
    ----------
    grid : Grid
        The grid [m].
    n_modes : int
        Modes to keep [1].
    """

    def __init__(self, grid: Grid, n_modes: int) -> None:
        self.grid = grid
        self.n_modes = min(n_modes, len(grid.air_nodes()) - 2)
        block = None if grid.block is None else tuple(grid.block.ravel().tolist())
        lines = tuple(tuple(line.tolist()) for line in grid.lines)
        self._key = cache_key(SCHEME, lines, block, self.n_modes)
        self._shape = lines, block
        size = np.array([line[-1] for line in grid.lines])
        self.volume = float(np.prod(size))
        if grid.block is not None:
            self.volume -= float(np.prod(grid.block[1] - grid.block[0]))
        self._shift = 1.0 / float(np.max(size)) ** 2
        found = cached_arrays("cabin-modes", self._key, ("wavenumbers", "shapes"), self._modes)
        self.wavenumbers, self.shapes = found["wavenumbers"], found["shapes"]
        # other eigenvectors of the same space must not meet static solutions cleaned of these
        self._token = cache_key(self._key, self.shapes.sum(axis=0).tolist(), self.shapes[:8].tolist())

    def _factored(self) -> System:
        """Mass matrix, and the solver of stiffness + shift * mass."""
        return _system(*self._shape, self._shift)

    def _modes(self) -> dict[str, np.ndarray]:
        """Wavenumbers and shapes (n_air, n_modes) with unit mean square over the air."""
        mass, solve = self._factored()
        stiffness = self.grid.matrices()[0]
        operator = LinearOperator(mass.shape, matvec=solve, dtype=float)
        start = np.random.default_rng(0).standard_normal(mass.shape[0])
        values, vectors = eigsh(
            stiffness, self.n_modes, mass, sigma=-self._shift, which="LM", OPinv=operator, v0=start
        )
        order = np.argsort(values)
        values, vectors = values[order], vectors[:, order] * math.sqrt(self.volume)
        values[0], vectors[:, 0] = 0.0, 1.0
        return {"wavenumbers": np.sqrt(np.maximum(values, 0.0)), "shapes": np.ascontiguousarray(vectors)}

    def _static(self, port: Port) -> dict[str, np.ndarray]:
        """Solve the static field of a port without the kept modes' part, and the coarse grid's lack."""
        mass, solve = self._factored()
        load = self.grid.patch_load(np.array(port.low), np.array(port.high))
        amounts = self.shapes.T @ load
        rest = load - mass @ (self.shapes @ amounts) / self.volume
        term = solve(rest)
        solution = term.copy()
        # (K + sM)^-1 applied again and again: a geometric series, fast because the low modes are gone
        for _ in range(12):
            term = self._shift * solve(mass @ term)
            solution += term
            if np.max(np.abs(term)) < 1e-10 * np.max(np.abs(solution)):
                break
        solution -= self.shapes @ (self.shapes.T @ (mass @ solution)) / self.volume
        whole = solution + self.shapes[:, 1:] @ (amounts[1:] / (self.volume * self.wavenumbers[1:] ** 2))
        excess = local_excess(self.grid, whole, self.volume, port, FINENESS)
        return {"solution": solution, "excess": np.array(excess)}

    def table(self, ports: tuple[Port, ...], microphone: np.ndarray) -> PortTable:
        """Mode shapes and static residual at ports and microphone.

        Parameters
        ----------
        ports : tuple of Port
            The ports; each lies on air [m].
        microphone : ndarray, shape (3,)
            A point in the air [m].

        Returns
        -------
        PortTable
            Everything that the impedance table needs but air and damping [1].
        """
        loads = [self.grid.patch_load(np.array(p.low), np.array(p.high)) for p in ports]
        loads.append(self.grid.point_load(microphone))
        everything = np.array(loads)
        residual = np.zeros((len(ports) + 1, len(ports)))
        for index, port in enumerate(ports):
            key = cache_key(self._token, FINENESS, port.low, port.high)

            def compute(port: Port = port) -> dict[str, np.ndarray]:
                return self._static(port)

            found = cached_arrays("cabin-port", key, ("solution", "excess"), compute)
            residual[:, index] = everything @ found["solution"]
            residual[index, index] += float(found["excess"])
        between = residual[:-1]
        residual[:-1] = 0.5 * (between + between.T)
        return PortTable(
            wavenumbers=self.wavenumbers,
            shapes=everything @ self.shapes,
            residual=residual,
            volume=self.volume,
        )


def highest_frequency(size: tuple[float, float, float], sound_speed: float) -> float:
    """Highest frequency that the model of a cabin reaches.

    Parameters
    ----------
    size : tuple of three floats
        Sides of the cabin [m].
    sound_speed : float
        Speed of sound [m/s].

    Returns
    -------
    float
        The frequency [Hz].
    """
    length = float(np.prod(size)) ** (1.0 / 3.0)
    return float((1.0 - 1e-9) * LEVELS[-1] / length * sound_speed / (2.0 * math.pi))


def resolution(size: np.ndarray, wavenumber: float) -> tuple[float, int]:
    """Cell size and count of modes that a cabin needs up to a wavenumber.

    Parameters
    ----------
    size : ndarray, shape (3,)
        Sides of the cabin [m].
    wavenumber : float
        The largest of interest [1/m].

    Returns
    -------
    tuple of float and int
        Largest cell [m]; modes, by Weyl's count of the modes of a cuboid [1].

    Raises
    ------
    ValueError
        Where the wavenumber is beyond the model's range.
    """
    length = float(np.prod(size)) ** (1.0 / 3.0)
    level = next((step for step in LEVELS if wavenumber * length <= step), None)
    if level is None:
        raise ValueError(
            f"the cabin model reaches up to k = {LEVELS[-1] / length:.3g} rad/m for a cabin of these sizes, "
            f"but k = {wavenumber:.3g} rad/m was asked for; use lower frequencies"
        )
    top = MODE_SPAN * level / length
    surface = 2.0 * (size[0] * size[1] + size[1] * size[2] + size[2] * size[0])
    count = np.prod(size) * top**3 / (6 * np.pi**2) + surface * top**2 / (16 * np.pi)
    count += np.sum(size) * top / (4 * np.pi) + 1.0
    return length / max(6.0, 0.9 * level), max(80, math.ceil(1.1 * float(count)))
