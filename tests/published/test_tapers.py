"""Tapered ducts against closed forms, Webster's equation and cascaded transmission lines.

Cone: L. L. Beranek, T. Mellow, Acoustics (read in a secondary text), numbers computed from the form and
checked by integrating Webster's equation. Exponential horn: A. G. Webster, PNAS 5, 275 (1919), from memory;
resistance ratios sqrt(1 - (fc/f)^2), computed. Cascades: scikit-rf.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from models import ducts
from models.tapers import section_at, taper_chain
from models.topology import parse_graph_id
from tests import two_ports
from tests.builders import TABLE_AIR, Tube, driven, lumped, make_rules

HZ = np.linspace(10.0, 400.0, 79)
RHO_C = TABLE_AIR.density * TABLE_AIR.sound_speed
# sections [m2] and length [m]: the printed cone, a wide and a narrowing one, a slight taper
SIZES = [(0.01, 0.01 * (1.3 / 0.4) ** 2, 0.9), (0.002, 0.08, 1.2), (0.08, 0.002, 1.2), (0.01, 0.011, 0.4)]
sizes = pytest.mark.parametrize("size", SIZES)


def duct_chain(hz: np.ndarray, size: tuple[float, float, float], **options: Any) -> two_ports.Chain:
    """Chain matrix of a tapered duct of the program, from its open-circuit impedances."""
    area, area_end, length = (np.array([[value]]) for value in size)
    omega = 2.0 * np.pi * hz
    z11, z12, z22 = (
        z[0] for z in ducts.duct_impedances(omega, area, length, TABLE_AIR, area_end=area_end, **options)
    )
    return z11 / z12, z11 / z12 * z22 - z12, 1.0 / z12, z22 / z12


def deviation(one: two_ports.Chain, two: two_ports.Chain, size: tuple[float, float, float]) -> float:
    """Largest difference of scattering between the ends' own impedances, where all of it is of order one."""
    ends = RHO_C / size[0], RHO_C / size[1]
    return float(np.max(np.abs(two_ports.scattering(one, *ends) - two_ports.scattering(two, *ends))))


def test_cone_numbers() -> None:
    """Closed form of the cone's two-port, and the duct's, to every printed digit (computed)."""
    omega = np.array([1.3 * TABLE_AIR.sound_speed])
    size = SIZES[0]
    closed = two_ports.cone(omega, TABLE_AIR, *size)
    for chain in (closed, duct_chain(omega / (2.0 * np.pi), size, lossy=False)):
        a, b, c, d = (complex(entry[0]) for entry in chain)
        assert a == pytest.approx(-0.50268125, abs=0.6e-8)
        assert b == pytest.approx(11707.9575j, abs=0.6e-4)
        assert c == pytest.approx(1.13958172e-4j, abs=0.6e-12)
        assert d == pytest.approx(0.66486951, abs=0.6e-8)
        assert a * d - b * c == pytest.approx(1.0, abs=1e-12)


@sizes
def test_closed_forms(size: tuple[float, float, float]) -> None:
    """Cone and exponential horn by their closed forms, without losses, 10 to 400 Hz."""
    omega = 2.0 * np.pi * HZ
    cone = duct_chain(HZ, size, lossy=False)
    assert deviation(cone, two_ports.cone(omega, TABLE_AIR, *size), size) < 1e-9
    horn = duct_chain(HZ, size, lossy=False, profile="exponential")
    assert deviation(horn, two_ports.exponential(omega, TABLE_AIR, *size), size) < 1e-9


def webster(hz: np.ndarray, size: tuple[float, float, float], form: str, **options: Any) -> two_ports.Chain:
    """Chain matrix by integrating p' = -Z' q, q' = -Y' p from the second end back to the first."""
    area, area_end, length = size
    columns = []
    for omega in 2.0 * np.pi * hz:

        def slope(x: float, y: np.ndarray, omega: float = omega) -> np.ndarray:
            along = 1.0 - x / length
            if form == "exponential":
                section = area * (area_end / area) ** along
            elif form == "wedge":
                section = area + (area_end - area) * along
            else:
                section = (np.sqrt(area) + (np.sqrt(area_end) - np.sqrt(area)) * along) ** 2
            gamma, z = ducts.line_constants(np.array([omega]), np.array([section]), TABLE_AIR, **options)
            return np.concatenate([gamma * z * y[2:], gamma / z * y[:2]])

        unit = np.array([1.0, 0.0, 0.0, 1.0], dtype=complex)
        columns.append(solve_ivp(slope, (0.0, length), unit, rtol=1e-9, atol=1e-13, method="DOP853").y[:, -1])
    return tuple(np.array(columns).T)  # type: ignore[return-value]


