"""Cabin: reciprocity, passivity, convergence, fine solution, sites in odd places, cache, bad input."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from models.air import Air
from models.cabin import cabin_table
from models.cabin_grid import Grid
from models.cabin_local import FINENESS, Port, local_excess
from models.cabin_modes import CabinSolver, cabin_grid, resolution
from models.cabin_places import envelope_box, site_port
from models.cache import cached_arrays
from models.envelope import Envelope, Site, front_centre
from models.spaces import Cabin, Opening
from studies.cabin_obstacle import study

AIR = Air(density=1.199314, sound_speed=343.9869, viscosity=1.812665e-5, heat_ratio=1.401099, prandtl=0.72826)
ENVELOPE = Envelope(width=0.24, height=0.18, depth=0.16, wall=0.003)
SHUT = Cabin(
    name="hatch shut", size=(0.62, 0.36, 0.30), enclosure_at=(0.53, 0.18, 0.09),
    microphone_at=(0.15, 0.18, 0.20), damping=0.10,
)  # fmt: skip
OPEN = dataclasses.replace(SHUT, name="hatch open", openings=(Opening(at=(0.2, 0.0, 0.15), area=0.02),))
EMPTY = dataclasses.replace(SHUT, name="empty room", obstacle=False)
SITES = [front_centre(ENVELOPE), Site("x-", (0.0, 0.0)), Site("y+", (0.08, 0.09)), Site("x+", (0.12, 0.09))]
OMEGA = 2 * np.pi * np.array([60.0, 112.0, 144.0, 188.0, 248.0, 400.0])
FLANGED = 0.473202 / 0.032
"""Of the reference patch, a square of 32 mm: length over area [1/m]."""


@pytest.fixture(scope="module", autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory) -> object:
    """Give this module a cache of its own."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("cache")
        patch.setenv("BOXWRIGHT_CACHE", str(folder))
        yield folder


@pytest.fixture(scope="module")
def solver(cache: Path) -> CabinSolver:
    """Find the demo cabin's modes on the grid that the table uses."""
    size, box = np.array(SHUT.size), envelope_box(SHUT, ENVELOPE)
    step, count = resolution(size, OMEGA[-1] / AIR.sound_speed)
    return CabinSolver(cabin_grid(size, box, box, step), count)


@pytest.mark.parametrize("cabin", [SHUT, OPEN, EMPTY], ids=lambda c: c.name)
def test_reciprocal_and_passive(cabin: Cabin) -> None:
    """The matrix is symmetric and its real part has no negative eigenvalue."""
    z = cabin_table(cabin, ENVELOPE, SITES, OMEGA, AIR).impedance
    np.testing.assert_allclose(z, z.transpose(1, 0, 2), rtol=1e-9)
    for tone in range(OMEGA.size):
        values = np.linalg.eigvalsh(z[:, :, tone].real)
        assert values[0] > -1e-9 * values[-1]
        assert values[-1] > 0.0


def test_static_energy_matrix_is_positive(solver: CabinSolver) -> None:
    """The residual among the ports holds positive energy whatever flows."""
    box = envelope_box(SHUT, ENVELOPE)
    ports = tuple(site_port(site, ENVELOPE, box) for site in SITES)
    residual = solver.table(ports, np.array(SHUT.microphone_at)).residual[:-1]
    assert np.linalg.eigvalsh(residual)[0] > 0.0


def test_assembly_equals_scikit_fem() -> None:
    """Kronecker products and scikit-fem's own assembly of quadratic hexahedra give the same modes."""
    from scipy.linalg import eigh
    from skfem import Basis, BilinearForm, ElementHex2, MeshHex
    from skfem.helpers import dot, grad

    lines = (np.array([0.0, 0.2, 0.5, 0.6]), np.array([0.0, 0.1, 0.3]), np.array([0.0, 0.15, 0.4]))
    block = np.array([[0.2, 0.1, 0.0], [0.5, 0.3, 0.15]])
    ours = Grid(lines=lines, block=block).matrices()
    mesh = MeshHex.init_tensor(*lines)
    middle = mesh.p[:, mesh.t].mean(axis=1).T
    mesh = mesh.remove_elements(np.flatnonzero(np.all((middle > block[0]) & (middle < block[1]), axis=1)))
    basis = Basis(mesh, ElementHex2(), intorder=4)
    stiffness = BilinearForm(lambda u, v, w: dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, w: u * v).assemble(basis)
    theirs = eigh(stiffness.toarray(), mass.toarray(), eigvals_only=True)
    values = eigh(ours[0].toarray(), ours[1].toarray(), eigvals_only=True)
    assert len(values) == len(theirs)
    np.testing.assert_allclose(values, theirs, rtol=1e-8, atol=1e-8)


