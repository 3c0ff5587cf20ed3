"""Front- and rear-loaded horns and tapered tapped lines against direct two-ports.

A. G. Webster, PNAS 5, 275 (1919), from memory; chain matrices and circuit are those of tests/two_ports.py,
computed apart from the program. Ideal exponential horn: throat resistance near rho c/S above cut-off.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from models.score import Judge
from models.topology import parse_graph_id
from tests import two_ports
from tests.builders import AIR, Tube, driven, lumped, make_rules, worked_driver
from tests.two_ports import Link

DRIVER = worked_driver(le_mh=0.9)
HZ = np.linspace(15.0, 400.0, 120)
OMEGA = 2.0 * np.pi * HZ
Profile = Literal["conical", "exponential"]
profiles = pytest.mark.parametrize("profile", ["conical", "exponential"])
CHAINS = {"conical": two_ports.cone, "exponential": two_ports.exponential}
Horn = tuple[float, float, float]
"""Area at the first place, at the second [m2], and length [m]."""


def assert_same(
    graph: str, volumes: list[float], horns: list[Horn], profile: Profile, links: list[Link]
) -> tuple[np.ndarray, np.ndarray]:
    """Cone flow and all duct flows as the two-ports give them; returns the last flow and the level."""
    topology = parse_graph_id(graph)
    batch = lumped(topology, volumes, [Tube(area=a, length=length, line=length) for a, _, length in horns])
    tapered = tuple(
        replace(duct, area_end=np.array([end]), profile=profile)
        for duct, (_, end, _) in zip(batch.ducts, horns, strict=True)
    )
    batch = replace(batch, ducts=tapered)
    rules = make_rules(driver=DRIVER, tones_hz=HZ)
    network, state, _ = driven(rules, batch, 1.0)
    cone, pairs = two_ports.cone_flow(OMEGA, AIR, DRIVER, topology.drivers[0], volumes, links)
    expected = np.array([cone, *(flow for pair in pairs for flow in pair)])
    largest = np.max(np.abs(expected), axis=0)
    assert np.max(np.abs(state.flows - expected) / largest) < 1e-8
    assert network.size == expected.shape[0]
    return expected, Judge(rules).respond(batch, 1.0).level_db[0, 0]


def level(flow: np.ndarray) -> np.ndarray:
    """Level of a source in a half space at 1 m, p = rho w U/(2 pi r) [dB]."""
    return np.asarray(20.0 * np.log10(AIR.density * OMEGA * np.abs(flow) / (2.0 * np.pi) / 20e-6))


@profiles
def test_front_loaded_horn(profile: Profile) -> None:
    """A closed rear chamber, a throat chamber and a horn: ``AB/Ao``, and the level of its mouth."""
    horn = (0.01, 0.12, 1.3)
    links = [Link(0, -1, CHAINS[profile](OMEGA, AIR, *horn))]
    flows, found = assert_same("AB/Ao", [0.002, 0.03], [horn], profile, links)
    assert found == pytest.approx(level(flows[-1]), abs=1e-6)


@profiles
def test_rear_loaded_horn(profile: Profile) -> None:
    """A driver in the open before a chamber and a horn: ``oA/Ao``; cone and mouth sound together."""
    horn = (0.008, 0.09, 1.8)
    links = [Link(0, -1, CHAINS[profile](OMEGA, AIR, *horn))]
    flows, found = assert_same("oA/Ao", [0.006], [horn], profile, links)
    assert found == pytest.approx(level(flows[0] + flows[-1]), abs=1e-5)


@profiles
def test_tapped_horn(profile: Profile) -> None:
    """A driver that taps a widening horn near its throat and near its mouth: ``AB/AB.Ao``.

    The piece between the taps narrows towards the throat, the last piece widens to the mouth.
    """
    inner, outer = (0.03, 0.006, 1.5), (0.03, 0.06, 0.5)
    links = [
        Link(0, 1, CHAINS[profile](OMEGA, AIR, *inner)),
        Link(0, -1, CHAINS[profile](OMEGA, AIR, *outer)),
    ]
    assert_same("AB/AB.Ao", [2e-4, 4e-4], [inner, outer], profile, links)


def test_cone_complete_to_its_apex() -> None:
    """A cone open at its base resonates at n c/(2 L) of its whole length, as a tube open at both ends does.

    Read in a secondary text. The driver sits at the apex end, where a thousandth of the cone is cut off;
    the flow out of the base over the flow into the apex is largest at resonance.
    """
    length, share = 1.5, 1e-3
    for n in (1, 2):
        expected = n * AIR.sound_speed / (2.0 * length)
        hz = expected * np.linspace(0.97, 1.03, 2001)
        base = 0.05
        chain = two_ports.cone(2.0 * np.pi * hz, AIR, base * share**2, base, length * (1.0 - share))
        batch = lumped(parse_graph_id("oA/Ao"), [1e-9], [Tube(area=base * share**2, length=1.0, line=1.0)])
        cone = replace(batch.ducts[0], length=np.array([length * (1.0 - share)]), area_end=np.array([base]))
        rules = make_rules(driver=DRIVER, tones_hz=hz)
        network, state, _ = driven(rules, replace(batch, ducts=(cone,)), 1.0)
        gain = state.flows[network.first_duct + 1] / state.flows[network.first_duct]
        assert gain == pytest.approx(1.0 / chain[3], rel=1e-6)
        assert hz[np.argmax(np.abs(gain))] == pytest.approx(expected, rel=2e-3)
