"""Solids of plans against closed forms, and every check made to fail once."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from models.mesh_checks import overhangs, wall_thickness
from models.plan_mesh_checks import Check, check_box
from models.rules import Rules
from models.solid_steps import Parts, Prism, Rod, Step, parts_of
from models.solids import from_triangles, solid_of, triangles_of, volume_of
from models.spaces import HalfSpace
from optimizer.season import load_season
from studies.plans.study import SEASON
from tests.models.test_plans import plan_of

pytest.importorskip("manifold3d")


@pytest.fixture(scope="module")
def rules() -> Rules:
    return replace(load_season(SEASON).rules, spaces=(HalfSpace(name="open air"),))


@pytest.fixture(scope="module")
def box(rules: Rules) -> tuple[Any, Parts, Any, Any]:
    """Plan, steps, body and lid of a vented box with three lanes."""
    plan = plan_of(rules, 3)
    parts = parts_of(plan, 7)
    return plan, parts, solid_of(parts.body), solid_of(parts.lid)


def failed(checks: list[Check]) -> list[str]:
    return [check.name for check in checks if not check.passed]


def cuboid(low: tuple[float, ...], high: tuple[float, ...]) -> Any:
    corners = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return solid_of([Step(True, Prism((corners,), low[2], high[2]))])


def test_volumes_by_the_divergence_theorem() -> None:
    """A cuboid, and a rod's regular polygon: (n/2) r2 sin(2 pi/n) times its length."""
    assert volume_of(*triangles_of(cuboid((0.0, 0.0, 0.0), (2.0, 3.0, 5.0)))) == pytest.approx(30.0)
    rod = solid_of([Step(True, Rod((1.0, 2.0, 3.0), 0, 4.0, 10.0))])
    assert volume_of(*triangles_of(rod)) == pytest.approx(48 * 16.0 * np.sin(2 * np.pi / 96) * 10.0)
    assert np.array(rod.bounding_box()) == pytest.approx([1.0, -2.0, -1.0, 11.0, 6.0, 7.0])


def test_material_is_hull_less_air(rules: Rules) -> None:
    """Without number and pins: the hull less rooms, ducts, cut-out and rounded corners, summed by hand."""
    plan = plan_of(rules, 1)
    parts = parts_of(plan)
    plain = Parts(body=parts.body[:3], lid=parts.lid[:1])
    solid = volume_of(*triangles_of(solid_of(plain.body))) + volume_of(*triangles_of(solid_of(plain.lid)))
    room = 154.0 * 0.75 * 231.0 * 174.0
    lane = 0.25 * 231.0
    duct = (154.0 + 3.0) * lane * 174.0 + 3.0 * lane * 174.0
    hole = 48 * 29.0**2 * np.sin(2 * np.pi / 96) * 3.0
    corner = 9.0 * 174.0 - 0.5 * 9.0 * 12 * np.sin(np.pi / 24) * 174.0
    rest = 160.0 * 240.0 * 180.0 - room - duct - hole - solid
    assert rest / corner == pytest.approx(round(rest / corner), abs=1e-3)  # whole quarter-rounds, or none


def test_every_check_holds(box: tuple[Any, Parts, Any, Any]) -> None:
    plan, parts, body, lid = box
    checks = check_box(plan, parts, body, lid, 50.0)
    assert failed(checks) == []
    assert len(checks) == 12


@pytest.mark.parametrize(
    ("harm", "told"),
    [
        ("hole between room and duct", "one air space a room once ducts are plugged"),
        ("block in the room", "volume of room A"),
        ("block in the duct", "duct 1 free from end to end"),
        ("thin wall", "least wall of the body by rays"),
        ("shelf", "overhangs of the body beyond 45 degrees"),
        ("crumb outside", "fits the envelope exactly"),
        ("loose crumb", "body watertight, one piece"),
    ],
)
def test_a_check_fails_where_it_should(box: tuple[Any, Parts, Any, Any], harm: str, told: str) -> None:
    plan, parts, body, lid = box
    room = 0.75 * 231.0 + 3.0  # far face of the room along v
    harms = {
        "hole between room and duct": lambda: body - cuboid((80.0, 10.0, 50.0), (100.0, 400.0, 60.0)),
        "block in the room": lambda: body + cuboid((2.0, 60.0, 2.0), (60.0, 90.0, 60.0)),
        "block in the duct": lambda: body + cuboid((60.0, room + 1.0, 2.0), (90.0, room + 20.0, 60.0)),
        "thin wall": lambda: body - cuboid((-1.0, 20.0, 20.0), (1.0, 40.0, 40.0)),
        "shelf": lambda: body + cuboid((2.0, 60.0, 100.0), (30.0, 90.0, 103.0)),
        "crumb outside": lambda: body + cuboid((-0.5, 20.0, 20.0), (1.0, 30.0, 30.0)),
        "loose crumb": lambda: body + cuboid((20.0, 60.0, 90.0), (24.0, 64.0, 94.0)),
    }
    assert told in failed(check_box(plan, parts, harms[harm](), lid, 50.0))


def test_a_wide_bridge_fails(box: tuple[Any, Parts, Any, Any]) -> None:
    """The cut-out of 58 mm has a chord of 58 sin 45 = 41.0 mm."""
    plan, parts, body, lid = box
    assert failed(check_box(plan, parts, body, lid, 40.0)) == ["overhangs of the body beyond 45 degrees"]


def test_open_triangles_are_no_solid(box: tuple[Any, Parts, Any, Any]) -> None:
    import manifold3d

    vertices, triangles = triangles_of(box[2])
    assert from_triangles(vertices, triangles).status() == manifold3d.Error.NoError
    assert from_triangles(vertices, triangles[1:]).status() != manifold3d.Error.NoError


def test_slivers_tell_no_wall() -> None:
    """A face 0.7 um wide whose normal is turned by 45 degrees beside a corner: the plate is 8 mm thick."""
    contour = np.array([[0.0, 0.0], [1.0, 0.0], [1.0005, 0.0005], [30.0, 0.0005], [30.0, 10.0], [0.0, 10.0]])
    plate = solid_of([Step(True, Prism((contour,), 0.0, 8.0))])
    assert wall_thickness(plate).thickness.min() == pytest.approx(8.0, abs=1e-3)


@pytest.mark.parametrize(("ledge", "patches"), [(0.001, 0), (1.0, 1)])
def test_slivers_are_no_overhangs(ledge: float, patches: int) -> None:
    """A ledge 20 mm long on a wall looks straight down; one of 1 um is rounding."""
    contour = np.array([[0, 0], [10, 0], [10, 5], [10 + ledge, 5], [10 + ledge, 30], [0, 30]], dtype=float)
    wall = solid_of([Step(True, Prism((contour,), 0.0, 20.0))]).rotate((90.0, 0.0, 0.0))
    found = overhangs(wall)
    assert [round(one.area, 6) for one in found] == [20.0 * ledge] * patches
