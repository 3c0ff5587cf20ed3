"""Enclosures as electrical circuits, solved by ngspice, against the network model.

Acoustic impedance analogy: pressure is voltage, volume velocity is current. A chamber is a capacitor
with its leak, a duct an inductor or an ideal transmission line, a diaphragm a series resonance. The
driver is two current-controlled sources: force from the coil's current, back-EMF from the cone's.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Literal

import numpy as np
import pytest

from models.catalogue import named_topology
from models.design import DesignBatch
from models.enumeration import enumerate_graphs
from models.rules import Physics
from models.topology import OUTSIDE, Topology, parse_graph_id
from tests.builders import AIR, STUB, Passive, Tube, driven, lumped, make_rules, worked_driver

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed (package ngspice of the system)"
)

DRIVER = worked_driver(le_mh=0.9)
LEAK_CORNER = 2.0
SHORT = 0.01 * STUB
"""Line in the model of a pure inertance: even its compliance is not seen at 400 Hz [m]."""
POINTS, LOW, HIGH = 60, 20.0, 400.0

Parts = tuple[list[float], list[tuple[float, float]], list[Passive]]
"""Volumes [m3], areas [m2] and lengths [m] of ducts, and diaphragms."""

ENCLOSURES: dict[str, Parts] = {
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


def drivers(topology: Topology, wiring: str) -> tuple[list[str], list[str]]:
    """Lines of one or two drivers and the currents to watch; one volt at the terminals.

    In parallel every coil lies between terminal e0 and ground, in series one coil stands on the next.
    """
    d, area = DRIVER, DRIVER.area
    lines, watched = ["vin e0 0 dc 0 ac 1"], ["vin"]
    count = len(topology.drivers)
    for i, (front, rear) in enumerate(topology.drivers):
        chained = wiring == "series"
        top = f"s{i}" if chained and i else "e0"
        bottom = f"s{i + 1}" if chained and i + 1 < count else "0"
        lines += [
            f"rcoil{i} {top} e{i}1 {d.coil_resistance!r}",
            f"lcoil{i} e{i}1 e{i}2 {d.coil_inductance!r}",
            f"vcoil{i} e{i}2 e{i}3 0",
            f"hback{i} e{i}3 {bottom} vcone{i} {d.force_factor / area!r}",
            # the cone: out of the rear place, through its own elements, into the front place
            f"hforce{i} d{i}1 {node(rear)} vcoil{i} {d.force_factor / area!r}",
            f"rcone{i} d{i}1 d{i}2 {d.resistance_mechanical / area**2!r}",
            f"lcone{i} d{i}2 d{i}3 {d.mass / area**2!r}",
            f"ccone{i} d{i}3 d{i}4 {d.compliance * area**2!r}",
            f"vcone{i} d{i}4 {node(front)} 0",
        ]
        watched.append(f"vcone{i}")
    return lines, watched


def netlist(
    batch: DesignBatch, tubes: list[Tube], passives: list[Passive], output: Path, wiring: str = "parallel"
) -> str:
    """Circuit of a lumped enclosure with one volt at its terminals."""
    topology = batch.topology
    lines, watched = drivers(topology, wiring)
    lines.insert(0, "* enclosure")
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


def deviations(
    graph: str, parts: Parts, folder: Path, as_lines: bool, wiring: Literal["parallel", "series"] = "parallel"
) -> dict[str, tuple[float, float]]:
    """Largest deviation in level and phase from the circuit, by quantity [dB], [degree].

    Current, cone velocities and the flows of all diaphragms and at both ends of all ducts, 20 to 400 Hz,
    of each relative to the larger of itself and a millionth of the largest, where drivers may cancel.
    """
    volumes, ducts, passives = parts
    topology = parse_graph_id(graph)
    tubes = [Tube(area=a, length=b, line=0.8 * b if as_lines else SHORT) for a, b in ducts]
    batch = lumped(topology, volumes, tubes, passives)
    output = folder / "currents.txt"
    hz, currents = solve(netlist(batch, tubes, passives, output, wiring), folder, output)
    assert hz.size == POINTS
    physics = Physics(
        chambers="lump", wall_losses=False, duct_end_loss=False, radiation=False, leak_corner_hz=LEAK_CORNER
    )
    rules = make_rules(
        driver=DRIVER, tones_hz=hz, physics=physics, driver_count=len(topology.drivers), wiring=wiring
    )
    network, state, _ = driven(rules, batch, 1.0)
    assert len(currents) == 1 + network.size
    found = {"current": deviation(state.current, -currents[0])}
    floor = 1e-6 * float(np.abs(currents[1:]).max())
    for i in range(network.size):
        what = "cone" if i < network.driver_count else "flow"
        found[f"{what} {i}"] = deviation(state.flows[i], currents[1 + i], floor)
    return found


def deviation(found: np.ndarray, expected: np.ndarray, floor: float = 0.0) -> tuple[float, float]:
    """Largest difference in level [dB] and phase [degree]; below the floor nothing is compared."""
    heard = np.abs(expected) > floor
    if not np.any(heard):
        assert np.all(np.abs(found) < 2.0 * floor)
        return 0.0, 0.0
    ratio = found[heard] / expected[heard]
    level, phase = 20.0 * np.log10(np.abs(ratio)), np.degrees(np.angle(ratio))
    return float(np.max(np.abs(level))), float(np.max(np.abs(phase)))


forms = pytest.mark.parametrize("as_lines", [False, True], ids=["inertances", "lines"])


@forms
@pytest.mark.parametrize("name", ENCLOSURES)
def test_against_circuit(name: str, as_lines: bool, tmp_path: Path) -> None:
    """Current, cone velocity and the flow at both ends of every duct, 20 to 400 Hz.

    Within 0.01 dB and 0.1 degree for pure inertances, which are a very short line in the model; with lines
    on both sides the two programs solve the same circuit, so far closer.
    """
    parts = ENCLOSURES[name]
    level, phase = (1e-6, 1e-5) if as_lines or not parts[1] else (0.01, 0.1)
    if as_lines and not parts[1]:
        pytest.skip("the enclosure has no duct")
    for what, found in deviations(named_topology(name).graph_id, parts, tmp_path, as_lines).items():
        assert found[0] < level and found[1] < phase, what


def drawn() -> list[tuple[str, Literal["parallel", "series"]]]:
    """Graphs drawn once and for all from the enumeration: one driver, diaphragms, two drivers."""
    rng = np.random.default_rng(2024)
    result: list[tuple[str, Literal["parallel", "series"]]] = []
    for number, choice in (
        (10, {"max_chambers": 3, "max_ducts": 4, "max_parallel": 2}),
        (7, {"max_chambers": 2, "max_ducts": 3, "max_diaphragms": 1}),
        (10, {"max_chambers": 2, "max_ducts": 3, "max_parallel": 2, "drivers": 2}),
        (3, {"max_chambers": 2, "max_ducts": 2, "max_diaphragms": 1, "drivers": 2}),
    ):
        graphs = [one.graph for one in enumerate_graphs(**choice) if not one.useless]  # type: ignore[arg-type]
        if "max_diaphragms" in choice:
            graphs = [graph for graph in graphs if graph.count("/") == 2]
        for graph in rng.choice(graphs, number, replace=False):
            result.append((str(graph), "series" if len(result) % 2 else "parallel"))
    # same and opposite direction in one box and between two chambers; isobaric pairs in line and face to face
    for graph in ("oA.oA/Ao", "oA.Ao/Ao", "AB.AB/Ao.Bo", "AB.BA/Ao.Bo", "oA.AB/Bo", "oA.BA/Bo"):
        result += [(graph, "parallel"), (graph, "series")]
    return result


DRAWN = drawn()


def random_parts(graph: str, seed: int) -> Parts:
    """Volumes, ducts and diaphragms of a size that moves the response between 20 and 400 Hz."""
    rng, topology = np.random.default_rng(seed), parse_graph_id(graph)
    return (
        [float(v) for v in rng.uniform(0.02, 0.08, topology.chambers)],
        [(float(rng.uniform(0.003, 0.015)), float(rng.uniform(0.2, 0.6))) for _ in topology.ducts],
        [
            Passive(
                area=float(rng.uniform(0.03, 0.06)),
                mass=float(rng.uniform(0.08, 0.3)),
                compliance=float(rng.uniform(2e-4, 1e-3)),
                q=float(rng.uniform(3.0, 10.0)),
            )
            for _ in topology.diaphragms
        ],
    )


def test_drawn_graphs_are_various() -> None:
    """At least 25 graphs; two drivers in both wirings, diaphragms, and three chambers among them."""
    graphs = {graph for graph, _ in DRAWN}
    topologies = [parse_graph_id(graph) for graph in graphs]
    assert len(graphs) >= 30
    assert sum(len(t.drivers) == 2 for t in topologies) >= 12
    assert sum(bool(t.diaphragms) for t in topologies) >= 8
    assert sum(t.chambers == 3 for t in topologies) >= 4


@forms
@pytest.mark.parametrize(("graph", "wiring"), DRAWN)
def test_drawn_graph_against_circuit(
    graph: str, wiring: Literal["parallel", "series"], as_lines: bool, tmp_path: Path
) -> None:
    """The same for graphs drawn from the enumeration, with random sizes and both wirings."""
    parts = random_parts(graph, DRAWN.index((graph, wiring)))
    if as_lines and not parts[1]:
        pytest.skip("the enclosure has no duct")
    level, phase = (1e-5, 1e-4) if as_lines or not parts[1] else (0.01, 0.1)
    for what, found in deviations(graph, parts, tmp_path, as_lines, wiring).items():
        assert found[0] < level and found[1] < phase, what
