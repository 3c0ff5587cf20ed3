"""Scaling: lengths over n, frequencies times n, same gas.

Dimensional analysis of lossless acoustics; what does not scale is the boundary layer (M. Almgren,
"Acoustic boundary layer influence on scale model simulation of sound propagation", J. Sound Vib.
105(2), 321-337, 1986, read).
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.catalogue import TRADE_NAMES
from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth, Patch
from models.envelope import Envelope, Site
from models.rules import Limits, Physics
from models.score import Judge
from models.spaces import HalfSpace
from models.topology import parse_graph_id
from tests.builders import ENVELOPE, driven, make_rules, random_batch, worked_driver

HZ = [15.0, 25.0, 40.0, 60.0, 90.0, 150.0, 250.0]
LIMITS = Limits(power=120.0, excursion=0.008, air_speed=20.0)


def scaled_end(end: End, n: float) -> End:
    """An end with all lengths over n."""
    return end if isinstance(end, Mouth) else Patch(wall=end.wall, centre=end.centre / n, half=end.half / n)


def scaled_ends(ends: tuple[End, End], n: float) -> tuple[End, End]:
    """Both ends with all lengths over n."""
    return scaled_end(ends[0], n), scaled_end(ends[1], n)


def scaled_duct(duct: Ducts, n: float) -> Ducts:
    """A duct with all lengths over n."""
    return replace(
        duct,
        ends=scaled_ends(duct.ends, n),
        area=duct.area / n**2,
        length=duct.length / n,
        slot_height=None if duct.slot_height is None else duct.slot_height / n,
        area_end=None if duct.area_end is None else duct.area_end / n**2,
    )


def scaled_diaphragm(one: Diaphragms, n: float) -> Diaphragms:
    """A diaphragm whose mechanics scale as the air's: impedance as area, time as length."""
    return replace(
        one,
        ends=scaled_ends(one.ends, n),
        area=one.area / n**2,
        mass=one.mass / n**3,
        compliance=one.compliance * n,
        excursion_limit=one.excursion_limit / n,
    )


def scaled_batch(batch: DesignBatch, n: float) -> DesignBatch:
    """Designs with all lengths over n."""
    return replace(
        batch,
        sides=batch.sides / n,
        driver_ends=tuple(scaled_ends(pair, n) for pair in batch.driver_ends),
        ducts=tuple(scaled_duct(duct, n) for duct in batch.ducts),
        diaphragms=tuple(scaled_diaphragm(one, n) for one in batch.diaphragms),
        sites=tuple(Site(site.wall, (site.at[0] / n, site.at[1] / n)) for site in batch.sites),
    )


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
    driver = full.driver
    small_driver = replace(
        driver,
        area=driver.area / n**2,
        mass=driver.mass / n**3,
        compliance=driver.compliance * n,
        resistance_mechanical=driver.resistance_mechanical / n**2,
        force_factor=driver.force_factor / n,
        coil_inductance=driver.coil_inductance / n,
        displaced_volume=driver.displaced_volume / n**3,
    )
    small = replace(
        full,
        driver=small_driver,
        envelope=Envelope(**{f.name: getattr(ENVELOPE, f.name) / n for f in fields(ENVELOPE)}),
        limits=Limits(power=LIMITS.power / n**2, excursion=LIMITS.excursion / n, air_speed=LIMITS.air_speed),
        tones_hz=full.tones_hz * n,
        spaces=(HalfSpace(name="half space", distance=1.0 / n),),
        physics=replace(physics, leak_corner_hz=2.0 * n),
    )
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
