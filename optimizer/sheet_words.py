"""The words of a dimension sheet: data, bill of parts, mouths, print orientation, cautions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.plan import PlanBatch
from models.plan_checks import mount_name
from models.plan_discs import bridged_chord
from models.plan_voids import gaps
from models.solid_steps import MM, PIN_LENGTH_MM, Parts
from models.topology import place_letter
from optimizer.laid_out import LaidOut
from optimizer.printer import Printer
from optimizer.season import Season
from optimizer.style import shortened
from optimizer.verification import Verified

FULL_NAMES = {"x": "depth", "y": "width", "z": "height"}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetData:
    """Everything that a sheet tells.

    Attributes
    ----------
    found : LaidOut
        Plan and design [record].
    parts : Parts
        Steps of its solids [record].
    verified : Verified
        Checks and material [record].
    season : Season
        The season [record].
    printer : Printer
        The season's printer [record].
    number : int
        Rank of the candidate [1].
    notes : tuple of str
        What was left out [text].
    """

    found: LaidOut
    parts: Parts
    verified: Verified
    season: Season
    printer: Printer
    number: int
    notes: tuple[str, ...]

    @property
    def plan(self) -> PlanBatch:
        """The plan, a batch of one."""
        return self.found.plan

    @property
    def outer(self) -> np.ndarray:
        """Outer sizes along u, v, h [mm]."""
        return self.plan.outer * MM

    @property
    def wall(self) -> float:
        """Thickness of walls [mm]."""
        return self.plan.envelope.wall * MM

    def quantities(self, scale: float) -> list[list[str]]:
        """The sheet's head as rows."""
        ratio = 1.0 / scale if scale else 0.0
        return [
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

    def bill(self) -> list[list[str]]:
        """Bill of parts."""
        body, lid = self.verified.body_cm3, self.verified.lid_cm3
        density = self.printer.density_g_cm3
        rows = [["no.", "part", "count", "what"]]
        rows.append(["1", "body", "1", f"printed, {body:.0f} cm³, {body * density:.0f} g solid"])
        rows.append(["2", "lid", "1", f"printed, {lid:.0f} cm³, {lid * density:.0f} g solid"])
        topology = self.plan.arrangement.topology
        rows.append(["3", "driver", str(len(topology.drivers)), shortened(self.season.rules.driver.name, 44)])
        for i in range(len(topology.diaphragms)):
            disc = self.plan.discs[len(topology.drivers) + i]
            rows.append(
                [str(len(rows)), f"diaphragm {i + 1}", "1", f"hole Ø{float(disc.cutout[0]) * MM:.1f}"]
            )
        rows.append([str(len(rows)), "adhesive", "-", "for the lid on every wall's top, airtight"])
        rows.append(
            [str(len(rows)), "gasket", str(len(self.plan.arrangement.mounts)), "ring under each frame"]
        )
        rows.append([str(len(rows)), "cable", "1", "through a hole drilled in the driver's room, sealed"])
        return rows

    def mount_rows(self) -> list[list[str]]:
        """Where drivers and diaphragms sit."""
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

    def mouths(self) -> list[list[str]]:
        """Mouths of ducts."""
        rows = [["mouth", "opens to", "width", "from, to along the wall"]]
        for gap in gaps(self.plan):
            leaf = self.plan.arrangement.leaves[gap.leaf] if gap.leaf >= 0 else None
            to = f"room {place_letter(leaf.index)}" if leaf else "outside"
            axis = "v" if gap.axis == 0 else "u"
            reach = f"{axis} {gap.low * MM:.1f} to {gap.high * MM:.1f}, full height"
            rows.append(
                [f"duct {gap.duct + 1} {'ab'[gap.end]}", to, f"{(gap.high - gap.low) * MM:.1f}", reach]
            )
        return rows

    def printing(self) -> list[str]:
        """How to print the parts."""
        mounts = zip(self.plan.arrangement.mounts, self.plan.discs, strict=True)
        bridges = [0.0, *(bridged_chord(disc) * MM for mount, disc in mounts if mount.face[0] < 2)]
        result = ["Body on its floor, open side up; lid on its outer face, pins up. No support inside."]
        if max(bridges) > 0.0:
            result.append(
                f"The top of a cut-out bridges {max(bridges):.0f} mm: slow the bridge or support it there."
            )
        lines = self.wall / self.printer.nozzle_mm
        result.append(f"Walls of {self.wall:g} mm are {lines:.1f} lines of {self.printer.nozzle_mm:g} mm: "
                      "print them without gaps, or they leak.")  # fmt: skip
        if self.parts.pins:
            pin = 2.0 * self.parts.pin_radius
            places = "; ".join(f"{u:.1f}, {v:.1f}" for u, v in self.parts.pins)
            result.append(
                f"Pins Ø{pin:g} x {PIN_LENGTH_MM:g} under the lid go into sockets at u, v: {places}."
            )
        return result

    def cautions(self) -> list[str]:
        """What to mind."""
        result = [
            "Try the driver in its cut-out before gluing the lid; drill its screw holes from its own frame.",
            "Folds' gaps are as wide as their lanes; keep strings and blobs out of lanes and mouths.",
        ]
        if any(mount.other >= 0 for mount in self.plan.arrangement.mounts):
            result.append(
                "A driver sits on an inner wall: test it before the lid; use a sealant that opens again."
            )
        result += self.notes
        result.append(
            "Levels near the limits of this sheet hurt ears: test at low drive, keep away, wear protection."
        )
        result.append("Glues and hot filament: ventilate, follow their makers' instructions and local rules.")
        return result