@sizes
@pytest.mark.parametrize("lossy", [False, True])
@pytest.mark.parametrize("form", ["conical", "exponential", "wedge"])
def test_webster_equation(
    form: Literal["conical", "exponential", "wedge"], lossy: bool, size: tuple[float, float, float]
) -> None:
    """Every form against Webster's equation integrated, losses changing along the duct: within 0.1 %.

    A wedge is a slot 1 cm high between straight sides.
    """
    hz = np.array([20.0, 90.0, 400.0])
    slot = 0.01 if form == "wedge" else None
    profile = "exponential" if form == "exponential" else "conical"
    height = None if slot is None else np.array([[slot]])
    chain = duct_chain(hz, size, lossy=lossy, slot_height=height, profile=profile)
    column = None if slot is None else np.array([slot])
    expected = webster(hz, size, form, lossy=lossy, slot_height=column)
    assert deviation(chain, expected, size) < (1e-3 if lossy and slot is None else 1e-8)


def test_pieces_converge(monkeypatch: pytest.MonkeyPatch) -> None:
    """Losses along a round taper converge with the square of the number of pieces."""
    size = SIZES[1]
    for profile in ("conical", "exponential"):
        chains = []
        for pieces in (6, 12, 24, 192):
            monkeypatch.setattr(ducts, "TAPER_SLICES", pieces)
            chains.append(duct_chain(HZ, size, profile=profile))
        errors = [deviation(chain, chains[-1], size) for chain in chains[:-1]]
        assert errors[0] < 4e-4
        assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.15)
        assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.15)


# computed: frequency over cut-off, throat resistance over that of a tube
THROAT = [(1.2, 0.55277), (1.5, 0.74536), (2.0, 0.86603), (4.0, 0.96825)]


def test_infinite_exponential_horn() -> None:
    """A long horn that ends in its own characteristic impedance has the infinite horn's throat resistance.

    fc = 50 Hz needs m = 1.83071 1/m at 343.21 m/s (computed). Below cut-off no power goes in.
    """
    m = 4.0 * np.pi * 50.0 / TABLE_AIR.sound_speed
    assert m == pytest.approx(1.83071, abs=0.6e-5)
    throat, length = 0.005, 2.0
    size = (throat, throat * np.exp(m * length), length)
    hz = 50.0 * np.array([0.5, 0.9, *(ratio for ratio, _ in THROAT)])
    a, b, c, d = duct_chain(hz, size, lossy=False, profile="exponential")
    k = 2.0 * np.pi * hz / TABLE_AIR.sound_speed
    outwards = 0.5 * m + 1j * np.sqrt(k**2 - 0.25 * m**2 + 0j) * np.where(hz < 50.0, -1.0, 1.0)
    end = 2j * np.pi * hz * TABLE_AIR.density / (size[1] * outwards)
    ratio = (a * end + b) / (c * end + d) * throat / RHO_C
    assert np.all(np.abs(ratio.real[:2]) < 1e-9)
    assert ratio.real[2:] == pytest.approx([value for _, value in THROAT], abs=0.6e-5)


def test_at_cut_off() -> None:
    """At cut-off itself the closed form's 0/0 is taken well: p and q change along the horn as e^{-mx/2}."""
    m, length = 2.0, 1.0
    gamma = np.array([1j * m / 2.0])
    area, area_end = np.array([0.01]), np.array([0.01 * np.exp(m * length)])
    a, b, c, d = taper_chain(gamma, np.array([RHO_C + 0j]), area, area_end, np.array([length]), "exponential")
    assert np.all(np.isfinite([a, b, c, d]))
    assert a * d - b * c == pytest.approx(1.0)
    assert a == pytest.approx(0.0, abs=1e-12) and d == pytest.approx(2.0 / np.e)


