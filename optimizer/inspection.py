"""Entry check of a submitted model: what ``boxwright inspect`` does."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from models.assembly import FaceOpening, enclosed_air, face_openings, fits_envelope, put_together
from models.mesh_checks import edge_faults, overhangs, wall_thickness
from models.solids import from_triangles, volume_of
from optimizer.mesh_files import Mesh, read_meshes
from optimizer.printer import fits_bed, printer_of
from optimizer.season import Season
from optimizer.verification import require_mesh_extra

UNITS_MM = {"mm": 1.0, "cm": 10.0, "inch": 25.4, "m": 1000.0}
"""Units that an STL file may be in, the likeliest first [mm]."""

THIN_SHARE = 0.005
"""Share of the surface that may be thinner than a wall, for pins, edges and letters."""

THIN_TOLERANCE_MM = 0.05


@dataclass(slots=True, kw_only=True)
class Inspection:
    """What was found about submitted parts.

    Attributes
    ----------
    faults : list of str
        What keeps them from the contest [text].
    cautions : list of str
        What an organiser should look at [text].
    findings : list of str
        Everything measured [text].
    air_l : list of float
        Volume of every enclosed air space, ducts included [L].
    openings : list of FaceOpening
        Openings of the outer faces [record].
    """

    faults: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    findings: list[str] = field(default_factory=list)
    air_l: list[float] = field(default_factory=list)
    openings: list[FaceOpening] = field(default_factory=list)

    def text(self) -> str:
        """Lines for people."""
        lines = [*self.findings]
        lines += [f"caution: {one}" for one in self.cautions] + [f"FAULT: {one}" for one in self.faults]
        lines.append("no faults found" if not self.faults else f"{len(self.faults)} faults")
        return "\n".join(lines)

    def record(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "faults": self.faults,
            "cautions": self.cautions,
            "findings": self.findings,
            "air_l": self.air_l,
            "openings": [
                {"face": o.face, "at_mm": list(o.centre), "size_mm": list(o.size), "area_cm2": o.area * 1e-2}
                for o in self.openings
            ],
        }


def inspect_parts(paths: tuple[Path, ...], season: Season, unit: str | None = None) -> Inspection:
    """Inspect submitted parts.

    Parameters
    ----------
    paths : tuple of Path
        STL or 3MF files, one or more parts each [path].
    season : Season
        The season [record].
    unit : str or None
        Unit of STL files, of :data:`UNITS_MM`; None guesses it [text].

    Returns
    -------
    Inspection
        Faults and findings [record].

    Raises
    ------
    ConfigError
        A file cannot be read as triangles, or the extra ``mesh`` is missing.
    """
    require_mesh_extra()
    result = Inspection()
    outer = np.sort(season.rules.envelope.outer_sides) * 1e3
    meshes: dict[str, tuple[Mesh, float | None]] = {}
    for path in paths:
        found, unit_mm = read_meshes(path)
        for name, mesh in found.items():
            title = path.name if len(found) == 1 else f"{path.name}, {name}"
            while title in meshes:
                title += " again"
            meshes[title] = (mesh, unit_mm)
    factor = _unit(meshes, outer, unit, result)
    solids = []
    for title, (mesh, unit_mm) in meshes.items():
        vertices = mesh[0] * (factor if unit_mm is None else unit_mm)
        solid = _part(title, (vertices, mesh[1]), season, result)
        if solid is not None:
            solids.append(solid)
    if len(solids) == len(meshes):
        _whole(solids, season, result)
    else:
        result.faults.append("air and openings cannot be counted while a part is not closed")
    return result


def _unit(
    meshes: dict[str, tuple[Mesh, float | None]], outer: np.ndarray, unit: str | None, result: Inspection
) -> float:
    """Millimetres a unit of the STL files, stated."""
    extents = [float(np.ptp(mesh[0], axis=0).max()) for mesh, known in meshes.values() if known is None]
    if not extents:
        result.findings.append("unit: as the 3MF file names it")
        return 1.0
    largest = max(extents)
    if unit is not None:
        result.findings.append(f"unit: {unit}, as given")
        return UNITS_MM[unit]
    off = {name: abs(np.log(max(largest, 1e-12) * mm / outer[-1])) for name, mm in UNITS_MM.items()}
    name = min(off, key=lambda one: off[one])
    size = f"{largest:.6g} long against the envelope's {outer[-1]:g} mm"
    result.findings.append(f"unit: {name}, guessed, as the largest part is {size}")
    if name != "mm":
        result.cautions.append(f"the files seem to be in {name}: ask, or scale them by {UNITS_MM[name]:g}")
    return UNITS_MM[name]


def _part(title: str, mesh: Mesh, season: Season, result: Inspection) -> Any | None:
    """Findings about one part; its solid where it closes."""
    import manifold3d

    vertices, triangles = mesh
    size = np.ptp(vertices, axis=0)
    words = " x ".join(f"{x:.2f}" for x in size)
    result.findings.append(f"{title}: {len(triangles)} triangles, {words} mm")
    printer = printer_of(season)
    if not fits_bed(size, printer.bed_mm):
        bed = " x ".join(f"{x:g}" for x in printer.bed_mm)
        target = result.faults if printer.given else result.cautions
        target.append(f"{title}: {words} mm does not stand on a printer's bed of {bed} mm")
    lone, tangled = edge_faults(triangles)
    if lone or tangled:
        result.faults.append(f"{title}: not watertight: {lone} open edges, {tangled} edges shared wrongly")
        return None
    volume = volume_of(vertices, triangles)
    if volume < 0.0:
        result.faults.append(f"{title}: inside out: its triangles face inwards")
        triangles = triangles[:, ::-1]
    solid = from_triangles(vertices, triangles)
    if solid.status() != manifold3d.Error.NoError or abs(volume) < 1.0:
        result.faults.append(f"{title}: does not enclose a solid ({abs(volume):.3g} mm3)")
        return None
    pieces = len(solid.decompose())
    if pieces > 1:
        result.cautions.append(f"{title}: {pieces} separate pieces in one part")
    mass = abs(volume) * 1e-3 * printer.density_g_cm3
    result.findings.append(f"{title}: closed, {abs(volume) * 1e-3:.1f} cm3 of material, {mass:.0f} g solid")
    _thickness(title, solid, season.rules.envelope.wall * 1e3, result)
    patches = overhangs(solid)
    if patches:
        area, span = sum(p.area for p in patches), max(p.span for p in patches)
        found = f"{title}: as it stands, {area:.0f} mm2 overhang beyond 45 degrees, widest {span:.1f} mm"
        (result.cautions if span > printer.bridge_mm else result.findings).append(found)
    return solid


def _thickness(title: str, solid: Any, least: float, result: Inspection) -> None:
    walls = wall_thickness(solid)
    at = int(np.argmin(walls.thickness))
    thin = walls.thickness[walls.spread] < least - THIN_TOLERANCE_MM
    place = ", ".join(f"{x:.1f}" for x in walls.points[at])
    found = f"{title}: thinnest {walls.thickness[at]:.2f} mm at ({place})"
    share = float(thin.mean())
    if share > THIN_SHARE:
        result.faults.append(f"{found}; {100.0 * share:.1f} % of the surface is thinner than {least:g} mm")
    elif walls.thickness[at] < least - THIN_TOLERANCE_MM:
        result.cautions.append(f"{found}: an edge, pin or letter? The season asks for {least:g} mm")
    else:
        result.findings.append(f"{found}; at least {least:g} mm asked for")


def _whole(solids: list[Any], season: Season, result: Inspection) -> None:
    """Findings about the parts together: size, air and openings."""
    envelope = season.rules.envelope
    outer = envelope.outer_sides * 1e3
    together = put_together(solids, outer)
    if together is None:
        for solid in solids:
            box = np.array(solid.bounding_box()).reshape(2, 3)
            if not fits_envelope(box[1] - box[0], outer):
                result.faults.append(_too_large(box[1] - box[0], outer))
        result.faults.append("the parts could not be put together: submit them in their places")
        return
    whole, how = together
    box = np.array(whole.bounding_box()).reshape(2, 3)
    size = box[1] - box[0]
    result.findings.append(f"put together ({how}): {' x '.join(f'{x:.2f}' for x in size)} mm")
    if not fits_envelope(size, outer):
        result.faults.append(_too_large(size, outer))
    result.openings = face_openings(whole, envelope.wall * 1e3)
    if any(o.area > 0.5 * np.prod(np.delete(size, "xyz".index(o.face[0]))) for o in result.openings):
        result.cautions.append("a whole side is open: is the lid missing?")
    for o in result.openings:
        where = f"{o.centre[0]:.1f}, {o.centre[1]:.1f}"
        shape = f"{o.size[0]:.1f} x {o.size[1]:.1f} mm, {o.area * 1e-2:.2f} cm2"
        driver = "; the driver's cut-out by its size" if o.is_round(season.rules.driver.cutout * 1e3) else ""
        result.findings.append(f"opening on face {o.face} at {where}: {shape}{driver}")
    result.air_l = [float(space.volume()) * 1e-6 for space in enclosed_air(whole)]
    for number, volume in enumerate(result.air_l, start=1):
        result.findings.append(f"air space {number}: {volume:.4f} L, ducts included")
    if not result.air_l:
        result.faults.append("no enclosed air: a solid block, or parts are missing")
    if not any(o.is_round(season.rules.driver.cutout * 1e3) for o in result.openings):
        cutout = season.rules.driver.cutout * 1e3
        result.cautions.append(
            f"no round opening of {cutout:g} mm outside: the driver must sit on an inner wall"
        )


def _too_large(size: np.ndarray, outer: np.ndarray) -> str:
    words, limits = (" x ".join(f"{x:.2f}" for x in np.sort(s)[::-1]) for s in (size, outer))
    return f"{words} mm does not fit the envelope, {limits} mm"
