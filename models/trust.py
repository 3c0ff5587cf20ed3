"""Where the network is used beyond what finite elements have confirmed, in plain sentences.

The thresholds were measured at real sizes between 50 and 400 Hz (``studies/network_and_fem``). Inside
them the network kept within 0.5 dB of finite elements wherever a tone lies 5 % away from poles and
zeros, mostly within 0.1 dB. A duct may be as wide as its room's wall, or as short as a hole.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from models.design import DesignBatch, Ducts, End, Patch
from models.envelope import in_plane_axes, wall_axis
from models.joints import far_area
from models.rules import Rules
from models.topology import place_letter

ROOM_SHARE = 0.8
"""Highest tone over a room's first mode across its line: up to here 0.2 dB, then 1.4 dB and more."""

DUCT_SHARE = 0.8
"""Highest tone over a duct's first mode across it."""

APART_SHARE = 0.1
"""Distance of two patches over the side of a square like the smaller one: below, up to 0.7 dB."""

_ROUND_MODE = 1.8412
"""First zero of the slope of J1: wavenumber of a round duct's first mode across, times the radius."""


def warnings(batch: DesignBatch, rules: Rules, tones_hz: np.ndarray) -> list[list[str]]:
    """Say for each design why its levels may not be right.

    Parameters
    ----------
    batch : DesignBatch
        Designs of one topology [record].
    rules : Rules
        Air, and how chambers are modelled [record].
    tones_hz : ndarray, shape (n_tones,)
        Tones that the levels are wanted at [Hz].

    Returns
    -------
    list of list of str
        Sentences for each design, none where all is well [text].
    """
    result: list[list[str]] = [[] for _ in range(batch.size)]
    top = float(np.max(tones_hz))
    speed = rules.air.sound_speed
    for chamber in range(batch.topology.chambers):
        across = np.sort(batch.sides[:, chamber], axis=1)[:, 1]
        first = speed / (2.0 * across)
        for row in np.nonzero(top > ROOM_SHARE * first)[0]:
            result[row].append(
                f"room {place_letter(chamber)} is {1e3 * across[row]:.0f} mm across, with its first mode "
                f"there at {first[row]:.0f} Hz; the tone at {top:.0f} Hz is above {ROOM_SHARE:g} of that, "
                "where levels may be more than 1 dB off"
            )
        if rules.physics.chambers == "room":
            _near_patches(result, batch, chamber)
    for duct in batch.ducts:
        cut_on = _duct_mode(duct, speed)
        for row in np.nonzero(top > DUCT_SHARE * cut_on)[0]:
            result[row].append(
                f"{duct.name} has its first mode across at {cut_on[row]:.0f} Hz; the tone at {top:.0f} Hz is "
                f"above {DUCT_SHARE:g} of that, where a duct no longer is a line"
            )
    return result


def _duct_mode(duct: Ducts, speed: float) -> np.ndarray:
    """Frequency of a duct's first mode across its widest section, shape (n_designs,) [Hz]."""
    area = np.maximum(duct.area, far_area(duct)) / duct.count
    if duct.slot_height is None:
        return np.asarray(_ROUND_MODE * speed / (2.0 * np.pi * np.sqrt(area / np.pi)))
    return np.asarray(speed / (2.0 * np.maximum(area / duct.slot_height, duct.slot_height)))


def _near_patches(result: list[list[str]], batch: DesignBatch, chamber: int) -> None:
    sides = batch.sides[:, chamber]
    room = place_letter(chamber)
    for (one, p), (two, q) in combinations(_patches(batch, chamber), 2):
        apart = patch_distance(sides, p, q)
        size = np.sqrt(4.0 * np.minimum(np.prod(p.half, axis=1), np.prod(q.half, axis=1)))
        for row in np.nonzero(apart < APART_SHARE * size)[0]:
            if apart[row] <= 0.0 and p.wall == q.wall:
                result[row].append(f"room {room}: {one} and {two} touch or overlap on the same wall")
                continue
            result[row].append(
                f"room {room}: {one} and {two} are {1e3 * apart[row]:.1f} mm apart, less than "
                f"{1e3 * APART_SHARE * size[row]:.1f} mm (a tenth of the smaller one's side); beside poles "
                "and notches levels may be 0.7 dB off"
            )


def _patches(batch: DesignBatch, chamber: int) -> list[tuple[str, Patch]]:
    """Names and patches of the ends that meet in a chamber."""
    named: list[tuple[str, tuple[int, int], tuple[End, End]]] = []
    topology = batch.topology
    for i, (edge, ends) in enumerate(zip(topology.drivers, batch.driver_ends, strict=True)):
        named.append((f"driver {i + 1}" if len(topology.drivers) > 1 else "the driver", edge, ends))
    for edge, duct in zip(topology.ducts, batch.ducts, strict=True):
        named.append((duct.name, edge, duct.ends))
    for edge, diaphragm in zip(topology.diaphragms, batch.diaphragms, strict=True):
        named.append((diaphragm.name, edge, diaphragm.ends))
    return [
        (name, end)
        for name, edge, ends in named
        for place, end in zip(edge, ends, strict=True)
        if place == chamber and isinstance(end, Patch)
    ]


def patch_distance(sides: np.ndarray, one: Patch, two: Patch) -> np.ndarray:
    """Shortest distance between two patches on the walls of a room.

    Parameters
    ----------
    sides : ndarray, shape (n_designs, 3)
        Inner sides [m].
    one, two : Patch
        Rectangles on its walls [record].

    Returns
    -------
    ndarray, shape (n_designs,)
        Distance; 0 where they touch or overlap [m].
    """
    low, high = (np.stack(x, axis=0) for x in zip(_extent(sides, one), _extent(sides, two), strict=True))
    gaps = np.maximum(np.maximum(low[0] - high[1], low[1] - high[0]), 0.0)
    return np.asarray(np.linalg.norm(gaps, axis=1))


def _extent(sides: np.ndarray, patch: Patch) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.empty_like(sides), np.empty_like(sides)
    normal = wall_axis(patch.wall)
    low[:, normal] = high[:, normal] = sides[:, normal] if patch.wall[1] == "+" else 0.0
    for column, axis in enumerate(in_plane_axes(patch.wall)):
        low[:, axis] = patch.centre[:, column] - patch.half[:, column]
        high[:, axis] = patch.centre[:, column] + patch.half[:, column]
    return low, high
