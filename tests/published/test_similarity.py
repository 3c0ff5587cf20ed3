"""Layers at walls and Reynolds numbers against printed forms."""

from __future__ import annotations

import numpy as np
import pytest

from models.air import humid_air
from models.similarity import (
    hydraulic_diameter,
    reynolds_number,
    share_lost_at_walls,
    thermal_layer,
    viscous_layer,
)
from models.topology import parse_graph_id
from tests.builders import AIR, random_batch

HZ = np.array([10.0, 100.0, 1000.0])


def test_layers_of_morse_and_ingard() -> None:
    """d_v = 0.21 / sqrt(f) cm and d_h = 0.25 / sqrt(f) cm in air, digits printed.

    P. M. Morse and K. U. Ingard, Theoretical Acoustics (1968), section 6.4, from memory; the temperature is
    not remembered, 10 degC meets both.
    """
    air = humid_air(10.0, 101.325, 0.0)
    assert viscous_layer(air, 2.0 * np.pi * HZ) * 100.0 * np.sqrt(HZ) == pytest.approx(0.21, abs=0.005)
    assert thermal_layer(air, 2.0 * np.pi * HZ) * 100.0 * np.sqrt(HZ) == pytest.approx(0.25, abs=0.005)


def test_attenuation_of_kinsler_and_frey() -> None:
    """Attenuation 2.93e-5 sqrt(f) / a per metre in a tube of radius a in air at 20 degC.

    L. E. Kinsler and A. R. Frey, Fundamentals of Acoustics, section on tubes, from memory; other editions'
    properties of air differ by 1 %.
    """
    radius = 0.02
    wavenumber = 2.0 * np.pi * HZ / AIR.sound_speed
    alpha = share_lost_at_walls(AIR, 2.0 * np.pi * HZ, np.array(2.0 * radius)) * wavenumber
    assert alpha * radius / np.sqrt(HZ) == pytest.approx(2.93e-5, rel=0.015)


def test_first_term_of_keefe() -> None:
    """Attenuation (omega / c) 1.045 / r_v, r_v = a sqrt(rho omega / mu), digits printed.

    D. H. Keefe, JASA 75(1) 58-62 (1984), from memory, for air at 26.85 degC.
    """
    air = humid_air(26.85, 101.325, 0.0)
    omega = 2.0 * np.pi * HZ
    ratio = 0.01 * np.sqrt(omega / air.kinematic_viscosity)
    assert share_lost_at_walls(air, omega, np.array(0.02)) * ratio == pytest.approx(1.045, abs=0.006)


def test_model_scale() -> None:
    """Layer over size as the root of n (Almgren 1986); Reynolds number as 1/n, on the layer as 1/sqrt(n)."""
    omega, n = 2.0 * np.pi * np.array(40.0), 4.0
    full, small = viscous_layer(AIR, omega), viscous_layer(AIR, n * omega)
    assert (small / (0.1 / n)) / (full / 0.1) == pytest.approx(2.0, rel=1e-12)
    speed = np.array(10.0)
    on_size = [reynolds_number(AIR, speed, np.array(length)) for length in (0.1, 0.1 / n)]
    assert on_size[0] / on_size[1] == pytest.approx(4.0, rel=1e-12)
    assert reynolds_number(AIR, speed, full) / reynolds_number(AIR, speed, small) == pytest.approx(2.0)


def test_hydraulic_diameter() -> None:
    """Of a round tube its diameter, of a slot 2 a b / (a + b), of several tubes that of one."""
    seen = set()
    for seed in range(12):
        duct = random_batch(parse_graph_id("oA/Ao"), seed).ducts[0]
        one = duct.area / duct.count
        if duct.slot_height is None:
            expected = np.sqrt(4.0 * one / np.pi)
        else:
            width = one / duct.slot_height
            expected = 2.0 / (1.0 / width + 1.0 / duct.slot_height)
        assert hydraulic_diameter(duct) == pytest.approx(expected, rel=1e-12)
        seen.add((duct.shape, duct.count > 1))
    assert len(seen) == 4
