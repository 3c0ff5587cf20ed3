"""Volumes and mouths of ducts, against the volumes of solids."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from models.design import Ducts
from models.fit import duct_air, duct_thickness, duct_volume, mouth_width, shares
from models.tapers import section_at
from models.topology import parse_graph_id
from tests.builders import Tube, lumped, make_rules, random_batch

WALL = 0.003
LENGTH = 0.3


def tapered(profile: str, slot: bool) -> Ducts:
    """A duct from 10 to 40 cm2."""
    duct = lumped(parse_graph_id("oA/Ao"), [1e-3], [Tube(area=1e-3, length=LENGTH, line=LENGTH)]).ducts[0]
    shape = {"shape": "slot", "slot_height": np.array([0.02])} if slot else {}
    return replace(duct, area_end=np.array([4e-3]), profile=profile, **shape)  # type: ignore[arg-type]


@pytest.mark.parametrize(("profile", "slot"), [("conical", False), ("exponential", False), ("conical", True)])
def test_taper_holds_the_volume_of_its_solid(profile: str, slot: bool) -> None:
    """Quadrature of the section; Simpson's rule is exact for straight sides, within 1 % for a horn."""
    duct = tapered(profile, slot)
    form = "wedge" if slot else profile

    def section(at: float) -> float:
        return float(section_at(duct.area, duct.area_end, at, form)[0])  # type: ignore[arg-type]

    def outer(at: float) -> float:
        area = section(at)
        if slot:
            return (area / 0.02 + 2 * WALL) * (0.02 + 2 * WALL)
        return np.pi * (np.sqrt(area / np.pi) + WALL) ** 2

    within = 0.01 if profile == "exponential" else 1e-9
    assert duct_air(duct)[0] == pytest.approx(quad(section, 0, 1)[0], rel=within)
    assert duct_volume(duct, WALL)[0] == pytest.approx(quad(outer, 0, 1)[0] * (LENGTH - WALL), rel=within)


def test_mouths_are_as_wide_as_their_own_ends() -> None:
    """Diameter of a disc, long side of a slot; the tube is as thick as its widest end with two walls."""
    cone, wedge = tapered("conical", False), tapered("conical", True)
    for side, area in ((0, 1e-3), (1, 4e-3)):
        assert mouth_width(cone, side)[0] == pytest.approx(np.sqrt(4 * area / np.pi))
        assert mouth_width(wedge, side)[0] == pytest.approx(area / 0.02)
    assert duct_thickness(cone, WALL)[0] == pytest.approx(np.sqrt(16e-3 / np.pi) + 2 * WALL)
    assert duct_thickness(wedge, WALL)[0] == pytest.approx(0.02 + 2 * WALL)


@pytest.mark.parametrize("seed", range(4))
def test_room_of_a_design_is_its_own_in_any_batch(seed: int) -> None:
    """Among discs, whose openings are squares in the model, and slots, which lie along a long wall."""
    rules = make_rules()
    batch = random_batch(parse_graph_id("AB/AB.Bo"), seed, n=5)
    alone = np.concatenate([shares(batch.rows(slice(i, i + 1)), rules) for i in range(batch.size)], axis=1)
    np.testing.assert_allclose(shares(batch, rules), alone, rtol=1e-12, atol=1e-12)