def test_skrf_cascades() -> None:
    """Round tapers as many short lossy lines in cascade, by scikit-rf."""
    skrf = pytest.importorskip("skrf")
    band = skrf.Frequency.from_f(HZ, unit="hz")

    def section(area: float, length: float) -> Any:
        gamma, z = ducts.line_constants(2.0 * np.pi * HZ, np.array([area]), TABLE_AIR)
        return skrf.media.DefinedGammaZ0(band, gamma=gamma, z0=z).line(length, "m", z0=z)

    def chain(network: Any) -> two_ports.Chain:
        return tuple(np.moveaxis(network.a, 0, -1).reshape(4, -1))  # type: ignore[return-value]

    size = SIZES[0]
    count = 600
    for form in ("conical", "exponential"):
        middles = (np.arange(count) + 0.5) / count
        cascade = skrf.network.cascade_list(
            [
                section(float(section_at(np.array(size[0]), np.array(size[1]), x, form)), size[2] / count)  # type: ignore[arg-type]
                for x in middles
            ]
        )
        found = duct_chain(HZ, size, profile=form)
        assert deviation(found, chain(cascade), size) < 1e-4


def test_skrf_line_of_sections() -> None:
    """Two chambers, three ducts, one after the other: the last flow over the first, by scikit-rf."""
    skrf = pytest.importorskip("skrf")
    band = skrf.Frequency.from_f(HZ, unit="hz")
    air = TABLE_AIR
    tubes = [Tube(area=0.004, length=0.5, line=0.5), Tube(area=0.008, length=0.3, line=0.3)]
    tubes.append(Tube(area=0.003, length=0.7, line=0.7))
    volumes = [0.03, 0.002, 0.004]
    graph = parse_graph_id("oA/AB.BC.Co")
    rules = make_rules(tones_hz=HZ, air=air)
    network, state, omega = driven(rules, lumped(graph, volumes, tubes), 1.0)
    parts = []
    for i, tube in enumerate(tubes):
        z = air.density * air.sound_speed / tube.area * np.ones(HZ.size)
        media = skrf.media.DefinedGammaZ0(band, gamma=1j * omega / air.sound_speed, z0=z)
        parts.append(media.line(tube.length, "m", z0=z))
        if i < 2:
            parts.append(media.shunt_capacitor(volumes[i + 1] / air.bulk_modulus))
    d = skrf.network.cascade_list(parts).a[:, 1, 1]
    first = network.first_duct
    # open end: q1 = D q2
    assert state.flows[first] == pytest.approx(d * state.flows[first + 5], rel=1e-8)


def test_tapered_duct_in_a_network() -> None:
    """The end at a duct's first place has the first section: a cone outwards from a chamber."""
    size = SIZES[0]
    tube = lumped(parse_graph_id("oA/Ao"), [0.06], [Tube(area=0.01, length=0.9)])
    cone_duct = replace(tube.ducts[0], length=np.array([size[2]]), area_end=np.array([size[1]]))
    rules = make_rules(tones_hz=[70.0], air=TABLE_AIR)
    network, _, omega = driven(rules, replace(tube, ducts=(cone_duct,)), 1.0)
    a, _, c, d = two_ports.cone(omega, TABLE_AIR, *size)
    first, part = network.first_duct, network.parts["duct"]
    assert part[first, first][0] == pytest.approx(a / c, rel=1e-9)
    assert part[first + 1, first + 1][0] == pytest.approx(d / c, rel=1e-9)
    assert network.duct_area[:, 0].tolist() == [size[0], size[1]]


@pytest.mark.parametrize("profile", ["conical", "exponential"])
@pytest.mark.parametrize("height", [None, 0.02])
def test_tapered_duct_of_constant_section_is_uniform(
    profile: Literal["conical", "exponential"], height: float | None
) -> None:
    """A taper from an area to itself is the uniform duct, losses included."""
    omega = 2.0 * np.pi * np.array([30.0, 90.0])
    area, length = np.array([[4e-3], [1e-3]]), np.array([[0.3], [0.5]])
    slot = None if height is None else np.full((2, 1), height)
    plain = ducts.duct_impedances(omega, area, length, TABLE_AIR, slot_height=slot)
    tapered = ducts.duct_impedances(
        omega, area, length, TABLE_AIR, slot_height=slot, area_end=area, profile=profile
    )
    for one, two in zip(plain, tapered, strict=True):
        assert two == pytest.approx(one, rel=1e-9 if height is None or profile == "exponential" else 1e-6)
