"""A cabin around the enclosure: impedances among places on its faces, and transfer to a microphone.

Modal sum of a damped room (P. M. Morse and K. U. Ingard, "Theoretical Acoustics", 1968, chapter 9;
H. Kuttruff, "Room Acoustics", chapter 3; both from memory), with the modes of the cabin that has the
enclosure in it, plus a static residual for the modes left out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.air import Air
from models.cabin_modes import CabinSolver, PortTable, cabin_grid, highest_frequency, resolution
from models.cabin_places import envelope_box, is_blocked, opening_port, site_port
from models.envelope import Envelope, Site
from models.outside import OutsideTable
from models.radiation import rectangle_length, reference_side
from models.spaces import Cabin, Opening

BLOCKED = 1000.0
"""Inertance of a site that lies against a wall of the cabin, over that of the free reference patch."""


def modal_sum(
    table: PortTable, omega: np.ndarray, air: Air, damping: float, leak_corner_hz: float
) -> np.ndarray:
    """Pressure at all points per volume velocity through each port.

    Parameters
    ----------
    table : PortTable
        Modes and residual at n_ports ports and the microphone [1].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    air : Air
        The air [kg/m3].
    damping : float
        Loss factor of every mode but the uniform one [1].
    leak_corner_hz : float
        Corner of the evenly spread leakage [Hz].

    Returns
    -------
    complex ndarray, shape (n_ports + 1, n_ports, n_tones)
        Impedances, the last row at the microphone [Pa s/m3].
    """
    n_ports = table.residual.shape[1]
    squares = (air.sound_speed * table.wavenumbers[:, None]) ** 2
    leak = 2.0 * np.pi * leak_corner_hz
    below = squares * (1.0 + 1j * damping) - omega**2 + 1j * omega * leak
    amounts = 1j * omega * air.density * air.sound_speed**2 / table.volume / below
    result = np.einsum("in,jn,nw->ijw", table.shapes, table.shapes[:n_ports], amounts, optimize=True)
    return np.asarray(result + 1j * omega * air.density * table.residual[:, :, None])


def opening_impedance(opening: Opening, omega: np.ndarray, air: Air) -> np.ndarray:
    """Impedance outward of the plane where an opening meets the cabin.

    Mass of the air in the wall's thickness and of the flanged end outside, and the radiation
    resistance into the half space for an opening small against the wavelength.

    Parameters
    ----------
    opening : Opening
        The opening [m].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    air : Air
        The air [kg/m3].

    Returns
    -------
    complex ndarray, shape (n_tones,)
        Pressure over outward volume velocity [Pa s/m3].
    """
    length = opening.thickness + float(rectangle_length(np.array(opening.area)))
    resistance = air.density * omega**2 / (2.0 * np.pi * air.sound_speed)
    return np.asarray(resistance + 1j * omega * air.density * length / opening.area)


def _eliminate(matrix: np.ndarray, n_sites: int, ends: np.ndarray) -> np.ndarray:
    """Close the ports behind the sites by impedances (n_openings, n_tones)."""
    n_ports = matrix.shape[1]
    keep = [*range(n_sites), n_ports]
    inner = np.moveaxis(matrix[n_sites:n_ports, n_sites:], -1, 0).copy()
    diagonal = np.arange(n_ports - n_sites)
    inner[:, diagonal, diagonal] += ends.T
    to_sites = np.moveaxis(matrix[n_sites:n_ports, :n_sites], -1, 0)
    from_ports = np.moveaxis(matrix[keep][:, n_sites:], -1, 0)
    less = from_ports @ np.linalg.solve(inner, to_sites)
    return np.asarray(matrix[keep][:, :n_sites] - np.moveaxis(less, 0, -1))


def cabin_table(
    cabin: Cabin,
    envelope: Envelope,
    sites: Sequence[Site],
    omega: np.ndarray,
    air: Air,
    *,
    radiation: bool = True,
    reach: float = 0.0,
) -> OutsideTable:
    """Impedances among sites on an enclosure in a cabin, and transfer to the microphone.

    Each site is a small square on the envelope's face; its self term holds that square's near
    field. Without ``cabin.obstacle`` the room is the empty cuboid, all pressures are those of the
    reduced volume, and each site, which then hangs free in the air and has half of a flanged
    opening's near field, is given the other half. A site on a face that lies against a wall of the
    cabin is blocked: it is given a large inertance and no coupling.

    Parameters
    ----------
    cabin : Cabin
        The cabin [m].
    envelope : Envelope
        Outer cuboid of the enclosure [m].
    sites : sequence of Site
        n_sites places on the envelope [m].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    air : Air
        The air [kg/m3].
    radiation : bool
        False: the near field of the reference patches is left out of the self terms [flag].
    reach : float
        Angular frequency for which grid and modes are to do as well, as far as the model goes, so that
        tables of other frequencies have the same [rad/s].

    Returns
    -------
    OutsideTable
        Table over the sites [Pa s/m3].

    Raises
    ------
    ValueError
        Where envelope, microphone or openings do not fit the cabin, or a frequency is not positive
        or too high for the model.
    """
    omega = np.atleast_1d(np.asarray(omega, dtype=float))
    if omega.size == 0 or not np.all(np.isfinite(omega)) or np.min(omega) <= 0.0:
        raise ValueError("frequencies must be greater than 0")
    size, box = np.array(cabin.size, dtype=float), envelope_box(cabin, envelope)
    site_ports = [site_port(site, envelope, box) for site in sites]
    opening_ports = [opening_port(opening, cabin, box) for opening in cabin.openings]
    free = [index for index, site in enumerate(sites) if not is_blocked(site, cabin, box)]
    end = 2.0 * np.pi * highest_frequency(cabin.size, air.sound_speed)
    step, n_modes = resolution(size, max(float(np.max(omega)), min(reach, end)) / air.sound_speed)
    solver = CabinSolver(cabin_grid(size, box if cabin.obstacle else None, box, step), n_modes)
    ports = tuple([site_ports[i] for i in free] + opening_ports)
    matrix = modal_sum(
        solver.table(ports, np.array(cabin.microphone_at)), omega, air, cabin.damping, cabin.leak_corner_hz
    )
    scale = 1.0
    if not cabin.obstacle:
        scale = solver.volume / (solver.volume - float(np.prod(envelope.outer_sides)))
        matrix *= scale
    if cabin.openings:
        ends = np.array([opening_impedance(opening, omega, air) for opening in cabin.openings])
        matrix = _eliminate(matrix, len(free), ends)
    side = reference_side(envelope)
    near = air.density * float(rectangle_length(np.array(side**2))) / side**2
    impedance = np.zeros((len(sites), len(sites), omega.size), dtype=complex)
    transfer = np.zeros((len(sites), omega.size), dtype=complex)
    impedance[np.ix_(free, free)] = matrix[:-1]
    transfer[free] = matrix[-1]
    for index in range(len(sites)):
        if index not in free:
            impedance[index, index] = 1j * omega * near * BLOCKED
        elif not cabin.obstacle:
            impedance[index, index] += 1j * omega * near * (1.0 - 0.5 * scale)
        if not radiation:
            impedance[index, index] -= 1j * omega * near
    inertance = np.full((len(sites), omega.size), near if radiation else 0.0)
    return OutsideTable(impedance=impedance, transfer=transfer, self_inertance=inertance)
