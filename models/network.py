"""Assembly of a batch of designs into one symmetric acoustic network per design and tone.

Unknowns are volume velocities: one per driver (out of its front), one per diaphragm (from its
first place to its second), two per duct (into the duct at its first end, out at its second).
Every place gives an impedance matrix among the ends that meet there, every element its own
impedance; the sum, with the signs of the flows, is the system (impedance) (flows) = (sources).
All phasors are rms, e^{+jwt}.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch, Ducts, Mouth, Patch, Specimens
from models.ducts import duct_impedances, end_resistance_per_speed
from models.elimination import Planes, add
from models.envelope import in_plane_axes
from models.joints import Joint, far_area, joints_by_place
from models.outside import OutsideTable
from models.rooms import room_impedance
from models.rules import Rules
from models.topology import OUTSIDE


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """Planes of a batch, drive and level-dependent losses still open.

    Attributes
    ----------
    planes : Planes
        Entries of the impedance matrix at small level, each (n_designs, n_tones) [Pa s/m3].
    source : dict of ndarrays
        Right side per volt, by unknown [Pa/V].
    driver_count, diaphragm_count, duct_count : int
        Numbers of elements; flows are numbered in this order [1].
    end_loss : ndarray, shape (2 n_ducts, n_designs)
        Level-dependent resistance of each duct end per peak air speed [Pa s2/m4].
    duct_area : ndarray, shape (2 n_ducts, n_designs)
        Cross-section at each duct end [m2].
    transfer : dict of ndarrays
        Pressure at the microphone per flow, by unknown, each (n_designs, n_tones) [Pa s/m3].
    parts : dict of Planes
        The same matrix by cause: driver, diaphragm, duct, chamber, outside [Pa s/m3].
    coil : complex ndarray, shape (n_designs or 1, n_tones)
        Impedance of one voice coil [ohm].
    force_factor : ndarray, shape (n_designs or 1, 1)
        Bl [T m].
    """

    planes: Planes
    source: dict[int, np.ndarray]
    driver_count: int
    diaphragm_count: int
    duct_count: int
    end_loss: np.ndarray
    duct_area: np.ndarray
    transfer: dict[int, np.ndarray]
    parts: dict[str, Planes]
    coil: np.ndarray
    force_factor: np.ndarray

    @property
    def size(self) -> int:
        """Number of unknown flows."""
        return self.driver_count + self.diaphragm_count + 2 * self.duct_count

    @property
    def first_duct(self) -> int:
        """Index of the first duct's first flow."""
        return self.driver_count + self.diaphragm_count


def assemble(batch: DesignBatch, rules: Rules, outside: OutsideTable, omega: np.ndarray) -> Network:
    """Network of a batch.

    Parameters
    ----------
    batch : DesignBatch
        Designs of one topology [record].
    rules : Rules
        Driver, air and switches [record].
    outside : OutsideTable
        The outside at the batch's sites, one column an entry of ``omega`` [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies; a tone heard in two spaces appears twice [rad/s].

    Returns
    -------
    Network
        Planes of shape (n_designs, n_tones) [record].
    """
    parts: dict[str, Planes] = {"driver": {}, "diaphragm": {}, "duct": {}, "chamber": {}, "outside": {}}
    _add_drivers(parts["driver"], batch, rules, omega)
    _add_diaphragms(parts["diaphragm"], batch, omega)
    first_duct = len(batch.driver_ends) + len(batch.diaphragms)
    end_loss = np.zeros((2 * len(batch.ducts), batch.size))
    duct_area = np.ones_like(end_loss)
    for index, duct in enumerate(batch.ducts):
        a, b = first_duct + 2 * index, first_duct + 2 * index + 1
        z11, z12, z22 = duct_planes(duct, rules, omega)
        add(parts["duct"], a, a, z11)
        add(parts["duct"], a, b, -z12)
        add(parts["duct"], b, b, z22)
        for row, area in ((2 * index, duct.area), (2 * index + 1, far_area(duct))):
            duct_area[row] = area
            if rules.physics.duct_end_loss:
                end_loss[row] = end_resistance_per_speed(area, duct.loss_factor, rules.air)
    joints = joints_by_place(batch, rules)
    for chamber in range(batch.topology.chambers):
        _add_chamber(parts["chamber"], batch, chamber, joints.get(chamber, []), rules, omega)
    transfer: dict[int, np.ndarray] = {}
    _add_outside(parts["outside"], transfer, joints.get(OUTSIDE, []), rules, outside, omega)
    planes: Planes = {}
    shape = (batch.size, omega.size)
    for part in parts.values():
        for (i, j), value in part.items():
            add(planes, i, j, np.broadcast_to(value, shape))
    return Network(
        planes=planes,
        source=_sources(batch, rules, omega),
        driver_count=len(batch.driver_ends),
        diaphragm_count=len(batch.diaphragms),
        duct_count=len(batch.ducts),
        end_loss=end_loss,
        duct_area=duct_area,
        transfer=transfer,
        parts=parts,
        coil=coil_planes(rules, omega, batch.specimens),
        force_factor=_force_factor(rules, batch.specimens),
    )


