"""Build, verify and inspect as commands, on a run folder made by hand, and hostile model files."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

from models.score import Judge
from models.solid_steps import Hull, Prism, Rod, Step
from models.solids import from_triangles, plain_contours, prism, triangles_of
from optimizer import cli
from optimizer.cad_files import step_bytes
from optimizer.design_file import read_design
from optimizer.faults import ConfigError
from optimizer.laid_out import NoPlan
from optimizer.mesh_files import read_meshes, stl_bytes, threemf_bytes
from optimizer.run_folder import write_run
from optimizer.season import load_season
from tests.optimizer.conftest import hand_made_result

pytest.importorskip("manifold3d")


def command(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as stopped:
        cli.main([str(a) for a in arguments])
    out, err = capsys.readouterr()
    return int(stopped.value.code or 0), out, err


@pytest.fixture
def run_folder(tmp_path: Path, season, designs) -> Path:
    write_run(tmp_path / "run", season, hand_made_result(season, designs))
    return tmp_path / "run"


def cuboid_mesh(*sizes: float) -> tuple[np.ndarray, np.ndarray]:
    u, v, h = sizes
    return triangles_of(prism((np.array([[0.0, 0.0], [u, 0.0], [u, v], [0.0, v]]),), 0.0, h))


def test_build_and_verify(run_folder: Path, season_path: Path, capsys) -> None:
    """Parts are written, hold every check, and the design as drawn scores what the record says."""
    status, out, err = command(capsys, "build", run_folder, "--candidate", 1, "--effort", "quick")
    assert status == 0, out + err
    parts = run_folder / "candidates/01/parts"
    record = json.loads((parts / "build.json").read_text())
    assert record["verified"] and record["built"]
    season = load_season(season_path)
    judge = Judge(season.rules)
    drawn = read_design(parts / "design.toml", season.rules)
    assert judge.scores(judge.respond(drawn))[0] == pytest.approx(record["score_db"], abs=1e-6)
    assert f"{record['score_db']:.2f} dB as built" in out
    for name in ("body.stl", "lid.stl", "parts.3mf", "sheet.png", "sheet.svg", "sheet.pdf", "plan.json"):
        assert (parts / name).stat().st_size > 500, name
    status, out, err = command(capsys, "verify", run_folder, "--candidate", 1)
    assert status == 0 and "FAIL" not in out
    # the plan's network against finite elements of its air, with a figure of both curves
    printed = out
    assert "network against finite elements of the plan's air" in printed
    assert all((parts / f"air.{kind}").stat().st_size > 10_000 for kind in ("png", "svg"))
    status, out, _ = command(
        capsys, "inspect", parts / "body.stl", parts / "lid.stl", "--config", season_path
    )
    assert status == 0 and "no faults found" in out and "air space 1" in out

    # a block in the middle of the body is found
    mesh = read_meshes(parts / "body.stl")[0]["body"]
    body = from_triangles(*mesh)
    low = np.array(body.bounding_box())
    block = prism(
        (np.array([[2.0, 2.0], [low[3] - 2, 2.0], [low[3] - 2, low[4] - 2], [2.0, low[4] - 2]]),), 1.0, 20.0
    )
    (parts / "body.stl").write_bytes(stl_bytes(triangles_of(body + block), "harmed"))
    status, out, _ = command(capsys, "verify", run_folder, "--candidate", 1)
    assert status == 1 and "FAIL  volume of room A" in out
    status, out, _ = command(capsys, "verify", run_folder, "--candidate", 1, "--json")
    told = json.loads(out)
    wrong = [check["name"] for check in told["checks"] if not check["passed"]]
    air = told["finite_elements"]
    assert 0.0 < air["median_db"] < 0.2 and air["worst_db"] < 2.0  # near 400 Hz some plans pass 1 dB
    assert air["agrees"] == (air["worst_db"] <= 1.0)
    words = "The network is right within" if air["agrees"] else "The network is off by more than"
    assert f"{words} 0.2 dB in general" in printed
    assert status == 1 and "volume of room A" in wrong


def test_step_of_a_plate_with_a_hole_and_a_hull(tmp_path: Path) -> None:
    """Volume in CAD: 20 x 30 x 5 less pi 4^2 x 5, and with a tetrahedron of 6^3/6 beside it; read back."""
    cad = pytest.importorskip("build123d")
    square = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 30.0], [0.0, 30.0]])
    corner = np.array([[30.0, 0.0, 0.0], [36.0, 0.0, 0.0], [30.0, 6.0, 0.0], [30.0, 0.0, 6.0]])
    steps = [
        Step(True, Prism((square,), 0.0, 5.0)),
        Step(False, Rod((10.0, 15.0, -1.0), 2, 4.0, 7.0)),
        Step(True, Hull(corner)),
    ]
    content, volume = step_bytes(steps, plain_contours)
    assert volume == pytest.approx(3000.0 - np.pi * 16.0 * 5.0 + 36.0, rel=1e-9)
    (tmp_path / "a.step").write_bytes(content)
    assert cad.import_step(tmp_path / "a.step").volume == pytest.approx(volume, rel=1e-9)


def test_build_prints_json(run_folder: Path, capsys, monkeypatch) -> None:
    """All candidates in one list, those without a plan too, and nothing on standard error with --quiet."""
    none = NoPlan(reasons=("the channel of duct 1 is too long",))
    monkeypatch.setattr("optimizer.build.lay_out", lambda *_, **__: none)
    status, out, err = command(capsys, "build", run_folder, "--effort", "quick", "--json", "--quiet")
    assert (status, err) == (1, "")
    found = json.loads(out)
    assert [one["candidate"] for one in found] == [1, 2, 3] and not any(one["built"] for one in found)
    assert found[0]["reasons"] == ["the channel of duct 1 is too long"]


def test_candidates_that_are_not_there(run_folder: Path, capsys) -> None:
    status, out, err = command(capsys, "build", run_folder, "--candidate", 99)
    assert (status, out) == (2, "") and "no candidate 99" in err
    status, out, err = command(capsys, "verify", run_folder, "--candidate", 1)
    assert (status, out) == (2, "") and "plan.json:1: plan: no such file; boxwright build makes it" in err


def test_damaged_plan(run_folder: Path, capsys) -> None:
    plan = run_folder / "candidates/01/parts/plan.json"
    plan.parent.mkdir(parents=True)
    plan.write_text('{"topology": 3}')
    status, _, err = command(capsys, "verify", run_folder, "--candidate", 1)
    assert status == 2 and "damaged" in err


def test_independent_reader(tmp_path: Path) -> None:
    """STL and 3MF of a cuboid of 20 x 30 x 50 mm, read by trimesh."""
    trimesh = pytest.importorskip("trimesh")
    mesh = cuboid_mesh(20.0, 30.0, 50.0)
    (tmp_path / "a.stl").write_bytes(stl_bytes(mesh, "cuboid"))
    (tmp_path / "a.3mf").write_bytes(threemf_bytes({"one & <two>": mesh}, "a & b"))
    found = trimesh.load_mesh(tmp_path / "a.stl")
    assert found.is_watertight and found.volume == pytest.approx(30000.0)
    pytest.importorskip("networkx")
    pytest.importorskip("lxml")
    scene = trimesh.load(tmp_path / "a.3mf")
    assert scene.to_geometry().volume == pytest.approx(30000.0)


def test_read_back(tmp_path: Path) -> None:
    mesh = cuboid_mesh(20.0, 30.0, 50.0)
    path = tmp_path / "a.3mf"
    path.write_bytes(threemf_bytes({"one & <two>": mesh}, "t"))
    found, unit = read_meshes(path)
    assert unit == 1.0 and list(found) == ["one & <two>"]
    assert from_triangles(*found["one & <two>"]).volume() == pytest.approx(30000.0)


def _zip(model: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", model)
    return buffer.getvalue()


NAN_STL = b" " * 80 + struct.pack("<I", 1) + struct.pack("<12fH", *[0.0] * 3, float("nan"), *[1.0] * 8, 0)

HOSTILE = {
    "empty.stl": (b"", "is empty"),
    "text.stl": (
        b"hello, this is no model at all, only words of some length to pass the header" * 3,
        "not an STL",
    ),
    "short.stl": (b" " * 80 + struct.pack("<I", 4_000_000_000) + b"x" * 50, "4000000000 triangles"),
    "none.stl": (b" " * 80 + struct.pack("<I", 0), "holds no triangles"),
    "nan.stl": (NAN_STL, "not finite"),
    "words.stl": (b"solid x\nfacet\nvertex a b c\nvertex 0 0 0\nvertex 1 1 1\n", "not a number"),
    "cut.stl": (b"solid x\nfacet\nvertex 1 2 3\nvertex 0 0 0\n", "do not make whole triangles"),
    "no_model.3mf": (b"PK\x03\x04 broken", "damaged zip"),
    "bomb.3mf": (_zip(b"0" * (257 * 2**20)), "unpacks to more than 256 MB"),
    "entity.3mf": (_zip(b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><a/>'), "declares entities"),
    "not_xml.3mf": (_zip(b"<model"), "not XML"),
    "unit.3mf": (_zip(b'<model unit="ell"/>'), "unknown unit 'ell'"),
    "hollow.3mf": (_zip(b"<model/>"), "holds no meshes"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files(name: str, tmp_path: Path) -> None:
    content, told = HOSTILE[name]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(ConfigError, match=told):
        read_meshes(path)


def test_inspect_lists_faults(tmp_path: Path, season_path: Path, capsys) -> None:
    """A solid block in centimetres, one too large, one open, one inside out, and no file."""
    paths = {}
    vertices, triangles = cuboid_mesh(100.0, 120.0, 90.0)
    for name, mesh in {
        "block": (vertices, triangles),
        "large": cuboid_mesh(300.0, 100.0, 90.0),
        "open": (vertices, triangles[1:]),
        "reversed": (vertices, triangles[:, ::-1]),
        "cm": (vertices / 5.0, triangles),
    }.items():
        paths[name] = tmp_path / f"{name}.stl"
        paths[name].write_bytes(stl_bytes(mesh, name))
    told = {
        "block": "no enclosed air",
        "large": "does not fit the envelope",
        "open": "not watertight: 3 open edges",
        "reversed": "inside out",
        "cm": "unit: cm, guessed",
    }
    for name, words in told.items():
        status, out, _ = command(capsys, "inspect", paths[name], "--config", season_path)
        assert status == 1 and words in out, (name, out)
    status, out, err = command(capsys, "inspect", tmp_path / "x.stl", "--config", season_path)
    assert (status, out) == (2, "") and "no such file" in err
    status, out, _ = command(capsys, "inspect", paths["block"], "--config", season_path, "--json")
    assert json.loads(out)["air_l"] == []
