"""Variables of a search space between 0 and 1, and the shape of a chamber of given volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.complex_step import cube_root


def compact_sides(volume: np.ndarray, inner: np.ndarray) -> np.ndarray:
    """Sides of the most cubic cuboid of a volume inside a larger cuboid, longest first.

    Parameters
    ----------
    volume : ndarray, shape (n_designs,)
        Volume [m3].
    inner : ndarray, shape (3,)
        Sides of the cuboid around it [m].

    Returns
    -------
    ndarray, shape (n_designs, 3)
        Sides along x, y, z in falling order [m].
    """
    short, middle, _ = np.sort(inner)
    z = np.minimum(cube_root(volume), short)
    y = np.minimum(np.sqrt(volume / z), middle)
    return np.stack([volume / (z * y), y, z], axis=1)


Ranges = tuple[np.ndarray, np.ndarray, np.ndarray]
"""Lower ends, ratios of both ends where spaced by logarithm (else 1), widths where not (else 0)."""


def ranges_of(variables: Sequence[Variable]) -> Ranges:
    """Ranges of variables, for :func:`natural_values`."""
    low, high = (np.array([getattr(v, name) for v in variables]) for name in ("low", "high"))
    log = np.array([v.log for v in variables])
    return low, np.where(log, high / low, 1.0), np.where(log, 0.0, high - low)


def natural_values(ranges: Ranges, x: np.ndarray) -> np.ndarray:
    """Natural values of all variables, as :meth:`Variable.value` of each, with slopes where x has them.

    Parameters
    ----------
    ranges : tuple of three ndarrays
        From :func:`ranges_of` [record].
    x : ndarray, shape (n_designs, n_variables)
        Between 0 and 1, perhaps :func:`models.complex_step.stepped` [1].

    Returns
    -------
    ndarray, shape (n_designs, n_variables)
        Natural values [mixed].
    """
    low, ratio, width = ranges
    values = np.asarray(low * ratio**x.real + width * x.real)
    if not np.iscomplexobj(x):
        return values
    return np.asarray(values + 1j * x.imag * (np.log(ratio) * values + width))


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """One continuous variable.

    Attributes
    ----------
    name : str
        Name with unit [text].
    low, high : float
        Range in natural units [mixed].
    log : bool
        Whether it is spaced by its logarithm [flag].
    """

    name: str
    low: float
    high: float
    log: bool

    def value(self, unit: np.ndarray) -> np.ndarray:
        """Natural value of a variable between 0 and 1."""
        if self.log:
            return np.asarray(self.low * (self.high / self.low) ** unit)
        return np.asarray(self.low + (self.high - self.low) * unit)

    def unit(self, value: np.ndarray) -> np.ndarray:
        """Inverse of :meth:`value`."""
        if self.log:
            return np.asarray(np.log(value / self.low) / np.log(self.high / self.low))
        return np.asarray((value - self.low) / (self.high - self.low))
