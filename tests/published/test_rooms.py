"""Chambers against the modal sum of the literature, and the line and lump that they tend to.

P. M. Morse, K. U. Ingard, Theoretical Acoustics (1968), and H. Kuttruff, Room Acoustics: pressure per
volume velocity in a rigid room is j w rho c^2/V times the sum of e psi psi/(w_n^2 - w^2) (from memory).
The sum is taken with the finite frequency, term by term.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.design import Patch
from models.envelope import in_plane_axes, wall_axis
from models.rooms import line_axis, room_impedance
from models.rules import Physics
from tests.builders import AIR, patch

SIDES = np.array([[0.5, 0.32, 0.25]])
VOLUME = np.prod(SIDES, axis=1)
LOSSLESS = Physics(wall_losses=False)
PATCHES = {
    "end": patch("x-", (0.12, 0.10), (0.05, 0.03)),
    "same end": patch("x-", (0.22, 0.15), (0.04, 0.05)),
    "far end": patch("x+", (0.20, 0.12), (0.06, 0.05)),
    "side": patch("y+", (0.15, 0.10), (0.05, 0.04)),
    "same side": patch("y+", (0.33, 0.10), (0.05, 0.04)),
    "opposite side": patch("y-", (0.30, 0.12), (0.06, 0.04)),
    "top": patch("z+", (0.35, 0.10), (0.05, 0.04)),
}
NAMES = list(PATCHES)


def modal_sum(one: Patch, two: Patch, k: float, orders: list[int]) -> float:
    """Sum of e psi psi/(k_n^2 - k^2) over V [1/m]."""

    def shape(of: Patch, axis: int) -> np.ndarray:
        m = np.arange(orders[axis])
        if axis == wall_axis(of.wall):
            return np.asarray((-1.0) ** m if of.wall[1] == "+" else np.ones(m.size))
        column = in_plane_axes(of.wall).index(axis)
        place, half = of.centre[0, column] / SIDES[0, axis], of.half[0, column] / SIDES[0, axis]
        return np.asarray(np.cos(np.pi * m * place) * np.sinc(m * half))

    weight = [shape(one, a) * shape(two, a) * np.where(np.arange(orders[a]) == 0, 1.0, 2.0) for a in range(3)]
    x, y, z = ((np.pi * np.arange(n) / SIDES[0, a]) ** 2 for a, n in enumerate(orders))
    total = 0.0
    for i in range(orders[0]):
        total += weight[0][i] * float(weight[1] @ (1.0 / (x[i] + y[:, None] + z - k**2)) @ weight[2])
    return total / float(VOLUME[0])


def literature(one: Patch, two: Patch, hz: float) -> float:
    """The sum with many modes along the first patch's normal, extrapolated where both share a wall."""
    k = 2.0 * np.pi * hz / AIR.sound_speed
    orders = [60, 60, 60]
    orders[wall_axis(one.wall)] = 300
    total = modal_sum(one, two, k, orders)
    if one.wall == two.wall:
        orders[wall_axis(one.wall)] = 600
        total = 2.0 * modal_sum(one, two, k, orders) - total
    return total


def modelled(hz: float, physics: Physics) -> np.ndarray:
    """Room impedances over j w rho, shape (n_patches, n_patches) [1/m]."""
    omega = np.array([2.0 * np.pi * hz])
    z = room_impedance(omega, SIDES, VOLUME, list(PATCHES.values()), AIR, physics)
    return np.asarray(z[:, :, 0, 0] / (1j * omega * AIR.density))


@pytest.mark.parametrize(
    ("hz", "tolerance"),
    [(20.0, 2e-3), (60.0, 2e-3), (120.0, 2e-3), (200.0, 2e-3), (300.0, 2e-3), (400.0, 0.015)],
)
def test_against_modal_sum(hz: float, tolerance: float) -> None:
    """Same, opposite and adjacent walls below the first mode across the line (537 Hz).

    Differences over the geometric mean of the near fields of both patches. What the model leaves
    out of the modes across grows like k^6/k_n^6.
    """
    found = modelled(hz, LOSSLESS)
    assert np.max(np.abs(found.imag)) < 1e-9 * np.max(np.abs(found.real))
    near = np.diagonal(found - modelled(hz, Physics(chambers="line", wall_losses=False))).real
    for i, one in enumerate(PATCHES.values()):
        for j, two in enumerate(PATCHES.values()):
            scale = np.sqrt(near[i] * near[j])
            assert abs(found[i, j] - literature(one, two, hz)) < tolerance * scale, (NAMES[i], NAMES[j])


def test_through_the_first_mode_of_the_line() -> None:
    """Across the line's own half-wave resonance (344 Hz) the sign of the transfer turns over."""
    end, far = NAMES.index("end"), NAMES.index("far end")
    for hz in (325.0, 365.0):
        expected = literature(PATCHES["end"], PATCHES["far end"], hz)
        assert modelled(hz, LOSSLESS)[end, far].real == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("chambers", ["lump", "line", "room"])
