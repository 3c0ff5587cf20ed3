"""Complex numbers side by side, rows of eight and new arrays in compiled code, against numpy."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("numba")

from models.arrays import empty, whole, zeros  # which need numba
from models.complex_lanes import get, join, pick, put
from models.jit import entry_point
from models.kernel_records import FEW
from models.lanes import any_lane, choose, load_few, store, total


@entry_point
def _algebra(x: np.ndarray, y: np.ndarray, out: np.ndarray, rows: np.ndarray) -> None:
    a, b, r = get(x, 0), get(x, (1, 0, 0)), load_few(y, (1, 0))
    c = 1j * a / (2.0 - b) * r + 3.0 - 1.0 / a
    c += r * b
    c -= r
    c *= b
    c /= a + 0.5j
    put(out, 0, c)
    put(out, 1, pick(a.real > b.real, -a, 0.5 + 1j))
    put(out, 2, join(a.imag, r))
    put(out, 3, 2.0)
    store(rows, 0, choose(r > 0.5, r, 0.0))
    rows[1, 0] = total(r)
    rows[1, 1] = 1.0 if any_lane(r > 10.0) else 2.0
    rows[1, 2] = 1.0 if any_lane(r == rows[2, 0]) else 2.0


@entry_point
def _made(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    a, b, c = empty((n, 3)), zeros((2, n, 4)), whole((n,))
    for i in range(n):
        a[i, 0], a[i, 1], a[i, 2] = 1.0, 2.0, float(i)
        c[i] += i
    b[1, n - 1, 3] += 5.0
    return a, b, c


def test_algebra() -> None:
    """Arithmetic of complex, real and plain numbers, choices, and what a row of eight adds up to."""
    rng = np.random.default_rng(5)
    x, y = rng.normal(size=(2, 2, FEW)), rng.random((2, FEW))
    out, rows = np.zeros((4, 2, FEW)), np.zeros((3, FEW))
    (a, b), r = x[:, 0] + 1j * x[:, 1], y[1]
    rows[2, 0] = r[FEW - 1]
    _algebra(x, y, out, rows)
    found = out[:, 0] + 1j * out[:, 1]
    c = (1j * a / (2.0 - b) * r + 3.0 - 1.0 / a + r * b - r) * b / (a + 0.5j)
    assert found[0] == pytest.approx(c, rel=1e-12)
    assert found[1] == pytest.approx(np.where(a.real > b.real, -a, 0.5 + 1j), rel=1e-15)
    assert found[2] == pytest.approx(a.imag + 1j * r, rel=1e-15)
    assert found[3] == pytest.approx(2.0 + 0j)
    assert rows[0] == pytest.approx(np.where(r > 0.5, r, 0.0))
    assert rows[1, :3] == pytest.approx([r.sum(), 2.0, 1.0])


def test_new_arrays() -> None:
    """Shapes, steps, owners and contents of arrays that compiled code makes."""
    a, b, c = _made(5)
    assert (a.shape, b.shape, c.shape) == ((5, 3), (2, 5, 4), (5,))
    assert (a.strides, b.strides, c.dtype) == ((24, 8), (160, 32, 8), np.int64)
    assert a.tolist() == [[1.0, 2.0, float(i)] for i in range(5)]
    assert (b[1, 4, 3], b.sum(), c.tolist()) == (5.0, 5.0, [0, 1, 2, 3, 4])
    assert all(one.ctypes.data % 64 == 0 for one in (a, b, c))
