"""Body and lid of a plan as a few steps of plain solids, the same for meshes and for CAD.

Lengths here are in millimetres, as in files for printers; axes are those of the plan.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from models.plan import PlanBatch
from models.plan_voids import OVERLAP, duct_rectangles, gap_rectangle, gaps, leaf_rectangle, roundings

MM = 1e3

PIN_LENGTH_MM = 8.0
SOCKET_DEPTH_MM = 9.0
SOCKET_CLEARANCE_MM = 0.4
"""Diameter of a pin's socket over that of the pin."""

SOCKET_BACK_MM = 0.6
"""Distance of a socket's edge from the walls of its corner."""

PAD_MM = 0.8
"""Height of the pad inside the lid behind the engraving, which keeps the wall's thickness."""

ENGRAVING_MM = 0.6
DIGIT_MM = (5.0, 9.0)
STROKE_MM = 1.2


@dataclass(frozen=True, slots=True)
class Prism:
    """Polygons, anticlockwise ones full and clockwise ones holes, between two heights [mm]."""

    contours: tuple[np.ndarray, ...]
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Rod:
    """A round rod: lowest end, plan axis, radius and length [mm]."""

    start: tuple[float, float, float]
    axis: int
    radius: float
    length: float


@dataclass(frozen=True, slots=True)
class Hull:
    """The convex hull of points [mm]."""

    points: np.ndarray


Shape = Prism | Rod | Hull


@dataclass(frozen=True, slots=True)
class Step:
    """A shape put on or taken off."""

    adds: bool
    shape: Shape


@dataclass(slots=True, kw_only=True)
class Parts:
    """Body and lid as steps, in the assembled position.

    Attributes
    ----------
    body, lid : list of Step
        To be done in order [list].
    pins : list of tuple of two floats
        Centres of the lid's pins [mm].
    pin_radius : float
        Their radius [mm].
    taken : dict of float
        Volume that sockets' bosses and the pad take from each leaf [mm3].
    notes : list of str
        What was left out and why [text].
    """

    body: list[Step] = field(default_factory=list)
    lid: list[Step] = field(default_factory=list)
    pins: list[tuple[float, float]] = field(default_factory=list)
    pin_radius: float = 0.0
    taken: dict[int, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def parts_of(plan: PlanBatch, number: int | None = None) -> Parts:
    """Body and lid of the first plan of a batch.

    Parameters
    ----------
    plan : PlanBatch
        A plan that can be built [record].
    number : int or None
        Number to engrave on the lid [1].

    Returns
    -------
    Parts
        The parts [record].
    """
    wall, outer = plan.envelope.wall * MM, plan.outer * MM
    top = outer[2] - wall
    parts = Parts()
    parts.body.append(Step(True, Prism((_rectangle(0.0, outer[0], 0.0, outer[1]),), 0.0, top)))
    parts.body.append(Step(False, Prism(tuple(air_on_floor(plan)), wall, top + MM * OVERLAP)))
    parts.lid.append(Step(True, Prism((_rectangle(0.0, outer[0], 0.0, outer[1]),), top, outer[2])))
    for i, mount in enumerate(plan.arrangement.mounts):
        target = parts.lid if mount.face == (2, True) else parts.body
        target.append(Step(False, _hole(plan, i)))
    _add_pins(plan, parts)
    if number is not None:
        _engrave(plan, parts, number)
    return parts


def air_on_floor(plan: PlanBatch) -> list[np.ndarray]:
    """All air at mid height, as overlapping anticlockwise polygons [mm]."""
    kinds = [leaf.kind for leaf in plan.arrangement.leaves]
    shapes = [leaf_rectangle(plan, i) for i, kind in enumerate(kinds) if kind != "duct"]
    for i in range(len(plan.arrangement.blocks)):
        shapes += duct_rectangles(plan, i)
    shapes += [gap_rectangle(gap) for gap in gaps(plan)] + roundings(plan)
    return [shape * MM for shape in shapes]


def _rectangle(u0: float, u1: float, v0: float, v1: float) -> np.ndarray:
    return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])


