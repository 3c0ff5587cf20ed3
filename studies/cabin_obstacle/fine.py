"""A finer solution of the same cabin: no modes, no residual, one sparse solve a frequency."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from models.air import Air
from models.cabin_grid import Grid, Lines
from models.cabin_local import Port, factor, local_excess


def refined_lines(lines: Lines, ports: list[Port], parts: int) -> Lines:
    """Lines of a grid of cells at most 1/parts of the old ones, with lines on the ports' edges [m]."""
    result = []
    for axis, old in enumerate(lines):
        edges = [edge for port in ports for edge in (port.low[axis], port.high[axis])]
        edges = [edge for edge in edges if np.min(np.abs(old - edge)) > 1e-9]
        marks = np.unique(np.round([*old, *edges], 12))
        fine = [0.0]
        for low, high in pairwise(marks):
            cell = int(np.searchsorted(old, 0.5 * (low + high)))
            count = int(np.ceil(parts * (high - low) / (old[cell] - old[cell - 1]) - 1e-6))
            fine.extend(low + (high - low) * np.arange(1, count + 1) / count)
        result.append(np.array(fine))
    return result[0], result[1], result[2]


def dissection_order(places: np.ndarray) -> np.ndarray:
    """Nested dissection of grid nodes, which keeps the factors of a 3-D grid small.

    Parameters
    ----------
    places : ndarray of int, shape (n_nodes, 3)
        Index of each node along the axes; even ones lie on cell ends [1].

    Returns
    -------
    ndarray of int, shape (n_nodes,)
        Order of elimination [1].
    """
    order: list[int] = []

    def split(nodes: np.ndarray) -> None:
        here = places[nodes]
        low, high = here.min(axis=0), here.max(axis=0)
        axis = int(np.argmax(high - low))
        cut = 2 * round(float(np.median(here[:, axis])) / 2)
        cut += 2 * (cut <= low[axis]) - 2 * (cut >= high[axis])
        if len(nodes) < 80 or not low[axis] < cut < high[axis]:
            order.extend(nodes.tolist())
            return
        split(nodes[here[:, axis] < cut])
        split(nodes[here[:, axis] > cut])
        order.extend(nodes[here[:, axis] == cut].tolist())

    split(np.arange(len(places)))
    return np.array(order)


def _grid_order(grid: Grid) -> np.ndarray:
    shape = [2 * len(line) - 1 for line in grid.lines]
    return dissection_order(np.stack(np.unravel_index(grid.air_nodes(), shape), axis=1))


def missing_near_field(grid: Grid, ports: list[Port], volume: float) -> np.ndarray:
    """Static self energy of each port that even the fine grid lacks, by a yet finer one around it.

    Parameters
    ----------
    grid : Grid
        The fine grid [m].
    ports : list of Port
        The ports [m].
    volume : float
        Of the air [m3].

    Returns
    -------
    ndarray, shape (n_ports,)
        What is missing [1/m].
    """
    stiffness, mass = grid.matrices()
    order = _grid_order(grid)[1:]  # one node is held: the static problem fixes no level
    inner = sparse.csc_matrix(stiffness[order][:, order])
    sink = mass @ np.full(mass.shape[0], 1.0 / volume)
    solve = factor(inner, ordered=True)
    missing = []
    for port in ports:
        right = grid.patch_load(np.array(port.low), np.array(port.high)) - sink
        static = np.zeros(mass.shape[0])
        static[order] = solve(right[order])
        missing.append(local_excess(grid, static, volume, port, 0.3))
    return np.array(missing)


def direct_matrix(
    grid: Grid, ports: list[Port], microphone: np.ndarray, omega: np.ndarray, air: Air, damping: float
) -> np.ndarray:
    """Impedances by a direct solve of K (1 + j damping) - k^2 M at every frequency.

    Parameters
    ----------
    grid : Grid
        The fine grid [m].
    ports : list of Port
        Rectangles through which air flows evenly [m].
    microphone : ndarray, shape (3,)
        A point in the air [m].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    air : Air
        The air [kg/m3].
    damping : float
        Loss factor; the uniform mode has no stiffness and so no loss [1].

    Returns
    -------
    complex ndarray, shape (n_ports + 1, n_ports, n_tones)
        Pressures per volume velocity, the last row at the microphone [Pa s/m3].
    """
    stiffness, mass = grid.matrices()
    loads = [grid.patch_load(np.array(p.low), np.array(p.high)) for p in ports]
    loads.append(grid.point_load(microphone))
    order = _grid_order(grid)
    rows = np.array(loads)[:, order]
    stiffness, mass = stiffness[order][:, order], mass[order][:, order]
    result = np.empty((len(loads), len(ports), len(omega)), dtype=complex)
    for index, w in enumerate(omega):
        matrix = sparse.csc_matrix(stiffness * (1.0 + 1j * damping) - (w / air.sound_speed) ** 2 * mass)
        factors = splu(matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        potential = factors.solve(rows[:-1].T.astype(complex))
        result[:, :, index] = 1j * w * air.density * (rows @ potential)
    return result
