"""Sentences that say where a design's levels may not be right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.design import DesignBatch, Ducts, Mouth
from models.rules import Physics
from models.topology import parse_graph_id
from models.trust import patch_distance, warnings
from tests.builders import AIR, SITES, make_rules, patch

RULES = make_rules(physics=Physics())
TONES = np.array([112.0, 248.0])


def vented(gap: float, *, across: float = 0.125, slot: float | None = None) -> DesignBatch:
    """One vented box, driver and duct on the same wall a gap apart, for two designs of which one is fine."""
    side = 0.04
    centre = np.array([[0.08, 0.04], [0.03 + side + gap, 0.04]])
    mouth = Mouth(site=np.zeros(2, dtype=int))
    duct_end = replace(patch("x-", (0.0, 0.0), (side / 2, side / 2), 2), centre=centre)
    duct = Ducts(
        name="port",
        ends=(duct_end, mouth),
        area=np.full(2, side**2),
        length=np.full(2, 0.15),
        shape="round" if slot is None else "slot",
        slot_height=None if slot is None else np.full(2, slot),
        loss_factor=np.ones(2),
    )
    sides = np.tile(np.array([0.2, across, 0.08]), (2, 1, 1))
    driver = patch("x-", (0.03, 0.04), (side / 2, side / 2), 2)
    return DesignBatch(
        topology=parse_graph_id("oA/Ao"),
        sides=sides,
        driver_ends=((mouth, driver),),
        ducts=(duct,),
        sites=SITES,
    )


def test_nothing_to_say() -> None:
    assert warnings(vented(0.02), RULES, TONES) == [[], []]


def test_patches_that_nearly_touch() -> None:
    """The sentence has the distance and the threshold; the other design stays silent."""
    quiet, said = warnings(vented(0.003), RULES, TONES)
    assert quiet == []
    assert len(said) == 1
    assert "room A: the driver and port are 3.0 mm apart, less than 4.0 mm" in said[0]


def test_patches_that_overlap() -> None:
    assert warnings(vented(-0.004), RULES, TONES)[1] == [
        "room A: the driver and port touch or overlap on the same wall"
    ]


def test_lumps_have_no_near_field_to_mistrust() -> None:
    lump = make_rules(physics=Physics(chambers="lump"))
    assert warnings(vented(0.003), lump, TONES) == [[], []]


def test_high_tones() -> None:
    """125 mm across: first mode at c/0.25 m, 1376 Hz in this air; four fifths of it are 1101 Hz."""
    first = AIR.sound_speed / 0.25
    assert warnings(vented(0.02), RULES, np.array([0.79 * first])) == [[], []]
    (said,), _ = warnings(vented(0.02), RULES, np.array([100.0, 0.81 * first]))
    assert "room A is 125 mm across" in said
    assert f"first mode there at {first:.0f} Hz" in said
    assert f"the tone at {0.81 * first:.0f} Hz" in said


def test_duct_near_its_first_mode() -> None:
    """A slot of 8 mm has 200 mm for 16 cm2 and its first mode at c/0.4 m, 860 Hz."""
    (said,), _ = warnings(vented(0.02, slot=0.008), RULES, np.array([700.0]))
    assert said.startswith(f"port has its first mode across at {AIR.sound_speed / 0.4:.0f} Hz")


@pytest.mark.parametrize(
    ("wall", "centre", "expected"),
    [
        ("x-", (0.10, 0.04), 0.03),  # 50 - 10 - 10 along y
        ("x+", (0.05, 0.04), 0.2),
        ("y-", (0.03, 0.04), np.hypot(0.02, 0.04)),  # 20 along x, 40 along y
        ("z+", (0.03, 0.05), np.hypot(0.02, 0.03)),  # 20 along x, 30 along z
    ],
)
def test_distance(wall: str, centre: tuple[float, float], expected: float) -> None:
    """On the same wall, on the facing one, and around either corner."""
    sides = np.array([[0.2, 0.125, 0.08]])
    one, two = patch("x-", (0.05, 0.04), (0.01, 0.01)), patch(wall, centre, (0.01, 0.01))
    assert patch_distance(sides, one, two) == pytest.approx(expected)
