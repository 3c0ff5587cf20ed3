"""What the near field loses where the velocity across a duct's end gives way, and its third sum."""

from __future__ import annotations

import numpy as np
import pytest

from models.design import Patch
from models.near_field import near_field
from models.radiation import ORIFICE, PROFILE, profile_factor
from tests.builders import patch

SIDES = np.array([[0.20, 0.125, 0.08]])
DRIVER = patch("y-", (0.165, 0.040), (0.023, 0.023))
DUCT = patch("x+", (0.022, 0.040), (0.022, 0.030))


ALONG = patch("y+", (0.090, 0.040), (0.030, 0.020))


def in_halves(duct: Patch) -> list[Patch]:
    """Two halves of a duct's end along the first axis of its wall."""
    half = duct.half * np.array([0.5, 1.0])
    shift = np.array([half[0, 0], 0.0])
    return [Patch(wall=duct.wall, centre=duct.centre + sign * shift, half=half) for sign in (-1.0, 1.0)]


def line_sum(one: Patch, two: Patch) -> float:
    """Sum of e psi psi/k_n^2 over V of the line's own modes, along x, at low frequency [1/m]."""
    order = np.arange(1, 200)

    def averages(of: Patch) -> np.ndarray:
        if of.wall == "x+":
            return np.asarray((-1.0) ** order)
        x = of.centre[0, 0] + of.half[0, 0] * (2.0 * (np.arange(400) + 0.5) / 400.0 - 1.0)
        return np.asarray(np.cos(np.pi * order[:, None] * x / 0.2).mean(axis=1))

    return float(np.sum(2.0 * averages(one) * averages(two) * (0.2 / (np.pi * order)) ** 2) / np.prod(SIDES))


@pytest.mark.parametrize("duct", [DUCT, ALONG])
def test_against_two_halves_of_the_duct(duct: Patch) -> None:
    """Each half with its own even velocity: a step in place of the cosine, with all odd modes of the duct.

    The step's inertance in the duct is (a/S) (8/pi^3) sum of 1/p^3 over odd p, computed. A step has 90 %
    of a cosine's amplitude in the first odd mode, so that the two agree roughly. The duct along the line
    is driven by the line's own modes, too.
    """
    ends = [DRIVER, *in_halves(duct)]
    stiff = near_field(SIDES, ends, 0)[0][0]
    stiff = stiff + np.array([[line_sum(p, q) for q in ends] for p in ends])
    turn = np.array([[1.0, 0.0, 0.0], [0.0, 0.5, 0.5], [0.0, 0.5, -0.5]])
    m = turn @ stiff @ turn.T
    odd = np.sum(1.0 / np.arange(1, 99, 2) ** 3)
    own = m[2, 2] + 8.0 / np.pi**3 * odd / (2.0 * duct.half[0, 1])
    by_halves = np.outer(m[:2, 2], m[:2, 2]) / own
    rigid = near_field(SIDES, [DRIVER, duct], 0)[0][0]
    taken = rigid - near_field(SIDES, [DRIVER, duct], 0, [1])[0][0]
    assert np.max(taken) > 2e-3 * np.max(rigid)
    assert taken == pytest.approx(by_halves, rel=0.2)


def test_nothing_is_taken_where_all_is_symmetric() -> None:
    """A duct in the middle of a wall opposite to a driver in the middle has no odd velocity."""
    pair = [patch("x-", (0.0625, 0.04), (0.02, 0.02)), patch("x+", (0.0625, 0.04), (0.02, 0.02))]
    rigid, yielding = (near_field(SIDES, pair, 0, ducts)[0] for ducts in ((), (1,)))
    assert yielding == pytest.approx(rigid, rel=1e-9)


def test_two_ducts_around_a_corner_stay_symmetric_and_positive() -> None:
    """M of two ducts' ends and a driver keeps its symmetry and stores energy."""
    other = patch("z+", (0.17, 0.03), (0.02, 0.02))
    m = near_field(SIDES, [DRIVER, DUCT, other], 0, [1, 2])[0][0]
    assert m == pytest.approx(m.T, rel=1e-12)
    assert np.linalg.eigvalsh(m)[0] > 0.0


@pytest.mark.parametrize("line", [0, 1, 2])
def test_third_sum(line: int) -> None:
    """P against the plain sum of e psi psi/k_n^6 with more modes, to 0.5 % of the self terms."""
    orders = np.arange(16)

    def averages(one: Patch) -> list[np.ndarray]:
        if one is DRIVER:
            walls = (0.165, 0.023, 0.2), None, (0.040, 0.023, 0.08)
        else:
            walls = None, (0.022, 0.022, 0.125), (0.040, 0.030, 0.08)
        result = []
        for axis, wall in enumerate(walls):
            if wall is None:
                result.append(np.ones(16) if one is DRIVER else (-1.0) ** orders)
            else:
                at, half, side = wall
                x = at + half * (2.0 * (np.arange(200) + 0.5) / 200.0 - 1.0)
                result.append(np.cos(np.pi * orders[:, None] * x / side).mean(axis=1))
            assert result[axis].shape == (16,)
        return result

    e = np.where(orders == 0, 1.0, 2.0)
    x, y, z = ((np.pi * orders / side) ** 2 for side in SIDES[0])
    square = x[:, None, None] + y[None, :, None] + z
    along: list[slice | int] = [0, 0, 0]
    along[line] = slice(None)
    square[tuple(along)] = np.inf
    sums = np.empty((2, 2))
    for i, one in enumerate((DRIVER, DUCT)):
        for j, two in enumerate((DRIVER, DUCT)):
            p, q, r = (e * a * b for a, b in zip(averages(one), averages(two), strict=True))
            sums[i, j] = np.einsum("i,j,k,ijk->", p, q, r, 1.0 / square**3, optimize=True)
    sums /= np.prod(SIDES)
    found = near_field(SIDES, [DRIVER, DUCT], line)[2][0]
    assert np.max(np.abs(found - sums)) < 5e-3 * np.max(np.abs(sums))


def test_profile_of_holes_and_of_long_ducts() -> None:
    """A hole has inertance density/(2 radius) (Rayleigh, from memory), a long duct the flanged length."""
    area = np.array([1e-3])
    assert profile_factor(np.zeros(1), area) == pytest.approx(ORIFICE)
    assert pytest.approx(np.pi / 4.0) == ORIFICE * 8.0 / (3.0 * np.pi)
    assert profile_factor(np.array([0.2]), area) == pytest.approx(PROFILE, rel=1e-6)
    assert np.all(np.diff(profile_factor(np.linspace(0.0, 0.1, 20), area)) > 0.0)
