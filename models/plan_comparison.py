"""The network read off a plan against the plan's air in three dimensions, both between the same ends.

Drivers, diaphragms and the outside are those of the network on both sides: coils, suspensions, a half
space outside that every opening looks into, with the near fields of its mouths. What differs is the air
inside. The network has rooms, patches, ducts and bends; finite elements have the air as it is drawn. Both are
without losses at walls, leaks and bodies of drivers. In finite elements a mouth outside has one pressure;
where a duct turns into it, what that takes off is known and given back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import find_peaks

from models.bends import end_share
from models.design import DesignBatch, Patch
from models.elimination import Planes
from models.joints import joints_by_place
from models.network import Network, assemble, inner_end, open_share
from models.plan import PlanBatch
from models.plan_air import faces, floor_air
from models.plan_elements import face_impedances
from models.plan_voids import gaps
from models.radiation import half_space_table
from models.rules import Physics, Rules
from models.score import REFERENCE_PRESSURE
from models.spaces import HalfSpace
from models.topology import OUTSIDE

LOSSLESS = Physics(wall_losses=False, duct_end_loss=False)
OUTSIDE_SPACE = HalfSpace(name="half space")

BAND_HZ = (50.0, 400.0)
"""Where levels are compared [Hz]."""

NOTCH_DB = 6.0
"""A dip of the level by finite elements of at least so much on both sides is a notch [dB]."""

APART = 0.05
"""Frequencies nearer to a notch than this share are left out [1]."""

STEP, FINEST = 0.02, 0.0025
"""Largest cell, and the largest beside walls and edges in the finer of two meshes [m]."""

EVEN_PRESSURE = 0.82
"""One pressure across a mouth that a duct turns into takes off so much more of :func:`end_share` than open
space does: 0.76 to 0.85 by plane finite elements for walls of 0.05 to 0.3 widths
(``studies/network_and_fem``) [1]."""

EDGE_POWER = 4.0 / 3.0
"""The flow at an edge is like r^(-1/3), so that errors fall with this power of the cells there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of every opening by both, at 1 V.

    Attributes
    ----------
    hz : ndarray, shape (n_hz,)
        Frequencies, a little beyond the band [Hz].
    names : tuple of str
        The openings: mouths of ducts, faces of diaphragms; faces of drivers where there are no others [text].
    network_db, elements_db : ndarray, shape (n_openings, n_hz)
        What each opening gives at 1 m in a half space, rms re 20 uPa [dB].
    """

    hz: np.ndarray
    names: tuple[str, ...]
    network_db: np.ndarray
    elements_db: np.ndarray

    @property
    def difference_db(self) -> np.ndarray:
        """Network less finite elements, shape (n_openings, n_hz) [dB]."""
        return np.asarray(self.network_db - self.elements_db)

    @property
    def counted(self) -> np.ndarray:
        """Whether a frequency is in the band and away from notches, shape (n_openings, n_hz) [flag]."""
        band = (self.hz >= BAND_HZ[0]) & (self.hz <= BAND_HZ[1])
        result = np.broadcast_to(band, self.network_db.shape).copy()
        for row, level in zip(result, self.elements_db, strict=True):
            for notch in self.hz[notches(level)]:
                row &= np.abs(self.hz / notch - 1.0) > APART
        return result


def notches(level_db: np.ndarray) -> np.ndarray:
    """Indexes of the notches of a level [1]."""
    return np.asarray(find_peaks(-level_db, prominence=NOTCH_DB)[0])


def compare(
    plan: PlanBatch, batch: DesignBatch, rules: Rules, hz: np.ndarray, finest: float = FINEST
) -> Levels:
    """Levels of a plan's openings by the network and by finite elements.

    Parameters
    ----------
    plan : PlanBatch
        A plan that can be built, the first of its batch [record].
    batch : DesignBatch
        The design read off it, mouths exactly where they are drawn [record].
    rules : Rules
        The season's rules [record].
    hz : ndarray, shape (n_hz,)
        Frequencies [Hz].
    finest : float
        Largest cell beside walls and edges in the finer of two meshes [m].

    Returns
    -------
    Levels
        Both levels of every opening [record].
    """
    omega = 2.0 * np.pi * hz
    rules = replace(rules, physics=LOSSLESS, driver=replace(rules.driver, displaced_volume=0.0))
    batch = replace(batch, leak=(), lining=())
    table = half_space_table(OUTSIDE_SPACE, rules.envelope, batch.sites, omega, rules.air)
    network = assemble(batch, rules, table, omega)
    first = network.first_duct
    ends = [first + 2 * i + side for i, edge in enumerate(batch.topology.ducts) for side in (0, 1)
            if edge[side] == OUTSIDE]  # fmt: skip
    kept = [*range(first), *ends]
    whole = _matrix(network, ("driver", "diaphragm", "duct", "chamber", "outside"), omega)
    around = _matrix(network, ("driver", "diaphragm", "outside"), omega)[:, kept][:, :, kept]
    source = np.zeros((omega.size, network.size), dtype=complex)
    for i, value in network.source.items():
        source[:, i] = value[0]
    ours = np.linalg.solve(whole, source[..., None])[..., 0]
    shown = ends + [network.driver_count + i for i, edge in enumerate(batch.topology.diaphragms)
                    if OUTSIDE in edge]  # fmt: skip
    if not shown:
        shown = [i for i, edge in enumerate(batch.topology.drivers) if OUTSIDE in edge]
    scale = omega * rules.air.density / (2.0 * np.pi * OUTSIDE_SPACE.distance * REFERENCE_PRESSURE)
    place = [kept.index(i) for i in shown]
    coarse, fine = (
        _levels(
            np.linalg.solve(
                around + _air(plan, batch, rules, omega, size)[:, kept][:, :, kept], source[:, kept, None]
            )[..., 0][:, place],
            scale,
        )
        for size in (2.0 * finest, finest)
    )
    return Levels(
        hz=hz,
        names=tuple(_name(network, i) for i in shown),
        network_db=_levels(ours[:, shown], scale),
        elements_db=fine + (fine - coarse) / (2.0**EDGE_POWER - 1.0),
    )


def _levels(flows: np.ndarray, scale: np.ndarray) -> np.ndarray:
    return np.asarray(20.0 * np.log10(np.abs(flows).T * scale))


def _name(network: Network, flow: int) -> str:
    if flow >= network.first_duct:
        return f"duct {(flow - network.first_duct) // 2 + 1}"
    if flow >= network.driver_count:
        return f"diaphragm {flow - network.driver_count + 1}"
    return f"driver {flow + 1}"


def _matrix(network: Network, parts: tuple[str, ...], omega: np.ndarray) -> np.ndarray:
    """Impedance matrices of some of a network's parts, shape (n_hz, n, n) [Pa s/m3]."""
    result = np.zeros((omega.size, network.size, network.size), dtype=complex)
    for name in parts:
        planes: Planes = network.parts[name]
        for (i, j), value in planes.items():
            result[:, i, j] += np.broadcast_to(value, (1, omega.size))[0]
            if i != j:
                result[:, j, i] += np.broadcast_to(value, (1, omega.size))[0]
    return result


