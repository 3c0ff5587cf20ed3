"""What the speed study compares agrees, its counts are plausible, and its suite runs."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from models.backend import has_compiler
from studies.dense_reference import dense_levels
from studies.evaluation_speed.cases import fitting_batch, judge, names, rules
from studies.evaluation_speed.spice import seconds_a_design

compiled = pytest.mark.skipif(not has_compiler(), reason="numba is not installed")


@pytest.mark.parametrize("name", names())
def test_all_ways_give_the_same_levels(name: str) -> None:
    """Dense algebra, numpy's elimination and compiled code, on every topology that is measured."""
    batch = fitting_batch(judge("numpy"), name, 8)
    assert 0 < batch.size <= 8
    expected = dense_levels(judge("numpy"), batch)
    for backend in ("numpy", "compiled") if has_compiler() else ("numpy",):
        found = judge(backend).respond(batch).level_db.reshape(batch.size, -1)
        assert np.max(np.abs(found - expected)) < 1e-5, backend


@compiled
def test_account() -> None:
    """Stages add up to no more than all with its packing twice over, and nothing is under its floor."""
    from studies.evaluation_speed.stages import account

    found = account(judge("compiled"), fitting_batch(judge("compiled"), "vented box", 128), 3)
    stages = found["near field"] + found["ducts and rooms"] + found["elimination and drive"]
    assert found["floor of the near field"] < found["near field"]
    assert found["floor of the near field"] + found["floor of the rest"] < found["all"]
    assert stages < 2.0 * found["all"]


@compiled
def test_growth_and_memory() -> None:
    """The cases are as many as the suite takes; memory stays in proportion to the batch."""
    from studies.evaluation_speed.cases import growing
    from studies.evaluation_speed.side_by_side import peak_memory

    cases = {label: (evaluator, batch) for label, evaluator, batch in growing(16)}
    assert len(cases) == 13
    assert cases["16 tones"][0].tones_hz.size == 16
    assert len(cases["4 spaces"][0].rules.spaces) == 4
    assert cases["batch of 64"][1].size == 64
    assert peak_memory(512) < 2.0 + 512 * 0.02


def test_circuit() -> None:
    """The circuit that one design is compared with runs."""
    seconds = seconds_a_design(rules(), 1)
    if seconds is None:
        pytest.skip("ngspice is not installed")
    assert seconds > 0.0


@compiled
def test_suite() -> None:
    """The reduced suite passes and prints a ratio to dense algebra for every topology."""
    pytest.importorskip("pytest_benchmark")
    command = [sys.executable, "-m", "studies.evaluation_speed.study", "--reduced", "-k", "rate"]
    # a process of a parallel test run says so to its children, and benchmarks are then switched off
    env = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST_XDIST")}
    done = subprocess.run(command, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    for name in names():
        row = next(line for line in done.stdout.splitlines() if line.startswith(f"{name:32s} "))
        assert float(row.split()[-1]) > 0.0
