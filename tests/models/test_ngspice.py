"""Enclosures as electrical circuits, solved by ngspice, against the network model.

Acoustic impedance analogy: pressure is voltage, volume velocity is current. A chamber is a capacitor
with its leak, a duct an inductor or an ideal transmission line, a diaphragm a series resonance. The
driver is two current-controlled sources: force from the coil's current, back-EMF from the cone's.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from models.catalogue import named_topology
from models.design import DesignBatch
from models.rules import Physics
from models.topology import OUTSIDE
from tests.builders import AIR, STUB, Passive, Tube, driven, lumped, make_rules, worked_driver

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed (package ngspice of the system)"
)

DRIVER = worked_driver(le_mh=0.9)
LEAK_CORNER = 2.0
POINTS, LOW, HIGH = 60, 20.0, 400.0

ENCLOSURES = {
    "closed box": ([0.06], [], []),
    "vented box": ([0.06], [(0.008, 0.43)], []),
    "vented box, two ducts": ([0.07], [(0.006, 0.3), (0.003, 0.5)], []),
    "passive radiator box": ([0.05], [], [Passive(area=0.04, mass=0.15, compliance=4e-4, q=6.0)]),
    "fourth-order bandpass": ([0.05, 0.03], [(0.012, 0.25)], []),
    "sixth-order bandpass, parallel": ([0.06, 0.025], [(0.01, 0.5), (0.012, 0.2)], []),
    "sixth-order bandpass, series": ([0.05, 0.04], [(0.006, 0.35), (0.012, 0.25)], []),
    "two-chamber vented box": ([0.04, 0.05], [(0.008, 0.3), (0.01, 0.4)], []),
}


def node(place: int) -> str:
    """Name of a place's node."""
    return "0" if place == OUTSIDE else f"c{place}"


def netlist(batch: DesignBatch, tubes: list[Tube], passives: list[Passive], output: Path) -> str:
    """Circuit of a lumped enclosure with one driver and one volt at its terminals."""
    d, topology = DRIVER, batch.topology
    (front, rear), area = topology.drivers[0], DRIVER.area
    lines = [
        "* enclosure",
        "vin e0 0 dc 0 ac 1",
        f"rcoil e0 e1 {d.coil_resistance!r}",
        f"lcoil e1 e2 {d.coil_inductance!r}",
        "vcoil e2 e3 0",
        f"hback e3 0 vcone {d.force_factor / area!r}",
        # the cone: out of the rear place, through its own elements, into the front place
        f"hforce d1 {node(rear)} vcoil {d.force_factor / area!r}",
        f"rcone d1 d2 {d.resistance_mechanical / area**2!r}",
        f"lcone d2 d3 {d.mass / area**2!r}",
        f"ccone d3 d4 {d.compliance * area**2!r}",
        f"vcone d4 {node(front)} 0",
    ]
    watched = ["vin", "vcone"]
    for chamber in range(topology.chambers):
        compliance = float(np.prod(batch.sides[0, chamber])) / AIR.bulk_modulus
        lines.append(f"cc{chamber} {node(chamber)} 0 {compliance!r}")
        lines.append(f"rc{chamber} {node(chamber)} 0 {1.0 / (2.0 * np.pi * LEAK_CORNER * compliance)!r}")
    for i, ((a, b), one) in enumerate(zip(topology.diaphragms, passives, strict=True)):
        resistance = np.sqrt(one.mass / one.compliance) / one.q
        lines += [
            f"rp{i} {node(a)} p{i}1 {float(resistance / one.area**2)!r}",
            f"lp{i} p{i}1 p{i}2 {one.mass / one.area**2!r}",
            f"cp{i} p{i}2 p{i}3 {one.compliance * one.area**2!r}",
            f"vp{i} p{i}3 {node(b)} 0",
        ]
        watched.append(f"vp{i}")
    for i, ((a, b), tube) in enumerate(zip(topology.ducts, tubes, strict=True)):
        z0, delay = AIR.density * AIR.sound_speed / tube.area, tube.line / AIR.sound_speed
        end = AIR.density * (tube.length - tube.line) / tube.area
        lines += [f"vi{i} {node(a)} i{i} 0"]
        if tube.line <= STUB:  # a pure inertance, the short line as well
            lines += [f"l{i} i{i} o{i} {AIR.density * tube.length / tube.area!r}"]
        else:
            lines += [f"l{i} i{i} m{i} {end!r}", f"t{i} m{i} 0 o{i} 0 z0={z0!r} td={delay!r}"]
        lines += [f"vo{i} o{i} {node(b)} 0"]
        watched += [f"vi{i}", f"vo{i}"]
    wanted = " ".join(f"i({name})" for name in watched)
    lines += [
        ".control",
        "set wr_singlescale",
        "set numdgt=15",
        f"ac lin {POINTS} {LOW!r} {HIGH!r}",
        f"wrdata {output} {wanted}",
        "quit",
        ".endc",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def solve(text: str, folder: Path, output: Path) -> tuple[np.ndarray, np.ndarray]:
    """Run a circuit in batch mode: frequencies, and currents of shape (n_watched, n_points)."""
    circuit = folder / "enclosure.cir"
    circuit.write_text(text)
    command = ["ngspice", "-b", str(circuit)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert output.exists(), done.stdout + done.stderr
    table = np.loadtxt(output)
    return table[:, 0], (table[:, 1::2] + 1j * table[:, 2::2]).T


def assert_equal(found: np.ndarray, expected: np.ndarray, level_db: float, degrees: float, what: str) -> None:
    """Equal in level and phase at every frequency."""
    ratio = found / expected
    assert np.max(np.abs(20.0 * np.log10(np.abs(ratio)))) < level_db, what
    assert np.max(np.abs(np.degrees(np.angle(ratio)))) < degrees, what


@pytest.mark.parametrize("as_lines", [False, True], ids=["inertances", "lines"])
@pytest.mark.parametrize("name", ENCLOSURES)
def test_against_circuit(name: str, as_lines: bool, tmp_path: Path) -> None:
    """Current, impedance, cone velocity and the flow at both ends of every duct, 20 to 400 Hz.

    Within 0.01 dB and 0.1 degree for pure inertances, whose stub of line has a little compliance in the
    model; with lines on both sides the two programs solve the same circuit, so far closer.
    """
    within = (1e-6, 1e-5) if as_lines or not ENCLOSURES[name][1] else (0.01, 0.1)
    volumes, ducts, passives = ENCLOSURES[name]
    if as_lines and not ducts:
        pytest.skip("the enclosure has no duct")
    tubes = [Tube(area=a, length=b, line=0.8 * b if as_lines else STUB) for a, b in ducts]
    batch = lumped(named_topology(name), volumes, tubes, passives)
    output = tmp_path / "currents.txt"
    hz, currents = solve(netlist(batch, tubes, passives, output), tmp_path, output)
    assert hz.size == POINTS
    physics = Physics(
        chambers="lump", wall_losses=False, duct_end_loss=False, radiation=False, leak_corner_hz=LEAK_CORNER
    )
    rules = make_rules(driver=DRIVER, tones_hz=hz, physics=physics)
    network, state, _ = driven(rules, batch, 1.0)
    assert_equal(state.current, -currents[0], *within, "current")
    assert_equal(1.0 / state.current, -1.0 / currents[0], *within, "impedance")
    assert_equal(state.flows[0] / DRIVER.area, currents[1] / DRIVER.area, *within, "cone velocity")
    for i in range(1, network.size):
        assert_equal(state.flows[i], currents[1 + i], *within, f"flow {i}")