def _air(
    plan: PlanBatch, batch: DesignBatch, rules: Rules, omega: np.ndarray, finest: float
) -> np.ndarray:
    """Impedance matrices of the air inside among the network's flows by one mesh [Pa s/m3]."""
    places = faces(plan, batch, rules.driver.area)
    floor, wall = floor_air(plan), plan.envelope.wall
    wavenumber = omega / rules.air.sound_speed
    z = face_impedances(floor, wall, wall + plan.height, places, wavenumber, step=STEP, finest=finest)
    first = len(batch.driver_ends) + len(batch.diaphragms)
    signs = np.zeros((len(places), first + 2 * len(batch.ducts)))
    for row, face in enumerate(places):
        signs[row, face.flow] = face.sign
    unit = 1j * omega * rules.air.density
    result = np.asarray(unit[:, None, None] * (signs.T @ z @ signs))
    for gap in gaps(plan):
        if gap.leaf < 0 and gap.sideways:
            flow, width = first + 2 * gap.duct + gap.end, gap.high - gap.low
            back = -EVEN_PRESSURE * float(end_share(width, plan.envelope.wall))
            result[:, flow, flow] += unit * back / (width * plan.height)
    for chamber, joints in joints_by_place(batch, rules).items():
        for joint in joints:
            if chamber != OUTSIDE and isinstance(joint.end, Patch) and not joint.yields:
                # a piston is drawn as a square; what a disc's near field differs by is known
                share = open_share(batch.sides[:, chamber], joint.end)
                result[:, joint.unknown, joint.unknown] += inner_end(joint, share, rules, omega)[0]
    return result
