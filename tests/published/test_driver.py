"""Driver parameters: worked values, identities, and the closure over the Thiele-Small relations."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.air import humid_air
from models.driver import Driver, DriverDataError, driver_from_parameters
from models.thiele_small import QUANTITIES, solve

AIR = humid_air(20.0, 101.325, 50.0)

# synthetic driver D1; its derived values were computed from the stated formulas by an independent script
# (they are not published numbers), air at 20 degC and 50 %
D1 = {"sd_cm2": 330.0, "mms_g": 65.0, "cms_mm_n": 0.50, "rms_kg_s": 1.60, "bl_tm": 11.0, "re_ohm": 3.40}


def d1() -> Driver:
    """The worked driver."""
    return driver_from_parameters(AIR, **D1)


def test_d1_parameters() -> None:
    """Computed from the stated formulas, all printed digits."""
    driver = d1()
    assert driver.fs == pytest.approx(27.91762, abs=0.6e-5)
    assert driver.qms == pytest.approx(7.12610, abs=0.6e-5)
    assert driver.qes == pytest.approx(0.320380, abs=0.6e-6)
    assert driver.qts == pytest.approx(0.306596, abs=0.6e-6)
    assert driver.vas(AIR) * 1e3 == pytest.approx(77.27068, abs=0.6e-5)
    assert driver.reference_efficiency(AIR) * 100.0 == pytest.approx(0.50900, abs=0.6e-5)
    level_1w_db = 112.152 + 10.0 * math.log10(driver.reference_efficiency(AIR))
    assert level_1w_db == pytest.approx(89.2195, abs=0.6e-3)


@pytest.mark.parametrize(
    ("volume_l", "fc", "qtc"), [(15, 69.2412, 0.760418), (30, 52.7908, 0.579757), (60, 42.2271, 0.463745)]
)
def test_d1_in_closed_boxes(volume_l: float, fc: float, qtc: float) -> None:
    """R. H. Small, closed boxes, JAES 1972: fc/fs = Qtc/Qts = sqrt(1 + Vas/Vb) (formula from memory)."""
    driver = d1()
    rise = math.sqrt(1.0 + driver.vas(AIR) * 1e3 / volume_l)
    assert driver.fs * rise == pytest.approx(fc, abs=0.6e-4)
    assert driver.qts * rise == pytest.approx(qtc, abs=0.6e-6)


def test_efficiency_identity() -> None:
    """eta0 = rho (Bl)^2 Sd^2 / (2 pi c Re Mms^2), the other usual form (identity re-derived)."""
    driver = d1()
    other = AIR.density * (driver.force_factor * driver.area) ** 2
    other /= 2.0 * math.pi * AIR.sound_speed * driver.coil_resistance * driver.mass**2
    assert driver.reference_efficiency(AIR) == pytest.approx(other, rel=1e-12)


@pytest.mark.parametrize(
    ("hz", "magnitude", "parallel_r", "parallel_l_mh"),
    [(100.0, 4.54670, 10.01496, 8.12148), (1000.0, 22.78746, 50.19369, 4.07038)],
)
def test_leach_coil(hz: float, magnitude: float, parallel_r: float, parallel_l_mh: float) -> None:
    """W. M. Leach, JAES 50(6) 442-450 (2002): Z = K (jw)^n; values computed from his parallel form."""
    driver = driver_from_parameters(AIR, **D1, coil_k=0.05, coil_n=0.7)
    omega = np.array([2.0 * math.pi * hz])
    lossy = driver.coil_impedance(omega) - driver.coil_resistance
    assert abs(lossy[0]) == pytest.approx(magnitude, abs=0.6e-5)
    assert 1.0 / (1.0 / lossy[0]).real == pytest.approx(parallel_r, abs=0.6e-5)
    assert -1e3 / ((1.0 / lossy[0]).imag * omega[0]) == pytest.approx(parallel_l_mh, abs=0.6e-5)


def test_inductance_in_series() -> None:
    """Re + j w Le where the coil is lossless."""
    driver = driver_from_parameters(AIR, **D1, le_mh=0.5)
    assert driver.coil_impedance(np.array([1000.0]))[0] == pytest.approx(3.4 + 0.5j, rel=1e-12)


def _input_impedance(driver: Driver, hz: np.ndarray) -> np.ndarray:
    omega = 2.0 * np.pi * hz
    return np.abs(driver.coil_impedance(omega) + driver.force_factor**2 / driver.mechanical_impedance(omega))


def test_impedance_method() -> None:
    """Impedance method (common practice; from memory, exact for a lossless coil).

    r0 = Zmax/Re; at |Z| = Re sqrt(r0): f1 f2 = fs^2, Qms = fs sqrt(r0)/(f2 - f1), Qes = Qms/(r0 - 1).
    """
    from scipy.optimize import brentq

    driver = d1()
    peak = float(_input_impedance(driver, np.array([driver.fs]))[0])
    r0 = peak / driver.coil_resistance

    def excess(hz: float) -> float:
        return float(_input_impedance(driver, np.array([hz]))[0]) - driver.coil_resistance * math.sqrt(r0)

    f1, f2 = brentq(excess, 5.0, driver.fs, xtol=1e-12), brentq(excess, driver.fs, 200.0, xtol=1e-12)
    qms = driver.fs * math.sqrt(r0) / (f2 - f1)
    assert f1 * f2 == pytest.approx(driver.fs**2, rel=1e-9)
    assert qms == pytest.approx(driver.qms, rel=1e-9)
    assert qms / (r0 - 1.0) == pytest.approx(driver.qes, rel=1e-9)


def test_added_mass_and_closed_box_methods() -> None:
    """Mms = m / ((fs/fs')^2 - 1); Vas = Vb ((fc Qec)/(fs Qes) - 1) (common practice, from memory)."""
    driver = d1()
    heavier = driver_from_parameters(AIR, **{**D1, "mms_g": 65.0 + 20.0})
    assert 0.020 / ((driver.fs / heavier.fs) ** 2 - 1.0) == pytest.approx(driver.mass, rel=1e-9)
    box = 0.030
    boxed = driver_from_parameters(
        AIR, **{**D1, "cms_mm_n": 1e3 / (1e3 / 0.5e-3 * 1e-3 + AIR.bulk_modulus * driver.area**2 / box)}
    )
    vas = box * (boxed.fs * boxed.qes / (driver.fs * driver.qes) - 1.0)
    assert vas == pytest.approx(driver.vas(AIR), rel=1e-9)


def test_mass_in_vacuo() -> None:
    """Two-sided baffle load 2 Sd^2 8 rho/(3 pi^2 a), as secondary texts on the standard print it."""
    driver = d1()
    load = 2.0 * driver.area**2 * 8.0 * AIR.density / (3.0 * math.pi**2 * driver.radius)
    assert driver.mass_in_vacuo(AIR) == pytest.approx(driver.mass - load, rel=1e-12)
    light = driver_from_parameters(AIR, **{**D1, "mms_g": 6.0})
    with pytest.raises(ValueError, match=r"moving mass 6 g is not above the air load 6\.8"):
        light.mass_in_vacuo(AIR)


def _quantities(driver: Driver) -> dict[str, float]:
    return {
        "fs": driver.fs, "qms": driver.qms, "qes": driver.qes, "qts": driver.qts, "vas": driver.vas(AIR),
        "re": driver.coil_resistance, "sd": driver.area, "mms": driver.mass, "cms": driver.compliance,
        "rms": driver.resistance_mechanical, "bl": driver.force_factor,
        "eta0": driver.reference_efficiency(AIR),
    }  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    chosen=st.sets(st.sampled_from(QUANTITIES), min_size=6),
    fs=st.floats(15.0, 300.0),
    qms=st.floats(1.0, 15.0),
    qes=st.floats(0.15, 1.5),
    radius=st.floats(0.02, 0.2),
    mms=st.floats(1e-3, 0.3),
    re=st.floats(1.0, 20.0),
)
def test_any_sufficient_subset_gives_the_same_driver(
    chosen: set[str], fs: float, qms: float, qes: float, radius: float, mms: float, re: float
) -> None:
    """Whatever subset determines the driver determines the same one; what is not determined is left out."""
    ws = 2.0 * math.pi * fs
    full = _quantities(
        driver_from_parameters(
            AIR, fs_hz=fs, qms=qms, re_ohm=re, diameter_mm=2e3 * radius, mms_g=mms * 1e3,
            bl_tm=math.sqrt(ws * mms * re / qes),
        )
    )  # fmt: skip
    found = solve({name: full[name] for name in chosen}, AIR)
    for name, value in found.items():
        assert value == pytest.approx(full[name], rel=1e-6), name
    assert chosen <= set(found)


def test_sufficient_subsets_are_many() -> None:
    """Six independent values suffice; of all sets of six most do, and each that does gives D1."""
    full = _quantities(d1())
    complete = 0
    for chosen in combinations(QUANTITIES, 6):
        found = solve({name: full[name] for name in chosen}, AIR)
        if len(found) == len(QUANTITIES):
            complete += 1
            assert found == pytest.approx(full, rel=1e-7)
    assert complete > 300
    assert all(
        len(solve({n: full[n] for n in c}, AIR)) < len(QUANTITIES) for c in combinations(QUANTITIES, 5)
    )


def test_same_driver_by_every_route() -> None:
    """Four common data-sheet combinations, one of them with Qts and the motor only."""
    one = d1()
    full = {
        "fs_hz": one.fs,
        "qms": one.qms,
        "qes": one.qes,
        "qts": one.qts,
        "vas_l": one.vas(AIR) * 1e3,
        **D1,
    }
    for keys in (
        ("fs_hz", "qms", "qes", "vas_l", "re_ohm", "sd_cm2"),
        ("fs_hz", "qts", "qes", "vas_l", "re_ohm", "sd_cm2"),
        ("fs_hz", "qms", "bl_tm", "mms_g", "re_ohm", "sd_cm2"),
        ("qts", "rms_kg_s", "bl_tm", "re_ohm", "sd_cm2", "vas_l"),
    ):
        again = driver_from_parameters(AIR, **{key: full[key] for key in keys})
        assert _quantities(again) == pytest.approx(_quantities(one), rel=1e-9)


def test_conflicts_are_all_listed() -> None:
    """Both values of every contradiction, and what the second follows from."""
    with pytest.raises(DriverDataError) as caught:
        driver_from_parameters(AIR, fs_hz=35.0, qts=0.25, qms=7.1261, qes=0.32038, vas_l=77.27, **D1)
    faults = dict(caught.value.faults)
    assert "65 is given, but 41.36 follows from fs_hz, sd_cm2, vas_l" in faults["mms_g"]
    assert "0.25 is given, but 0.3066 follows from qms, qes" in faults["qts"]


def test_tolerance_of_redundant_data() -> None:
    """2.8 % off is accepted, 10 % is not."""
    assert driver_from_parameters(AIR, **D1, fs_hz=27.91762 * 1.014).fs > 0.0  # 2.8 % in the compliance
    with pytest.raises(
        DriverDataError, match=r"cms_mm_n: 0\.5 is given, but 0\.4535 follows from fs_hz, mms_g"
    ):
        driver_from_parameters(AIR, **D1, fs_hz=27.91762 * 1.05)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"fs_hz": 95.0, "qms": 4.0, "qes": 0.5, "re_ohm": 3.4, "sd_cm2": 21.0},
         "any one of vas_l, mms_g, cms_mm_n, rms_kg_s, bl_tm, eta0_percent would do"),
        ({"fs_hz": 95.0}, "more than one value is missing"),
        ({**D1, "re_ohm": 0.0}, "re_ohm: 0 must be above 0"),
        ({**D1, "bl_tm": float("nan")}, "bl_tm: nan is not a finite number"),
        ({**D1, "bl_tm": 1e308}, "bl_tm: 1e+308 must be 1e-9 to 1e+9"),
        ({**D1, "coil_n": 1.5}, "coil_n: 1.5 must be 0 to 1"),
        ({**D1, "diameter_mm": 100.0}, "100 mm is a disc of 78.54 cm2, but sd_cm2 = 330"),
        ({"fs_hz": 95.0, "qms": 4.0, "qts": 5.0}, "5 must be below qms = 4"),
        ({**D1, "qts": 8.0}, "qts: 8 is given, but 0.3066 follows"),
        ({"mms_g": 65.0, "cms_mm_n": 0.5, "rms_kg_s": 1.6, "qts": 8.0}, "qts: 8 is given, but 7.126 follows"),
    ],
)  # fmt: skip
def test_refusals(keys: dict[str, float], words: str) -> None:
    """Impossible, contradictory and insufficient data, with their values."""
    with pytest.raises(DriverDataError) as caught:
        driver_from_parameters(AIR, **keys)
    assert words in str(caught.value)


def test_unknown_key_is_a_wrong_call() -> None:
    """A programmer's error raises a plain TypeError."""
    with pytest.raises(TypeError, match="'mass'"):
        driver_from_parameters(AIR, **D1, mass=1.0)
