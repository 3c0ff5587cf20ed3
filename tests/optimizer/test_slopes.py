"""Exact slopes against high-order differences of the numpy back end, and compiled slopes against numpy's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from models import linear_terms
from models.backend import has_compiler
from models.catalogue import named_topology
from models.complex_step import stepped
from models.fit import shares
from models.linear_layout import make_layout
from models.rules import Rules
from models.score import Judge
from optimizer.cell import Cell
from optimizer.objectives import size_objectives
from optimizer.season import load_season
from optimizer.sites import search_sites
from optimizer.slopes import drive_groups, slopes
from optimizer.space import SearchSpace

DEMO = load_season(Path(__file__).resolve().parents[2] / "configs" / "demo.toml").rules
BACKENDS = ("numpy", "compiled") if has_compiler() else ("numpy",)
STEPS = (4e-4, 2e-4, 1e-4, 5e-5)
SHARP = {"round": 0.97, "slot": 0.85}
"""Share of slopes that the differences must settle; numpy's lines of rooms lose digits for thin slots."""

GRAPHS = ("oA", "oA/Ao", "AB/Ao", "AB/AB.Ao.Bo", "AB/AC.BC.Co", "oA//Ao", "AB/AC.BC.Ao.Co", "oA/Ao/AB")


def differences(values: Callable[[np.ndarray], np.ndarray], at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slopes over the last axis of ``at`` by L. F. Richardson's extrapolation, and how sure they are."""
    rows, errors = [], []
    for i in range(at.shape[-1]):
        table = []
        for step in STEPS:
            move = step * (np.arange(at.shape[-1]) == i)
            table.append((values(at + move) - values(at - move)) / (2.0 * step))
        for order in (4.0, 16.0, 64.0):
            error = np.abs(table[-1] - table[-2])
            table = [(order * b - a) / (order - 1.0) for a, b in pairwise(table)]
        rows.append(table[0])
        errors.append(error)
    return np.stack(rows, axis=-1), np.stack(errors, axis=-1)


def cell_of(rules: Rules, graph: str, backend: str, shape: str = "round", profile: str = "uniform") -> Cell:
    space = SearchSpace(named_topology(graph), rules, search_sites(rules), shape, profile)
    return Cell(Judge(rules, backend=backend), space, ("output",))


def fitting(cell: Cell, count: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Variables, sites and the logarithm of the largest permitted drives of points that fit."""
    rng = np.random.default_rng(seed)
    x = 0.01 + 0.98 * rng.random((3000, cell.space.dimensions))
    site = rng.integers(0, len(cell.space.sites), (3000, len(cell.space.site_slots)))
    points = cell.evaluate(x, site)
    points = points.take(np.nonzero(points.excess <= 0.0)[0][:count])
    groups = drive_groups(cell.judge.rules)
    voltage = cell.judge.respond(cell.space.decode(points.x, points.site)).voltage
    logs = np.zeros((points.excess.size, int(groups.max()) + 1))
    logs[:, groups.ravel()] = np.log(voltage.reshape(points.excess.size, -1))
    return points.x, points.site, logs


def check(rules: Rules, graph: str, shape: str = "round", profile: str = "uniform", points: int = 2) -> None:
    """Levels, limits and requirements of a graph: values and slopes, by every back end."""
    reference = cell_of(rules, graph, "numpy", shape, profile)
    x, site, logs = fitting(reference, points, 5)
    assert len(x) == points
    groups, n = drive_groups(rules).ravel(), x.shape[1]

    def driven(y: np.ndarray) -> np.ndarray:
        batch = reference.space.decode(y[:, :n], site)
        voltage = np.exp(y[:, n:, None] + logs[:, groups][:, None])
        found = reference.judge.respond(batch, voltage.reshape(points, len(rules.spaces), -1))
        limits = np.where(np.isfinite(found.permitted), found.permitted, 1.0)
        parts = (found.level_db[..., None], np.log(limits))
        return np.concatenate([part.reshape(points, groups.size, -1) for part in parts], axis=2)

    def sized(y: np.ndarray) -> np.ndarray:
        return shares(reference.space.decode(y, site), rules).T

    y = np.concatenate([x, np.zeros((points, 1))], axis=1)
    expected, unsure = differences(driven, y)
    fits, unsure_fits = differences(sized, x)
    scale = np.abs(expected).max(axis=(1, 2), keepdims=True) + 1e-9
    sure = unsure < 1e-6 * scale
    assert sure.mean() > SHARP[shape], "differences must be sharp enough to tell"
    for backend in BACKENDS:
        found = slopes(cell_of(rules, graph, backend, shape, profile), x, site, logs)
        values = driven(y)
        assert found.level == pytest.approx(values[..., 0], abs=1e-8)
        room = np.where(np.isfinite(found.room), found.room + logs[:, groups][..., None], 0.0)
        assert room == pytest.approx(values[..., 1:], abs=1e-9)
        level = np.concatenate([found.d_level.transpose(0, 2, 1), found.by_drive[..., None]], axis=2)
        limited = np.isfinite(found.room)
        by_drive = np.where(limited, found.room_by_drive + 1.0, 0.0)
        limits = np.concatenate([found.d_room.transpose(0, 2, 3, 1), by_drive[..., None]], axis=3)
        off = np.abs(np.concatenate([level[:, :, None], limits], axis=2) - expected) / scale
        assert np.max(off[sure]) < 1e-6, (graph, backend, float(np.max(off[sure])))
        assert np.all(off <= 1e-6 + 10.0 * unsure / scale)
        off = np.abs(found.d_fit.transpose(0, 2, 1) + fits)
        assert np.all(off <= 1e-6 * (1.0 + np.abs(fits)) + 10.0 * unsure_fits)


@pytest.mark.parametrize("graph", GRAPHS)
def test_graphs(graph: str) -> None:
    """Up to three chambers and four ducts, diaphragms, both spaces, all limits of the demo season."""
    check(DEMO, graph)


@pytest.mark.parametrize("shape", ["round", "slot"])
@pytest.mark.parametrize("profile", ["uniform", "conical", "exponential"])
def test_ducts(shape: str, profile: str) -> None:
    """Round and slot, uniform and tapered."""
    check(DEMO, "AB/AB.Ao", shape, profile)


@pytest.mark.parametrize("drive", ["per_space", "common"])
def test_drives(drive: str) -> None:
    """One drive for several tones."""
    check(replace(DEMO, drive=drive), "AB/Ao.Bo")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "switches",
    [
        {"chambers": "line"},
        {"chambers": "lump"},
        {"wall_losses": False},
        {"duct_end_loss": False},
        {"leak_corner_hz": 8.0},
        {"chambers": "line", "leak_corner_hz": 5.0},
    ],
)
def test_switches(switches: dict[str, object]) -> None:
    """Everything that a season may switch."""
    check(replace(DEMO, physics=replace(DEMO.physics, **switches)), "AB/AB.Ao.Bo", points=1)


@pytest.mark.parametrize("kind", ["apparent", "nominal"])
@pytest.mark.parametrize("wiring", ["series", "parallel"])
def test_drivers(kind: str, wiring: str) -> None:
    """Two drivers by both wirings, and both other ways to read a clamp."""
    limits = replace(DEMO.limits, power_kind=kind)  # type: ignore[arg-type]
    rules = replace(DEMO, limits=limits, wiring=wiring)  # type: ignore[arg-type]
    check(rules, "oA.oA/Ao", points=1)


def test_objectives_of_sizes() -> None:
    """Material and outer volume."""
    cell = cell_of(DEMO, "AB/AB.Ao.Bo", "numpy", "slot", "conical")
    x, site, logs = fitting(cell, 2, 3)
    found = slopes(cell, x, site, logs, sized=True)
    for key, (value, slope) in found.sizes.items():

        def measured(y: np.ndarray, key: str = key) -> np.ndarray:
            return size_objectives(cell.space.decode(y, site), DEMO)[key]

        expected, unsure = differences(measured, x)
        assert value == pytest.approx(measured(x), rel=1e-12)
        assert np.all(np.abs(slope - expected) <= 1e-6 * np.abs(expected).max() + 10.0 * unsure)


def test_which_elements_have_formulas() -> None:
    """Tapered ducts have their slopes as integrals over small circles, all else has formulas."""
    for profile, formulas in (("uniform", True), ("conical", False), ("exponential", False)):
        cell = cell_of(DEMO, "AB/AB.Ao.Bo", "numpy", profile=profile)
        n = cell.space.dimensions
        batch = cell.space.decode(stepped(np.full((1, n), 0.4)), np.zeros((n, 3), int))
        layout = make_layout(batch, DEMO)
        assert np.all((layout.ways[:, 0] > 0) == formulas)


def test_outsides_are_kept_as_long_as_a_batch_needs_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Points whose sites are known beside points that fill the store, which is then emptied."""
    cell = cell_of(DEMO, "AB/AB.Ao.Bo", "numpy")
    x, site, logs = fitting(cell, 6, 3)
    expected = slopes(cell, x, site, logs)
    monkeypatch.setattr(linear_terms, "KEPT", 2)
    cell = cell_of(DEMO, "AB/AB.Ao.Bo", "numpy")
    slopes(cell, x[:3], site[:3], logs[:3])
    found = slopes(cell, x, site, logs)
    assert np.array_equal(found.d_level, expected.d_level)


def test_other_designs_are_refused() -> None:
    """What no search space makes has no slopes, and says so."""
    cell = cell_of(DEMO, "oA/Ao", "numpy")
    n = cell.space.dimensions
    batch = cell.space.decode(stepped(np.full((1, n), 0.4)), np.zeros((n, 2), int))
    with pytest.raises(ValueError, match="slopes are for empty chambers"):
        make_layout(replace(batch, leak=(np.full(n, 5.0),)), DEMO)
