"""A built candidate checked on its files: what ``boxwright verify`` does."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from models.plan import PlanBatch
from models.plan_mesh_checks import Check, check_box
from models.solid_steps import MM, parts_of
from models.solids import from_triangles
from optimizer.mesh_files import Mesh, read_meshes, refusal
from optimizer.plan_file import read_plan_file
from optimizer.printer import Printer, fits_bed, printer_of
from optimizer.season import Season


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What was found about a candidate's parts.

    Attributes
    ----------
    checks : tuple of Check
        Every check [list].
    body_cm3, lid_cm3 : float
        Volumes of material [cm3].
    mass_g : float
        Mass of solid parts of the printer's filament [g].
    """

    checks: tuple[Check, ...]
    body_cm3: float
    lid_cm3: float
    mass_g: float

    @property
    def passed(self) -> bool:
        """Whether every check holds."""
        return all(check.passed for check in self.checks)

    def record(self) -> dict[str, Any]:
        """Plain data, as ``verify --json`` prints it."""
        return {
            "passed": self.passed,
            "checks": [{"name": c.name, "passed": c.passed, "found": c.found} for c in self.checks],
            "body_cm3": self.body_cm3,
            "lid_cm3": self.lid_cm3,
            "mass_g": self.mass_g,
        }

    def text(self) -> str:
        """Lines for people."""
        lines = [f"{'ok  ' if c.passed else 'FAIL'}  {c.name}: {c.found}" for c in self.checks]
        total = self.body_cm3 + self.lid_cm3
        lines.append(f"material {total:.0f} cm3 (body {self.body_cm3:.0f}, lid {self.lid_cm3:.0f}), "
                     f"{self.mass_g:.0f} g printed solid")  # fmt: skip
        return "\n".join(lines)


def require_mesh_extra() -> None:
    """Refuse to go on without the libraries of the extra ``mesh``.

    Raises
    ------
    ConfigError
        They are not installed.
    """
    try:
        import manifold3d  # noqa: F401
    except ImportError:
        raise refusal(
            Path("boxwright"), 'solids need the extra "mesh": pip install "boxwright[mesh]"'
        ) from None


def verify_parts(folder: Path, season: Season, number: int | None) -> Verified:
    """Check the parts in a candidate's folder.

    Parameters
    ----------
    folder : Path
        Folder with ``plan.json``, ``body.stl`` and ``lid.stl``, or pieces of them [path].
    season : Season
        The season [record].
    number : int or None
        Number that was engraved [1].

    Returns
    -------
    Verified
        Every check [record].

    Raises
    ------
    ConfigError
        A file is missing or cannot be read.
    """
    require_mesh_extra()
    plan = read_plan_file(folder / "plan.json", season.rules)
    printer = printer_of(season)
    parts = parts_of(plan, number)
    solids: dict[str, Any] = {}
    beds: list[Check] = []
    for name in ("body", "lid"):
        files = sorted(folder.glob(f"{name}-[0-9].stl")) or [folder / f"{name}.stl"]
        meshes = [next(iter(read_meshes(file)[0].values())) for file in files]
        solids[name] = united(meshes)
        beds += [_bed(file.name, mesh, printer) for file, mesh in zip(files, meshes, strict=True)]
    lid = turned_over(solids["lid"], plan)
    checks = check_box(plan, parts, solids["body"], lid, printer.bridge_mm)
    volumes = [float(solids[name].volume()) * 1e-3 for name in ("body", "lid")]
    return Verified(
        checks=(*checks, *beds),
        body_cm3=volumes[0],
        lid_cm3=volumes[1],
        mass_g=sum(volumes) * printer.density_g_cm3,
    )


def united(meshes: list[Mesh]) -> Any:
    """One solid of the pieces of a part [mm]."""
    solid = from_triangles(*meshes[0])
    for mesh in meshes[1:]:
        solid = solid + from_triangles(*mesh)
    return solid


def turned_over(solid: Any, plan: PlanBatch) -> Any:
    """The lid from the assembled to the print position, or back: half a turn about u."""
    _, v, h = plan.outer * MM
    return solid.rotate((180.0, 0.0, 0.0)).translate((0.0, float(v), float(h)))


def _bed(name: str, mesh: Mesh, printer: Printer) -> Check:
    size = np.ptp(mesh[0], axis=0)
    words = " x ".join(f"{x:.1f}" for x in size)
    bed = " x ".join(f"{x:g}" for x in printer.bed_mm)
    source = "" if printer.given else ", the default"
    return Check(
        name=f"{name} fits the printer",
        passed=fits_bed(size, printer.bed_mm),
        found=f"{words} mm on {bed} mm{source}",
    )
