"""Elimination over planes against numpy's dense solver."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.elimination import Planes, add, eliminate, substitute
from tests.builders import dense

SHAPE = (3, 4)


def random_system(size: int, filled: float, seed: int) -> tuple[Planes, dict[int, np.ndarray]]:
    """A sparse complex symmetric system whose real part is positive definite, as a passive network's."""
    rng = np.random.default_rng(seed)

    def plane() -> np.ndarray:
        return np.asarray(rng.normal(size=SHAPE) + 1j * rng.normal(size=SHAPE))

    planes = {(i, i): 5.0 * plane() for i in range(size)}
    for key, value in planes.items():
        planes[key] = np.abs(value.real) + size + 1j * value.imag
    for i in range(size):
        for j in range(i + 1, size):
            if rng.random() < filled:
                planes[i, j] = plane()
    right = {i: plane() for i in range(size) if rng.random() < 0.6}
    return planes, right


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    size=st.integers(1, 7), filled=st.floats(0.0, 1.0), seed=st.integers(0, 10**6), split=st.integers(0, 7)
)
def test_against_dense_solver(size: int, filled: float, seed: int, split: int) -> None:
    """In one go or in two, with absent entries and absent sources."""
    planes, right = random_system(size, filled, seed)
    source = np.zeros((*SHAPE, size), dtype=complex)
    for i, value in right.items():
        source[..., i] = value
    expected = np.linalg.solve(dense(planes, size), source[..., None])[..., 0]
    split = min(split, size)
    first = eliminate(planes, right, range(split))
    assert all(min(key) >= split for key in planes)
    second = eliminate(planes, right, range(split, size))
    assert not planes
    found: dict[int, np.ndarray] = {}
    substitute(second, found)
    substitute(first, found)
    for i in range(size):
        assert np.broadcast_to(found[i], SHAPE) == pytest.approx(expected[..., i], rel=1e-9, abs=1e-12)


def test_add_keeps_one_half() -> None:
    """Entries above and below the diagonal are one and the same."""
    planes: Planes = {}
    add(planes, 2, 1, np.array([1.0]))
    add(planes, 1, 2, np.array([2.0]))
    assert list(planes) == [(1, 2)]
    assert planes[1, 2][0] == 3.0


def test_add_leaves_what_was_added_alone() -> None:
    """Adding to an entry does not write into the plane that was added first."""
    plane = np.array([1.0])
    planes: Planes = {}
    add(planes, 0, 0, plane)
    add(planes, 0, 0, np.array([5.0]))
    assert plane[0] == 1.0
