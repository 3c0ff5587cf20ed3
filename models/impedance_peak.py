"""The resonance in an impedance sweep, and the closed forms that read a driver's Qs off it.

For a coil without inductance: r0 = R_max / Re; at f1 < fs < f2 where |Z| = Re sqrt(r0), f1 f2 = fs^2,
Qms = fs sqrt(r0) / (f2 - f1) and Qes = Qms / (r0 - 1) (R. H. Small, "Direct-Radiator Loudspeaker System
Analysis", JAES 20(5) 383-395, 1972, from memory; checked against the circuit).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks

LEAST_RISE = 0.1
"""Rise of the resonance above its surroundings that counts, relative [1]."""


class IdentificationError(ValueError):
    """Sweeps from which no driver can be found.

    Attributes
    ----------
    sweep : int
        Which sweep is to blame: 0 for the first, 1 for the second [1].
    """

    def __init__(self, sweep: int, message: str) -> None:
        self.sweep = sweep
        super().__init__(message)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """A measured impedance.

    Attributes
    ----------
    hz : ndarray, shape (n,)
        Frequencies, rising [Hz].
    impedance : complex ndarray, shape (n,)
        Impedance [ohm].
    """

    hz: np.ndarray
    impedance: np.ndarray

    def between(self, low: float, high: float) -> Sweep:
        """The points from one frequency to another."""
        rows = (self.hz >= low) & (self.hz <= high)
        return Sweep(hz=self.hz[rows], impedance=self.impedance[rows])


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """A resonance as the closed forms read it.

    Attributes
    ----------
    fs : float
        Frequency of the largest magnitude [Hz].
    maximum : float
        Largest magnitude [ohm].
    re : float
        Resistance of the coil, from the least magnitude below and above [ohm].
    low, high : float
        Frequencies f1 and f2 where the magnitude is Re sqrt(r0) [Hz].
    """

    fs: float
    maximum: float
    re: float
    low: float
    high: float

    @property
    def qms(self) -> float:
        """Mechanical quality factor, fs sqrt(r0) / (f2 - f1) [1]."""
        return self.fs * float(np.sqrt(self.maximum / self.re)) / (self.high - self.low)

    @property
    def qes(self) -> float:
        """Electrical quality factor, Qms / (r0 - 1) [1]."""
        return self.qms / (self.maximum / self.re - 1.0)


def find_peak(sweep: Sweep, number: int = 0) -> Peak:
    """Read the most prominent resonance.

    Parameters
    ----------
    sweep : Sweep
        Measured impedance [record].
    number : int
        Which sweep an error is to name [1].

    Returns
    -------
    Peak
        The resonance [record].

    Raises
    ------
    IdentificationError
        There is no maximum inside the range, or its flanks are not.
    """
    size = np.abs(sweep.impedance)
    log = np.log(size)
    tops, about = find_peaks(log, prominence=np.log1p(LEAST_RISE))
    span = f"{sweep.hz[0]:.4g} to {sweep.hz[-1]:.4g} Hz"
    if tops.size == 0:
        raise IdentificationError(number, f"no resonance between {span}")
    top = int(tops[np.argmax(about["prominences"])])
    re = float(np.min(sweep.impedance.real))
    if re <= 0.0:
        raise IdentificationError(number, f"a resistance of {re:.4g} ohm, which no driver has")
    level = 0.5 * (np.log(re) + log[top])
    below, above = np.flatnonzero(log[:top] < level), np.flatnonzero(log[top:] < level)
    if below.size == 0 or above.size == 0:
        raise IdentificationError(
            number, f"the resonance at {sweep.hz[top]:.4g} Hz is cut off: the sweep runs from {span} only"
        )

    def crossing(inner: int, outer: int) -> float:
        share = (level - log[inner]) / (log[outer] - log[inner])
        return float(sweep.hz[inner] * (sweep.hz[outer] / sweep.hz[inner]) ** share)

    left, right = int(below[-1]), top + int(above[0])
    return Peak(
        fs=float(sweep.hz[top]),
        maximum=float(size[top]),
        re=re,
        low=crossing(left + 1, left),
        high=crossing(right - 1, right),
    )