def _hole(plan: PlanBatch, i: int) -> Rod:
    """Cut-out of a driver or diaphragm through its wall."""
    axis, high = plan.arrangement.mounts[i].face
    start = plan.mounts[0, i] * MM
    wall = plan.envelope.wall * MM
    start[axis] += -1.0 if high else -wall - 1.0
    radius = 0.5 * float(plan.discs[i].cutout[0]) * MM
    return Rod((float(start[0]), float(start[1]), float(start[2])), axis, radius, wall + 2.0)


def _add_pins(plan: PlanBatch, parts: Parts) -> None:
    """Pins under the lid and sockets in bosses, as near to the four corners as rooms allow."""
    wall, outer = plan.envelope.wall * MM, plan.outer * MM
    pin = wall + 0.2
    socket = pin + SOCKET_CLEARANCE_MM
    size = SOCKET_BACK_MM + socket + wall
    deep = SOCKET_DEPTH_MM + wall
    parts.pin_radius = 0.5 * pin
    free = [
        (np.array(corner), np.array(into), leaf)
        for leaf, kind in enumerate(one.kind for one in plan.arrangement.leaves)
        if kind != "duct"
        for corner, into in _corners(plan.rects[0, leaf] * MM, size)
        if _is_free(plan, leaf, np.array(corner), np.array(into), size, deep + size)
    ]
    chosen: list[int] = []
    for target in _rectangle(0.0, outer[0], 0.0, outer[1]):
        order = sorted(range(len(free)), key=lambda i: float(np.abs(free[i][0] - target).sum()))
        if order and order[0] not in chosen:
            chosen.append(order[0])
    if len(chosen) < 2:
        parts.notes.append("no two corners have room for pins: align the lid by its edges when gluing")
        return
    top = outer[2] - wall
    for i in chosen:
        corner, into, leaf = free[i]
        # the boss reaches 1 mm into the walls of its corner
        far, back = corner + into * size, corner - into * 1.0
        (u0, u1), (v0, v1) = np.sort(np.stack([back, far], axis=1), axis=1)
        square = _rectangle(u0, u1, v0, v1)
        parts.body.append(Step(True, Prism((square,), top - deep, top)))
        rim = np.concatenate([square, np.full((4, 1), top - deep)], axis=1)
        foot = np.append(corner, top - deep - size)
        low = np.append(back, top - deep - size)
        parts.body.append(Step(True, Hull(np.concatenate([rim, [foot, low]]))))
        centre = corner + into * (SOCKET_BACK_MM + 0.5 * socket)
        u, v = float(centre[0]), float(centre[1])
        parts.body.append(
            Step(False, Rod((u, v, top - SOCKET_DEPTH_MM), 2, 0.5 * socket, SOCKET_DEPTH_MM + 1.0))
        )
        parts.lid.append(Step(True, Rod((u, v, top - PIN_LENGTH_MM), 2, 0.5 * pin, PIN_LENGTH_MM + 1.0)))
        parts.pins.append((u, v))
        parts.taken[leaf] = parts.taken.get(leaf, 0.0) + size**2 * deep + size**3 / 3.0