def test_modes_and_near_field_converge(solver: CabinSolver) -> None:
    """Finer grids: modes within 0.1 %, near field within 2 % of that of a flanged opening."""
    size, box = np.array(SHUT.size), envelope_box(SHUT, ENVELOPE)
    fine = CabinSolver(cabin_grid(size, box, box, resolution(size, 7.0)[0] / 1.5), 40)
    np.testing.assert_allclose(solver.wavenumbers[1:30], fine.wavenumbers[1:30], rtol=1e-3)
    for site in (SITES[0], SITES[3]):
        port = site_port(site, ENVELOPE, box)
        totals = [_self_energy(s, port, fineness) for s, fineness in ((solver, FINENESS), (fine, 0.3))]
        assert totals[0] == pytest.approx(totals[1], abs=0.02 * FLANGED)


def _self_energy(solver: CabinSolver, port: Port, fineness: float) -> float:
    """Add up the static self term of a port, all modes and near field [1/m]."""
    residual = solver.table((port,), np.array(SHUT.microphone_at))
    load = solver.grid.patch_load(np.array(port.low), np.array(port.high))
    amounts = (load @ solver.shapes)[1:] / (solver.volume * solver.wavenumbers[1:] ** 2)
    mass = solver.grid.matrices()[1]
    assert abs(np.sum(mass) - solver.volume) < 1e-9 * solver.volume
    static = solver._static(port)
    whole = static["solution"] + solver.shapes[:, 1:] @ amounts
    modal = float((load @ solver.shapes)[1:] @ amounts)
    at_default = float(residual.residual[0, 0]) + modal
    coarse = at_default - float(static["excess"])
    return coarse + local_excess(solver.grid, whole, solver.volume, port, fineness)


def test_near_field_of_a_patch_on_a_cuboid_wall_is_the_exact_sum() -> None:
    """At most 1 % below the cosine series, summed exactly along the normal; below, as an energy bound is."""
    sides, centre, side = np.array([0.3, 0.36, 0.25]), np.array([0.14, 0.11]), 0.04
    low, high = (0.0, *(centre - side / 2)), (0.0, *(centre + side / 2))
    port = Port(low=(0.0, float(low[1]), float(low[2])), high=(0.0, float(high[1]), float(high[2])))
    keys = np.array([[0.1, 0.1, 0.1], [0.2, 0.2, 0.2]])
    solver = CabinSolver(cabin_grid(sides, None, keys, 0.06), 80)
    order = np.arange(600)
    weights = np.where(order == 0, 1.0, 2.0)
    u, v = (order / sides[axis] for axis in (1, 2))
    squares = [
        weights * (np.cos(np.pi * w * c) * np.sinc(0.5 * w * side)) ** 2
        for w, c in zip((u, v), centre, strict=True)
    ]
    q = np.pi * np.hypot(u[:, None], v)
    q[0, 0] = np.inf
    exact = np.sum(squares[0][:, None] * squares[1] / (q * np.tanh(q * sides[0]))) / (sides[1] * sides[2])
    exact += sides[0] / (3.0 * sides[1] * sides[2])  # the modes along the normal alone
    residual = solver.table((port,), np.array([0.2, 0.1, 0.1]))
    modal = np.sum((residual.shapes[0, 1:] / residual.wavenumbers[1:]) ** 2) / residual.volume
    assert 0.99 * exact < modal + residual.residual[0, 0] < exact


