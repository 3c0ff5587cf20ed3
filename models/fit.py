"""Whether a design fits the envelope, and what it takes: volumes, walls, mouths, material.

A box is accounted for by volume: the air of its chambers, the driver's own volume, ducts with
their walls, and partitions between chambers must not exceed the envelope's inside. Every chamber,
duct, cut-out and mouth must also find room on its own. No arrangement of the parts is drawn.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.complex_step import cube_root
from models.design import DesignBatch, Ducts, End, Mouth, Patch
from models.envelope import WALLS, Envelope, Site, in_plane_axes, wall_axis
from models.rules import Rules
from models.tapers import Profile, section_at

SLACK = 1e-9
"""Share of a size by which a design may exceed it and still counts as fitting."""

LEAST_ROOM = 1e-12
"""Room that counts as none, in any unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excess:
    """One requirement: by how much each design exceeds it.

    Attributes
    ----------
    what : str
        Short sentence on what does not fit [text].
    need, room : ndarray, shape (n_designs,)
        What is needed and what there is, in ``unit`` [mixed].
    unit : str
        Unit of both, for people [text].
    """

    what: str
    need: np.ndarray
    room: np.ndarray
    unit: str

    @property
    def share(self) -> np.ndarray:
        """Need over room less 1, shape (n_designs,); not positive where it fits [1]."""
        return np.asarray(self.need / np.maximum(self.room, LEAST_ROOM) - 1.0)


def duct_thickness(duct: Ducts, wall: float) -> np.ndarray:
    """Outer short side of one tube of a duct with its walls where it is widest, shape (n_designs,) [m]."""
    area = duct.area if duct.area_end is None else np.maximum(duct.area, duct.area_end)
    return _outer_section(duct, area, wall)[1]


def mouth_width(duct: Ducts, side: int) -> np.ndarray:
    """Long side of a duct's opening at its first (0) or second (1) end, shape (n_designs,) [m]."""
    return _outer_section(duct, duct.area if side == 0 or duct.area_end is None else duct.area_end, 0.0)[0]


def duct_volume(duct: Ducts, wall: float) -> np.ndarray:
    """Volume a duct takes inside the envelope, its walls included, shape (n_designs,) [m3].

    A duct passes one wall thickness at an end, which is not inside.
    """

    def section(area: np.ndarray) -> np.ndarray:
        long, short = _outer_section(duct, area, wall)
        return long * short if duct.slot_height is not None else 0.25 * np.pi * long**2

    return np.asarray(duct.count * _mean_along(duct, section) * np.maximum(duct.length - wall, 0.0))


def duct_air(duct: Ducts) -> np.ndarray:
    """Mean cross-section of a duct's air, all tubes together, shape (n_designs,) [m2]."""
    return _mean_along(duct, lambda area: area)


def _outer_section(duct: Ducts, area: np.ndarray, wall: float) -> tuple[np.ndarray, np.ndarray]:
    one = area / duct.count
    if duct.slot_height is None:
        outer = 2.0 * np.sqrt(one / np.pi) + 2.0 * wall
        return outer, outer
    return one / duct.slot_height + 2.0 * wall, duct.slot_height + 2.0 * wall


