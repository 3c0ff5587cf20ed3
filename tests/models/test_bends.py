"""Corrections of bends: known values, limits, and what they do in a duct."""

from __future__ import annotations

import numpy as np
import pytest

from models.bends import fold_correction, mitred_bend_correction, smooth_bend_correction
from models.ducts import duct_impedances
from tests.builders import AIR


def test_corner_square_is_the_one_of_sheet_resistances() -> None:
    """A right-angled corner of equal widths counts as 0.559 squares (thin-film resistors, from memory)."""
    assert 1.0 + mitred_bend_correction(1.0) == pytest.approx(0.559, abs=5e-4)


@pytest.mark.parametrize(
    ("ratio", "share"), [(1.5, 0.98652), (2.0, 0.96180), (3.0, 0.91024), (5.0, 0.82845), (9.0, 0.72819)]
)
def test_smooth_bend(ratio: float, share: float) -> None:
    """Inertance over that of the centre line for velocities like 1/r: (ro-ri)/(rm ln(ro/ri)), computed."""
    inner, outer, angle = 0.02, 0.02 * ratio, 1.2
    radius = 0.5 * (inner + outer)
    correction = smooth_bend_correction(outer - inner, radius, angle)
    assert 1.0 + correction / (radius * angle) == pytest.approx(share, abs=5e-6)


def test_smooth_bend_needs_room_to_turn() -> None:
    with pytest.raises(ValueError, match=r"radius 0.02 m is not more than half the width, 0.04 m"):
        smooth_bend_correction(0.04, 0.02, 1.0)


def test_corner_of_unequal_widths_is_the_same_from_either_side() -> None:
    """In squares, the corner does not know which leg is the first."""
    a, b = 0.05, np.array([0.01, 0.03, 0.05, 0.2])
    assert mitred_bend_correction(a, b) / a == pytest.approx(mitred_bend_correction(b, a) / b, rel=1e-12)


def test_thick_partition_parts_a_fold_into_two_corners() -> None:
    assert fold_correction(0.04, 0.03, 0.5) == pytest.approx(
        2.0 * 0.04 * (mitred_bend_correction(0.04, 0.03) / 0.04 + 0.5 * (0.75 + 1.0 / 0.75))
        + 0.5 * 0.04 / 0.03
        - (0.03 + 0.5 + 0.04),
        rel=1e-9,
    )


def test_thin_partition() -> None:
    """Without thickness, gap of a width: 2 - (4/pi) ln sinh(pi/2) squares, computed from the map."""
    squares = fold_correction(1.0, 1.0, 1e-12) + 2.0
    assert squares == pytest.approx(2.0 * (1.0 - 2.0 / np.pi * np.log(np.sinh(np.pi / 2.0))), abs=1e-8)


@pytest.mark.parametrize("taper", [None, 0.003])
def test_bend_takes_inertance_off_and_leaves_the_volume(taper: float | None) -> None:
    """At low frequency a duct with bends has the inertance of less length, and the stiffness of all of it."""
    omega, area, length = np.array([2.0]), np.array([[0.002]]), np.array([[0.4]])
    end = None if taper is None else np.array([[taper]])
    at, correction = np.array([[0.1]]), np.array([[-0.03]])
    plain = duct_impedances(omega, area, length, AIR, area_end=end, lossy=False)
    bent = duct_impedances(omega, area, length, AIR, area_end=end, bends=[(at, correction)], lossy=False)

    def inertance(z: tuple[np.ndarray, np.ndarray, np.ndarray]) -> float:
        return float(((z[0] - z[1] ** 2 / z[2]) / (1j * omega * AIR.density)).real[0, 0])

    section = 0.002 if taper is None else (np.sqrt(0.002) * 0.75 + np.sqrt(taper) * 0.25) ** 2
    assert inertance(bent) - inertance(plain) == pytest.approx(-0.03 / section, rel=1e-5)
    assert bent[1] == pytest.approx(plain[1], rel=1e-5)


def test_bends_stand_at_their_places() -> None:
    """Two bends in a lossless duct: the product of the chain matrices of its parts."""
    omega, area, length = np.array([1800.0]), np.array([[0.0015]]), np.array([[0.5]])
    k, z0 = omega[0] / AIR.sound_speed, AIR.density * AIR.sound_speed / 0.0015

    def line(part: float) -> np.ndarray:
        return np.array(
            [[np.cos(k * part), 1j * z0 * np.sin(k * part)], [1j * np.sin(k * part) / z0, np.cos(k * part)]]
        )

    def bend(correction: float) -> np.ndarray:
        return np.array([[1.0, 1j * k * z0 * correction], [0.0, 1.0]])

    chain = line(0.1) @ bend(-0.02) @ line(0.25) @ bend(-0.03) @ line(0.15)
    pairs = [(np.array([[0.1]]), np.array([[-0.02]])), (np.array([[0.35]]), np.array([[-0.03]]))]
    z11, z12, z22 = duct_impedances(omega, area, length, AIR, bends=pairs, lossy=False)
    assert z11[0, 0] == pytest.approx(chain[0, 0] / chain[1, 0], rel=1e-9)
    assert z12[0, 0] == pytest.approx(1.0 / chain[1, 0], rel=1e-9)
    assert z22[0, 0] == pytest.approx(chain[1, 1] / chain[1, 0], rel=1e-9)
