"""Fibrous lining: Miki's form, its range, passivity, and what it does in lines and chambers.

Y. Miki, "Acoustical properties of porous materials - modifications of Delany-Bazley models", J. Acoust. Soc.
Jpn (E) 11(1), 19-24 (1990), coefficients from memory; numbers computed from them. The isothermal limit of
sound in a lining is common knowledge of the theory of porous media.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models import ducts
from models.balance import power_balance
from models.design import DesignBatch
from models.lining import lined_medium, lining_range, lining_ratios
from models.rooms import medium, room_impedance
from models.rules import Physics
from models.score import Judge
from models.topology import parse_graph_id
from tests.builders import AIR, TABLE_AIR, Tube, driven, lumped, make_rules, patch, random_batch

HZ = np.linspace(20.0, 200.0, 181)
OMEGA = 2.0 * np.pi * HZ

# computed: frequency over flow resistivity, k/k0, Zc/Z0
MIKI = [
    (0.01, 2.876837 - 2.754990j, 2.285577 - 1.965096j),
    (0.1, 1.452300 - 0.663926j, 1.299984 - 0.458547j),
    (1.0, 1.109 - 0.160j, 1.070 - 0.107j),
]


@pytest.mark.parametrize("row", MIKI)
def test_ratios(row: tuple[float, complex, complex]) -> None:
    """Both ratios at the ends of the range and between."""
    x, k, z = row
    found_k, found_z = lining_ratios(np.array([2.0 * np.pi * 50.0]), np.array([50.0 / x]))
    assert found_k[0] == pytest.approx(k, abs=1e-6)
    assert found_z[0] == pytest.approx(z, abs=1e-6)


def test_no_resistivity_is_air() -> None:
    """Zero flow resistivity is no lining, at any frequency, also beside designs that have one."""
    density, compressibility = lined_medium(OMEGA, np.array([0.0, 500.0]), AIR)
    assert np.all(density[0] == AIR.density) and np.all(compressibility[0] == 1.0 / AIR.bulk_modulus)
    assert np.all(np.abs(density[1]) > AIR.density)
    area, length = np.full((2, 1), 0.004), np.full((2, 1), 0.7)
    lined = ducts.duct_impedances(OMEGA, area, length, AIR, lining=np.array([[0.0], [500.0]]))
    plain = ducts.duct_impedances(OMEGA, area, length, AIR)
    for one, two in zip(lined, plain, strict=True):
        assert np.all(one[0] == two[0])
        assert not np.any(np.isclose(one[1], two[1], rtol=1e-3))


def test_outside_the_range() -> None:
    """Errors name resistivity, frequency and what would do; a little more than air is not in the range."""
    with pytest.raises(ValueError, match=r"30 Pa s/m2 is outside Miki's range at 31 Hz: 31 to 3100 Pa s/m2"):
        lining_ratios(np.array([2.0 * np.pi * 31.0]), np.array([30.0]))
    with pytest.raises(ValueError, match=r"5000 Pa s/m2 is outside Miki's range at 20 Hz: 20 to 2000"):
        lining_ratios(OMEGA, np.array([[400.0], [5000.0]]))
    with pytest.raises(ValueError, match="-1 Pa s/m2; it cannot be negative"):
        lining_ratios(OMEGA, np.array([[-1.0]]))
    assert lining_range(20.0, 200.0) == pytest.approx((200.0, 2000.0))


def test_medium_is_passive() -> None:
    """Density and compressibility take energy over the whole range; far below it the latter gives some."""
    x = np.geomspace(0.01, 1.0, 201)
    hz = 100.0
    density, compressibility = lined_medium(np.array([2.0 * np.pi * hz]), hz / x, AIR)
    assert np.all(density.imag < 0.0) and np.all(compressibility.imag < 0.0)
    assert np.all(density.real > AIR.density)
    # between adiabatic and a little above isothermal
    ratio = compressibility.real * AIR.bulk_modulus
    assert np.all((ratio > 1.0) & (ratio < AIR.heat_ratio * 1.05))
    k, z = (1.0 + c * 1e-4**p for c, p in ((0.109 - 0.160j, -0.618), (0.070 - 0.107j, -0.632)))
    assert (k / z).imag > 0.0


def test_resistance_is_the_flow_resistivity() -> None:
    """At the low end of the range the series resistance per length nears the flow resistivity itself."""
    resistivity = np.array([2000.0])
    density, _ = lined_medium(np.array([2.0 * np.pi * 20.0]), resistivity, AIR)
    resistance = -(2.0 * np.pi * 20.0 * density.imag)[0, 0]
    assert 0.7 * 2000.0 < resistance < 1.3 * 2000.0


def resonance_peak(lining: float | None) -> np.ndarray:
    """Input impedance of a line closed at the far end, by flow resistivity, over rho c/S."""
    column = None if lining is None else np.array([[lining]])
    z11, _, _ = ducts.duct_impedances(OMEGA, np.array([[0.01]]), np.array([[1.6]]), AIR, lining=column)
    return np.asarray(np.abs(z11[0]) * 0.01 / (AIR.density * AIR.sound_speed))


def test_lined_closed_line() -> None:
    """Peaks of a closed line fall with the lining and move down, as sound goes slower."""
    plain, light, heavy = resonance_peak(None), resonance_peak(200.0), resonance_peak(1500.0)
    near = np.abs(HZ - AIR.sound_speed / (2.0 * 1.6)) < 35.0
    assert plain[near].max() > 10.0 * light[near].max()
    assert light[near].max() > 2.0 * light[near].min()
    assert np.all(np.diff(heavy[near]) < 0.0)  # no peak is left
    assert HZ[near][np.argmax(light[near])] < 0.95 * HZ[near][np.argmax(plain[near])]
    # a heavily lined line is nearly endless: its own characteristic impedance
    _, z = lining_ratios(OMEGA, np.array([1500.0]))
    assert heavy[-40:] == pytest.approx(np.abs(z)[-40:], rel=0.05)


@pytest.mark.parametrize("profile", ["conical", "exponential"])
def test_lined_taper_is_many_lined_lines(profile: str) -> None:
    """A lined taper against the chain of short lined lines, written as matrices here."""
    area, end, length, count = 0.002, 0.012, 0.9, 3000
    lining = np.array([[700.0]])
    z11, z12, z22 = ducts.duct_impedances(
        OMEGA,
        np.array([[area]]),
        np.array([[length]]),
        TABLE_AIR,
        area_end=np.array([[end]]),
        profile=profile,  # type: ignore[arg-type]
        lining=lining,
    )
    k, z = lining_ratios(OMEGA, np.array([700.0]))
    gamma = 1j * OMEGA / TABLE_AIR.sound_speed * k
    unit = TABLE_AIR.density * TABLE_AIR.sound_speed * z
    chain = np.broadcast_to(np.eye(2, dtype=complex), (HZ.size, 2, 2))
    for along in (np.arange(count) + 0.5) / count:
        if profile == "conical":
            section = (np.sqrt(area) * (1.0 - along) + np.sqrt(end) * along) ** 2
        else:
            section = area ** (1.0 - along) * end**along
        cosh, sinh = np.cosh(gamma * length / count), np.sinh(gamma * length / count)
        piece = np.moveaxis(np.array([[cosh, unit / section * sinh], [section / unit * sinh, cosh]]), -1, 0)
        chain = chain @ piece
    assert z12[0] == pytest.approx(1.0 / chain[:, 1, 0], rel=1e-5)
    assert z11[0] == pytest.approx(chain[:, 0, 0] / chain[:, 1, 0], rel=1e-5)
    assert z22[0] == pytest.approx(chain[:, 1, 1] / chain[:, 1, 0], rel=1e-5)


def test_lined_room_along_its_line() -> None:
    """A lined chamber driven over its whole end is Z = -j Zc cot(kL)/S with the lining's k and Zc."""
    sides = np.array([[1.2, 0.2, 0.15]])
    face = patch("x-", (0.1, 0.075), (0.1, 0.075))
    lining = np.array([800.0])
    z, with_near_field = (
        room_impedance(OMEGA, sides, np.prod(sides, axis=1), [face], AIR, physics, lining=lining)[0, 0, 0]
        for physics in (Physics(chambers="line"), Physics())
    )
    k, ratio = lining_ratios(OMEGA, lining)
    zc = AIR.density * AIR.sound_speed * ratio / (0.2 * 0.15)
    assert z == pytest.approx(-1j * zc / np.tan(k * OMEGA / AIR.sound_speed * 1.2), rel=1e-9)
    # over the whole end nothing varies across the line, but for the truncation of sums
    assert with_near_field == pytest.approx(z, rel=3e-4)


