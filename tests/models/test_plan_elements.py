"""A plan's air in three dimensions: against closed forms, a whole mesh of hexahedra, and the network."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from models.plan_air import Face, faces, floor_air
from models.plan_comparison import Levels, compare
from models.plan_elements import face_impedances
from models.plan_reading import read_plan
from models.rules import Rules
from models.spaces import HalfSpace
from optimizer.air_check import compared
from optimizer.season import load_season
from studies.plans.study import SEASON
from tests.models.test_plans import plan_of

LOW, HIGH = 0.003, 0.053


@pytest.fixture(scope="module")
def rules() -> Rules:
    return replace(load_season(SEASON).rules, spaces=(HalfSpace(name="open air"),))


def test_tube_is_a_line() -> None:
    """A tube of 0.3 m, closed end a piston, open end a mouth: -cot(kL)/(kS) and -1/(kS sin kL)."""
    floor = np.array([[[0.0, 0.2], [0.0, 0.04]], [[0.2, 0.3], [0.0, 0.04]]])
    ends = [
        Face(spans=((x, x), (0.0, 0.04), (LOW, HIGH)), flow=0, sign=1.0, piston=x == 0.0) for x in (0.0, 0.3)
    ]
    k = 2.0 * np.pi * np.array([50.0, 200.0, 400.0]) / 344.0
    z = face_impedances(floor, LOW, HIGH, ends, k, step=0.02, finest=0.01)
    area = 0.04 * (HIGH - LOW)
    assert z[:, 0, 0] == pytest.approx(-1.0 / (k * area * np.tan(0.3 * k)), rel=1e-5)
    assert z[:, 1, 1] == pytest.approx(-1.0 / (k * area * np.tan(0.3 * k)), rel=1e-5)
    assert z[:, 0, 1] == pytest.approx(-1.0 / (k * area * np.sin(0.3 * k)), rel=1e-5)


def test_floor_times_height_is_the_mesh_of_hexahedra() -> None:
    """The same grid as one mesh of scikit-fem's hexahedra of 27 nodes, solved whole at 300 Hz."""
    from skfem import Basis, ElementHex2, FacetBasis, LinearForm, MeshHex
    from skfem.models.poisson import laplace, mass

    floor = np.array([[[0.0, 0.12], [0.0, 0.06]], [[0.08, 0.12], [0.06, 0.09]]])
    wall = Face(spans=((0.0, 0.0), (0.02, 0.04), (0.013, 0.033)), flow=0, sign=1.0, piston=True)
    lid = Face(spans=((0.08, 0.1), (0.02, 0.04), (HIGH, HIGH)), flow=1, sign=1.0, piston=True)
    mouth = Face(spans=((0.08, 0.12), (0.09, 0.09), (LOW, HIGH)), flow=2, sign=1.0, piston=False)
    k = np.array([2.0 * np.pi * 300.0 / 344.0])
    ours = face_impedances(floor, LOW, HIGH, [wall, lid, mouth], k, step=0.02, finest=0.02)[0]

    lines = [
        np.array([0.0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.12]),
        np.array([0.0, 0.02, 0.04, 0.06, 0.075, 0.09]),
        np.array([LOW, 0.013, 0.033, HIGH]),
    ]
    mesh = MeshHex.init_tensor(*lines)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.flatnonzero((middle[1] < 0.06) | (middle[0] > 0.08)))
    basis = Basis(mesh, ElementHex2())

    def on(face: Face) -> np.ndarray:
        spans = np.array(face.spans)
        return mesh.facets_satisfying(
            lambda x: np.all((x > spans[:, :1] - 1e-9) & (x < spans[:, 1:] + 1e-9), axis=0),
            boundaries_only=True,
        )

    def load(face: Face) -> np.ndarray:
        part = FacetBasis(mesh, basis.elem, facets=on(face))
        result = LinearForm(lambda v, w: 1.0 * v).assemble(part)
        return np.asarray(result / result.sum())

    nodes = basis.get_dofs(on(mouth)).flatten()
    free = np.setdiff1d(np.arange(basis.N), nodes)
    tie = np.zeros((basis.N, free.size + 1))
    tie[free, np.arange(free.size)] = 1.0
    tie[nodes, -1] = 1.0
    system = tie.T @ ((laplace.assemble(basis) - k[0] ** 2 * mass.assemble(basis)) @ tie)
    loads = tie.T @ np.column_stack([load(wall), load(lid), np.zeros(basis.N)])
    loads[-1, 2] = 1.0
    whole = loads.T @ spsolve(sparse.csc_matrix(system), loads)
    assert ours == pytest.approx(whole, rel=1e-7)


def test_air_of_a_plan(rules: Rules) -> None:
    """Volumes: room and duct of the design; and at low frequency the air is a spring of that volume."""
    plan = plan_of(rules, 3)
    design = read_plan(plan, rules)
    places = faces(plan, design, rules.driver.area)
    assert [(face.flow, face.sign, face.piston) for face in places] == [(0, -1.0, True), (2, -1.0, False)]
    k = np.array([1e-2])
    z = face_impedances(floor_air(plan), 0.003, 0.003 + plan.height, places, k, step=0.04, finest=0.02)
    volume = np.prod(design.sides[0, 0]) + design.ducts[0].area[0] * design.ducts[0].length[0]
    assert z[0] == pytest.approx(np.full((2, 2), -1.0 / (k[0] ** 2 * volume)), rel=1e-3)


@pytest.mark.parametrize("lanes", [1, 2, 4])
def test_network_agrees_with_the_air_of_its_plan(rules: Rules, lanes: int) -> None:
    """Level at the mouth of a vented box between 50 and 400 Hz, coarse meshes: 0.2 dB, 1 dB at worst."""
    plan = plan_of(rules, lanes, 0.6)
    found = compared(compare(plan, read_plan(plan, rules), rules, np.arange(40.0, 461.0, 2.0), 0.005))
    (one,) = found.openings
    assert one.name == "duct 1" and one.counted > 100
    assert 0.0 < one.median_db < 0.2 and one.worst_db < 1.0
    assert found.agrees


def test_comparison_finds_a_wrong_length(rules: Rules) -> None:
    """A network whose duct is 5 % longer than the drawing does not agree with it."""
    plan = plan_of(rules, 2, 0.6)
    design = read_plan(plan, rules)
    wrong = replace(design, ducts=(replace(design.ducts[0], length=1.05 * design.ducts[0].length),))
    found = compared(compare(plan, wrong, rules, np.arange(40.0, 461.0, 2.0), 0.005))
    assert not found.agrees and "may be" in found.text()


def test_what_lies_near_a_notch_is_left_out() -> None:
    """A dip of 20 dB at 200 Hz: 191 to 209 Hz are left out, and a difference there does not count."""
    hz = np.arange(40.0, 461.0, 1.0)
    exact = 90.0 - 20.0 * np.exp(-(((hz - 200.0) / 5.0) ** 2))
    ours = exact + np.where(np.abs(hz - 200.0) < 8.0, 5.0, 0.1)
    levels = Levels(hz=hz, names=("duct 1",), network_db=ours[None], elements_db=exact[None])
    (one,) = compared(levels).openings
    assert one.notches_hz == (200.0,) and one.left_out == 19 and one.counted == 332
    assert one.median_db == pytest.approx(0.1) and one.worst_db == pytest.approx(0.1)