def test_near_field_in_a_large_room_is_a_flange() -> None:
    """Far from edges and walls, a small patch in a large room has the flanged near field within 10 %."""
    envelope = Envelope(width=0.8, height=0.8, depth=0.1, wall=0.01)
    cabin = Cabin(
        name="hall", size=(4.0, 4.0, 4.0), enclosure_at=(2.0, 2.0, 2.0),
        microphone_at=(0.5, 0.5, 0.5), damping=0.1,
    )  # fmt: skip
    omega = np.array([2 * np.pi * 30.0])
    for obstacle in (True, False):
        here = dataclasses.replace(cabin, obstacle=obstacle)
        near = cabin_table(here, envelope, [front_centre(envelope)], omega, AIR)
        bare = cabin_table(here, envelope, [front_centre(envelope)], omega, AIR, radiation=False)
        assert np.all(bare.self_inertance == 0.0)
        inertance = AIR.density * 0.473202 / 0.02
        np.testing.assert_allclose(near.self_inertance, inertance, rtol=1e-5)
        np.testing.assert_allclose((near.impedance - bare.impedance)[0, 0], 1j * omega * inertance, rtol=1e-5)
        uniform = -AIR.density * AIR.sound_speed**2 / (64.0 * omega[0])
        room = near.impedance[0, 0, 0].imag - uniform
        assert room == pytest.approx(omega[0] * inertance, rel=0.1)


def test_study_agrees_with_a_direct_solution(tmp_path: Path) -> None:
    """Reduced study: transfers within 0.15 dB shut, 0.35 dB open; the empty room is more than 3 dB wrong."""
    shut, opened = study.main(["--reduced", "--out", str(tmp_path)])
    for result, limit in ((shut, 0.15), (opened, 0.35)):
        good = study.off_notches(result.fine)[:5]
        assert np.count_nonzero(good) > 10
        assert np.max(np.abs(result.table[:5] - result.fine[:5])[good]) < limit
        assert np.max(np.abs(result.empty[:5] - result.fine[:5])[good]) > 3.0
    assert (tmp_path / "cabin_obstacle.png").stat().st_size > 10_000


def test_blocked_and_near_sites_stay_finite() -> None:
    """Base on the floor: blocked, no coupling. A face 1 mm from the wall, or any edge: finite and passive."""
    sites = [Site("z-", (0.08, 0.12)), Site("x+", (0.0, 0.18)), Site("z+", (0.16, 0.24)), SITES[0]]
    near = dataclasses.replace(SHUT, enclosure_at=(0.539, 0.18, 0.09))
    table = cabin_table(near, ENVELOPE, sites, OMEGA, AIR)
    assert np.all(np.isfinite(table.impedance))
    assert np.all(np.isfinite(table.transfer))
    assert np.all(table.transfer[0] == 0.0)
    assert np.all(np.abs(table.impedance[0, 0]) > 100.0 * np.abs(table.impedance[3, 3].imag))
    assert np.all(table.impedance[0, 1:] == 0.0)
    assert np.all(np.diagonal(table.impedance).real > -1e-6)


def test_leak_and_hatch_empty_the_cabin() -> None:
    """Far below the corner the leak holds the pressure down; with the hatch open little is left."""
    omega = 2 * np.pi * np.array([2.0])
    leaky = dataclasses.replace(SHUT, leak_corner_hz=10.0)
    tables = [cabin_table(c, ENVELOPE, SITES[:1], omega, AIR).transfer[0, 0] for c in (SHUT, leaky, OPEN)]
    # compliance in parallel with a resistance: 1/sqrt(1 + (corner/f)^2)
    assert abs(tables[1]) / abs(tables[0]) == pytest.approx(1 / np.sqrt(26.0), rel=1e-3)
    assert abs(tables[2]) < 0.01 * abs(tables[0])


def test_scaling_of_a_lossless_cabin() -> None:
    """All lengths / 2 and all frequencies x 2 make every impedance 4 times as large."""
    half = Envelope(width=0.12, height=0.09, depth=0.08, wall=0.0015)
    small = Cabin(
        name="half", size=(0.31, 0.18, 0.15), enclosure_at=(0.265, 0.09, 0.045),
        microphone_at=(0.075, 0.09, 0.10), damping=0.10,
        openings=(Opening(at=(0.1, 0.0, 0.075), area=0.005),),
    )  # fmt: skip
    one = cabin_table(OPEN, ENVELOPE, [SITES[0]], OMEGA[:4], AIR)
    two = cabin_table(small, half, [front_centre(half)], 2 * OMEGA[:4], AIR)
    np.testing.assert_allclose(two.impedance, 4.0 * one.impedance, rtol=1e-5)
    np.testing.assert_allclose(two.transfer, 4.0 * one.transfer, rtol=1e-5)