def test_leak_stays_in_a_lined_chamber() -> None:
    """Leakage adds to the lining's compressibility; wall losses give way to the lining."""
    sides = np.array([[0.5, 0.4, 0.3]])
    physics = Physics(leak_corner_hz=3.0)
    density, compressibility = medium(
        OMEGA, sides, np.prod(sides, axis=1), 0, AIR, physics, np.array([900.0])
    )
    heavy, soft = lined_medium(OMEGA, np.array([900.0]), AIR)
    assert density == pytest.approx(heavy)
    leak = -2j * np.pi * 3.0 / OMEGA / AIR.bulk_modulus
    assert compressibility == pytest.approx(soft + leak)


def lined_box(lining: float | None) -> DesignBatch:
    """A closed box of 60 L with or without lining."""
    batch = lumped(parse_graph_id("oA"), [0.06])
    return batch if lining is None else replace(batch, lining=(np.array([lining]),))


def test_lined_box_is_larger_and_damped() -> None:
    """A lining lowers a closed box's resonance, by less than isothermal air would, and its impedance peak."""
    judge = Judge(
        make_rules(physics=Physics(chambers="lump", duct_end_loss=False)), np.linspace(35.0, 55.0, 801)
    )
    peaks = []
    for lining in (None, 2000.0):
        z = np.abs(judge.respond(lined_box(lining), 1.0).impedance[0, 0])
        peaks.append((judge.tones_hz[np.argmax(z)], z.max()))
    (plain_hz, plain), (lined_hz, lined) = peaks
    assert plain_hz / np.sqrt(AIR.heat_ratio) < lined_hz < 0.98 * plain_hz
    assert lined < 0.95 * plain


