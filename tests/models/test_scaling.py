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
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import driven, make_rules, random_batch, worked_driver
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
