"""Weightings and permitted times against printed tables."""

from __future__ import annotations

import numpy as np
import pytest

from models.exposure import (
    EUROPE_PEAK_DBC,
    a_weighting_db,
    c_weighting_db,
    europe_seconds,
    niosh_seconds,
    peak_dbc,
)

WEIGHTINGS = {
    -20: (-70.4, -14.3), -19: (-63.4, -11.2), -18: (-56.7, -8.5), -17: (-50.5, -6.2), -16: (-44.7, -4.4),
    -15: (-39.4, -3.0), -14: (-34.6, -2.0), -13: (-30.2, -1.3), -12: (-26.2, -0.8), -11: (-22.5, -0.5),
    -10: (-19.1, -0.3), -9: (-16.1, -0.2), -8: (-13.4, -0.1), -7: (-10.9, 0.0), -6: (-8.6, 0.0),
    -5: (-6.6, 0.0), -4: (-4.8, 0.0), -3: (-3.2, 0.0), -2: (-1.9, 0.0), -1: (-0.8, 0.0), 0: (0.0, 0.0),
    1: (0.6, 0.0), 2: (1.0, -0.1), 3: (1.2, -0.2), 4: (1.3, -0.3), 5: (1.2, -0.5), 6: (1.0, -0.8),
}  # fmt: skip
"""A and C of IEC 61672-1, table 3, at 1000 Hz 10^(n/10), by n, dB; from memory."""


def test_weightings_of_iec_61672() -> None:
    """Every nominal value from 10 Hz to 4 kHz, digits printed."""
    hz = 1000.0 * 10.0 ** (np.array(list(WEIGHTINGS)) / 10.0)
    table = np.array(list(WEIGHTINGS.values()))
    assert a_weighting_db(hz) == pytest.approx(table[:, 0], abs=0.0501)
    assert c_weighting_db(hz) == pytest.approx(table[:, 1], abs=0.0501)


NIOSH_TABLE = {
    80: (25, 24, 0), 82: (16, 0, 0), 84: (10, 5, 0), 85: (8, 0, 0), 86: (6, 21, 0), 88: (4, 0, 0),
    90: (2, 31, 0), 91: (2, 0, 0), 94: (1, 0, 0), 95: (0, 47, 37), 97: (0, 30, 0), 98: (0, 23, 49),
    100: (0, 15, 0), 101: (0, 11, 54), 103: (0, 7, 30), 105: (0, 4, 43), 106: (0, 3, 45),
    109: (0, 1, 53), 110: (0, 1, 29), 112: (0, 0, 56), 115: (0, 0, 28), 118: (0, 0, 14), 120: (0, 0, 9),
    124: (0, 0, 3),
}  # fmt: skip
"""NIOSH 98-126, table 1-1: level in dB(A) to hours, minutes, seconds; from memory.

99 dB(A) is left out: the table is remembered as 18 min 59 s, while the formula printed beside it gives 18 min
54 s."""


def test_times_of_niosh_table_1_1() -> None:
    """Level and duration, cut to the digits printed: minutes from an hour on, or seconds."""
    for level, (hours, minutes, seconds) in NIOSH_TABLE.items():
        printed = 3600.0 * hours + 60.0 * minutes + seconds
        step = 60.0 if level <= 94 else 1.0
        assert abs(float(niosh_seconds(np.array(level))) - printed) < step, level


def test_limits_of_the_directive() -> None:
    """87 dB(A) over eight hours; ten times the energy for a tenth of the time; 200 Pa is 140 dB."""
    assert europe_seconds(np.array([87.0, 97.0, 117.0])) == pytest.approx([28800.0, 2880.0, 28.8])
    assert 20.0 * np.log10(200.0 / 20e-6) == pytest.approx(EUROPE_PEAK_DBC)


def test_peak_of_a_sine() -> None:
    """200 Pa at peak and 1 kHz is 141.4 Pa rms, 136.99 dB."""
    level = 20.0 * np.log10(200.0 / np.sqrt(2.0) / 20e-6)
    assert peak_dbc(np.array(level), np.array(1000.0)) == pytest.approx(140.0, abs=1e-9)
