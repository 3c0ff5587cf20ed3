"""Leaks, duct lengths and the driver's drift from a built box's impedance: known truth, noise, a circuit."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.box_fit import GROUPS, changed, fit_box
from models.catalogue import named_topology
from models.impedance_peak import Sweep
from models.rules import Physics
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import PLAIN, Tube, lumped, make_rules, random_batch, worked_driver
from tests.sweeps import noisy

HZ = np.geomspace(8.0, 120.0, 60)
TRUTH = [("leak", 0, 1.5), ("length", 0, 1.1), ("compliance", 0, 0.9), ("coil", 0, 1.04), ("loss", 0, 1.3)]


def vented():
    """A vented box of the worked driver, in lumps, with a true line as its duct."""
    return lumped(named_topology("vented box"), [0.06], [Tube(area=0.008, length=0.43, line=0.36)])


def sweep_of(rules, batch, voltage: float = 0.1) -> Sweep:
    return Sweep(hz=HZ, impedance=Judge(rules, HZ, backend="numpy").respond(batch, voltage).impedance[0, 0])


def test_known_truth_comes_back() -> None:
    rules, batch = make_rules(physics=PLAIN), vented()
    fit = fit_box(rules, batch, sweep_of(*changed(rules, batch, TRUTH)), 0.1, GROUPS)
    assert [(c.group, c.index) for c in fit.changes] == [(g, i) for g, i, _ in TRUTH]
    assert [c.value for c in fit.changes] == pytest.approx([v for _, _, v in TRUTH], rel=1e-5)
    assert fit.scatter < 1e-6 < 0.02 < fit.scatter_before


def test_uncertainties_are_those_of_repeated_sweeps() -> None:
    """24 noisy sweeps: deviations in stated uncertainties have mean 0 and spread 1, roughly."""
    rules, batch = make_rules(physics=PLAIN), vented()
    clean = sweep_of(*changed(rules, batch, TRUTH[:4]))
    scores = []
    for seed in range(24):
        fit = fit_box(rules, batch, noisy(clean, np.random.default_rng(seed), relative=0.01), 0.1)
        scores.append([(c.value - t[2]) / c.uncertainty for c, t in zip(fit.changes, TRUTH, strict=False)])
    assert np.shape(scores) == (24, 4)
    assert np.all(np.abs(np.mean(scores, axis=0)) < 4.0 / np.sqrt(24))
    assert np.all((np.std(scores, axis=0) > 0.5) & (np.std(scores, axis=0) < 1.6))


def test_rooms_with_two_leaks() -> None:
    """The full model of a fourth-order bandpass: each chamber's own leak is told apart."""
    rules, batch = make_rules(physics=Physics()), random_batch(parse_graph_id("AB/Ao"), 5, 1)
    truth = [("leak", 0, 2.0), ("leak", 1, 5.0), ("length", 0, 0.95)]
    fit = fit_box(rules, batch, sweep_of(*changed(rules, batch, truth)), 0.1, ("leak", "length"))
    assert [c.value for c in fit.changes] == pytest.approx([v for _, _, v in truth], rel=1e-4)


def test_equal_leaks_are_the_season_s_leak() -> None:
    """A chamber's own leak is the one that a season can set, in the level-dependent solution as well."""
    batch = random_batch(parse_graph_id("AB/AB.Ao"), 3, 1)
    season = make_rules(physics=Physics(leak_corner_hz=4.0))
    own = replace(batch, leak=(np.full(1, 4.0), np.full(1, 4.0)))
    one = Judge(season, backend="numpy").respond(batch)
    for backend in ("numpy", "compiled"):
        if backend == "compiled":
            pytest.importorskip("numba")
        two = Judge(make_rules(physics=Physics()), backend=backend).respond(own)
        assert two.level_db == pytest.approx(one.level_db, abs=1e-8)
        assert two.voltage == pytest.approx(one.voltage, rel=1e-8)


def test_nothing_to_fit_is_said() -> None:
    closed = lumped(named_topology("closed box"), [0.06])
    rules = make_rules(physics=PLAIN)
    with pytest.raises(ValueError, match="nothing to fit"):
        fit_box(rules, closed, sweep_of(rules, closed), 0.1, ("length",))
    with pytest.raises(ValueError, match="3 points are too few for 3 quantities"):
        short = sweep_of(rules, closed)
        fit_box(rules, closed, Sweep(hz=short.hz[:3], impedance=short.impedance[:3]), 0.1)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_leak_and_tube_of_a_circuit(tmp_path: Path) -> None:
    """A circuit with a leak of 2 Hz and a tube 8 % longer than drawn, solved by ngspice."""
    from tests.models.test_ngspice import LEAK_CORNER, netlist, solve

    driver = worked_driver(le_mh=0.9)
    drawn = Tube(area=0.008, length=0.43, line=0.36)
    true = Tube(area=0.008, length=0.43 + 0.08 * 0.36, line=1.08 * 0.36)
    batch, output = vented(), tmp_path / "currents.txt"
    hz, currents = solve(netlist(batch, [true], [], output), tmp_path, output)
    assert drawn.line == pytest.approx(float(batch.ducts[0].length[0]))
    rules = make_rules(driver=driver, physics=PLAIN)
    fit = fit_box(rules, batch, Sweep(hz=hz, impedance=-1.0 / currents[0]), 1.0, GROUPS[:4])
    assert [c.value for c in fit.changes] == pytest.approx([LEAK_CORNER, 1.08, 1.0, 1.0], rel=1e-4)
