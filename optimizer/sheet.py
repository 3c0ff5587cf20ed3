"""The dimension sheet of a candidate: plan and two sections to scale, bill of parts, cautions."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from models.catalogue import graph_name
from models.plan import PlanBatch
from models.plan_checks import mount_name
from models.plan_mesh_checks import cutout_bridge_mm
from models.plan_voids import gaps
from models.solid_steps import MM, PIN_LENGTH_MM, Parts, parts_of
from models.solids import solid_of
from models.topology import place_letter
from optimizer.files import write_bytes
from optimizer.layout_search import LaidOut
from optimizer.printer import Printer, printer_of
from optimizer.season import Season
from optimizer.sheet_body import draw_body
from optimizer.sheet_lines import MEDIUM, SMALL, TEXT, THICK, View, ordinates, table
from optimizer.style import FIGURE_STYLE, shortened
from optimizer.verification import Verified

SHEET_MM = (420.0, 297.0)
"""A3 across (ISO 216)."""

SCALES = (1.0, 0.5, 0.4, 0.2, 0.1, 0.05, 0.02, 0.01)
"""Scales that a sheet may have."""

HATCHES = ("//////", "\\\\\\\\\\\\")
FULL_NAMES = {"x": "depth", "y": "width", "z": "height"}


def draw_sheet(
    folder: Path, found: LaidOut, verified: Verified, season: Season, number: int, notes: list[str]
) -> None:
    """Write ``sheet.png``, ``sheet.svg`` and ``sheet.pdf``.

    Parameters
    ----------
    folder : Path
        Folder of the parts [path].
    found : LaidOut
        Plan and design [record].
    verified : Verified
        Checks and material [record].
    season : Season
        The season [record].
    number : int
        Rank of the candidate [1].
    notes : list of str
        What was left out [text].
    """
    import io

    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    with matplotlib.rc_context({**FIGURE_STYLE, "hatch.linewidth": 0.25, "pdf.fonttype": 42}):
        figure = Figure(figsize=(SHEET_MM[0] / 25.4, SHEET_MM[1] / 25.4))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(0.0, SHEET_MM[0])
        axes.set_ylim(0.0, SHEET_MM[1])
        axes.axis("off")
        _Sheet(axes, found, verified, season, number, notes).draw()
        for kind in ("png", "svg", "pdf"):
            buffer = io.BytesIO()
            metadata = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind)
            figure.savefig(buffer, format=kind, dpi=200, metadata=metadata)
            write_bytes(folder / f"sheet.{kind}", buffer.getvalue())


class _Sheet:
    """Places and draws everything of one sheet."""

    def __init__(
        self, axes: Any, found: LaidOut, verified: Verified, season: Season, number: int, notes: list[str]
    ) -> None:
        self.axes = axes
        self.found = found
        self.plan: PlanBatch = found.plan
        self.verified = verified
        self.season = season
        self.number = number
        self.notes = notes
        self.printer: Printer = printer_of(season)
        self.parts: Parts = parts_of(found.plan, number)
        self.body, self.lid = solid_of(self.parts.body), solid_of(self.parts.lid)
        self.outer = self.plan.outer * MM
        self.wall = self.plan.envelope.wall * MM
        u, v, h = self.outer
        room = (SHEET_MM[0] - 118.0 - 92.0, SHEET_MM[1] - 92.0)
        self.scale = next(s for s in (*SCALES, 0.0) if s * (u + v) <= room[0] and s * (v + h) <= room[1] or not s)

    def draw(self) -> None:
        """Draw the whole sheet."""
        u, v, h = self.outer
        s = self.scale
        for inset, width in ((6.0, THICK),):
            x, y = [inset, SHEET_MM[0] - inset], [inset, SHEET_MM[1] - inset]
            self.axes.plot([x[0], x[1], x[1], x[0], x[0]], [y[0], y[0], y[1], y[1], y[0]], "k", linewidth=width)
        left, bottom = 40.0, 25.0
        side = View(axes=self.axes, origin=(left, bottom), scale=s)
        plan = View(axes=self.axes, origin=(left, bottom + s * h + 36.0), scale=s)
        across = View(axes=self.axes, origin=(left + s * u + 38.0, bottom), scale=s)
        cut_u, cut_v = self._cuts()
        self._plan_view(plan, cut_u, cut_v)
        self._section(side, 1, cut_v, "SECTION A-A")
        self._section(across, 0, cut_u, "SECTION B-B")
        corner = (left + s * u + 34.0, bottom + s * h + 28.0)
        draw_body(self.axes, self.body, corner, (SHEET_MM[0] - 126.0 - corner[0], SHEET_MM[1] - 24.0 - corner[1]))
        self._words()

    def _cuts(self) -> tuple[float, float]:
        """Where section planes pass: through the first driver, or its room where it lies along the plane."""
        mount = self.plan.arrangement.mounts[0]
        centre = self.plan.mounts[0, 0] * MM
        room = self.plan.rects[0, mount.leaf].mean(axis=1) * MM
        u, v = (float(room[a] if mount.face[0] == a else centre[a]) + 0.013 for a in (0, 1))
        return u, v

    def _plan_view(self, view: View, cut_u: float, cut_v: float) -> None:
        mount = self.plan.arrangement.mounts[0]
        level = 0.5 * self.outer[2] if mount.face[0] == 2 else float(self.plan.mounts[0, 0, 2]) * MM
        view.section(self.body.slice(level + 0.013).to_polygons(), HATCHES[0])
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
        for u_pin, v_pin in self.parts.pins:
            view.circle((u_pin, v_pin), self.parts.pin_radius, dashes=(0, (2, 1.2)), color="#444444")
        self._sides(view)
        view.text((0.5 * u, v + 19.0 / s), f"PLAN, cut at height {level:.0f}, lid off", size=8.5, weight="bold")

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
                result += [float(rect[1] - width) if high else float(rect[0] + width) for high in sorted(ends)]
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
            view.text(place, words + (", rear" if name == "x+" else ""), size=SMALL, rotation=turn, color="#444444")

    def _mount_on_plan(self, view: View, i: int) -> None:
        mount, disc = self.plan.arrangement.mounts[i], self.plan.discs[i]
        centre = self.plan.mounts[0, i] * MM
        cutout, frame = float(disc.cutout[0]) * MM, float(disc.frame[0]) * MM
        axis, high = mount.face
        phantom: dict[str, Any] = {"dashes": (0, (6, 2, 1, 2)), "width": MEDIUM, "color": "#6a3d9a"}
        name = mount_name(self.plan, i).removeprefix("the ")
        if axis == 2:
            view.circle(centre[:2], 0.5 * cutout, width=MEDIUM)
            view.circle(centre[:2], 0.5 * frame, **phantom)
            for along in (0, 1):
                ends = np.array([centre[:2], centre[:2]])
                ends[:, along] += np.array([-0.62, 0.62]) * cutout
                view.line(ends, dashes=(0, (9, 2, 1.5, 2)), color="#6a3d9a")
            words = f"{name} in the {'lid' if high else 'floor'}, Ø{cutout:g}"
            view.text((centre[0], centre[1] - 0.36 * cutout), words, size=SMALL, color="#6a3d9a")
            return
        behind = -1.0 if high else 1.0
        face = centre[axis]
        outer_face = face + (self.wall if high else -self.wall)
        start = outer_face if mount.other < 0 else face
        corners = []
        for along, depth in ((-1, 0.0), (-1, disc.depth * MM), (1, disc.depth * MM), (1, 0.0)):
            half = 0.5 * (frame if depth == 0.0 else cutout) if mount.other < 0 else 0.5 * cutout
            point = [0.0, 0.0]
            point[1 - axis] = centre[1 - axis] + along * half
            point[axis] = start + behind * depth
            corners.append(point)
        view.line([*corners, corners[0]], **phantom)
        middle = [0.0, 0.0]
        middle[1 - axis], middle[axis] = centre[1 - axis], face + behind * 0.45 * disc.depth * MM
        view.text(middle, f"{name} Ø{cutout:g}", size=SMALL, color="#6a3d9a", rotation=0 if axis == 1 else 90)

    def _labels(self, view: View) -> None:
        """Rooms with volume and inner sides; ducts with lanes, section and length along each first lane."""
        arrangement = self.plan.arrangement
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
            volume = float(np.prod(self.found.design.sides[0, leaf.index])) * 1e3
            for mount in arrangement.mounts:  # away from the driver that sits here
                axis, high = mount.face
                if mount.leaf == i and axis < 2:
                    middle[axis] += 0.25 * (u1 - u0, v1 - v0)[axis] * (-1.0 if high else 1.0)
                    break
            words = f"ROOM {place_letter(leaf.index)}   {volume:.3f} L\n{u1 - u0:.1f} x {v1 - v0:.1f}"
            view.text(middle, words, size=TEXT + 0.6, weight="bold", **style)

    def _duct_label(self, view: View, i: int) -> None:
        block = self.plan.arrangement.blocks[i]
        duct = self.found.design.ducts[i]
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
        if 1.05 * len(words) > room:
            words = f"D{i + 1}  {width:.1f}" if fits < 6.0 else words.replace("  ", "\n").replace(", ", "\n")
        view.text(place, words, size=max(size, 3.6), color="#00563f", **style)

    def _section(self, view: View, axis: int, at: float, title: str) -> None:
        """Section across plan axis 0 or 1, heights upwards."""
        turn = (0.0, -90.0, 0.0) if axis == 0 else (90.0, 0.0, 0.0)
        for solid, hatch in ((self.body, HATCHES[0]), (self.lid, HATCHES[1])):
            polygons = [np.asarray(p) for p in solid.rotate(turn).slice(at).to_polygons()]
            if axis == 0:
                shown = [np.stack([p[:, 1], -p[:, 0]], axis=1) for p in polygons]
            else:
                shown = [np.stack([p[:, 0], -p[:, 1]], axis=1) for p in polygons]
            view.section(shown, hatch)
        length, height = self.outer[1 - axis], self.outer[2]
        s, along = self.scale, 1 - axis
        self._beyond(view, axis, at)
        view.dimension(0.0, length, at=-12.0, along=0, out=0.0)
        view.dimension(0.0, height, at=-12.0, along=1, out=0.0)
        view.dimension(self.wall, height - self.wall, at=-6.0, along=1, out=0.0)
        for i, mount in enumerate(self.plan.arrangement.mounts):
            centre = self.plan.mounts[0, i] * MM
            if mount.face[0] != axis and abs(centre[axis] - at) < 1.0:
                self._mount_in_section(view, i, along)
        view.text((0.5 * length, height + 6.0 / s), f"{title}  (walls and lid {self.wall:g})", size=8.5, weight="bold")

    def _beyond(self, view: View, axis: int, at: float) -> None:
        """Edges of walls seen behind the plane."""
        low, top = self.wall, self.outer[2] - self.wall
        polygons = self.body.slice(0.5 * self.outer[2] + 0.017).to_polygons()
        seen = sorted({round(float(p[1 - axis]), 2) for poly in polygons for p in poly if p[axis] > at + 0.5})
        cut = [np.asarray(p) for p in polygons]
        for value in seen:
            if not _inside(cut, value, at, axis):
                view.line([(value, low), (value, top)], width=0.2, color="#8a8f94", zorder=1)

    def _mount_in_section(self, view: View, i: int, along: int) -> None:
        mount, disc = self.plan.arrangement.mounts[i], self.plan.discs[i]
        centre = self.plan.mounts[0, i] * MM
        half = 0.5 * float(disc.cutout[0]) * MM
        face = mount.face
        length = self.outer[along]
        if face[0] == 2:
            edge = self.outer[2] if face[1] else 0.0
            view.line([(centre[along], edge - 12.0), (centre[along], edge + 9.0)], dashes=(0, (9, 2, 1.5, 2)))
            at = view.scale * self.outer[2] + 3.0 if face[1] else -5.0
            reach = (float(centre[along]) - half, float(centre[along]) + half)
            out = view.scale * self.outer[2] if face[1] else 0.0
            view.dimension(*reach, at=at, along=0, words=f"Ø{2 * half:g}", out=out)
            return
        view.line(
            [(centre[along] - 14.0, centre[2]), (centre[along] + 14.0, centre[2])], dashes=(0, (9, 2, 1.5, 2))
        )
        right = view.scale * length
        view.dimension(0.0, float(centre[2]), at=right + 6.0, along=1, out=right)
        view.dimension(
            float(centre[2]) - half, float(centre[2]) + half, at=right + 12.0, along=1, words=f"Ø{2 * half:g}", out=right
        )

    def _words(self) -> None:
        """Right column: title, data, bill of parts, print orientation, notes and cautions."""
        x, y = SHEET_MM[0] - 118.0, SHEET_MM[1] - 12.0
        topology = self.plan.arrangement.topology
        text = self.axes.text
        text(x, y, f"CANDIDATE {self.number:02d}", fontsize=15.0, weight="bold", va="top")
        text(x, y - 8.5, shortened(graph_name(topology), 70), fontsize=9.0, va="top")
        text(x, y - 13.0, shortened(self.season.name, 70), fontsize=8.0, va="top", color="#444444")
        ratio = 1.0 / self.scale if self.scale else 0.0
        rows = [
            ["quantity", "value"],
            ["scale on A3; lengths in mm", f"1 : {ratio:g}"],
            ["averaged output as built", f"{self.found.score_db:.2f} dB"],
            ["cost against the free network", f"{self.found.cost_db:+.2f} dB"],
            ["envelope, outer", " x ".join(f"{o:g}" for o in self.outer) + " (u, v, height)"],
            ["height lies along the envelope's", FULL_NAMES["xyz"[self.plan.arrangement.height_axis]]],
            ["material, printed solid", f"{self.verified.body_cm3 + self.verified.lid_cm3:.0f} cm³, "
             f"{self.verified.mass_g:.0f} g"],
            ["checks on the meshes", f"{sum(c.passed for c in self.verified.checks)} of "
             f"{len(self.verified.checks)} hold"],
        ]  # fmt: skip
        y = table(self.axes, (x, y - 19.0), (52.0, 58.0), rows)
        y = table(self.axes, (x, y - 5.0), (9.0, 27.0, 10.0, 64.0), self._bill())
        y = table(self.axes, (x, y - 5.0), (22.0, 26.0, 34.0, 28.0), self._mount_rows())
        if gaps(self.plan):
            y = table(self.axes, (x, y - 5.0), (18.0, 22.0, 24.0, 46.0), self._mouths())
        lines = [("PRINT ORIENTATION", True), *((w, False) for w in self._printing())]
        lines += [("CAUTIONS", True), *((w, False) for w in self._cautions())]
        y -= 5.0
        for words, head in lines:
            for k, part in enumerate(textwrap.wrap(words, 92) if not head else [words]):
                y -= 3.4 if not head else 4.6
                prefix = "" if head else ("• " if k == 0 else "   ")
                text(x, y, prefix + part, fontsize=TEXT if not head else 7.5, weight="bold" if head else "normal")

    def _bill(self) -> list[list[str]]:
        body, lid = self.verified.body_cm3, self.verified.lid_cm3
        density = self.printer.density_g_cm3
        rows = [["no.", "part", "count", "what"]]
        rows.append(["1", "body", "1", f"printed, {body:.0f} cm³, {body * density:.0f} g solid"])
        rows.append(["2", "lid", "1", f"printed, {lid:.0f} cm³, {lid * density:.0f} g solid"])
        topology = self.plan.arrangement.topology
        rows.append(["3", "driver", str(len(topology.drivers)), shortened(self.season.rules.driver.name, 44)])
        for i in range(len(topology.diaphragms)):
            disc = self.plan.discs[len(topology.drivers) + i]
            rows.append([str(len(rows)), f"diaphragm {i + 1}", "1", f"hole Ø{float(disc.cutout[0]) * MM:.1f}"])
        rows.append([str(len(rows)), "adhesive", "-", "for the lid on every wall's top, airtight"])
        rows.append([str(len(rows)), "gasket", str(len(self.plan.arrangement.mounts)), "ring under each frame"])
        rows.append([str(len(rows)), "cable", "1", "through a hole drilled in the driver's room, sealed"])
        return rows

    def _mount_rows(self) -> list[list[str]]:
        rows = [["mount", "on", "centre u, v, h", "cut-out / frame"]]
        for i, (mount, disc) in enumerate(zip(self.plan.arrangement.mounts, self.plan.discs, strict=True)):
            face = self.plan.arrangement.wall_name(mount.face)
            cap = {False: "floor", True: "lid"}[mount.face[1]] if mount.face[0] == 2 else "wall"
            on = f"{cap}, face {face}" if mount.other < 0 else "inner wall"
            centre = self.plan.mounts[0, i] * MM
            centre[mount.face[0]] += (self.wall if mount.face[1] else -self.wall) * (mount.other < 0)
            name = mount_name(self.plan, i).removeprefix("the ")
            sizes = f"Ø{float(disc.cutout[0]) * MM:g} / Ø{float(disc.frame[0]) * MM:g}"
            rows.append([name, on, ", ".join(f"{c:.1f}" for c in centre), sizes])
        return rows

    def _mouths(self) -> list[list[str]]:
        rows = [["mouth", "opens to", "width", "from, to along the wall"]]
        for gap in gaps(self.plan):
            leaf = self.plan.arrangement.leaves[gap.leaf] if gap.leaf >= 0 else None
            to = f"room {place_letter(leaf.index)}" if leaf else "outside"
            axis = "v" if gap.axis == 0 else "u"
            reach = f"{axis} {gap.low * MM:.1f} to {gap.high * MM:.1f}, full height"
            rows.append([f"duct {gap.duct + 1} {'ab'[gap.end]}", to, f"{(gap.high - gap.low) * MM:.1f}", reach])
        return rows

    def _printing(self) -> list[str]:
        bridges = [cutout_bridge_mm(self.plan, i) for i in range(len(self.plan.arrangement.mounts))]
        result = ["Body on its floor, open side up; lid on its outer face, pins up. No support inside."]
        if max(bridges) > 0.0:
            result.append(f"The top of a cut-out bridges {max(bridges):.0f} mm: slow the bridge or support it there.")
        lines = self.wall / self.printer.nozzle_mm
        result.append(f"Walls of {self.wall:g} mm are {lines:.1f} lines of a {self.printer.nozzle_mm:g} mm nozzle: "
                      "print them without gaps, or they leak.")  # fmt: skip
        if self.parts.pins:
            pin = 2.0 * self.parts.pin_radius
            places = "; ".join(f"{u:.1f}, {v:.1f}" for u, v in self.parts.pins)
            result.append(f"Pins Ø{pin:g} x {PIN_LENGTH_MM:g} under the lid go into the bosses' sockets, at u, v: {places}.")
        return result

    def _cautions(self) -> list[str]:
        result = [
            "Try the driver in its cut-out before gluing the lid; drill its screw holes from its own frame.",
            "Folds' gaps are as wide as their lanes; keep strings and blobs out of lanes and mouths.",
        ]
        if any(mount.other >= 0 for mount in self.plan.arrangement.mounts):
            result.append("A driver sits on an inner wall: mount, wire and test it before the lid; use a sealant that opens again.")
        result += self.notes
        result.append("Levels near the ceiling of this sheet hurt ears: test at low drive, keep away, wear protection.")
        result.append("Glues and hot filament: ventilate, follow their makers' instructions and local rules.")
        return result


def _inside(polygons: list[np.ndarray], value: float, at: float, axis: int) -> bool:
    """Whether a point of the plane lies in the cut material, by counting crossings."""
    count = 0
    for p in polygons:
        a, b = p, np.roll(p, -1, axis=0)
        x0, x1 = a[:, 1 - axis], b[:, 1 - axis]
        y0, y1 = a[:, axis], b[:, axis]
        with np.errstate(divide="ignore", invalid="ignore"):
            cross = x0 + (at - y0) * (x1 - x0) / (y1 - y0)
        count += int(np.sum(((y0 > at) != (y1 > at)) & (cross > value)))
    return count % 2 == 1
