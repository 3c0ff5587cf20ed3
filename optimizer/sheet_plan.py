"""The plan view of a dimension sheet: walls as cut, rooms, lanes, drivers, and where everything lies."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.design import DesignBatch
from models.plan import PlanBatch
from models.plan_checks import mount_name
from models.plan_voids import duct_rectangles, gap_rectangle, gaps, leaf_rectangle, rectangle, roundings
from models.solid_steps import MM, Parts
from models.topology import place_letter
from optimizer.sheet_labels import place_label, text_extent
from optimizer.sheet_lines import HATCHES, MEDIUM, SMALL, TEXT, View, ordinates

SMALLEST = 4.2
"""Letters of a room's label where no larger ones fit [points]."""


class PlanDrawing:
    """Draws the plan view.

    Parameters
    ----------
    plan : PlanBatch
        The plan, a batch of one [record].
    design : DesignBatch
        The design read off it [record].
    scale : float
        Drawn over real lengths [1].
    """

    def __init__(self, plan: PlanBatch, design: DesignBatch, scale: float) -> None:
        self.plan = plan
        self.design = design
        self.outer, self.wall = plan.outer * MM, plan.envelope.wall * MM
        self.scale = scale

    def draw_small(self, view: View) -> None:
        """Draw walls, rooms, lanes and drivers by the plan alone, with the outer dimensions."""
        u, v = self.outer[:2]
        outline = rectangle(0.0, u, 0.0, v)
        view.section([outline], HATCHES[0])
        air = [leaf_rectangle(self.plan, i) for i, leaf in enumerate(self.plan.arrangement.leaves)
               if leaf.kind != "duct"]  # fmt: skip
        for i in range(len(self.plan.arrangement.blocks)):
            air += duct_rectangles(self.plan, i)
        air += [gap_rectangle(gap) for gap in gaps(self.plan)] + roundings(self.plan)
        view.hollows([contour * MM for contour in air], outline)
        for i in range(len(self.plan.arrangement.mounts)):
            self._mount_on_plan(view, i)
        self._labels(view)
        self._sides(view)
        view.dimension(0.0, u, at=-6.0, along=0)
        view.dimension(0.0, v, at=-6.0, along=1)

    def draw(self, view: View, body: Any, parts: Parts, cut_u: float, cut_v: float) -> None:
        """Draw the plan as cut from the body [mm], with the traces of both section planes [mm]."""
        mount = self.plan.arrangement.mounts[0]
        level = 0.5 * self.outer[2] if mount.face[0] == 2 else float(self.plan.mounts[0, 0, 2]) * MM
        view.section(body.slice(level + 0.013).to_polygons(), HATCHES[0])
        s, (u, v) = self.scale, self.outer[:2]
        for i in range(len(self.plan.arrangement.mounts)):
            self._mount_on_plan(view, i)
        self._labels(view)
        walls = np.round(self.plan.rects[0] * MM, 4)
        for axis, at, out in ((0, -9.0, 0.0), (1, -9.0, 0.0)):
            values = sorted({0.0, float(self.outer[axis]), *walls[:, axis].ravel(), *self._lane_places(axis)})
            ordinates(view, values, along=axis, at=at, out=out)
        view.dimension(0.0, u, at=s * v + 10.0, along=0, out=s * v)
        view.dimension(0.0, v, at=-27.0, along=1, out=-18.0)
        for a, b, name, along in (
            ((-4.0, cut_v), (u + 4.0, cut_v), "A", 0),
            ((cut_u, -4.0), (cut_u, v + 4.0), "B", 1),
        ):
            view.line([a, b], width=MEDIUM, dashes=(0, (9, 2, 1.5, 2)), color="#b3261e")
            place = (b[0] + 3.0 / s, b[1]) if along == 0 else (b[0] + 3.0 / s, b[1] + 1.5 / s)
            view.text(place, name, size=9.0, weight="bold", color="#b3261e")
        for u_pin, v_pin in parts.pins:
            view.circle((u_pin, v_pin), parts.pin_radius, dashes=(0, (2, 1.2)), color="#444444")
        self._sides(view)
        view.text(
            (0.5 * u, v + 19.0 / s), f"PLAN, cut at height {level:.0f}, lid off", size=8.5, weight="bold"
        )

    def _lane_places(self, axis: int) -> list[float]:
        """Where partitions between lanes lie along an axis, or end."""
        result = []
        for i, block in enumerate(self.plan.arrangement.blocks):
            rect = self.plan.rects[0, self.plan.arrangement.leaf_of("duct", i), axis] * MM
            width = float(self.plan.lane_widths[0, i]) * MM
            if block.run != axis:
                lanes = [rect[0] + k * (width + self.wall) for k in range(1, block.lanes)]
                result += [float(at - self.wall) for at in lanes] + [float(at) for at in lanes]
            elif block.lanes > 1:
                ends = {bool(k % 2) == block.start_high for k in range(block.lanes - 1)}
                result += [
                    float(rect[1] - width) if high else float(rect[0] + width) for high in sorted(ends)
                ]
        return [round(at, 4) for at in result]

    def _sides(self, view: View) -> None:
        """Which face of the envelope each side is."""
        u, v = self.outer[:2]
        s = self.scale
        for face, place, turn in (
            ((0, True), (u + 10.0 / s, 0.5 * v), 270),
            ((1, True), (0.5 * u, v + 5.0 / s), 0),
        ):
            opposite = (face[0], False)
            name, other = (self.plan.arrangement.wall_name(f) for f in (face, opposite))
            words = f"face {name} (opposite: {other}{', front' if other == 'x-' else ''})"
            view.text(
                place, words + (", rear" if name == "x+" else ""), size=SMALL, rotation=turn, color="#444444"
            )

    def _mount_on_plan(self, view: View, i: int) -> None:
        mount, disc = self.plan.arrangement.mounts[i], self.plan.discs[i]
        centre = self.plan.mounts[0, i] * MM
        cutout, frame = float(disc.cutout[0]) * MM, float(disc.frame[0]) * MM
        axis = mount.face[0]
        phantom: dict[str, Any] = {"dashes": (0, (6, 2, 1, 2)), "width": MEDIUM, "color": "#6a3d9a"}
        if axis == 2:
            view.circle(centre[:2], 0.5 * cutout, width=MEDIUM)
            view.circle(centre[:2], 0.5 * frame, **phantom)
            for along in (0, 1):
                ends = np.array([centre[:2], centre[:2]])
                ends[:, along] += np.array([-0.62, 0.62]) * cutout
                view.line(ends, dashes=(0, (9, 2, 1.5, 2)), color="#6a3d9a")
        else:
            corners = self._mount_outline(i)
            view.line([*corners, corners[0]], **phantom)
        words, place, turn = self._mount_words(i)
        view.text(place, words, size=SMALL, color="#6a3d9a", rotation=turn)

    def _mount_words(self, i: int) -> tuple[str, list[float], int]:
        """Name and cut-out of a driver or diaphragm, its place [mm] and its turn [deg]."""
        mount, disc = self.plan.arrangement.mounts[i], self.plan.discs[i]
        centre = self.plan.mounts[0, i] * MM
        cutout = float(disc.cutout[0]) * MM
        axis, high = mount.face
        name = mount_name(self.plan, i).removeprefix("the ")
        if axis == 2:
            place = [float(centre[0]), float(centre[1] - 0.36 * cutout)]
            return f"{name} in the {'lid' if high else 'floor'}, Ø{cutout:g}", place, 0
        place = [0.0, 0.0]
        place[1 - axis] = float(centre[1 - axis])
        place[axis] = float(centre[axis] + (-0.45 if high else 0.45) * disc.depth * MM)
        return f"{name} Ø{cutout:g}", place, 0 if axis == 1 else 90

    def _mount_areas(self, view: View, i: int) -> list[tuple[np.ndarray, float]]:
        """What a driver or diaphragm and its words take on the sheet [mm], and how much it matters [1]."""
        words, place, turn = self._mount_words(i)
        half = 0.5 * text_extent(words, SMALL)[:: -1 if turn else 1]
        middle = np.array(view.at(place))
        result = [(np.stack([middle - half, middle + half], axis=1), 4.0)]
        if self.plan.arrangement.mounts[i].face[0] < 2:
            points = np.array([view.at(point) for point in self._mount_outline(i)])
            result.append((np.stack([points.min(axis=0), points.max(axis=0)], axis=1), 1.0))
        return result

    def _mount_outline(self, i: int) -> list[list[float]]:
        """Corners of a driver or diaphragm that sits on an upright wall, as seen from above [mm]."""
        mount, disc = self.plan.arrangement.mounts[i], self.plan.discs[i]
        centre = self.plan.mounts[0, i] * MM
        axis, high = mount.face
        outwards = self.wall if high else -self.wall
        start = centre[axis] + (outwards if mount.other < 0 else 0.0)
        cutout, frame = float(disc.cutout[0]) * MM, float(disc.frame[0]) * MM
        corners = []
        for along, depth in ((-1, 0.0), (-1, disc.depth * MM), (1, disc.depth * MM), (1, 0.0)):
            half = 0.5 * (frame if depth == 0.0 and mount.other < 0 else cutout)
            point = [0.0, 0.0]
            point[1 - axis] = float(centre[1 - axis] + along * half)
            point[axis] = float(start + (-depth if high else depth))
            corners.append(point)
        return corners

    def _labels(self, view: View) -> None:
        """Rooms with volume and inner sides; ducts with lanes, section and length along each first lane."""
        arrangement = self.plan.arrangement
        taken = [area for i in range(len(arrangement.mounts)) for area in self._mount_areas(view, i)]
        for i, leaf in enumerate(arrangement.leaves):
            (u0, u1), (v0, v1) = self.plan.rects[0, i] * MM
            middle = [0.5 * (u0 + u1), 0.5 * (v0 + v1)]
            upright = (v1 - v0) > 1.4 * (u1 - u0)
            style: dict[str, Any] = {"rotation": 90 if upright else 0}
            if leaf.kind == "duct":
                self._duct_label(view, leaf.index)
                continue
            if leaf.kind == "blank":
                if min(u1 - u0, v1 - v0) * self.scale > 3.0:
                    view.text(middle, "sealed blank", size=SMALL, **style)
                continue
            volume = float(np.prod(self.design.sides[0, leaf.index])) * 1e3
            name, sizes = f"ROOM {place_letter(leaf.index)}", f"{u1 - u0:.1f} x {v1 - v0:.1f}"
            bounds = np.array([view.at((u0, v0)), view.at((u1, v1))]).T
            label = place_label(
                bounds,
                taken,
                [
                    (f"{name}   {volume:.3f} L\n{sizes}", TEXT + 0.6),
                    (f"{name}   {volume:.3f} L   {sizes}", SMALL),
                    (f"{name}\n{volume:.3f} L\n{sizes}", SMALL),
                    (f"{name}\n{volume:.3f} L\n{sizes}", SMALLEST),
                ],
            )
            turn = 90 if label.upright else 0
            view.words(label.place.tolist(), label.words, size=label.size, weight="bold", rotation=turn)

    def _duct_label(self, view: View, i: int) -> None:
        block = self.plan.arrangement.blocks[i]
        duct = self.design.ducts[i]
        rect = self.plan.rects[0, self.plan.arrangement.leaf_of("duct", i)] * MM
        width = float(self.plan.lane_widths[0, i]) * MM
        lane = block.lane_of(0)
        place = rect.mean(axis=1)
        place[1 - block.run] = rect[1 - block.run, 0] + lane * (width + self.wall) + 0.5 * width
        words = f"DUCT {i + 1}  {duct.area[0] * 1e4:.1f} cm² x {duct.length[0] * MM:.0f}, lane {width:.1f}"
        fits = width * self.scale
        size = min(TEXT, fits / 0.42) if fits < 3.0 else TEXT
        style: dict[str, Any] = {"rotation": 0 if block.run == 0 else 90}
        room = float(rect[block.run, 1] - rect[block.run, 0]) * self.scale
        if 1.2 * len(words) > room:
            words = f"D{i + 1}  {width:.1f}" if fits < 6.0 else words.replace("  ", "\n").replace(", ", "\n")
        view.text(place, words, size=max(size, 3.6), color="#00563f", **style)
