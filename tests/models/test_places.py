"""Default places of connections on chamber walls."""

from __future__ import annotations

import numpy as np
import pytest

from models.places import default_patch, line_axis

SIDES = np.array([[0.30, 0.20, 0.10], [0.40, 0.10, 0.25]])
AREA = np.array([0.0009, 0.0004])


def test_end_walls_without_a_place() -> None:
    """First connection low, later ones high, both centred."""
    first, later = default_patch(SIDES, 0, None, AREA), default_patch(SIDES, 3, None, AREA)
    assert (first.wall, later.wall) == ("x-", "x+")
    assert first.centre == pytest.approx(np.array([[0.10, 0.05], [0.05, 0.125]]))
    assert first.half == pytest.approx(np.array([[0.015, 0.015], [0.01, 0.01]]))


@pytest.mark.parametrize(("order", "wall"), [(0, "y-"), (1, "y+"), (2, "z-"), (3, "z+"), (4, "y-")])
def test_side_walls_in_turn(order: int, wall: str) -> None:
    """A place between the ends lies on a side wall, centred across."""
    patch = default_patch(SIDES, order, np.array([0.25, 0.5]), AREA)
    across = 2 if wall[0] == "y" else 1
    assert patch.wall == wall
    assert patch.centre[:, 0] == pytest.approx([0.075, 0.2])
    assert patch.centre[:, 1] == pytest.approx(SIDES[:, across] / 2.0)


def test_ends_by_exact_place() -> None:
    """0 and 1 are the end walls; a place near the end moves inward until the patch stays on the wall."""
    assert default_patch(SIDES, 2, np.zeros(2), AREA).wall == "x-"
    assert default_patch(SIDES, 0, np.ones(2), AREA).wall == "x+"
    near = default_patch(SIDES, 0, np.array([1e-6, 1.0 - 1e-6]), AREA)
    assert near.centre[:, 0] == pytest.approx([0.015, 0.39])


def test_slot_lies_along_the_longer_side_of_its_wall() -> None:
    """Width over height is 4 by default; the first row's wall is longer in y, the second's in z."""
    patch = default_patch(SIDES, 0, None, AREA, shape="slot")
    assert patch.half == pytest.approx(np.array([[0.03, 0.0075], [0.005, 0.02]]))
    given = default_patch(SIDES, 0, None, AREA, shape="slot", slot_height=np.array([0.01, 0.01]))
    assert given.half == pytest.approx(np.array([[0.045, 0.005], [0.005, 0.02]]))


def test_patch_larger_than_its_wall_is_clipped() -> None:
    """It covers the wall and no more."""
    patch = default_patch(SIDES, 0, np.array([0.1, 0.9]), np.array([1.0, 1.0]))
    assert patch.half == pytest.approx(SIDES[:, [0, 2]] / 2.0)
    assert patch.centre == pytest.approx(SIDES[:, [0, 2]] / 2.0)


def test_batch_equals_single_designs() -> None:
    """One design alone gives the same patch as in a batch."""
    at = np.array([0.3, 0.9])
    both = default_patch(SIDES, 1, at, AREA, shape="slot")
    for i in range(2):
        one = default_patch(SIDES[i : i + 1], 1, at[i : i + 1], AREA[i : i + 1], shape="slot")
        assert np.array_equal(one.centre[0], both.centre[i])
        assert np.array_equal(one.half[0], both.half[i])


def test_line_axis() -> None:
    """Ties go to the first axis; a batch with different longest axes is a wrong call."""
    assert line_axis(np.array([[0.1, 0.1, 0.1]])) == 0
    assert line_axis(np.array([[0.1, 0.2, 0.2]])) == 1
    with pytest.raises(ValueError, match="not x, z"):
        line_axis(np.array([[0.2, 0.1, 0.1], [0.1, 0.1, 0.2]]))


@pytest.mark.parametrize("at", [[0.0, 0.5], [0.5, 1.0], [-0.1, 0.5], [np.nan, 0.5]])
def test_mixed_or_impossible_places(at: list[float]) -> None:
    """One wall for the whole batch."""
    with pytest.raises(ValueError, match=r"mixes the place|must be 0 to 1"):
        default_patch(SIDES, 0, np.array(at), AREA)
