"""Variables of a search space between 0 and 1, and the shape of a chamber of given volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


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
    z = np.minimum(np.cbrt(volume), short)
    y = np.minimum(np.sqrt(volume / z), middle)
    return np.stack([volume / (z * y), y, z], axis=1)


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
