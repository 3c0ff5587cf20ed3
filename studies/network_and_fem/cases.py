"""Enclosures of real size, each as cuboids of air and as a batch of one design for the network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch, Ducts, Mouth, Patch
from models.envelope import WALLS, Site, in_plane_axes, wall_axis
from models.topology import parse_graph_id
from models.trust import APART_SHARE, patch_distance
from studies.network_and_fem.solid import Box

PISTON_SIDE = float(np.sqrt(21e-4))
"""Side of the square that stands for a driver of 21 cm2 [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One enclosure, a driver in it and one mouth.

    Attributes
    ----------
    name, group : str
        What it is, and which comparison it belongs to [text].
    cuboids : tuple of boxes
        The air [m].
    driver, mouth : box
        Where air comes in and goes out [m].
    batch : DesignBatch
        The same as one design [record].
    """

    name: str
    group: str
    cuboids: tuple[Box, ...]
    driver: Box
    mouth: Box
    batch: DesignBatch


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A rectangle on a wall of a room: centre and full sides along the wall's two axes [m]."""

    wall: str
    at: tuple[float, float]
    size: tuple[float, float] = (PISTON_SIDE, PISTON_SIDE)

    def patch(self) -> Patch:
        """The rectangle as the network's patch."""
        return Patch(wall=self.wall, centre=np.array([self.at]), half=0.5 * np.array([self.size]))

    def box(self, corner: np.ndarray, sides: np.ndarray, outward: float = 0.0, skip: float = 0.0) -> Box:
        """The rectangle, or the cuboid that it sweeps outward, of a room at a place."""
        normal, high = wall_axis(self.wall), self.wall[1] == "+"
        low, top = np.zeros(3), np.zeros(3)
        face = sides[normal] + skip if high else -skip
        low[normal] = top[normal] = face
        if high:
            top[normal] += outward
        else:
            low[normal] -= outward
        for axis, at, size in zip(in_plane_axes(self.wall), self.at, self.size, strict=True):
            low[axis], top[axis] = at - size / 2.0, at + size / 2.0
        return box_of(corner + low, corner + top)


def box_of(low: Sequence[float] | np.ndarray, high: Sequence[float] | np.ndarray) -> Box:
    """Cuboid or rectangle from its corners [m]."""
    first, second = (tuple(float(v) for v in corner) for corner in (low, high))
    return first, second  # type: ignore[return-value]


def duct_between(
    name: str,
    ends: tuple[Patch | Mouth, Patch | Mouth],
    size: Sequence[float],
    length: float,
    area: float | None = None,
) -> Ducts:
    """Rectangular duct, without an end correction at a mouth; ``area`` other than its sides' product."""
    nothing = np.zeros(1) if isinstance(ends[1], Mouth) else None
    return Ducts(
        name=name,
        ends=ends,
        area=np.array([size[0] * size[1] if area is None else area]),
        length=np.array([length]),
        shape="slot",
        slot_height=np.array([min(size)]),
        end_lengths=(None, nothing),
        loss_factor=np.ones(1),
    )


MOUTH = Mouth(site=np.zeros(1, dtype=int))
SITES = (Site("x-", (0.0, 0.0)),)


def chamber_and_duct(
    name: str,
    sides: tuple[float, float, float],
    driver: Spot,
    duct: Spot,
    length: float,
    group: str = "chamber",
) -> Case:
    """A room with a driver and a straight duct."""
    room, corner = np.array(sides), np.zeros(3)
    batch = DesignBatch(
        topology=parse_graph_id("oA/Ao"),
        sides=room[None, None],
        driver_ends=((MOUTH, driver.patch()),),
        ducts=(duct_between("duct", (duct.patch(), MOUTH), duct.size, length),),
        sites=SITES,
    )
    return Case(
        name=name,
        group=group,
        cuboids=(box_of(corner, room), duct.box(corner, room, length)),
        driver=driver.box(corner, room),
        mouth=duct.box(corner, room, skip=length),
        batch=batch,
    )


def two_chambers(
    name: str,
    sides: tuple[tuple[float, float, float], tuple[float, float, float]],
    driver: Spot,
    inner: tuple[Spot, Spot],
    outer: Spot,
    lengths: tuple[float, float],
) -> Case:
    """Room, duct, room, duct: the ducts' ends on facing walls, the second room shifted to suit."""
    one, two = (np.array(s) for s in sides)
    corner = np.zeros(3)
    normal = wall_axis(inner[0].wall)
    corner[normal] = one[normal] + lengths[0]
    for axis, here, there in zip(in_plane_axes(inner[0].wall), inner[0].at, inner[1].at, strict=True):
        corner[axis] = here - there
    batch = DesignBatch(
        topology=parse_graph_id("oA/AB.Bo"),
        sides=np.array([[one, two]]),
        driver_ends=((MOUTH, driver.patch()),),
        ducts=(
            duct_between("between", (inner[0].patch(), inner[1].patch()), inner[0].size, lengths[0]),
            duct_between("out", (outer.patch(), MOUTH), outer.size, lengths[1]),
        ),
        sites=SITES,
    )
    nought = np.zeros(3)
    return Case(
        name=name,
        group="two chambers",
        cuboids=(
            box_of(nought, one),
            inner[0].box(nought, one, lengths[0]),
            box_of(corner, corner + two),
            outer.box(corner, two, lengths[1]),
        ),
        driver=driver.box(nought, one),
        mouth=outer.box(corner, two, skip=lengths[1]),
        batch=batch,
    )


def chamber_cases() -> list[Case]:
    """Return five arrangements of driver and duct with three ducts, and two other rooms."""
    flat, cube = (0.200, 0.125, 0.080), (0.160, 0.145, 0.130)
    square, slot, wide = (0.035, 0.035), (0.025, 0.060), (0.044, 0.080)
    across = {square: "35 x 35", slot: "25 x 60", wide: "44 x 80"}
    cases = []
    for size, length in ((square, 0.15), (slot, 0.30), (wide, 0.25)):
        text = across[size]
        flush = size[0] / 2.0
        middle = Spot(wall="x+", at=(0.0625, 0.040), size=size)
        corner = Spot(wall="x+", at=(flush, 0.040), size=size)
        high = Spot(wall="y+", at=(0.160, 0.040), size=size)
        same = Spot(wall="x-", at=(0.125 - flush - 0.004, 0.040), size=size)
        cases += [
            chamber_and_duct(
                f"opposite ends, {text}", flat, Spot(wall="x-", at=(0.0625, 0.040)), middle, length
            ),
            chamber_and_duct(f"same end, {text}", flat, Spot(wall="x-", at=(0.030, 0.040)), same, length),
            chamber_and_duct(f"side wall, {text}", flat, Spot(wall="y-", at=(0.100, 0.040)), high, length),
            chamber_and_duct(
                f"around a corner, {text}", flat, Spot(wall="y-", at=(0.165, 0.040)), corner, length
            ),
            chamber_and_duct(f"off centre, {text}", flat, Spot(wall="z+", at=(0.060, 0.040)), corner, length),
        ]
    cases += [
        chamber_and_duct(
            "near cube 3.0 l, 35 x 35", cube, Spot(wall="y-", at=(0.05, 0.06)),
            Spot(wall="z+", at=(0.13, 0.115), size=square), 0.15,
        ),
        chamber_and_duct(
            "small 0.5 l, 30 x 50", (0.10, 0.09, 0.056), Spot(wall="y-", at=(0.04, 0.028)),
            Spot(wall="x+", at=(0.015, 0.028), size=(0.03, 0.05)), 0.20,
        ),
    ]  # fmt: skip
    return cases


def two_chamber_cases() -> list[Case]:
    """Return two boxes of two rooms in a row, and around a corner."""
    wall, hole = (0.035, 0.035), (0.05, 0.07)
    return [
        two_chambers(
            "two rooms in a row", ((0.12, 0.125, 0.08), (0.16, 0.125, 0.08)),
            Spot(wall="y-", at=(0.05, 0.04)),
            (Spot(wall="x+", at=(0.06, 0.04), size=wall), Spot(wall="x-", at=(0.03, 0.04), size=wall)),
            Spot(wall="x+", at=(0.09, 0.04), size=(0.04, 0.06)), (0.06, 0.20),
        ),
        two_chambers(
            "two rooms, hole between", ((0.14, 0.15, 0.10), (0.10, 0.15, 0.10)),
            Spot(wall="x-", at=(0.075, 0.05)),
            (Spot(wall="x+", at=(0.04, 0.05), size=hole), Spot(wall="x-", at=(0.04, 0.05), size=hole)),
            Spot(wall="y+", at=(0.05, 0.05), size=wall), (0.01, 0.15),
        ),
    ]  # fmt: skip


def drawn_cases(count: int, seed: int = 21) -> list[Case]:
    """Return rooms of 0.5 to 3 l with a driver and a duct of 10 to 35 cm2 anywhere, by lot.

    Those of the default seed had no part in the making of the network's terms. Patches nearer than the
    threshold of :mod:`models.trust`, or larger than their wall, are drawn again. Places are multiples
    of 5 mm.
    """
    rng = np.random.default_rng(seed)
    cases: list[Case] = []
    while len(cases) < count:
        sides = _on_grid(rng.uniform(0.06, 0.22, 3))
        if not 0.5e-3 <= np.prod(sides) <= 3.0e-3:
            continue
        area, aspect = rng.uniform(10e-4, 35e-4), rng.uniform(1.0, 3.0)
        size = (float(_on_grid(np.sqrt(area / aspect))), float(_on_grid(np.sqrt(area * aspect))))
        driver = _drawn_spot(rng, sides, (PISTON_SIDE, PISTON_SIDE))
        duct = _drawn_spot(rng, sides, size if rng.random() < 0.5 else size[::-1])
        if driver is None or duct is None:
            continue
        apart = patch_distance(sides[None], driver.patch(), duct.patch())[0]
        if apart < APART_SHARE * min(PISTON_SIDE, np.sqrt(size[0] * size[1])):
            continue
        room = (float(sides[0]), float(sides[1]), float(sides[2]))
        length = float(_on_grid(rng.uniform(0.1, 0.5)))
        cases.append(chamber_and_duct(f"drawn {len(cases) + 1}", room, driver, duct, length, "drawn"))
    return cases


def _on_grid(values: np.ndarray | float) -> np.ndarray:
    return np.asarray(np.round(np.asarray(values) / 0.005) * 0.005)


def _drawn_spot(rng: np.random.Generator, sides: np.ndarray, size: tuple[float, float]) -> Spot | None:
    """Draw a wall and a place on it; None where the rectangle is larger than the wall."""
    wall = str(rng.choice(WALLS))
    plane = sides[list(in_plane_axes(wall))]
    room = plane - np.array(size)
    if np.any(room < 0.0):
        return None
    low = np.minimum(_on_grid(rng.uniform(0.0, 1.0, 2) * room), room)
    return Spot(wall=wall, at=(float(low[0] + size[0] / 2), float(low[1] + size[1] / 2)), size=size)
