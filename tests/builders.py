"""Small helpers that build rules and batches of designs for tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from models.air import Air, humid_air
from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth, Patch
from models.drive import Driven, solve_drive
from models.driver import Driver, driver_from_parameters
from models.envelope import Envelope, Site, front_centre
from models.network import Network, assemble
from models.outside import OutsideTable
from models.rules import Limits, Physics, Rules
from models.score import Judge
from models.spaces import HalfSpace
from models.topology import OUTSIDE, Topology

AIR = humid_air()
"""Air at 20 degC, 101.325 kPa and 50 % relative humidity."""

SMALL_AIR = Air(density=1.18, sound_speed=345.0, viscosity=1.8e-5, heat_ratio=1.4, prandtl=0.71)
"""Density and sound speed of R. H. Small's papers (speed read there, density from memory)."""

TABLE_AIR = Air(density=1.2041, sound_speed=343.21, viscosity=1.8134e-5, heat_ratio=1.4, prandtl=0.71)
"""Gas of the tables of ducts and cones."""

PLAIN = Physics(chambers="lump", wall_losses=False, duct_end_loss=False, radiation=False)
"""Lumped chambers, no losses, no radiation load: the physics of the classic papers."""

ENVELOPE = Envelope(width=0.6, height=0.5, depth=0.4, wall=0.01)

STUB = 1e-4
"""Length of the line that stands for a pure inertance; the rest is an end correction by hand [m]."""


def worked_driver(**changes: float) -> Driver:
    """Driver D1 of the worked examples: 330 cm2, 65 g, 0.5 mm/N, 1.6 kg/s, 11 T m, 3.4 ohm."""
    data = {"sd_cm2": 330.0, "mms_g": 65.0, "cms_mm_n": 0.5, "rms_kg_s": 1.6, "bl_tm": 11.0, "re_ohm": 3.4}
    return driver_from_parameters(AIR, name="D1", **(data | changes))


def lossless_driver(air: Air, fs_hz: float, qts: float, vas_l: float = 80.0) -> Driver:
    """Driver without mechanical loss to speak of, so that Qts is Qes."""
    return driver_from_parameters(air, fs_hz=fs_hz, qms=1e9, qes=qts, vas_l=vas_l, re_ohm=5.0, sd_cm2=300.0)


def make_rules(**changes: Any) -> Rules:
    """Rules with the worked driver, a half space at 1 m, plain physics and wide limits."""
    tones = np.asarray(changes.pop("tones_hz", [20.0, 30.0, 42.0, 60.0, 100.0]), dtype=float)
    base: dict[str, Any] = {
        "driver": worked_driver(),
        "envelope": ENVELOPE,
        "limits": Limits(power=100.0, excursion=0.008),
        "tones_hz": tones,
        "tone_weights": np.ones(tones.size),
        "spaces": (HalfSpace(name="half space"),),
        "air": AIR,
        "physics": PLAIN,
    }
    return Rules(**(base | changes))


def cube(volume: float) -> tuple[float, float, float]:
    """Sides of a cube of a volume [m]."""
    side = float(volume ** (1.0 / 3.0))
    return side, side, side


