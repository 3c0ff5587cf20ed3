"""The speed study in reduced form: what it compares agrees, and its counts are plausible."""

from __future__ import annotations

import pytest

from models.backend import has_compiler
from models.score import Judge
from optimizer.season import load_season
from studies.evaluation_speed.growth import growth, peak_memory
from studies.evaluation_speed.spice import seconds_a_design
from studies.evaluation_speed.study import CONFIG, THREE_CHAMBERS, account, compare


def test_all_ways_give_the_same_levels() -> None:
    """Dense algebra, numpy's elimination and compiled code, on every topology that is measured."""
    rows = compare(8, 1)
    assert len(rows) >= 8
    assert rows[-1].name == THREE_CHAMBERS
    for row in rows:
        assert 0 < row.size <= 8, row.name
        assert row.difference_db < 1e-5, row.name
        assert min(row.numpy, row.dense) > 0.0
        assert (row.compiled is not None) == has_compiler()


@pytest.mark.skipif(not has_compiler(), reason="numba is not installed")
def test_account() -> None:
    """Stages add up to no more than all with its packing twice over, and nothing is under its floor."""
    found = account(128, 3)
    stages = found["near field"] + found["ducts and rooms"] + found["elimination and drive"]
    assert found["floor of the near field"] < found["near field"]
    assert found["floor of the near field"] + found["floor of the rest"] < found["all"]
    assert stages < 2.0 * found["all"]


def test_growth() -> None:
    """More chambers and more tones take more time; memory stays in proportion to the batch."""
    rules = load_season(CONFIG).rules
    rows = dict(growth(rules, 64, 2))
    assert rows["three chambers"] > rows["one chamber"]
    assert rows["16 tones"] > rows["4 tones"]
    assert peak_memory(rules, 512) < 2.0 + 512 * 0.02
    assert Judge(rules).tones_hz.size == 4


def test_circuit() -> None:
    """The circuit that one design is compared with runs."""
    seconds = seconds_a_design(load_season(CONFIG).rules, 1)
    if seconds is None:
        pytest.skip("ngspice is not installed")
    assert seconds > 0.0
