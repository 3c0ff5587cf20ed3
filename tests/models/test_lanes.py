"""Vectors of designs in compiled code do what numbers do, and its elementary functions what numpy's do."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

pytest.importorskip("numba")

from models.jit import (  # which need numba
    SIN_HALF_TURN,
    entry_point,
    exp,
    inverse,
    inverse_root,
    log,
    round_off,
    series,
    sin_cos,
)
from models.lanes import WIDTH, any_lane, choose, load, store

ROWS = 12


@entry_point
def _algebra_of_lanes(x: np.ndarray, y: np.ndarray, out: np.ndarray) -> None:
    a, b = load(x, 0), load(y, (1, 2, 0))
    total = 0.0
    total += a
    total -= b * 2.0
    total *= a
    total /= b
    store(out, 0, total)
    store(out, 1, -a + (1.0 - b) / a)
    store(out, 2, min(a, b))
    store(out, (3, 0), max(abs(a), 0.25))
    store(out, 4, math.sqrt(abs(b)))
    store(out, 5, choose(a < b, 1.0, choose(a > 0.5, a, b)))
    store(out, 6, choose((a >= b) & ~(b == b), 1.0, 2.0))
    store(out, 7, choose((a > 0.9) | (b > 0.9), 1.0, 2.0))
    out[8, 0] = 1.0 if any_lane(a > 10.0) else 2.0
    out[8, 1] = 1.0 if any_lane(b == out[9, WIDTH - 1]) else 2.0


@entry_point
def _functions_of_lanes(x: np.ndarray, out: np.ndarray) -> None:
    for m in range(0, x.size, WIDTH):
        v = load(x, m)
        s, c = sin_cos(v)
        z = v - round_off(v * (1.0 / math.pi)) * math.pi
        store(out, (0, m), exp(v))
        store(out, (1, m), exp(-v))
        store(out, (2, m), log(v))
        store(out, (3, m), s)
        store(out, (4, m), c)
        store(out, (5, m), inverse_root(v))
        store(out, (6, m), inverse(v))
        store(out, (7, m), abs(z + z * z * z * series(SIN_HALF_TURN, z * z)))


@entry_point
def _functions_of_numbers(x: np.ndarray, out: np.ndarray) -> None:
    for m in range(x.size):
        v = x[m]
        z = v - round_off(v * (1.0 / math.pi)) * math.pi
        out[0, m], out[1, m], out[2, m] = exp(v), exp(-v), log(v)
        out[3, m], out[4, m] = sin_cos(v)
        out[5, m], out[6, m] = inverse_root(v), inverse(v)
        out[7, m] = abs(z + z * z * z * series(SIN_HALF_TURN, z * z))


def test_algebra() -> None:
    """Arithmetic, comparisons and choices, with plain numbers among them, rows with and without offset."""
    rng = np.random.default_rng(3)
    x, y, out = rng.random((2, WIDTH)), rng.normal(size=(2, 3, WIDTH)), np.zeros((ROWS, WIDTH))
    a, b = x[0], y[1, 2]
    out[9, WIDTH - 1] = b[3]
    _algebra_of_lanes(x, y, out)
    expected = (
        (a - 2.0 * b) * a / b,
        -a + (1.0 - b) / a,
        np.minimum(a, b),
        np.maximum(a, 0.25),
        np.sqrt(np.abs(b)),
        np.where(a < b, 1.0, np.where(a > 0.5, a, b)),
        np.full(WIDTH, 2.0),
        np.where((a > 0.9) | (b > 0.9), 1.0, 2.0),
    )
    assert out[:8] == pytest.approx(np.array(expected), rel=1e-13)
    assert (out[8, 0], out[8, 1]) == (2.0, 1.0)


@pytest.mark.parametrize("function", [_functions_of_lanes, _functions_of_numbers], ids=["lanes", "numbers"])
def test_functions(function: Callable[..., None]) -> None:
    """Elementary functions over several powers of ten, by numpy's; inverse roots have 13 digits."""
    x = np.exp(np.random.default_rng(4).uniform(-7.0, 5.0, 40 * WIDTH))
    out = np.zeros((8, x.size))
    function(x, out)
    for row, found in enumerate((np.exp(x), np.exp(-x), np.log(x), np.sin(x), np.cos(x))):
        assert out[row] == pytest.approx(found, rel=2e-15, abs=1e-15), row
    assert out[5] == pytest.approx(1.0 / np.sqrt(x), rel=5e-14)
    assert out[6] == pytest.approx(1.0 / x, rel=5e-14)
    assert out[7] == pytest.approx(np.abs(np.sin(x)), abs=1e-14)


def test_logarithms_at_the_ends() -> None:
    """Nothing, what is hardly more than nothing, and infinity."""
    x, out = np.full(WIDTH, 1.0), np.zeros((8, WIDTH))
    x[:3] = 0.0, 1e-300, math.inf
    with np.errstate(all="ignore"):
        _functions_of_lanes(x, out)
    assert out[2, 0] == -math.inf
    assert out[2, 1] == pytest.approx(math.log(1e-300), rel=1e-15)
    assert out[2, 2] == math.inf
    assert out[2, 3] == 0.0
