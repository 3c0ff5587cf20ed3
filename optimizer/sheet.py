"""The dimension sheet of a candidate: plan and two sections to scale, bill of parts, cautions."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from models.catalogue import graph_name
from models.plan import PlanBatch
from models.plan_voids import gaps
from models.solid_steps import MM, Parts, parts_of
from models.solids import solid_of
from optimizer.files import write_bytes
from optimizer.laid_out import LaidOut
from optimizer.printer import printer_of
from optimizer.season import Season
from optimizer.sheet_body import draw_body
from optimizer.sheet_lines import HATCHES, TEXT, THICK, View, table
from optimizer.sheet_plan import PlanDrawing
from optimizer.sheet_words import SheetData
from optimizer.style import FIGURE_STYLE, shortened
from optimizer.verification import Verified

SHEET_MM = (420.0, 297.0)
"""A3 across (ISO 216)."""

SCALES = (1.0, 0.5, 0.4, 0.2, 0.1, 0.05, 0.02, 0.01)
"""Scales that a sheet may have."""


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
        self.data = SheetData(
            found=found,
            parts=parts_of(found.plan, number),
            verified=verified,
            season=season,
            printer=printer_of(season),
            number=number,
            notes=tuple(notes),
        )
        self.found = found
        self.plan: PlanBatch = found.plan
        self.parts: Parts = self.data.parts
        self.body, self.lid = solid_of(self.parts.body), solid_of(self.parts.lid)
        self.outer = self.plan.outer * MM
        self.wall = self.plan.envelope.wall * MM
        u, v, h = self.outer
        room = (SHEET_MM[0] - 118.0 - 92.0, SHEET_MM[1] - 92.0)
        self.scale = next(
            s for s in (*SCALES, 0.0) if (s * (u + v) <= room[0] and s * (v + h) <= room[1]) or not s
        )

    def draw(self) -> None:
        """Draw the whole sheet."""
        u, _, h = self.outer
        s = self.scale
        for inset, width in ((6.0, THICK),):
            x, y = [inset, SHEET_MM[0] - inset], [inset, SHEET_MM[1] - inset]
            self.axes.plot(
                [x[0], x[1], x[1], x[0], x[0]], [y[0], y[0], y[1], y[1], y[0]], "k", linewidth=width
            )
        left, bottom = 40.0, 25.0
        side = View(axes=self.axes, origin=(left, bottom), scale=s)
        plan = View(axes=self.axes, origin=(left, bottom + s * h + 36.0), scale=s)
        across = View(axes=self.axes, origin=(left + s * u + 38.0, bottom), scale=s)
        cut_u, cut_v = self._cuts()
        PlanDrawing(self.plan, self.found.design, s).draw(plan, self.body, self.parts, cut_u, cut_v)
        self._section(side, 1, cut_v, "SECTION A-A")
        self._section(across, 0, cut_u, "SECTION B-B")
        corner = (left + s * u + 34.0, bottom + s * h + 28.0)
        draw_body(
            self.axes, self.body, corner, (SHEET_MM[0] - 126.0 - corner[0], SHEET_MM[1] - 24.0 - corner[1])
        )
        self._words()

    def _cuts(self) -> tuple[float, float]:
        """Where section planes pass: through the first driver, or its room where it lies along the plane."""
        mount = self.plan.arrangement.mounts[0]
        centre = self.plan.mounts[0, 0] * MM
        room = self.plan.rects[0, mount.leaf].mean(axis=1) * MM
        u, v = (float(room[a] if mount.face[0] == a else centre[a]) + 0.013 for a in (0, 1))
        return u, v

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
        view.text(
            (0.5 * length, height + 6.0 / s),
            f"{title}  (walls and lid {self.wall:g})",
            size=8.5,
            weight="bold",
        )

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
            float(centre[2]) - half,
            float(centre[2]) + half,
            at=right + 12.0,
            along=1,
            words=f"Ø{2 * half:g}",
            out=right,
        )

    def _words(self) -> None:
        """Right column: title, data, bill of parts, print orientation, notes and cautions."""
        x, y = SHEET_MM[0] - 118.0, SHEET_MM[1] - 12.0
        topology = self.plan.arrangement.topology
        text = self.axes.text
        text(x, y, f"CANDIDATE {self.data.number:02d}", fontsize=15.0, weight="bold", va="top")
        text(x, y - 8.5, shortened(graph_name(topology), 70), fontsize=9.0, va="top")
        text(x, y - 13.0, shortened(self.data.season.name, 70), fontsize=8.0, va="top", color="#444444")
        y = table(self.axes, (x, y - 19.0), (52.0, 58.0), self.data.quantities(self.scale))
        y = table(self.axes, (x, y - 5.0), (9.0, 27.0, 10.0, 64.0), self.data.bill())
        y = table(self.axes, (x, y - 5.0), (22.0, 26.0, 34.0, 28.0), self.data.mount_rows())
        if gaps(self.plan):
            y = table(self.axes, (x, y - 5.0), (18.0, 22.0, 24.0, 46.0), self.data.mouths())
        lines = [("PRINT ORIENTATION", True), *((w, False) for w in self.data.printing())]
        lines += [("CAUTIONS", True), *((w, False) for w in self.data.cautions())]
        y -= 5.0
        for words, head in lines:
            for k, part in enumerate(textwrap.wrap(words, 92) if not head else [words]):
                y -= 3.4 if not head else 4.6
                prefix = "" if head else ("• " if k == 0 else "   ")
                text(
                    x,
                    y,
                    prefix + part,
                    fontsize=TEXT if not head else 7.5,
                    weight="bold" if head else "normal",
                )


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