def _mean_along(duct: Ducts, section: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Mean of a section along a duct by Simpson's rule, which is exact for straight sides."""
    if duct.area_end is None:
        return section(duct.area)
    form: Profile = "wedge" if duct.slot_height is not None and duct.profile == "conical" else duct.profile
    middle = section_at(duct.area, duct.area_end, 0.5, form)
    return np.asarray((section(duct.area) + 4.0 * section(middle) + section(duct.area_end)) / 6.0)


def partition_volume(batch: DesignBatch, envelope: Envelope) -> float:
    """Volume of the partitions: one cross-section of the inside for every chamber but one [m3]."""
    sides = np.sort(envelope.inner_sides)
    return float((batch.topology.chambers - 1) * envelope.wall * sides[0] * sides[1])


def used_volume(batch: DesignBatch, rules: Rules) -> np.ndarray:
    """Volume a design takes inside the outer walls, shape (n_designs,) [m3]."""
    wall = rules.envelope.wall
    total = np.prod(batch.sides, axis=2).sum(axis=1) + partition_volume(batch, rules.envelope)
    for duct in batch.ducts:
        total = total + duct_volume(duct, wall)
    return np.asarray(total)


def outer_volume(batch: DesignBatch, rules: Rules) -> np.ndarray:
    """Volume of the smallest outer cuboid in the envelope's shape that holds a design, (n_designs,) [m3]."""
    return np.asarray(np.prod(_outer_sides(batch, rules), axis=1))


def material_volume(batch: DesignBatch, rules: Rules) -> np.ndarray:
    """Printed volume: outer walls, partitions and duct walls, shape (n_designs,) [m3]."""
    outer = _outer_sides(batch, rules)
    wall = rules.envelope.wall
    shell = np.prod(outer, axis=1) - np.prod(outer - 2.0 * wall, axis=1)
    total = shell + partition_volume(batch, rules.envelope)
    for duct in batch.ducts:
        total = total + duct_volume(duct, wall) - duct_air(duct) * np.maximum(duct.length - wall, 0.0)
    return np.asarray(total)


def _outer_sides(batch: DesignBatch, rules: Rules) -> np.ndarray:
    inner = rules.envelope.inner_sides
    scale = cube_root(used_volume(batch, rules) / rules.envelope.inner_volume)
    return np.asarray(inner * scale[:, None] + 2.0 * rules.envelope.wall)


def requirements(batch: DesignBatch, rules: Rules) -> list[Excess]:
    """Everything a design must find room for.

    Parameters
    ----------
    batch : DesignBatch
        Designs [record].
    rules : Rules
        Envelope and driver [record].

    Returns
    -------
    list of Excess
        In a fixed order for one topology [list].
    """
    envelope, driver = rules.envelope, rules.driver
    n = batch.size
    full = np.full(n, envelope.inner_volume)
    result = [
        Excess(
            what="chambers, ducts and partitions exceed the inside of the envelope",
            need=used_volume(batch, rules) * 1e3,
            room=full * 1e3,
            unit="l",
        )
    ]
    room_sides = np.sort(envelope.inner_sides)
    for chamber in range(batch.topology.chambers):
        name = "ABCDEFGHIJKLMN"[chamber]
        sides = np.sort(batch.sides[:, chamber], axis=1)
        for place, word in ((0, "shortest"), (1, "middle"), (2, "longest")):
            result.append(
                Excess(
                    what=f"the {word} side of chamber {name} exceeds that of the envelope's inside",
                    need=sides[:, place] * 1e3,
                    room=np.full(n, room_sides[place] * 1e3),
                    unit="mm",
                )
            )
    for (front, rear), ends in zip(batch.topology.drivers, batch.driver_ends, strict=True):
        for place, end, need, word in (
            (front, ends[0], driver.frame, "frame"),
            (rear, ends[1], driver.cutout, "cut-out"),
        ):
            result += _wall_room(batch, place, end, np.full(n, need), f"the driver's {word}")
        if isinstance(ends[1], Patch):
            depth = batch.sides[:, rear, wall_axis(ends[1].wall)]
            result.append(
                Excess(
                    what="the driver is deeper than the chamber behind it",
                    need=np.full(n, driver.depth * 1e3),
                    room=depth * 1e3,
                    unit="mm",
                )
            )
    for edge, duct in zip(batch.topology.ducts, batch.ducts, strict=True):
        result.append(
            Excess(
                what=f"duct {duct.name!r} with its walls is thicker than the inside of the envelope",
                need=duct_thickness(duct, envelope.wall) * 1e3,
                room=np.full(n, room_sides[0] * 1e3),
                unit="mm",
            )
        )
        for side in (0, 1):
            what = f"the mouth of duct {duct.name!r}"
            result += _wall_room(batch, edge[side], duct.ends[side], mouth_width(duct, side), what)
    for edge, diaphragm in zip(batch.topology.diaphragms, batch.diaphragms, strict=True):
        width = 2.0 * np.sqrt(diaphragm.area / np.pi)
        for place, end in zip(edge, diaphragm.ends, strict=True):
            result += _wall_room(batch, place, end, width, f"diaphragm {diaphragm.name!r}")
    return result + _mouth_rooms(batch, rules)


def _wall_room(batch: DesignBatch, place: int, end: End, width: np.ndarray, what: str) -> list[Excess]:
    """Whether a disc or slot of a given width finds room on the wall of a chamber."""
    if isinstance(end, Mouth):
        return []
    first, second = in_plane_axes(end.wall)
    sides = batch.sides[:, place, first], batch.sides[:, place, second]
    slot = np.abs((end.half[:, 0] - end.half[:, 1]).real) > 1e-9
    room = np.where(slot, np.maximum(*sides), np.minimum(*sides))
    return [
        Excess(
            what=f"{what} is wider than its wall of the chamber", need=width * 1e3, room=room * 1e3, unit="mm"
        )
    ]


def _mouth_rooms(batch: DesignBatch, rules: Rules) -> list[Excess]:
    """Room of driver faces and mouths on the envelope's faces, and among each other."""
    n = batch.size
    wall = rules.envelope.wall
    parts: list[tuple[str, np.ndarray, np.ndarray]] = []  # name, site, half width
    for i, ends in enumerate(batch.driver_ends):
        for end, size in zip(ends, (rules.driver.frame, rules.driver.cutout), strict=True):
            if isinstance(end, Mouth):
                parts.append((f"driver {i + 1}", end.site, np.full(n, 0.5 * size)))
    for duct in batch.ducts:
        for side, end in enumerate(duct.ends):
            if isinstance(end, Mouth):
                half = 0.5 * mouth_width(duct, side)
                parts.append((f"the mouth of duct {duct.name!r}", end.site, half))
    for diaphragm in batch.diaphragms:
        for end in diaphragm.ends:
            if isinstance(end, Mouth):
                parts.append((f"diaphragm {diaphragm.name!r}", end.site, np.sqrt(diaphragm.area / np.pi)))
    if not parts:
        return []
    walls, at, edge = _site_arrays(batch.sites, rules.envelope)
    result = []
    for i, (name, site, half) in enumerate(parts):
        result.append(
            Excess(
                what=f"{name} reaches over the edge of its face",
                need=half * 1e3,
                room=edge[site] * 1e3,
                unit="mm",
            )
        )
        for other, other_site, other_half in parts[i + 1 :]:
            apart = np.abs(at[site] - at[other_site]).max(axis=1)
            apart = np.where(walls[site] == walls[other_site], apart, np.inf)
            result.append(
                Excess(
                    what=f"{name} and {other} overlap on one face",
                    need=(half + other_half + wall) * 1e3,
                    room=apart * 1e3,
                    unit="mm",
                )
            )
    return result


@functools.lru_cache(maxsize=64)
def _site_arrays(sites: tuple[Site, ...], envelope: Envelope) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Number of the face of every site, its place there, and its distance to the face's edge."""
    at = np.array([site.at for site in sites])
    faces = np.array([envelope.outer_sides[list(in_plane_axes(site.wall))] for site in sites])
    walls = np.array([WALLS.index(site.wall) for site in sites])
    return walls, at, np.minimum(at, faces - at).min(axis=1)


def shares(batch: DesignBatch, rules: Rules) -> np.ndarray:
    """Need over room less 1 of every requirement, shape (n_requirements, n_designs) [1]."""
    every = requirements(batch, rules)
    need, room = np.array([one.need for one in every]), np.array([one.room for one in every])
    return np.asarray(need / np.maximum(room, LEAST_ROOM) - 1.0)


def violation(batch: DesignBatch, rules: Rules) -> np.ndarray:
    """Sum of all positive excess shares, 0 where a design fits, shape (n_designs,) [1]."""
    return np.asarray(np.maximum(shares(batch, rules) - SLACK, 0.0).sum(axis=0))


def reasons_not(batch: DesignBatch, rules: Rules) -> list[list[str]]:
    """Why each design does not fit, as sentences with numbers; an empty list where it fits."""
    result: list[list[str]] = [[] for _ in range(batch.size)]
    for excess in requirements(batch, rules):
        for i in np.nonzero(excess.share > SLACK)[0]:
            result[i].append(
                f"{excess.what}: {excess.need[i]:.4g} {excess.unit} in {excess.room[i]:.4g} {excess.unit}"
            )
    return result
