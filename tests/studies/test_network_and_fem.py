"""The reduced comparison of network and finite elements, and the finite elements' own checks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from models.air_response import graded_lines
from models.plan_comparison import EVEN_PRESSURE
from studies.network_and_fem.pairs import even_pressure, pair_table
from studies.network_and_fem.solid import solve_solid
from studies.network_and_fem.study import bend_table, main

TUBE = (((0.0, 0.0, 0.0), (0.3, 0.04, 0.04)), ((0.3, 0.0, 0.0), (0.5, 0.04, 0.04)))
ENDS = (((0.0, 0.0, 0.0), (0.0, 0.04, 0.04)), ((0.5, 0.0, 0.0), (0.5, 0.04, 0.04)))


def test_network_agrees(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four cases on coarse grids: medians under 0.1 dB, worst under 0.5 dB, resonances within 0.3 %."""
    rows = main(["--reduced", "--out", str(tmp_path)])
    assert len(rows) == 4
    for row in rows:
        for median, worst in (row.impedance_db, row.transfer_db):
            assert 0.0 < median < 0.1, row.name
            assert median <= worst < 0.5, row.name
        assert row.shift_percent < 0.3, row.name
    assert (tmp_path / "network_and_fem.png").stat().st_size > 10_000
    assert "| all terms |" in capsys.readouterr().out


def test_bends_agree() -> None:
    """Squares of plane bends, folds and pairs of them by finite elements against the forms, to 0.01."""
    for name, squares, form in [*bend_table(0.06), *pair_table(0.1)]:
        assert form == pytest.approx(squares, abs=0.01), name


def test_one_pressure_in_a_turned_mouth() -> None:
    """What the comparison of plans gives back, for walls of 3 mm and channels of 15 to 60 mm: to 0.06."""
    for wall in (0.05, 0.1, 0.2):
        assert even_pressure(wall, 0.05) == pytest.approx(EVEN_PRESSURE, abs=0.06), wall


def test_straight_tube_is_a_line() -> None:
    """Finite elements of a straight tube: -cot(kL)/(kS), -1/(kS sin kL), and modes at n pi/L."""
    k = 2.0 * np.pi * np.array([50.0, 200.0, 400.0]) / 344.0
    response = solve_solid(TUBE, ENDS, step=0.025, finest=0.02)
    z = response.impedance(k)
    assert z[:, 0, 0] == pytest.approx(-1.0 / (np.tan(0.5 * k) * k * 0.0016), rel=1e-3)
    assert z[:, 0, 1] == pytest.approx(-1.0 / (np.sin(0.5 * k) * k * 0.0016), rel=1e-3)
    assert response.wavenumbers()[1:3] * 0.5 / np.pi == pytest.approx([1.0, 2.0], rel=1e-3)


def test_graded_lines_pass_through_every_mark() -> None:
    """Cells grow from marks, none larger than the step nor, beside a mark, than the finest."""
    marks = np.array([0.0, 0.2, 0.1, 0.13])
    lines = graded_lines(marks, 0.025, 0.005)
    cells = np.diff(lines)
    assert all(np.min(np.abs(lines - mark)) < 1e-12 for mark in marks)
    assert np.all(cells > 0.0)
    assert np.max(cells) <= 0.025 + 1e-12
    for mark in marks:
        at = int(np.argmin(np.abs(lines - mark)))
        assert np.all(cells[max(at - 1, 0) : at + 1] <= 0.005 + 1e-12)


def test_patch_off_the_air_is_refused() -> None:
    with pytest.raises(ValueError, match="does not lie on the air"):
        solve_solid(TUBE[:1], [((0.3, 0.0, 0.0), (0.3, 0.05, 0.04))], step=0.025, finest=0.02)