def patch(wall: str, centre: tuple[float, float], half: tuple[float, float], n: int = 1) -> Patch:
    """The same rectangle for ``n`` designs."""
    return Patch(wall=wall, centre=np.tile(np.array(centre), (n, 1)), half=np.tile(np.array(half), (n, 1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """A duct of a lumped enclosure: its area and the length of its air column [m2], [m]."""

    area: float
    length: float
    line: float = STUB


@dataclass(frozen=True, slots=True, kw_only=True)
class Passive:
    """A passive diaphragm: area [m2], mass [kg], compliance [m/N] and quality factor [1]."""

    area: float
    mass: float
    compliance: float
    q: float = 1e9


def lumped(
    topology: Topology,
    volumes: list[float],
    tubes: list[Tube] | None = None,
    passives: list[Passive] | None = None,
) -> DesignBatch:
    """One enclosure of cubes; places of patches do not matter in lumped chambers.

    Every duct has a line of length ``line``; what lacks in ``length`` is an end correction by hand.
    """
    sides = np.array([[cube(volume) for volume in volumes]])

    def end(place: int) -> End:
        if place == OUTSIDE:
            return Mouth(site=np.zeros(1, int))
        middle = sides[0, place, 0] / 2.0
        return patch("x-", (middle, middle), (middle / 4.0, middle / 4.0))

    def ends(edge: tuple[int, int]) -> tuple[End, End]:
        return end(edge[0]), end(edge[1])

    ducts = tuple(
        Ducts(
            name=f"duct {i + 1}",
            ends=ends(edge),
            area=np.array([tube.area]),
            length=np.array([tube.line]),
            end_lengths=(np.array([tube.length - tube.line]), np.zeros(1)),
            loss_factor=np.ones(1),
        )
        for i, (edge, tube) in enumerate(zip(topology.ducts, tubes or [], strict=True))
    )
    diaphragms = tuple(
        Diaphragms(
            name=f"passive {i + 1}",
            ends=ends(edge),
            area=np.array([one.area]),
            mass=np.array([one.mass]),
            compliance=np.array([one.compliance]),
            q=np.array([one.q]),
            excursion_limit=np.array([0.01]),
        )
        for i, (edge, one) in enumerate(zip(topology.diaphragms, passives or [], strict=True))
    )
    return DesignBatch(
        topology=topology,
        sides=sides,
        driver_ends=tuple(ends(edge) for edge in topology.drivers),
        ducts=ducts,
        diaphragms=diaphragms,
        sites=(front_centre(ENVELOPE),),
    )


SITES = (front_centre(ENVELOPE), Site("x-", (0.15, 0.4)), Site("z+", (0.2, 0.3)), Site("y+", (0.1, 0.2)))
"""Sites of random designs."""


def random_batch(topology: Topology, seed: int, n: int = 3, lined: bool = False) -> DesignBatch:
    """Random designs of any topology: any walls, round, slot and tapered ducts, any sites.

    Where asked for, about half the ducts and chambers hold a lining that its form knows from 15 to 250 Hz,
    in some of the designs, and about half the chambers leak.
    """
    rng, other = np.random.default_rng(seed), np.random.default_rng([seed, 1])

    def lining() -> np.ndarray | None:
        if not lined or other.random() < 0.5:
            return None
        return np.where(other.random(n) < 0.7, other.uniform(250.0, 1500.0, n), 0.0)

    def leak() -> np.ndarray | None:
        return None if other.random() < 0.5 else other.uniform(0.0, 8.0, n)

    sides = rng.uniform(0.15, 0.5, (n, topology.chambers, 3))

    def end(place: int, area: np.ndarray) -> End:
        if place == OUTSIDE:
            return Mouth(site=rng.integers(0, len(SITES), n))
        wall = str(rng.choice(["x-", "x+", "y-", "y+", "z-", "z+"]))
        plane = np.delete(sides[:, place], "xyz".index(wall[0]), axis=1)
        half = np.minimum(np.sqrt(area)[:, None] / 2.0, 0.45 * plane)
        centre = half + rng.uniform(0.0, 1.0, (n, 2)) * (plane - 2.0 * half)
        return Patch(wall=wall, centre=centre, half=half)

    def ends(edge: tuple[int, int], area: np.ndarray) -> tuple[End, End]:
        return end(edge[0], area), end(edge[1], area)

    ducts = []
    for i, edge in enumerate(topology.ducts):
        area = rng.uniform(10e-4, 150e-4, n)
        slot = rng.random() < 0.3
        ducts.append(
            Ducts(
                name=f"duct {i + 1}",
                ends=ends(edge, area),
                area=area,
                length=rng.uniform(0.05, 0.6, n),
                shape="slot" if slot else "round",
                slot_height=rng.uniform(0.01, 0.04, n) if slot else None,
                count=int(rng.integers(1, 3)),
                loss_factor=rng.uniform(0.5, 1.5, n),
                area_end=area * rng.uniform(0.5, 2.0, n) if rng.random() < 0.3 else None,
                profile="exponential" if other.random() < 0.5 else "conical",
                lining=lining(),
            )
        )
    diaphragms = []
    for i, edge in enumerate(topology.diaphragms):
        area = rng.uniform(200e-4, 500e-4, n)
        diaphragms.append(
            Diaphragms(
                name=f"passive {i + 1}",
                ends=ends(edge, area),
                area=area,
                mass=rng.uniform(0.05, 0.3, n),
                compliance=rng.uniform(2e-4, 2e-3, n),
                q=rng.uniform(2.0, 10.0, n),
                excursion_limit=rng.uniform(0.005, 0.015, n),
            )
        )
    driver_area = np.full(n, worked_driver().area)
    return DesignBatch(
        topology=topology,
        sides=sides,
        driver_ends=tuple(ends(edge, driver_area) for edge in topology.drivers),
        ducts=tuple(ducts),
        diaphragms=tuple(diaphragms),
        sites=SITES,
        lining=tuple(lining() for _ in range(topology.chambers)),
        leak=tuple(leak() for _ in range(topology.chambers)) if lined else (),
    )


def sealed_space(omega: np.ndarray) -> OutsideTable:
    """A closed space in which pressure is uniform: compliance, leak, and each site's own near field."""
    impedance = np.broadcast_to(1.0 / (1j * omega * 2e-5 + 3e-4), (len(SITES), len(SITES), omega.size)).copy()
    inertance = np.full((len(SITES), omega.size), 5.0)
    here = np.arange(len(SITES))
    impedance[here, here] += 1j * omega * inertance + 20.0
    transfer = np.broadcast_to(1.0 / (1j * omega * 2e-5 + 3e-4), (len(SITES), omega.size)).copy()
    return OutsideTable(impedance=impedance, transfer=transfer, self_inertance=inertance)


def driven(
    rules: Rules, batch: DesignBatch, voltage: float | None = None, outside: OutsideTable | None = None
) -> tuple[Network, Driven, np.ndarray]:
    """Network, state at a drive (or at the largest permitted one), and angular frequencies of the columns."""
    judge = Judge(rules)
    network = assemble(batch, rules, judge.outside(batch.sites) if outside is None else outside, judge.omega)
    area = np.array([d.area for d in batch.diaphragms]).reshape(-1, batch.size)
    limit = np.array([d.excursion_limit for d in batch.diaphragms]).reshape(-1, batch.size)
    volts = None if voltage is None else np.full((batch.size, judge.omega.size), voltage)
    return network, solve_drive(network, rules, judge.omega, area, limit, volts), judge.omega


def dense(planes: dict[tuple[int, int], np.ndarray], size: int) -> np.ndarray:
    """Planes as full matrices, shape (n_designs, n_tones, size, size)."""
    shape = next(iter(planes.values())).shape
    result = np.zeros((*shape, size, size), dtype=complex)
    for (i, j), value in planes.items():
        result[..., i, j] = value
        result[..., j, i] = value
    return result