def test_low_frequency_is_the_lump(chambers: str) -> None:
    """At low frequency every pair of patches sees rho c^2/(j w V)."""
    omega = 2.0 * np.pi * 0.5
    z = modelled(0.5, Physics(chambers=chambers, wall_losses=False)) * 1j * omega * AIR.density  # type: ignore[arg-type]
    assert z == pytest.approx(AIR.bulk_modulus / (1j * omega * VOLUME[0]), rel=1e-3)


def test_line_without_near_field() -> None:
    """The line between its ends is -j (rho c/S)/sin kL and -j (rho c/S) cot kL."""
    hz = 150.0
    omega = 2.0 * np.pi * hz
    k, area = omega / AIR.sound_speed, SIDES[0, 1] * SIDES[0, 2]
    z = modelled(hz, Physics(chambers="line", wall_losses=False)) * 1j * omega * AIR.density
    unit = -1j * AIR.density * AIR.sound_speed / area
    end, far = NAMES.index("end"), NAMES.index("far end")
    assert z[end, end] == pytest.approx(unit / np.tan(k * SIDES[0, 0]), rel=1e-9)
    assert z[end, far] == pytest.approx(unit / np.sin(k * SIDES[0, 0]), rel=1e-9)


def test_line_axis() -> None:
    """The line lies along the longest side; of equal sides, the first."""
    sides = np.array([[1.0, 2.0, 1.5], [2.0, 2.0, 1.0], [1.0, 1.0, 3.0]])
    assert line_axis(sides).tolist() == [1, 0, 2]


def test_axes_may_be_renamed() -> None:
    """A room turned so that its line lies along z has the same impedances."""
    omega = 2.0 * np.pi * np.array([40.0, 150.0])
    here = [patch("x-", (0.12, 0.10), (0.05, 0.03)), patch("y+", (0.15, 0.10), (0.05, 0.04))]
    there = [patch("z-", (0.12, 0.10), (0.05, 0.03)), patch("x+", (0.10, 0.15), (0.04, 0.05))]
    turned = np.array([[0.32, 0.25, 0.5]])
    one = room_impedance(omega, SIDES, VOLUME, here, AIR, Physics())
    two = room_impedance(omega, turned, VOLUME, there, AIR, Physics())
    assert two == pytest.approx(one, rel=1e-9)


def test_leak_is_a_resistance_over_the_compliance() -> None:
    """A lump with a leak of corner f is R parallel to C with 2 pi f R C = 1."""
    omega = 2.0 * np.pi * np.array([5.0, 30.0])
    physics = Physics(chambers="lump", wall_losses=False, leak_corner_hz=4.0)
    z = room_impedance(omega, SIDES, VOLUME, [PATCHES["end"]], AIR, physics)[0, 0, 0]
    compliance = VOLUME[0] / AIR.bulk_modulus
    resistance = 1.0 / (2.0 * np.pi * 4.0 * compliance)
    assert z == pytest.approx(1.0 / (1.0 / resistance + 1j * omega * compliance), rel=1e-12)


def test_wall_losses_are_those_of_the_duct_in_the_wide_limit() -> None:
    """A long square room closed at its far end loses as a wide slot or tube with the same perimeter does.

    Its line attenuation is that of Kirchhoff's wide tube (read in a secondary text) with the
    perimeter over the section in place of 2/a; the end walls' thermal layer is a small part.
    """
    sides = np.array([[5.0, 0.1, 0.1]])
    hz = 30.0
    omega = np.array([2.0 * np.pi * hz])
    end = patch("x-", (0.05, 0.05), (0.05, 0.05))
    physics = Physics(chambers="line")
    z = room_impedance(omega, sides, np.prod(sides, axis=1), [end], AIR, physics)[0, 0, 0, 0]
    # input resistance of a closed line with little loss: Re Z = zc (alpha L / sin^2(kL) + ...)
    thermal = (AIR.heat_ratio - 1.0) / np.sqrt(AIR.prandtl)
    layer = np.sqrt(AIR.kinematic_viscosity / (2.0 * omega[0]))
    perimeter = 0.4 / 0.01
    k0 = omega[0] / AIR.sound_speed
    series, shunt = perimeter * layer * (1.0 - 1j), perimeter * layer * thermal * (1.0 - 1j)
    k = k0 * np.sqrt((1.0 + series) * (1.0 + shunt))
    zc = AIR.density * AIR.sound_speed / 0.01 * np.sqrt((1.0 + series) / (1.0 + shunt))
    assert z == pytest.approx(-1j * zc / np.tan(k * 5.0), rel=2e-3)
