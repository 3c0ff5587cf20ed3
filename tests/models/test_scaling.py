"""Scaling: lengths over n, frequencies times n, same gas.

Dimensional analysis of lossless acoustics; what does not scale is the boundary layer (M. Almgren,
"Acoustic boundary layer influence on scale model simulation of sound propagation", J. Sound Vib.
105(2), 321-337, 1986, read).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.catalogue import TRADE_NAMES
from models.rules import Limits, Physics
from models.scaling import enlarged_batch, enlarged_driver, enlarged_rules
from models.score import Judge
from models.spaces import Cabin, HalfSpace, Opening
from models.topology import parse_graph_id
from tests.builders import AIR, driven, make_rules, random_batch, worked_driver
from tests.scaled import scaled_batch, scaled_rules

HZ = [15.0, 25.0, 40.0, 60.0, 90.0, 150.0, 250.0]
LIMITS = Limits(power=120.0, excursion=0.008, air_speed=20.0)


@pytest.mark.parametrize("graph", [*TRADE_NAMES, "oA.oA/Ao", "AB/AC.BC.Co", "AB/Ao/Bo"])
@settings(max_examples=6, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    n=st.sampled_from([0.5, 4.0, 7.3]),
    kind=st.sampled_from(["room", "line", "lump"]),
)
def test_scaling(graph: str, seed: int, n: float, kind: Literal["room", "line", "lump"]) -> None:
    """Lengths over n, frequencies times n: the same levels, air speeds and impedance; excursion over n.

    Without layers at walls, but with end losses, whose ratio to rho c is the same at equal speed.
    """
    batch = random_batch(parse_graph_id(graph), seed)
    physics = Physics(chambers=kind, wall_losses=False, leak_corner_hz=2.0)
    count = len(parse_graph_id(graph).drivers)
    full = make_rules(physics=physics, limits=LIMITS, tones_hz=HZ, driver_count=count)
    small = scaled_rules(full, n)
    one, two = Judge(full).respond(batch), Judge(small).respond(scaled_batch(batch, n))
    assert two.level_db == pytest.approx(one.level_db, abs=1e-5)
    assert two.air_speed == pytest.approx(one.air_speed, rel=1e-6)
    assert two.excursion * n == pytest.approx(one.excursion, rel=1e-6)
    assert two.impedance == pytest.approx(one.impedance, rel=1e-6)
    assert two.voltage * n == pytest.approx(one.voltage, rel=1e-6)


def test_wall_layers_do_not_scale() -> None:
    """With layers at walls the small model loses more: its port, at the tuning, runs slower."""
    batch = random_batch(parse_graph_id("oA/Ao"), 21)
    batch = replace(batch, ducts=(replace(batch.ducts[0], area_end=None),))
    loss = []
    for n in (1.0, 10.0):
        rules = make_rules(
            driver=worked_driver(), physics=Physics(duct_end_loss=False), tones_hz=np.array(HZ[1:4]) * n
        )
        network, _, _ = driven(rules, scaled_batch(batch, n))
        z = network.parts["duct"]
        first = network.first_duct
        series = z[first, first] + z[first + 1, first + 1] + 2.0 * z[first, first + 1]
        loss.append((series.real / np.abs(series)).min())
    # layer over radius grows as the root of n
    assert loss[1] / loss[0] == pytest.approx(np.sqrt(10.0), rel=0.1)


def test_enlarged_driver_is_the_same_on_its_own_scale() -> None:
    """Sd as n^2, Vas as n^3, fs as 1/n; Qs, Re and efficiency stay (by definition of the quantities)."""
    small, n = worked_driver(le_mh=0.5), 4.0
    large = enlarged_driver(small, n)
    assert large.area == pytest.approx(16.0 * small.area, rel=1e-12)
    assert large.vas(AIR) == pytest.approx(64.0 * small.vas(AIR), rel=1e-12)
    assert large.fs == pytest.approx(small.fs / 4.0, rel=1e-12)
    for quantity in ("qms", "qes", "qts", "coil_resistance", "nominal_resistance"):
        assert getattr(large, quantity) == pytest.approx(getattr(small, quantity), rel=1e-12)
    assert large.reference_efficiency(AIR) == pytest.approx(small.reference_efficiency(AIR), rel=1e-12)
    omega = 2.0 * np.pi * np.array(HZ)
    assert large.coil_impedance(omega / n) == pytest.approx(small.coil_impedance(omega), rel=1e-12)


def test_a_lossy_coil_keeps_its_impedance() -> None:
    small = worked_driver(coil_k=0.02, coil_n=0.7)
    omega = 2.0 * np.pi * np.array(HZ)
    large = enlarged_driver(small, 4.0)
    assert large.coil_impedance(omega / 4.0) == pytest.approx(small.coil_impedance(omega), rel=1e-12)


LOOSE = Limits(power=1e9, excursion=1e3)


@pytest.mark.parametrize(
    "limits",
    [
        replace(LOOSE, power=10.0),
        replace(LOOSE, power=10.0, power_kind="apparent"),
        replace(LOOSE, excursion=1e-3),
        replace(LOOSE, air_speed=5.0),
        replace(LOOSE, voltage=3.0),
        replace(LOOSE, current=1.0),
    ],
    ids=["real power", "apparent power", "excursion", "air speed", "voltage", "current"],
)
def test_every_limit_lets_full_size_be_as_loud(limits: Limits) -> None:
    """Each limit alone, scaled as stated, stops the enlarged box at the model's level."""
    model = make_rules(limits=limits, tones_hz=np.array(HZ), physics=Physics(wall_losses=False))
    batch = random_batch(parse_graph_id("oA/Ao"), 5)
    one = Judge(model, backend="numpy").respond(batch)
    two = Judge(enlarged_rules(model, 4.0), backend="numpy").respond(enlarged_batch(batch, 4.0))
    assert np.all(one.limit == one.limit[0, 0, 0])
    assert two.level_db == pytest.approx(one.level_db, abs=1e-6)
    assert np.array_equal(two.limit, one.limit)


def test_a_cabin_and_its_openings_scale() -> None:
    """A damped, leaking cabin with an opening and the enclosure as an obstacle: levels as in the model."""
    cabin = Cabin(
        name="cabin", size=(0.62, 0.36, 0.30), enclosure_at=(0.53, 0.18, 0.09), damping=0.1,
        microphone_at=(0.15, 0.18, 0.2), leak_corner_hz=5.0, obstacle=False,
        openings=(Opening(at=(0.2, 0.0, 0.15), area=0.02, thickness=0.002),),
    )  # fmt: skip
    tones = np.array([28.0, 40.0, 62.0])
    full = make_rules(physics=Physics(wall_losses=False), limits=LIMITS, tones_hz=tones)
    envelope = replace(full.envelope, width=0.96, height=0.72, depth=0.64)
    model = enlarged_rules(replace(full, envelope=envelope), 0.25)
    model = replace(model, spaces=(cabin, HalfSpace(name="court", distance=0.5)))
    batch = enlarged_batch(random_batch(parse_graph_id("oA/Ao"), 3), 0.25)
    one = Judge(model, backend="numpy").respond(batch)
    two = Judge(enlarged_rules(model, 4.0), backend="numpy").respond(enlarged_batch(batch, 4.0))
    assert two.level_db == pytest.approx(one.level_db, abs=1e-4)
