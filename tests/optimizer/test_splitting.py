"""Boxes larger than the printer's bed: pieces by another library, volumes by sums, seams that stay shut."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.mesh_checks import wall_thickness
from models.plan_reading import read_plan
from models.score import Judge
from models.solid_steps import parts_of
from models.solids import solid_of, triangles_of
from models.spaces import HalfSpace
from models.topology import parse_graph_id
from optimizer.build import write_parts
from optimizer.files import write_json
from optimizer.laid_out import LaidOut
from optimizer.layout_search import lay_out
from optimizer.mesh_files import read_meshes, stl_bytes
from optimizer.plan_file import plan_data
from optimizer.season import Season, load_season, season_from_data
from optimizer.splitting import split_for_bed
from optimizer.verification import united, verify_parts
from studies.plans.study import REDUCED, SEASON, random_designs, study_rules
from tests.models.test_plans import plan_of

pytest.importorskip("manifold3d")
trimesh = pytest.importorskip("trimesh")

OUTER = np.array([160.0, 240.0, 180.0])
"""Demo envelope as the vented plan lies: height along z."""


def season_with_bed(bed: list[float]) -> Season:
    data = dict(load_season(SEASON).source)
    season = season_from_data(data | {"printer": {"bed_mm": bed}}, SEASON)
    return replace(season, rules=replace(season.rules, spaces=(HalfSpace(name="open air"),)))


def vented(season: Season) -> LaidOut:
    """A vented box with three lanes, by hand."""
    plan = plan_of(season.rules, 3)
    x = np.array([0.75, 0.5, 0.5])
    design = read_plan(plan, season.rules)
    return LaidOut(plan=plan, x=x, design=design, score_db=0.0, network_db=0.0)


def pieces_of(folder: Path, name: str) -> list[Path]:
    return sorted(folder.glob(f"{name}-[0-9].stl"))


def written(folder: Path, found: LaidOut, season: Season) -> list[str]:
    write_json(folder / "plan.json", plan_data(found))
    return write_parts(folder, found, season, 7)


def seam_areas(path: Path, axis: int, plane: float) -> list[float]:
    """Area of a piece's faces on a plane that look along its axis, and against it [mm2]."""
    mesh = trimesh.load(path)
    there = np.all(np.abs(mesh.triangles[:, :, axis] - plane) < 1e-3, axis=1)
    along = mesh.face_normals[:, axis]
    return [float(mesh.area_faces[there & (sign * along > 0.9)].sum()) for sign in (1.0, -1.0)]


@pytest.mark.parametrize(
    ("bed", "counts"), [([170.0, 130.0, 200.0], (2, 2)), ([170.0, 130.0, 130.0], (5, 2))]
)
def test_pieces_fit_and_make_the_whole(tmp_path: Path, bed: list[float], counts: tuple[int, int]) -> None:
    """Watertight and small enough by trimesh; volumes add up to the whole, and to what is summed by hand."""
    season = season_with_bed(bed)
    found = vented(season)
    notes = written(tmp_path, found, season)
    assert [f"split into {n} pieces" in "".join(notes) for n in counts] == [True, True]
    total = 0.0
    for name, count in zip(("body", "lid"), counts, strict=True):
        files = pieces_of(tmp_path, name)
        assert len(files) == count
        for file in files:
            mesh = trimesh.load(file)
            assert mesh.is_watertight and mesh.is_volume and mesh.body_count == 1, file.name
            assert np.all(np.sort(mesh.extents[:2]) <= np.sort(bed[:2])) and mesh.extents[2] <= bed[2]
            total += mesh.volume
    parts = parts_of(found.plan, 7)
    whole = sum(float(trimesh.Trimesh(*triangles_of(solid_of(p))).volume) for p in (parts.body, parts.lid))
    assert total == pytest.approx(whole, rel=1e-6)
    # the hull less room, duct and cut-out; bosses, pad and rounded edges are within 0.2 %
    width = (0.25 * 231.0 - 6.0) / 3.0
    length = 154.0 * 3.0 - 4.0 * width + 2.0 * (2.0 * width + 3.0) + 6.0
    air = 154.0 * 0.75 * 231.0 * 174.0 + width * length * 174.0 + np.pi * 29.0**2 * 3.0
    assert total == pytest.approx(float(np.prod(OUTER)) - air, rel=2e-2)
    checks = verify_parts(tmp_path, season, 7)
    assert checks.passed, checks.text()


def test_seams_are_shut_and_cut_no_wall_along(tmp_path: Path) -> None:
    """Glued faces of both pieces have one area, no piece has a wall under 3 mm, and an open seam is found."""
    season = season_with_bed([170.0, 130.0, 200.0])
    written(tmp_path, vented(season), season)
    files = sorted(pieces_of(tmp_path, "body"), key=lambda file: trimesh.load(file).bounds[0, 1])
    low, high = (read_meshes(file)[0] for file in files)
    plane = float(next(iter(low.values()))[0][:, 1].max())
    assert plane == pytest.approx(float(next(iter(high.values()))[0][:, 1].min()))
    (first, none), (nothing, second) = (seam_areas(file, 1, plane) for file in files)
    assert none == nothing == 0.0
    # floor of 160 x 3 mm and both outer walls of 174 x 3 mm are glued, where the seam meets no mouth
    assert first == pytest.approx(second, rel=1e-6) and first == pytest.approx(160.0 * 3.0 + 2 * 174.0 * 3.0)
    for mesh in (*low.values(), *high.values()):
        assert wall_thickness(united([mesh])).thickness.min() > 2.98
    mesh = next(iter(high.values()))
    (tmp_path / files[1].name).write_bytes(stl_bytes((mesh[0] + [0.0, 0.5, 0.0], mesh[1]), "apart"))
    wrong = [check.name for check in verify_parts(tmp_path, season, 7).checks if not check.passed]
    assert "one air space a room once ducts are plugged" in wrong


@pytest.mark.parametrize("graph", ["AB/AB.Ao", "oA/AB.Bo"])
def test_boxes_with_many_walls_are_split(tmp_path: Path, graph: str) -> None:
    """Random designs as laid out, on a bed of 170 mm: every check of the glued parts holds."""
    season = season_with_bed([170.0, 170.0, 250.0])
    rules = study_rules(1)
    design = random_designs(parse_graph_id(graph), rules, 1, seed=3)[0]
    found = lay_out(Judge(rules), design, REDUCED, seed=1)
    assert isinstance(found, LaidOut)
    notes = written(tmp_path, found, season)
    assert any("the body is split" in note for note in notes)
    assert len(pieces_of(tmp_path, "body")) >= 2
    checks = verify_parts(tmp_path, replace(season, rules=rules), 7)
    assert checks.passed, checks.text()


def test_a_bed_that_is_far_too_small() -> None:
    """More than eight pieces are refused, and a cut moves off what should stay whole where it can."""
    plate = solid_of(parts_of(plan_of(study_rules(1), 1)).lid)
    assert split_for_bed(plate, (20.0, 20.0, 20.0), []) == ([], True)
    pieces, clear = split_for_bed(plate, (170.0, 160.0, 20.0), [(1, 100.0, 140.0)])
    edges = sorted(round(float(piece.bounding_box()[4]), 3) for piece in pieces)
    assert clear and len(pieces) == 2 and not 100.0 < edges[0] < 140.0
    pieces, clear = split_for_bed(plate, (170.0, 130.0, 20.0), [(1, 0.0, 240.0)])
    assert not clear and len(pieces) == 2
