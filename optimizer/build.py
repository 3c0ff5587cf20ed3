"""From a candidate to files that can be printed: what ``boxwright build`` does."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from models.plan_checks import mount_name
from models.score import Judge
from models.solid_steps import MM, parts_of
from models.solids import plain_contours, solid_of, triangles_of
from optimizer.cad_files import has_cad, step_bytes
from optimizer.design_file import read_design, write_design
from optimizer.faults import ConfigError, Fault
from optimizer.files import json_of, write_bytes, write_json, write_text
from optimizer.laid_out import LaidOut, NoPlan
from optimizer.layout_efforts import LAYOUT_EFFORTS
from optimizer.layout_search import lay_out
from optimizer.mesh_files import Mesh, stl_bytes, threemf_bytes
from optimizer.plan_file import plan_data, read_plan_file
from optimizer.plan_stage import laid_out_of
from optimizer.printer import printer_of
from optimizer.progress import Progress, silent
from optimizer.run_designs import (
    NETWORK_FILE,
    PLAN_FILE,
    READ_BACK_TOLERANCE_DB,
    InternalError,
    candidate_folder,
)
from optimizer.run_folder import Run
from optimizer.season import Season, season_from_data
from optimizer.splitting import kept_whole, split_for_bed
from optimizer.verification import Verified, require_mesh_extra, turned_over, verify_parts

PARTS = "parts"

CAD_TOLERANCE = 1e-3
"""Share by which a part's volume in CAD, whose holes are round, may differ from that of its mesh."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """A candidate as built, or why it was not.

    Attributes
    ----------
    number : int
        Rank of the candidate [1].
    folder : Path
        Folder of its parts [path].
    laid_out : LaidOut or NoPlan
        Its plan, or reasons [record].
    verified : Verified or None
        Checks of its parts [record].
    notes : tuple of str
        What was left out [text].
    """

    number: int
    folder: Path
    laid_out: LaidOut | NoPlan
    verified: Verified | None
    notes: tuple[str, ...] = ()


def season_of(run: Run) -> Season:
    """Season of a run, from what its record keeps."""
    return season_from_data(run.record["source"], run.folder / "run.json")


def find_candidate(run: Run, number: int) -> dict[str, Any]:
    """Record of a candidate.

    Raises
    ------
    ConfigError
        The run has no candidate of that number.
    """
    for candidate in run.candidates:
        if candidate.get("rank") == number:
            return candidate
    ranks = [str(candidate.get("rank")) for candidate in run.candidates]
    message = f"no candidate {number}; there are {', '.join(ranks) or 'none'}"
    raise ConfigError([Fault(str(run.folder / "candidates.json"), 1, "rank", message)])


def build_candidate(
    run: Run, number: int, effort: str | None = None, seed: int = 1, progress: Progress = silent
) -> Built:
    """Make a candidate's parts by its floor plan, and check them.

    Parameters
    ----------
    run : Run
        Run folder [record].
    number : int
        Rank of the candidate [1].
    effort : str or None
        Name in :data:`optimizer.layout_efforts.LAYOUT_EFFORTS`, by which a plan is sought anew; None takes
        the plan that the search found, and seeks one by ``normal`` only where it found none [text].
    seed : int
        Root of the random numbers of a plan that is sought [1].
    progress : callable
        Told how far it is [record].

    Returns
    -------
    Built
        What was made [record].

    Raises
    ------
    ConfigError
        The run or its candidate cannot be read, or the extra ``mesh`` is missing.
    InternalError
        The plan's design scores otherwise when it is read back from its file.
    """
    require_mesh_extra()
    season = season_of(run)
    judge = Judge(season.rules)
    found = _plan_of(run, number, season, judge, effort, seed, progress)
    folder = run.folder / candidate_folder(number) / PARTS
    if isinstance(found, NoPlan):
        write_json(folder / "build.json", {"candidate": number, "built": False, "reasons": found.reasons})
        return Built(number=number, folder=folder, laid_out=found, verified=None)
    write_json(folder / PLAN_FILE, plan_data(found))
    _write_design(folder / "design.toml", found, number, season, judge)
    notes = write_parts(folder, found, season, number)
    verified = verify_parts(folder, season, number)
    record = build_record(number, found, verified, notes)
    write_json(folder / "build.json", record)
    from optimizer.sheet import draw_sheet

    draw_sheet(folder, found, verified, season, number, notes)
    return Built(number=number, folder=folder, laid_out=found, verified=verified, notes=tuple(notes))


def _plan_of(
    run: Run, number: int, season: Season, judge: Judge, effort: str | None, seed: int, progress: Progress
) -> LaidOut | NoPlan:
    """The plan that the search found for a candidate, or one that is sought now."""
    candidate = find_candidate(run, number)
    place = run.folder / candidate_folder(number)
    design = read_design(place / "design.toml", season.rules)
    if effort is None and (place / PLAN_FILE).is_file():
        read_plan_file(place / PLAN_FILE, season.rules)  # refuses one that cannot be built
        data, network_db = json_of(place / PLAN_FILE), float(candidate["plan"]["network_db"])
        return laid_out_of(data, judge, design.diaphragms, network_db)
    if (place / NETWORK_FILE).is_file():
        design = read_design(place / NETWORK_FILE, season.rules)
    bridge = printer_of(season).bridge_mm / MM
    return lay_out(judge, design, LAYOUT_EFFORTS[effort or "normal"], seed, progress, bridge)


def write_parts(folder: Path, found: LaidOut, season: Season, number: int | None) -> list[str]:
    """Write body and lid as STL, or their pieces where a part exceeds the printer's bed, and all as 3MF.

    With the extra ``cad`` both are written as STEP too.

    Returns
    -------
    list of str
        What was left out or split, for people [text].

    Raises
    ------
    InternalError
        A part in CAD has another volume than its mesh.
    """
    parts = parts_of(found.plan, number)
    notes = list(parts.notes)
    printer = printer_of(season)
    solids = {"body": solid_of(parts.body), "lid": turned_over(solid_of(parts.lid), found.plan)}
    for old in [*folder.glob("body*.stl"), *folder.glob("lid*.stl")]:
        old.unlink()
    meshes: dict[str, Mesh] = {}
    for name, solid in solids.items():
        keep = kept_whole(found.plan, parts, name == "lid")
        pieces, clear = split_for_bed(solid, printer.bed_mm, keep)
        if not pieces:
            notes.append(f"the {name} exceeds the printer's bed by too much to be split")
            pieces = [solid]
        for count, piece in enumerate(pieces, start=1):
            title = name if len(pieces) == 1 else f"{name}-{count}"
            meshes[title] = triangles_of(piece)
            write_bytes(folder / f"{title}.stl", stl_bytes(meshes[title], f"boxwright {number} {title} mm"))
        if len(pieces) > 1:
            notes.append(
                f"the {name} is split into {len(pieces)} pieces for the bed: glue the faces airtight"
                + ("" if clear else "; a cut runs through a cut-out, a boss or along a wall")
            )
    for name, steps in (("body", parts.body), ("lid", parts.lid)):
        (folder / f"{name}.step").unlink(missing_ok=True)
        if has_cad():
            content, volume = step_bytes(steps, plain_contours)
            if abs(volume / solids[name].volume() - 1.0) > CAD_TOLERANCE:
                raise InternalError(
                    f"{name}.step holds {volume:.0f} mm3, its mesh {solids[name].volume():.0f}"
                )
            write_bytes(folder / f"{name}.step", content)
    write_bytes(folder / "parts.3mf", threemf_bytes(_side_by_side(meshes), f"candidate {number}"))
    return notes


def _side_by_side(meshes: dict[str, Mesh]) -> dict[str, Mesh]:
    """Parts beside each other on the floor, 10 mm apart."""
    result, at = {}, 0.0
    for name, (vertices, triangles) in meshes.items():
        low = vertices.min(axis=0)
        result[name] = (vertices - low + np.array([at, 0.0, 0.0]), triangles)
        at += float(np.ptp(vertices[:, 0])) + 10.0
    return result


def _write_design(path: Path, found: LaidOut, number: int, season: Season, judge: Judge) -> None:
    comments = [
        f"candidate {number} as built, read off its plan",
        f"score {found.score_db:.3f} dB, {found.cost_db:.3f} dB below the free network",
        f"season {season.name}",
    ]
    write_text(path, write_design(found.design, 0, comments=comments, plan=PLAN_FILE))
    back = float(judge.scores(judge.respond(read_design(path, season.rules)))[0])
    if not abs(back - found.score_db) <= READ_BACK_TOLERANCE_DB:
        raise InternalError(f"the plan scores {found.score_db:.4f} dB, but {back:.4f} dB as read from {path}")


def build_record(number: int, found: LaidOut, verified: Verified, notes: list[str]) -> dict[str, Any]:
    """What ``build.json`` holds [record]."""
    plan = found.plan
    topology = plan.arrangement.topology
    return {
        "candidate": number,
        "built": True,
        "score_db": found.score_db,
        "network_db": found.network_db,
        "building_cost_db": found.cost_db,
        "height_along": "xyz"[plan.arrangement.height_axis],
        "drivers_on": [
            {
                "what": mount_name(plan, i),
                "face": plan.arrangement.wall_name(mount.face),
                "inside": mount.other >= 0,
            }
            for i, mount in enumerate(plan.arrangement.mounts)
        ],
        "volumes_l": [float(np.prod(sides)) * 1e3 for sides in found.design.sides[0]],
        "ducts": [
            {
                "name": duct.name,
                "joins": list(edge),
                "area_cm2": float(duct.area[0]) * 1e4,
                "length_mm": float(duct.length[0]) * 1e3,
                "lanes": block.lanes,
                "bends": len(duct.bends),
            }
            for duct, edge, block in zip(
                found.design.ducts, topology.ducts, plan.arrangement.blocks, strict=True
            )
        ],
        "material_cm3": verified.body_cm3 + verified.lid_cm3,
        "mass_g": verified.mass_g,
        "verified": verified.passed,
        "checks": verified.record()["checks"],
        "notes": notes,
    }


def built_text(built: Built) -> str:
    """Lines for people about one candidate."""
    found = built.laid_out
    if isinstance(found, NoPlan):
        return f"candidate {built.number}: no plan. Nearest: " + "; ".join(found.reasons)
    assert built.verified is not None
    cost = f"{abs(found.cost_db):.2f} dB {'below' if found.cost_db >= 0.0 else 'above'}"
    head = f"candidate {built.number}: {found.score_db:.2f} dB as built, {cost} the free network"
    lines = [
        head,
        *(f"note: {note}" for note in built.notes),
        built.verified.text(),
        f"parts in {built.folder}",
    ]
    return "\n".join(lines)
