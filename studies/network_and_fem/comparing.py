"""Curves of network and finite elements side by side, and the rule for what is compared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.air import humid_air
from models.design import DesignBatch, Patch
from models.driver import driver_from_parameters
from models.elimination import Planes
from models.envelope import Envelope, in_plane_axes
from models.network import assemble
from models.outside import OutsideTable
from models.radiation import disc_length, rectangle_length
from models.rules import Limits, Physics, Rules
from models.spaces import HalfSpace
from studies.network_and_fem.cases import Case
from studies.network_and_fem.solid import solve_solid

AIR = humid_air()
LOSSLESS = Physics(wall_losses=False, duct_end_loss=False, radiation=False)
BAND_HZ = (50.0, 400.0)
"""Where the curves are compared [Hz]."""

APART = 0.05
"""Frequencies nearer than this share to a pole or zero of a curve are left out."""

RULES = Rules(
    driver=driver_from_parameters(
        AIR, name="65 mm", fs_hz=95.0, qms=4.0, qes=0.5, vas_l=0.9, re_ohm=3.4, sd_cm2=21.0
    ),
    envelope=Envelope(width=0.24, height=0.18, depth=0.16, wall=0.003),
    limits=Limits(power=12.0, excursion=0.003),
    tones_hz=np.array([100.0]),
    tone_weights=np.ones(1),
    spaces=(HalfSpace(name="half space"),),
    air=AIR,
    physics=LOSSLESS,
)


def shorted(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Input impedance and transfer to a mouth without pressure, of 2 x 2 matrices in the last axes."""
    transfer = z[..., 0, 1] / z[..., 1, 1]
    return z[..., 0, 0] - z[..., 0, 1] * transfer, transfer


def fem_matrix(case: Case, hz: np.ndarray, *, step: float, finest: float) -> np.ndarray:
    """Impedances over j w rho of driver and mouth, shape (n_hz, 2, 2) [1/m]."""
    response = solve_solid(case.cuboids, [case.driver, case.mouth], step=step, finest=finest)
    return response.impedance(2.0 * np.pi * hz / AIR.sound_speed)


def fem_curves(
    case: Case, hz: np.ndarray, *, step: float = 0.025, finest: float = 0.005
) -> tuple[np.ndarray, np.ndarray]:
    """Input impedance over j w rho and transfer, edges extrapolated from two grids, shape (n_hz,) each.

    The flow at an edge is like r^(-1/3), so that errors of energy fall as the size of the cells there
    to the power 4/3, whatever the order of the elements.
    """
    coarse = fem_matrix(case, hz, step=step, finest=2.0 * finest)
    fine = fem_matrix(case, hz, step=step, finest=finest)
    return shorted(fine + (fine - coarse) / (2.0 ** (4.0 / 3.0) - 1.0))


def network_curves(batch: DesignBatch, hz: np.ndarray, rules: Rules = RULES) -> tuple[np.ndarray, np.ndarray]:
    """The same from the network, lossless, with nothing outside, shape (n_hz,) each.

    The driver is a square here, so the part by which a disc's near field differs is taken off.
    """
    omega = 2.0 * np.pi * hz
    sites = len(batch.sites)
    nothing = OutsideTable(
        impedance=np.zeros((sites, sites, hz.size), dtype=complex),
        transfer=np.zeros((sites, hz.size), dtype=complex),
        self_inertance=np.zeros((sites, hz.size)),
    )
    network = assemble(
        batch, replace(rules, physics=replace(LOSSLESS, chambers=rules.physics.chambers)), nothing, omega
    )
    matrix = np.zeros((hz.size, network.size, network.size), dtype=complex)
    for name in ("duct", "chamber", "outside"):
        part: Planes = network.parts[name]
        for (i, j), value in part.items():
            matrix[:, i, j] += np.broadcast_to(value, (1, hz.size))[0]
            if i != j:
                matrix[:, j, i] += np.broadcast_to(value, (1, hz.size))[0]
    area = np.array([rules.driver.area])
    rest = (disc_length(area) - rectangle_length(area)) * (1.0 - open_share(batch))
    matrix[:, 0, 0] -= 1j * omega * rules.air.density * rest / area
    flows = np.linalg.solve(matrix[:, 1:, 1:], -matrix[:, 1:, :1])[..., 0]
    impedance = matrix[:, 0, 0] + np.einsum("fi,fi->f", matrix[:, 0, 1:], flows)
    # the driver pulls air into its front: its flow into the box is minus the unknown
    return (impedance / (1j * omega * rules.air.density)).real, -flows[:, -1].real


def open_share(batch: DesignBatch) -> float:
    """Share of its wall that the driver's rear patch takes."""
    (_, rear), ((_, chamber),) = batch.driver_ends[0], batch.topology.drivers
    assert isinstance(rear, Patch)
    first, second = in_plane_axes(rear.wall)
    wall = batch.sides[0, chamber, first] * batch.sides[0, chamber, second]
    return float(4.0 * np.prod(rear.half[0]) / wall)


def turning_points(hz: np.ndarray, curve: np.ndarray) -> np.ndarray:
    """Frequencies at which a real curve changes sign, through zero or infinity [Hz]."""
    change = np.nonzero(curve[1:-1] * curve[2:] < 0.0)[0] + 1
    pole = np.abs(curve[change - 1]) < np.abs(curve[change])
    here, there = curve[change], curve[change + 1]
    here, there = np.where(pole, 1.0 / here, here), np.where(pole, 1.0 / there, there)
    return np.asarray(hz[change] + (hz[change + 1] - hz[change]) * here / (here - there))


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Network less finite elements.

    Attributes
    ----------
    impedance_db, transfer_db : ndarray, shape (n_hz,)
        Differences of level; nan where left out [dB].
    turns_hz : ndarray, shape (n_turns,)
        Poles and zeros of input impedance and transfer, finite elements [Hz].
    shifts_percent : ndarray, shape (n_turns,)
        How far the network's lie from them; nan where the numbers differ [%].
    """

    impedance_db: np.ndarray
    transfer_db: np.ndarray
    turns_hz: np.ndarray
    shifts_percent: np.ndarray


def errors(
    hz: np.ndarray, fem: tuple[np.ndarray, np.ndarray], network: tuple[np.ndarray, np.ndarray]
) -> Errors:
    """Compare the curves of one case."""
    levels, turns, shifts = [], [], []
    for exact, ours in zip(fem, network, strict=True):
        at, there = turning_points(hz, exact), turning_points(hz, ours)
        apart = np.min(np.abs(hz[:, None] / at - 1.0), axis=1, initial=1.0)
        level = 20.0 * np.log10(np.abs(ours / exact))
        levels.append(np.where(apart > APART, level, np.nan))
        turns.append(at)
        shifts.append(100.0 * (there / at - 1.0) if at.size == there.size else np.full(at.size, np.nan))
    return Errors(
        impedance_db=levels[0],
        transfer_db=levels[1],
        turns_hz=np.concatenate(turns),
        shifts_percent=np.concatenate(shifts),
    )