def test_cache_is_used_and_survives_damage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Second call identical without computing; damaged files are computed anew; no folder, no cache."""
    monkeypatch.setenv("BOXWRIGHT_CACHE", str(tmp_path / "new"))
    first = cabin_table(OPEN, ENVELOPE, SITES[:2], OMEGA[:2], AIR)
    files = sorted((tmp_path / "new").iterdir())
    assert [f.name.rsplit("-", 1)[0] for f in files] == ["cabin-modes"] + ["cabin-port"] * 3
    with monkeypatch.context() as patch:
        patch.setattr(CabinSolver, "_factored", lambda self: pytest.fail("computed again"))
        second = cabin_table(OPEN, ENVELOPE, SITES[:2], OMEGA[:2], AIR)
    np.testing.assert_array_equal(first.impedance, second.impedance)
    np.testing.assert_array_equal(first.transfer, second.transfer)
    files[0].write_bytes(files[0].read_bytes()[:1000])
    damaged = bytearray(files[1].read_bytes())
    damaged[len(damaged) // 2] ^= 0xFF
    files[1].write_bytes(damaged)
    files[2].write_bytes(b"no archive")
    third = cabin_table(OPEN, ENVELOPE, SITES[:2], OMEGA[:2], AIR)
    np.testing.assert_allclose(third.impedance, first.impedance, rtol=1e-9)
    assert files[0].stat().st_size > 1000
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("BOXWRIGHT_CACHE", str(tmp_path / "file" / "below"))
    kept = cached_arrays("kind", "key", ("a",), lambda: {"a": np.arange(3.0)})
    np.testing.assert_array_equal(kept["a"], np.arange(3.0))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"enclosure_at": (0.6, 0.18, 0.09)}, "outside the cabin"),
        ({"microphone_at": (0.15, 0.18, 0.5)}, "microphone .* outside the cabin"),
        ({"microphone_at": (0.53, 0.18, 0.09)}, "in the enclosure"),
        ({"openings": (Opening(at=(0.2, 0.1, 0.15), area=0.02),)}, "none of the walls"),
        ({"openings": (Opening(at=(0.2, 0.0, 0.15), area=0.2),)}, "larger than its wall"),
        ({"openings": (Opening(at=(0.2, 0.0, 0.15), area=0.0),)}, "area"),
        ({"openings": (Opening(at=(0.53, 0.18, 0.0), area=0.02),)}, "covered by the enclosure"),
    ],
)
def test_what_does_not_fit_is_named(change: dict[str, object], message: str) -> None:
    """Geometry that cannot be is refused with the place that is wrong."""
    cabin = dataclasses.replace(SHUT, **change)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=message):
        cabin_table(cabin, ENVELOPE, SITES[:1], OMEGA, AIR)


@pytest.mark.parametrize(("hz", "message"), [(0.0, "greater than 0"), (5000.0, "lower frequencies")])
def test_frequencies_out_of_range(hz: float, message: str) -> None:
    """Zero and far too high frequencies are refused."""
    with pytest.raises(ValueError, match=message):
        cabin_table(SHUT, ENVELOPE, SITES[:1], np.array([2 * np.pi * hz]), AIR)


def test_a_tone_is_as_loud_among_others() -> None:
    """A cabin's modes do not depend on what other frequencies are asked for, where its reach is set."""
    omega = 2.0 * np.pi * np.array([60.0, 900.0])
    together = cabin_table(OPEN, ENVELOPE, SITES[:2], omega, AIR)
    alone = cabin_table(OPEN, ENVELOPE, SITES[:2], omega[:1], AIR, reach=float(omega[1]))
    assert np.allclose(alone.transfer[:, 0], together.transfer[:, 0], rtol=1e-9)
    assert np.allclose(alone.impedance[..., 0], together.impedance[..., 0], rtol=1e-9)
    short = cabin_table(OPEN, ENVELOPE, SITES[:2], omega[:1], AIR)
    assert not np.allclose(short.transfer[:, 0], together.transfer[:, 0], rtol=1e-9)