def duct_planes(duct: Ducts, rules: Rules, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Open-circuit impedances z11, z12, z22 of a duct, each shape (n_designs, n_tones) [Pa s/m3]."""
    return duct_impedances(
        omega,
        duct.area[:, None],
        duct.length[:, None],
        rules.air,
        slot_height=None if duct.slot_height is None else duct.slot_height[:, None],
        count=duct.count,
        area_end=None if duct.area_end is None else duct.area_end[:, None],
        profile=duct.profile,
        bends=[(at[:, None], correction[:, None]) for at, correction in duct.bends],
        lossy=rules.physics.wall_losses,
        lining=None if duct.lining is None else duct.lining[:, None],
    )


def coil_planes(rules: Rules, omega: np.ndarray, specimens: Specimens | None = None) -> np.ndarray:
    """Impedance of one voice coil, shape (n_designs, n_tones), or (1, n_tones) where all are alike [ohm]."""
    coil = rules.driver.coil_impedance(omega)[None]
    if specimens is None:
        return coil
    return np.asarray(coil + (specimens.coil_resistance - rules.driver.coil_resistance)[:, None])


def _force_factor(rules: Rules, specimens: Specimens | None) -> np.ndarray:
    """Bl, shape (n_designs, 1), or (1, 1) where all are alike [T m]."""
    return np.array([[rules.driver.force_factor]]) if specimens is None else specimens.force_factor[:, None]


def driver_planes(
    rules: Rules, count: int, omega: np.ndarray, specimens: Specimens | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What drivers bring into the network, whatever the box.

    Parameters
    ----------
    rules : Rules
        Driver, wiring and air [record].
    count : int
        Number of drivers [1].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    specimens : Specimens or None
        The drivers of each design, where they are not those of the rules [record].

    Returns
    -------
    tuple of three complex ndarrays, shape (n_designs, n_tones), or (1, n_tones) where all are alike
        Impedance of a driver [Pa s/m3], that of its coil alone, which couples drivers in series
        [Pa s/m3], and the right side per volt [Pa/V].
    """
    driver = rules.driver
    coil = coil_planes(rules, omega, specimens) * (count if rules.wiring == "series" else 1)
    force_factor = _force_factor(rules, specimens)
    mass = driver.mass_in_vacuo(rules.air) if rules.physics.radiation else driver.mass
    mechanical = driver.mechanical_impedance(omega)[None] + 1j * omega * (mass - driver.mass)
    if specimens is not None:
        stiffer = 1.0 / specimens.compliance - 1.0 / driver.compliance
        heavier = specimens.mass - driver.mass
        mechanical = mechanical + 1j * omega * heavier[:, None] + stiffer[:, None] / (1j * omega)
    motional = force_factor**2 / coil / driver.area**2
    return mechanical / driver.area**2 + motional, motional, force_factor / (coil * driver.area)


def _sources(batch: DesignBatch, rules: Rules, omega: np.ndarray) -> dict[int, np.ndarray]:
    count = len(batch.driver_ends)
    plane = np.broadcast_to(driver_planes(rules, count, omega, batch.specimens)[2], (batch.size, omega.size))
    return {i: plane for i in range(count)}


def _add_drivers(planes: Planes, batch: DesignBatch, rules: Rules, omega: np.ndarray) -> None:
    count = len(batch.driver_ends)
    own, coupling, _ = driver_planes(rules, count, omega, batch.specimens)
    for i in range(count):
        add(planes, i, i, own)
        for j in range(i + 1, count if rules.wiring == "series" else 0):
            add(planes, i, j, coupling)


def _add_diaphragms(planes: Planes, batch: DesignBatch, omega: np.ndarray) -> None:
    for index, diaphragm in enumerate(batch.diaphragms):
        mass, compliance = diaphragm.mass[:, None], diaphragm.compliance[:, None]
        resistance = np.sqrt(mass / compliance) / diaphragm.q[:, None]
        mechanical = resistance + 1j * omega * mass + 1.0 / (1j * omega * compliance)
        i = len(batch.driver_ends) + index
        add(planes, i, i, mechanical / diaphragm.area[:, None] ** 2)


def _add_chamber(
    planes: Planes, batch: DesignBatch, chamber: int, joints: list[Joint], rules: Rules, omega: np.ndarray
) -> None:
    sides = batch.sides[:, chamber]
    behind = sum(rear == chamber for _, rear in batch.topology.drivers)
    volume = np.prod(sides, axis=1) - behind * rules.driver.displaced_volume
    patches = [joint.end for joint in joints if isinstance(joint.end, Patch)]
    ducts = [a for a, joint in enumerate(joints) if joint.yields]
    lining, leak = batch.lining_of(chamber), batch.leak_of(chamber)
    z = room_impedance(omega, sides, volume, patches, rules.air, rules.physics, ducts, lining, leak)
    for a, one in enumerate(joints):
        for b in range(a, len(joints)):
            two = joints[b]
            add(planes, one.unknown, two.unknown, one.sign * two.sign * z[a, b])
            if a != b and one.unknown == two.unknown:  # both ends of one flow meet the same chamber
                add(planes, one.unknown, two.unknown, one.sign * two.sign * z[a, b])
        add(planes, one.unknown, one.unknown, inner_end(one, open_share(sides, patches[a]), rules, omega))


def open_share(sides: np.ndarray, patch: Patch) -> np.ndarray:
    """Share of its wall that a patch takes [1]."""
    first, second = in_plane_axes(patch.wall)
    return np.asarray(4.0 * np.prod(patch.half, axis=1) / (sides[:, first] * sides[:, second]))


def inner_end(joint: Joint, share: np.ndarray, rules: Rules, omega: np.ndarray) -> np.ndarray:
    """What the real end adds to the room's self term; nothing where it takes its whole wall."""
    unit = 1j * omega * rules.air.density / joint.area[:, None]
    if rules.physics.chambers == "room":
        if joint.by_hand is None:
            rest = (joint.near_length - joint.patch_length) * np.maximum(1.0 - share, 0.0)
            return np.asarray(unit * rest[:, None])
        return np.asarray(unit * (joint.by_hand - joint.patch_length)[:, None])
    if joint.by_hand is not None:
        return np.asarray(unit * joint.by_hand[:, None])
    return np.asarray(unit * (joint.near_length[:, None] if rules.physics.radiation else 0.0))


def _add_outside(
    planes: Planes,
    transfer: dict[int, np.ndarray],
    joints: list[Joint],
    rules: Rules,
    outside: OutsideTable,
    omega: np.ndarray,
) -> None:
    sites = [joint.end.site for joint in joints if isinstance(joint.end, Mouth)]
    for a, one in enumerate(joints):
        transfer[one.unknown] = transfer.get(one.unknown, 0.0) + one.sign * outside.transfer[sites[a]]
        for b in range(a, len(joints)):
            two = joints[b]
            z = one.sign * two.sign * outside.impedance[sites[a], sites[b]]
            add(planes, one.unknown, two.unknown, z)
            if a != b and one.unknown == two.unknown:
                add(planes, one.unknown, two.unknown, z)
        unit = 1j * omega * rules.air.density / one.area[:, None]
        near = 1j * omega * -outside.self_inertance[sites[a]]
        if one.by_hand is not None:
            near = near + unit * one.by_hand[:, None]
        elif rules.physics.radiation:
            near = near + unit * one.near_length[:, None]
        add(planes, one.unknown, one.unknown, near)
