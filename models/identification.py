"""Thiele-Small parameters of a driver from two impedance sweeps.

One sweep is taken in free air (or in a baffle), the other with a known mass on the cone or with the
rear in a closed box of known volume. Both are fitted at once:

Z = Re + Zcoil + Bl^2 / (j w M + R + 1/(j w C)),  Zcoil = j w Le or K (j w)^n.

Residuals are ln(measured / fitted): the real part is the relative error in magnitude, the imaginary
part the error in phase. Standard uncertainties follow from the covariance of the fit, with the scatter
about it as the noise; errors of the mass, the volume or the area are not in them. Closed forms of the
literature (:mod:`models.impedance_peak`) give the starting values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from models.air import Air
from models.driver import Driver
from models.fit_errors import covariance, neighbour_correlation, slopes_of, split_log
from models.impedance_peak import IdentificationError, Peak, Sweep, find_peak

AIC_MARGIN = 6.0
"""How much better the lossy coil must describe the sweeps to be taken instead of a plain inductance."""

QUANTITIES = (
    "fs", "qms", "qes", "qts", "vas", "re", "mms", "cms", "rms", "bl", "eta0", "le", "coil_k", "coil_n",
)  # fmt: skip
"""Names of what is found, as in :mod:`models.thiele_small`, and of the coil."""

FURTHEST = float(np.log(100.0))
"""How far a value may go from that of the closed forms, in its logarithm [1]."""

LARGEST_SCATTER = 0.3
"""Root mean square residual above which two sweeps are not those of one driver [1]."""

LEAST_N, LARGEST_N = 0.2, 1.0
"""Range of the exponent of a lossy coil."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """How the two sweeps were taken.

    Attributes
    ----------
    area : float
        Effective piston area [m2].
    air : Air
        The gas during both sweeps [record].
    added_mass : float or None
        Mass on the cone in the second sweep [kg].
    box_volume : float or None
        Net air volume behind the driver in the second sweep [m3].
    baffled : bool
        Whether the first sweep, and the second one where it has an added mass, was taken in a baffle
        rather than with both sides free [flag].
    """

    area: float
    air: Air
    added_mass: float | None = None
    box_volume: float | None = None
    baffled: bool = False

    @property
    def missing_load(self) -> float:
        """Air load of a baffle mounting that a free mounting lacks, (8/3) rho a^3 [kg].

        A disc in a baffle carries 2 (8/3) rho a^3 on both faces together, a free one half of that
        (L. L. Beranek, "Acoustics", from memory).
        """
        radius = np.sqrt(self.area / np.pi)
        return 0.0 if self.baffled else float(8.0 / 3.0 * self.air.density * radius**3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identified:
    """What two sweeps say about a driver.

    Attributes
    ----------
    values, uncertainties : dict of float
        By the names of :data:`QUANTITIES`, mass with the air load of a baffle: value, and standard
        uncertainty from the scatter of the sweeps [SI].
    coil : str
        ``inductance`` or ``lossy`` [text].
    box_loss : float or None
        Mechanical loss that the box added in the second sweep, over that of the driver [1].
    scatter : float
        Standard deviation of the residuals, relative in magnitude and in radians of phase [1].
    memory : float
        Correlation of neighbouring residuals; near 0 where only noise is left [1].
    fitted : tuple of two complex ndarrays
        Impedance of the fit at the frequencies of each sweep [ohm].
    """

    values: dict[str, float]
    uncertainties: dict[str, float]
    coil: str
    box_loss: float | None
    scatter: float
    memory: float
    fitted: tuple[np.ndarray, np.ndarray]


def identify(
    first: Sweep, second: Sweep, setup: Setup, coil: Literal["auto", "inductance", "lossy"] = "auto"
) -> Identified:
    """Fit both sweeps at once.

    Parameters
    ----------
    first : Sweep
        Driver alone [record].
    second : Sweep
        With added mass, or in the closed box [record].
    setup : Setup
        How they were taken; exactly one of mass and volume [record].
    coil : str
        ``auto`` takes the lossy form where Akaike's criterion prefers it by :data:`AIC_MARGIN` [text].

    Returns
    -------
    Identified
        Values and uncertainties [record].

    Raises
    ------
    IdentificationError
        No resonance, a shift of the resonance the wrong way, or a fit that does not settle.
    ValueError
        Not exactly one of mass and volume.
    """
    if (setup.added_mass is None) == (setup.box_volume is None):
        raise ValueError("exactly one of added mass and box volume must be given")
    start = _start(find_peak(first, 0), find_peak(second, 1), setup)
    forms = ("inductance", "lossy") if coil == "auto" else (coil,)
    fits = {form: _fit(first, second, setup, form, start) for form in forms}
    chosen = forms[0]
    if coil == "auto" and _aic(fits["lossy"]) < _aic(fits["inductance"]) - AIC_MARGIN:
        chosen = "lossy"
    return _identified(first, second, setup, chosen, fits[chosen])


def moving_mass(added: float, fs: float, loaded: float) -> float:
    """Moving mass from the resonance without and with an added mass, m / ((fs/f')^2 - 1) [kg]."""
    return added / ((fs / loaded) ** 2 - 1.0)


def box_vas(volume: float, free: Peak, boxed: Peak) -> float:
    """Vas from the resonance in a closed box, Vb (fc Qec / (fs Qes) - 1) (R. H. Small 1972, from memory)."""
    return volume * (boxed.fs * boxed.qes / (free.fs * free.qes) - 1.0)


def model_impedance(
    hz: np.ndarray, driver: Driver, mass: float, stiffness: float, resistance: float
) -> np.ndarray:
    """Impedance of a driver whose moving parts are loaded.

    Parameters
    ----------
    hz : ndarray, shape (n,)
        Frequencies [Hz].
    driver : Driver
        The driver [record].
    mass : float
        Moving mass with all that moves along [kg].
    stiffness : float
        Of suspension and box together [N/m].
    resistance : float
        Mechanical loss [kg/s].

    Returns
    -------
    complex ndarray, shape (n,)
        Impedance at the terminals [ohm].
    """
    omega = 2.0 * np.pi * hz
    mechanical = 1j * omega * mass + resistance + stiffness / (1j * omega)
    return np.asarray(driver.coil_impedance(omega) + driver.force_factor**2 / mechanical)


def _start(free: Peak, loaded: Peak, setup: Setup) -> np.ndarray:
    """Logarithms of Re, mass as mounted, compliance, loss and Bl by the closed forms."""
    pair = f"{free.fs:.4g} Hz alone and {loaded.fs:.4g} Hz"
    if setup.added_mass is not None:
        if loaded.fs >= free.fs:
            raise IdentificationError(1, f"an added mass lowers the resonance, but it is at {pair} with it")
        mass = moving_mass(setup.added_mass, free.fs, loaded.fs)
        compliance = 1.0 / (mass * (2.0 * np.pi * free.fs) ** 2)
    else:
        if loaded.fs <= free.fs:
            raise IdentificationError(1, f"a closed box raises the resonance, but it is at {pair} in it")
        assert setup.box_volume is not None
        volume = setup.box_volume * ((loaded.fs / free.fs) ** 2 - 1.0)
        compliance = volume / (setup.air.bulk_modulus * setup.area**2)
        mass = 1.0 / (compliance * (2.0 * np.pi * free.fs) ** 2)
    loss = np.sqrt(mass / compliance) / free.qms
    force = np.sqrt(np.sqrt(mass / compliance) * free.re / free.qes)
    return np.log([free.re, mass, compliance, loss, force])


def _unpack(x: np.ndarray, setup: Setup, form: str) -> tuple[Driver, float]:
    """Driver, and what the box adds to its loss, of a parameter vector."""
    re, mass, compliance, loss, force = np.exp(x[:5])
    coil = {"coil_inductance": x[5] * 1e-3}
    if form == "lossy":
        coil = {"coil_loss_k": x[5], "coil_loss_n": x[6]}
    driver = Driver(
        name="measured", area=setup.area, mass=mass + setup.missing_load, compliance=compliance,
        resistance_mechanical=loss, force_factor=force, coil_resistance=re, displaced_volume=0.0, cutout=0.0,
        frame=0.0, depth=0.0, nominal_resistance=re, **coil,
    )  # fmt: skip
    return driver, 0.0 if setup.box_volume is None else float(x[-1])


def _both(x: np.ndarray, hz: tuple[np.ndarray, np.ndarray], setup: Setup, form: str) -> list[np.ndarray]:
    driver, box_loss = _unpack(x, setup, form)
    alone = driver.mass - setup.missing_load
    stiffness, loss = 1.0 / driver.compliance, driver.resistance_mechanical
    loaded, boxed = driver.mass, stiffness
    if setup.added_mass is not None:
        loaded = alone + setup.added_mass
    else:
        boxed += setup.air.bulk_modulus * setup.area**2 / (setup.box_volume or np.inf)
    return [
        model_impedance(hz[0], driver, alone, stiffness, loss),
        model_impedance(hz[1], driver, loaded, boxed, loss * (1.0 + box_loss)),
    ]


def _fit(first: Sweep, second: Sweep, setup: Setup, form: str, start: np.ndarray) -> OptimizeResult:
    extra, low, high = [0.1], [0.0], [1e4]  # Le in mH, or K and n
    if form == "lossy":
        extra, low, high = [0.01, 0.7], [0.0, LEAST_N], [1e4, LARGEST_N]
    if setup.box_volume is not None:
        extra, low, high = [*extra, 0.05], [*low, -0.9], [*high, 100.0]
    hz = (first.hz, second.hz)
    measured = np.concatenate([first.impedance, second.impedance])

    def residuals(x: np.ndarray) -> np.ndarray:
        return split_log(measured, np.concatenate(_both(x, hz, setup, form)))

    bounds = np.concatenate([start - FURTHEST, low]), np.concatenate([start + FURTHEST, high])
    begin = np.concatenate([start, extra])
    result = least_squares(residuals, begin, jac="3-point", bounds=bounds, x_scale="jac", max_nfev=400)
    scatter = float(np.sqrt(np.mean(result.fun**2)))
    astray = bool(np.any(np.abs(result.x[:5] - start) > 0.99 * FURTHEST))
    if not result.success or scatter > LARGEST_SCATTER or astray:
        words = f"no driver describes both sweeps: the best one leaves {scatter * 100:.3g} % (rms)"
        raise IdentificationError(1, words)
    if np.any(np.linalg.norm(result.jac, axis=0) == 0.0):
        raise IdentificationError(0, "the sweeps show no inductance of that form; try another --coil")
    return result


def _aic(fit: OptimizeResult) -> float:
    """Akaike's information criterion for noise of unknown size [1]."""
    count = fit.fun.size
    return float(count * np.log(2.0 * fit.cost / count) + 2.0 * fit.x.size)


def _identified(first: Sweep, second: Sweep, setup: Setup, form: str, fit: OptimizeResult) -> Identified:
    def quantities(x: np.ndarray) -> np.ndarray:
        d, air = _unpack(x, setup, form)[0], setup.air
        return np.array(
            [
                d.fs, d.qms, d.qes, d.qts, d.vas(air), d.coil_resistance, d.mass, d.compliance,
                d.resistance_mechanical, d.force_factor, d.reference_efficiency(air), d.coil_inductance,
                d.coil_loss_k, d.coil_loss_n,
            ]
        )  # fmt: skip

    spread = covariance(fit)
    slopes = slopes_of(quantities, fit.x)
    sigma = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, spread, slopes), 0.0))
    fitted = _both(fit.x, (first.hz, second.hz), setup, form)
    sizes = [first.hz.size, second.hz.size]
    return Identified(
        values=dict(zip(QUANTITIES, quantities(fit.x).tolist(), strict=True)),
        uncertainties=dict(zip(QUANTITIES, sigma.tolist(), strict=True)),
        coil=form,
        box_loss=None if setup.box_volume is None else float(fit.x[-1]),
        scatter=float(np.sqrt(2.0 * fit.cost / (fit.fun.size - fit.x.size))),
        memory=neighbour_correlation(fit.fun, sizes * 2),
        fitted=(fitted[0], fitted[1]),
    )