def test_power_goes_into_the_lining() -> None:
    """A lined line takes most of what its chamber gets, and the balance closes."""
    tube = Tube(area=0.01, length=1.0, line=1.0)
    batch = lumped(parse_graph_id("oA/Ao"), [0.03], [tube])
    lined = replace(batch, ducts=(replace(batch.ducts[0], lining=np.array([1500.0])),))
    shares = []
    for one in (batch, lined):
        rules = make_rules(tones_hz=[40.0, 80.0], physics=Physics(duct_end_loss=False))
        network, state, omega = driven(rules, one, 1.0)
        parts = power_balance(one, rules, network, state, omega)
        given = parts.pop("electrical")
        assert sum(parts.values()) == pytest.approx(given, rel=1e-9)
        shares.append(parts["duct"] / (parts["duct"] + parts["outside"]))
    assert np.all(shares[1] > 0.7)
    assert np.all(shares[0] < 0.7 * shares[1])


def test_rows_keep_their_lining() -> None:
    """Picking designs picks their linings."""
    batch = random_batch(parse_graph_id("AB/AB.Ao"), 8, 4, lined=True)
    assert any(one is not None for one in batch.lining) or any(d.lining is not None for d in batch.ducts)
    picked = batch.rows(np.array([2]))
    for one, two in zip(
        [*batch.lining, *(d.lining for d in batch.ducts)],
        [*picked.lining, *(d.lining for d in picked.ducts)],
        strict=True,
    ):
        assert (one is None and two is None) or (one is not None and two is not None and one[2] == two[0])
