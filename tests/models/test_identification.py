"""Thiele-Small parameters from impedance sweeps: closed forms, known truth, noise, a circuit simulator."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.driver import Driver
from models.identification import QUANTITIES, Setup, box_vas, identify, moving_mass
from models.impedance_peak import IdentificationError, Sweep, find_peak
from tests.builders import AIR
from tests.sweeps import BOX_LOSS, clean_sweeps, known_driver, noisy, setup_of

LOSSY = {"coil_k": 0.012, "coil_n": 0.68}
LOADS = pytest.mark.parametrize("how", [{"added_mass": 2e-3}, {"box_volume": 1.2e-3}], ids=["mass", "box"])
COILS = pytest.mark.parametrize("coil", [{"le_mh": 0.15}, LOSSY], ids=["inductance", "lossy"])


def truth(driver: Driver) -> dict[str, float]:
    return dict(
        fs=driver.fs, qms=driver.qms, qes=driver.qes, qts=driver.qts, vas=driver.vas(AIR),
        re=driver.coil_resistance, mms=driver.mass, cms=driver.compliance, rms=driver.resistance_mechanical,
        bl=driver.force_factor, eta0=driver.reference_efficiency(AIR),
    )  # fmt: skip


def test_closed_forms_without_inductance() -> None:
    """r0, f1 f2 = fs^2, Qms and Qes (R. H. Small 1972, from memory), exact for a pure resistance."""
    driver = known_driver()
    setup = replace(setup_of(driver, added_mass=1e-3), baffled=True)
    first, _ = clean_sweeps(driver, setup, points=20001, low=0.5, high=20000.0)
    peak = find_peak(first)
    assert peak.fs == pytest.approx(95.0, rel=1e-3)
    assert peak.maximum == pytest.approx(3.4 * (1.0 + 4.0 / 0.5), rel=1e-6)
    assert peak.low * peak.high == pytest.approx(95.0**2, rel=1e-4)
    assert (peak.qms, peak.qes) == pytest.approx((4.0, 0.5), rel=2e-3)


def test_closed_forms_of_both_loads() -> None:
    """Mms = m/((fs/f')^2 - 1) and Vas = Vb (fc Qec/(fs Qes) - 1), with the loss of the box left out."""
    assert moving_mass(1e-3, 95.0, 95.0 / np.sqrt(1.5)) == pytest.approx(2e-3, rel=1e-12)
    driver = known_driver()
    setup = replace(setup_of(driver, box_volume=1e-3), baffled=True)
    peaks = [find_peak(s) for s in clean_sweeps(driver, setup, points=20001, low=0.5, high=20000.0)]
    assert box_vas(1e-3, *peaks) == pytest.approx(0.9e-3, rel=5e-3)


@LOADS
@COILS
def test_clean_sweeps_give_the_driver_back(coil: dict[str, float], how: dict[str, float]) -> None:
    driver = known_driver(**coil)
    setup = setup_of(driver, **how)
    found = identify(*clean_sweeps(driver, setup), setup)
    for name, value in truth(driver).items():
        assert found.values[name] == pytest.approx(value, rel=1e-6), name
    assert found.coil == ("lossy" if "coil_k" in coil else "inductance")
    if setup.box_volume is not None:
        assert found.box_loss == pytest.approx(BOX_LOSS, rel=1e-5)


@LOADS
@pytest.mark.parametrize("noise", [{"relative": 0.01}, {"ohm": 0.04}], ids=["relative", "constant"])
def test_stated_uncertainties_are_those_of_repeated_measurements(
    noise: dict[str, float], how: dict[str, float]
) -> None:
    """Over 60 pairs of noisy sweeps: deviations in stated uncertainties have mean 0 and spread 1.

    The bounds are four standard deviations of a mean of 60, and wide ones of the spread, whose own
    standard deviation is 0.09.
    """
    driver = known_driver(**LOSSY)
    setup = setup_of(driver, **how)
    clean, known = clean_sweeps(driver, setup), truth(driver)
    scores, values, stated = [], [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        found = identify(*(noisy(sweep, rng, **noise) for sweep in clean), setup, "lossy")
        values.append([found.values[name] for name in known])
        stated.append([found.uncertainties[name] for name in known])
        scores.append([(found.values[n] - v) / found.uncertainties[n] for n, v in known.items()])
    spread = np.std(scores, axis=0)
    assert np.all(np.abs(np.mean(scores, axis=0)) < 4.0 / np.sqrt(60))
    assert np.all((spread > 0.7) & (spread < 1.4)), spread
    ratio = np.std(values, axis=0) / np.mean(stated, axis=0)  # Monte Carlo against the covariance
    assert np.all((ratio > 0.7) & (ratio < 1.4)), ratio


def test_mounting_decides_the_air_load() -> None:
    """The same sweeps read as taken in a baffle give a mass without the missing (8/3) rho a^3."""
    driver = known_driver(le_mh=0.15)
    free = setup_of(driver, added_mass=2e-3)
    sweeps = clean_sweeps(driver, free)
    masses = [identify(*sweeps, replace(free, baffled=b)).values["mms"] for b in (False, True)]
    load = 8.0 / 3.0 * AIR.density * np.sqrt(driver.area / np.pi) ** 3
    assert masses[0] - masses[1] == pytest.approx(load, rel=1e-4)


def test_a_wrong_coil_shows_in_neighbouring_residuals() -> None:
    driver = known_driver(**LOSSY)
    setup = setup_of(driver, added_mass=2e-3)
    sweeps = [noisy(s, np.random.default_rng(7), relative=0.003) for s in clean_sweeps(driver, setup)]
    right, wrong = identify(*sweeps, setup, "lossy"), identify(*sweeps, setup, "inductance")
    assert abs(right.memory) < 0.2 and wrong.memory > 0.7


def test_what_cannot_be_read_is_said() -> None:
    driver = known_driver(le_mh=0.15)
    setup = setup_of(driver, added_mass=2e-3)
    first, second = clean_sweeps(driver, setup)
    with pytest.raises(IdentificationError, match="an added mass lowers the resonance"):
        identify(second, first, setup)
    with pytest.raises(IdentificationError, match="a closed box raises the resonance"):
        identify(first, second, setup_of(driver, box_volume=1e-3))
    with pytest.raises(IdentificationError, match="no resonance between 300"):
        find_peak(first.between(300.0, 2000.0))
    with pytest.raises(IdentificationError, match="is cut off"):
        find_peak(first.between(85.0, 2000.0))
    with pytest.raises(IdentificationError) as raised:
        identify(first, second.between(300.0, 2000.0), setup)
    assert raised.value.sweep == 1
    other = clean_sweeps(known_driver(le_mh=0.15, qms=1.0, re_ohm=8.0), setup)[1]
    with pytest.raises(IdentificationError, match="no driver describes both sweeps"):
        identify(first, other, setup)
    with pytest.raises(ValueError, match="exactly one"):
        identify(first, second, Setup(area=driver.area, air=AIR))


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@LOADS
def test_sweeps_from_a_circuit_simulator(how: dict[str, float], tmp_path: Path) -> None:
    """Electrical equivalent circuit solved by ngspice: mass as capacitor, compliance as inductor."""
    from tests.models.test_ngspice import solve

    driver = known_driver(le_mh=0.15)
    setup = setup_of(driver, **how)
    square = driver.force_factor**2
    alone = driver.mass - setup.missing_load
    stiffness = 1.0 / driver.compliance
    if setup.added_mass is not None:
        loaded = (alone + setup.added_mass, stiffness)
    else:
        assert setup.box_volume is not None
        loaded = (driver.mass, stiffness + AIR.bulk_modulus * driver.area**2 / setup.box_volume)
    sweeps = []
    for number, (mass, spring) in enumerate(((alone, stiffness), loaded)):
        output = tmp_path / f"{number}.txt"
        circuit = [
            "* driver", "iin 0 a dc 0 ac 1", f"re a b {driver.coil_resistance!r}",
            f"le b c {driver.coil_inductance!r}", f"cm c 0 {mass / square!r}", f"lm c 0 {square / spring!r}",
            f"rm c 0 {square / driver.resistance_mechanical!r}", ".control", "set wr_singlescale",
            "set numdgt=15", "ac dec 60 10 2000", f"wrdata {output} v(a)", "quit", ".endc", ".end",
        ]  # fmt: skip
        hz, voltage = solve("\n".join(circuit) + "\n", tmp_path, output)
        sweeps.append(Sweep(hz=hz, impedance=voltage[0]))
    found = identify(sweeps[0], sweeps[1], setup)
    assert set(found.values) == set(QUANTITIES)
    for name, value in truth(driver).items():
        assert found.values[name] == pytest.approx(value, rel=1e-5), name