def _corners(rect: np.ndarray, size: float) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Corners of a room that has room for bosses in all of them, each with the direction inwards."""
    if float((rect[:, 1] - rect[:, 0]).min()) < 2.2 * size:
        return []
    return [
        ((float(rect[0, a]), float(rect[1, b])), (1.0 - 2.0 * a, 1.0 - 2.0 * b))
        for a in (0, 1)
        for b in (0, 1)
    ]


def _is_free(
    plan: PlanBatch, leaf: int, corner: np.ndarray, into: np.ndarray, size: float, deep: float
) -> bool:
    """Whether a boss is clear of mouths, drivers and their bodies."""
    clear = 2.0
    box = np.sort(np.stack([corner, corner + into * (size + clear)], axis=1), axis=1)
    for gap in gaps(plan):
        faces = (gap.far * MM, gap.near * MM)
        touches = min(abs(face - corner[gap.axis]) for face in faces) < 0.1
        along = box[1 - gap.axis]
        if touches and gap.low * MM < along[1] and gap.high * MM > along[0]:
            return False
    top = (plan.outer[2] - plan.envelope.wall) * MM
    low, high = np.append(box[:, 0], top - deep - clear), np.append(box[:, 1], top)
    for i, (mount, disc) in enumerate(zip(plan.arrangement.mounts, plan.discs, strict=True)):
        reach = max(float(disc.frame[0]) * 0.5, disc.depth, disc.clearance) * MM
        centre = plan.mounts[0, i] * MM
        if (
            leaf in (mount.leaf, mount.other)
            and np.all(low < centre + reach)
            and np.all(high > centre - reach)
        ):
            return False
    return True


_SEGMENTS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc",
    "5": "afgcd", "6": "afgedc", "7": "abc", "8": "abcdefg", "9": "abcdfg",
}  # fmt: skip


def digit_contours(text: str) -> list[np.ndarray]:
    """Strokes of digits from the origin to the right, upright, as overlapping rectangles [mm]."""
    width, height = DIGIT_MM
    s, half = STROKE_MM, 0.5 * height
    bars = {
        "a": (0, width, height - s, height), "g": (0, width, half - 0.5 * s, half + 0.5 * s),
        "d": (0, width, 0, s), "f": (0, s, half - 0.5 * s, height), "e": (0, s, 0, half + 0.5 * s),
        "b": (width - s, width, half - 0.5 * s, height), "c": (width - s, width, 0, half + 0.5 * s),
    }  # fmt: skip
    result = []
    for place, digit in enumerate(text):
        shift = place * (width + 2.0 * s)
        for name in _SEGMENTS[digit]:
            u0, u1, v0, v1 = bars[name]
            result.append(_rectangle(u0 + shift, u1 + shift, v0, v1))
    return result


def _engrave(plan: PlanBatch, parts: Parts, number: int) -> None:
    text = f"{number:02d}"
    size = np.array([len(text) * (DIGIT_MM[0] + 2.0 * STROKE_MM) - 2.0 * STROKE_MM, DIGIT_MM[1]])
    pad = size + 4.0
    wall, top = plan.envelope.wall * MM, (plan.outer[2] - plan.envelope.wall) * MM
    boss = 2.0 * parts.pin_radius + wall + SOCKET_CLEARANCE_MM
    busy = [(np.array(pin), boss) for pin in parts.pins]
    busy += [
        (plan.mounts[0, i, :2] * MM, 0.5 * float(plan.discs[i].frame[0]) * MM)
        for i, mount in enumerate(plan.arrangement.mounts)
        if mount.face[0] == 2
    ]
    for leaf in sorted(_roomy(plan), key=lambda i: -float(np.prod(_sides(plan, i)))):
        rect = plan.rects[0, leaf] * MM
        for share in (0.5, 0.25, 0.75):
            centre = rect[:, 0] + np.array([0.5, share]) * (rect[:, 1] - rect[:, 0])
            inside = np.all(centre - 0.5 * pad > rect[:, 0] + 1.0) and np.all(
                centre + 0.5 * pad < rect[:, 1] - 1.0
            )
            if inside and all(np.any(np.abs(centre - at) > reach + 0.5 * pad) for at, reach in busy):
                low, high = centre - 0.5 * pad, centre + 0.5 * pad
                square = _rectangle(low[0], high[0], low[1], high[1])
                parts.lid.append(Step(True, Prism((square,), top - PAD_MM, top + 0.5)))
                strokes = tuple(shape + (centre - 0.5 * size) for shape in digit_contours(text))
                face = top + wall
                parts.lid.append(Step(False, Prism(strokes, face - ENGRAVING_MM, face + 1.0)))
                parts.taken[leaf] = parts.taken.get(leaf, 0.0) + float(np.prod(pad)) * PAD_MM
                return
    parts.notes.append("no room of the lid is large enough to engrave the number: mark it by hand")


def _sides(plan: PlanBatch, leaf: int) -> np.ndarray:
    return np.asarray((plan.rects[0, leaf, :, 1] - plan.rects[0, leaf, :, 0]) * MM)


def _roomy(plan: PlanBatch) -> list[int]:
    return [i for i, leaf in enumerate(plan.arrangement.leaves) if leaf.kind != "duct"]
