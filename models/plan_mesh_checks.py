"""The checks of a box that was made from a plan, each measured on its meshes (extra ``mesh``).

The plan only tells what to look for: which spaces are rooms, where ducts and cut-outs may be plugged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from models.mesh_checks import air_spaces, overhangs, wall_thickness
from models.plan import PlanBatch
from models.plan_voids import OVERLAP, duct_rectangles, gap_rectangle, gaps, rectangle, roundings
from models.solid_steps import ENGRAVING_MM, MM, SOCKET_DEPTH_MM, Parts, Prism, Rod, Step
from models.solids import prism, solid_of
from models.topology import OUTSIDE, place_letter

VOLUME_TOLERANCE = 0.005
SIZE_TOLERANCE_MM = 0.01
WALL_TOLERANCE_MM = 0.02
FILM_MM = 0.005
"""By how much plugs are grown, as files of single precision leave films of air around exact ones [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of a box.

    Attributes
    ----------
    name : str
        What is checked [text].
    passed : bool
        Whether it holds [flag].
    found : str
        What was measured, with numbers [text].
    """

    name: str
    passed: bool
    found: str


def check_box(plan: PlanBatch, parts: Parts, body: Any, lid: Any, bridge_mm: float) -> list[Check]:
    """Check body and lid, both in the assembled position.

    Parameters
    ----------
    plan : PlanBatch
        The plan that they were made from [record].
    parts : Parts
        Its steps, for places of pins and of what they take from rooms [record].
    body, lid : Manifold
        Solids read back from their files [mm].
    bridge_mm : float
        Longest span that a printer may bridge [mm].

    Returns
    -------
    list of Check
        In a fixed order [list].
    """
    outer = plan.outer * MM
    hull = solid_of([Step(True, Prism((rectangle(0.0, outer[0], 0.0, outer[1]),), 0.0, outer[2]))])
    result = [_closed("body", body), _closed("lid", lid), *_sizes(outer, body, lid)]
    result += _rooms(plan, parts, hull, body, lid)
    result += [*_ducts(plan, body, lid), _joined(plan, parts, outer, body, lid)]
    result += [_walls(plan, parts, "body", body), _walls(plan, parts, "lid", lid)]
    turned = lid.rotate((180.0, 0.0, 0.0))
    result += [_overhangs(plan, "body", body, bridge_mm), _overhangs(plan, "lid", turned, bridge_mm)]
    return result


def _closed(name: str, solid: Any) -> Check:
    import manifold3d

    status = solid.status()
    pieces = len(solid.decompose()) if status == manifold3d.Error.NoError else 0
    good = status == manifold3d.Error.NoError and pieces == 1 and solid.volume() > 0.0
    word = "closed" if status == manifold3d.Error.NoError else str(status).removeprefix("Error.")
    return Check(
        name=f"{name} watertight, one piece",
        passed=bool(good),
        found=f"{word}, {pieces} piece{'s' * (pieces != 1)}, {solid.volume() * 1e-3:.1f} cm3",
    )


def _sizes(outer: np.ndarray, body: Any, lid: Any) -> list[Check]:
    box = np.array((body + lid).bounding_box())
    off = float(np.abs(np.concatenate([box[:3], box[3:] - outer])).max())
    size = " x ".join(f"{x:.2f}" for x in box[3:] - box[:3])
    both = float((body ^ lid).volume())
    return [
        Check(name="fits the envelope exactly", passed=off <= SIZE_TOLERANCE_MM, found=f"{size} mm"),
        Check(
            name="body and lid do not overlap", passed=both < 1.0, found=f"{max(both, 0.0):.2f} mm3 common"
        ),
    ]


def _duct_plug(plan: PlanBatch, duct: int, grown_mm: float = 0.0) -> Any:
    """Air of a duct with its gaps through walls, grown a little where no film may stay around it."""
    wall, top = plan.envelope.wall * MM, (plan.outer[2] - plan.envelope.wall) * MM
    shapes = duct_rectangles(plan, duct)
    for gap in gaps(plan):
        if gap.duct == duct:
            shape = gap_rectangle(gap)
            away = 1.0 if gap.far > gap.near else -1.0
            side = shape[:, gap.axis]
            shape[:, gap.axis] = np.where(np.abs(side - gap.far) < 1.5 * OVERLAP, side - away * OVERLAP, side)
            shapes.append(shape)
    return prism(tuple(s * MM for s in shapes), wall - grown_mm, top + grown_mm, grown_mm)


def _other_plugs(plan: PlanBatch, parts: Parts) -> list[Any]:
    """Cut-outs, sockets and roundings on the outer faces."""
    wall, outer = plan.envelope.wall * MM, plan.outer * MM
    top = outer[2] - wall
    result = [_cutout_plug(plan, i) for i in range(len(plan.arrangement.mounts))]
    for u, v in parts.pins:
        rod = Rod((u, v, top - SOCKET_DEPTH_MM), 2, parts.pin_radius + 0.25, SOCKET_DEPTH_MM + 0.5)
        result.append(solid_of([Step(True, rod)]))
    for shape in roundings(plan, 0.0):
        result.append(prism((shape * MM,), wall - FILM_MM, top + FILM_MM, FILM_MM))
    return result


def _cutout_plug(plan: PlanBatch, i: int) -> Any:
    axis, high = plan.arrangement.mounts[i].face
    wall = plan.envelope.wall * MM
    start = plan.mounts[0, i] * MM
    start[axis] += -FILM_MM if high else -wall - FILM_MM
    radius = 0.5 * float(plan.discs[i].cutout[0]) * MM + 0.01
    at = (float(start[0]), float(start[1]), float(start[2]))
    return solid_of([Step(True, Rod(at, axis, radius, wall + 2.0 * FILM_MM))])


def _rooms(plan: PlanBatch, parts: Parts, hull: Any, body: Any, lid: Any) -> list[Check]:
    """One air space a room once ducts and cut-outs are plugged, each of the plan's volume."""
    plugs = [_duct_plug(plan, i, FILM_MM) for i in range(len(plan.arrangement.blocks))] + _other_plugs(
        plan, parts
    )
    spaces = air_spaces(hull, body, lid, *plugs)
    leaves = [i for i, leaf in enumerate(plan.arrangement.leaves) if leaf.kind != "duct"]
    result = [
        Check(
            name="one air space a room once ducts are plugged",
            passed=len(spaces) == len(leaves),
            found=f"{len(spaces)} spaces for {len(leaves)} rooms and blanks",
        )
    ]
    for leaf in leaves:
        kind = plan.arrangement.leaves[leaf]
        name = f"room {place_letter(kind.index)}" if kind.kind == "room" else "sealed blank"
        rect = plan.rects[0, leaf] * MM
        want = float(np.prod(rect[:, 1] - rect[:, 0])) * plan.height * MM - parts.taken.get(leaf, 0.0)
        middle = rect.mean(axis=1)
        found = [s for s in spaces if _holds(s, middle)]
        volume = sum(float(s.volume()) for s in found)
        off = volume / want - 1.0
        result.append(
            Check(
                name=f"volume of {name}",
                passed=len(found) == 1 and abs(off) <= VOLUME_TOLERANCE,
                found=f"{volume * 1e-6:.4f} L, plan {want * 1e-6:.4f} L ({100.0 * off:+.3f} %)",
            )
        )
    return result


def _holds(space: Any, middle: np.ndarray) -> bool:
    _, _, low, _, _, high = space.bounding_box()
    square = rectangle(*(float(x) for m in middle for x in (m - 0.5, m + 0.5)))
    rod = solid_of([Step(True, Prism((square,), low, high))])
    return bool((rod ^ space).volume() > 0.5 * rod.volume())


def _ducts(plan: PlanBatch, body: Any, lid: Any) -> list[Check]:
    result = []
    for i in range(len(plan.arrangement.blocks)):
        plug = _duct_plug(plan, i)
        want = float(plug.volume())
        air = float((plug - body - lid).volume())
        result.append(
            Check(
                name=f"duct {i + 1} free from end to end",
                passed=abs(air / want - 1.0) <= VOLUME_TOLERANCE,
                found=f"{air * 1e-3:.2f} of {want * 1e-3:.2f} cm3 are air ({100 * (air / want - 1):+.3f} %)",
            )
        )
    return result


def _joined(plan: PlanBatch, parts: Parts, outer: np.ndarray, body: Any, lid: Any) -> Check:
    """Air spaces with ducts open and cut-outs plugged, as many as the graph says."""
    margin = 5.0
    low, high = -margin, outer + margin
    square = rectangle(low, float(high[0]), low, float(high[1]))
    around = solid_of([Step(True, Prism((square,), low, float(high[2])))])
    plugs = [_cutout_plug(plan, i) for i in range(len(plan.arrangement.mounts))]
    plugs += [
        solid_of([Step(True, Rod((u, v, float(outer[2]) - 40.0), 2, parts.pin_radius + 0.25, 39.0))])
        for u, v in parts.pins
    ]
    found = len(air_spaces(around, body, lid, *plugs))
    topology = plan.arrangement.topology
    group = {place: place for place in (OUTSIDE, *range(topology.chambers))}
    for a, b in topology.ducts:
        group = {place: group[a] if mark == group[b] else mark for place, mark in group.items()}
    want = len(set(group.values())) + sum(leaf.kind == "blank" for leaf in plan.arrangement.leaves)
    return Check(
        name="ducts join what the graph joins, and nothing else",
        passed=found == want,
        found=f"{found} separate air spaces with ducts open, {want} by the graph",
    )


def _walls(plan: PlanBatch, parts: Parts, name: str, solid: Any) -> Check:
    """Least wall by rays; pins and the strokes of the engraving are no walls."""
    least = plan.envelope.wall * MM
    walls = wall_thickness(solid)
    points, thickness = walls.points, walls.thickness
    face = plan.outer[2] * MM
    count = np.ones(len(points), dtype=bool)
    if name == "lid":
        level = np.abs(walls.normals[:, 2]) > 0.5
        count &= level | (points[:, 2] < face - ENGRAVING_MM - 1e-3) | _on_rim(plan, points)
        for u, v in parts.pins:
            beneath = points[:, 2] < face - least - 1e-3
            count &= ~(beneath & (np.hypot(points[:, 0] - u, points[:, 1] - v) < parts.pin_radius + 0.5))
    at = int(np.argmin(np.where(count, thickness, np.inf)))
    found = float(thickness[at])
    place = ", ".join(f"{x:.1f}" for x in points[at])
    return Check(
        name=f"least wall of the {name} by rays",
        passed=found >= least - WALL_TOLERANCE_MM,
        found=f"{found:.3f} mm at ({place}), {int(count.sum())} rays; at least {least:g} mm",
    )


def _on_rim(plan: PlanBatch, points: np.ndarray) -> np.ndarray:
    """Whether points lie on the outer sides or in a cut-out, not in the engraving."""
    outer = plan.outer[:2] * MM
    rim = np.any((points[:, :2] < 1e-3) | (points[:, :2] > outer - 1e-3), axis=1)
    for i, mount in enumerate(plan.arrangement.mounts):
        if mount.face[0] == 2:
            away = np.hypot(*(points[:, :2] - plan.mounts[0, i, :2] * MM).T)
            rim |= away < 0.5 * float(plan.discs[i].cutout[0]) * MM + 0.1
    return np.asarray(rim)


def _overhangs(plan: PlanBatch, name: str, solid: Any, bridge_mm: float) -> Check:
    """Overhangs only at the tops of round cut-outs and in the engraving, none wider than a bridge."""
    worst, wrong = 0.0, []
    for patch in overhangs(solid):
        if name == "lid":
            allowed = bool(patch.high[2] - solid.bounding_box()[2] <= ENGRAVING_MM + 0.01)
            span = float(min(patch.high[:2] - patch.low[:2])) if allowed else patch.span
        else:
            allowed, span = _at_cutout(plan, patch.low, patch.high), patch.span
        worst = max(worst, span)
        if not allowed or span > bridge_mm:
            place = ", ".join(f"{x:.1f}" for x in 0.5 * (patch.low + patch.high))
            wrong.append(f"{patch.area:.1f} mm2 over {span:.1f} mm at ({place})")
    found = f"longest bridge {worst:.1f} mm; at most {bridge_mm:g} mm" if worst else "none"
    return Check(
        name=f"overhangs of the {name} beyond 45 degrees",
        passed=not wrong,
        found="; ".join([*wrong[:3], found]),
    )


def _at_cutout(plan: PlanBatch, low: np.ndarray, high: np.ndarray) -> bool:
    for i, mount in enumerate(plan.arrangement.mounts):
        axis = mount.face[0]
        reach = np.full(3, 0.5 * float(plan.discs[i].cutout[0]) * MM + 0.1)
        reach[axis] = plan.envelope.wall * MM + 0.1
        centre = plan.mounts[0, i] * MM
        if axis != 2 and np.all(low > centre - reach) and np.all(high < centre + reach):
            return True
    return False
