"""Affine arithmetic: what a quantity can be while its variables range over a box, never too little.

A form stands for every number mid + sum of slope_i e_i + r with -1 <= e_i <= 1 and |r| <= rest. The
e_i are the box's variables and are shared by all forms, so what two quantities have in common
cancels; what is not linear goes into the rest. Every operation adds to the rest more than its own
rounding can amount to. Method: J. L. D. Comba, J. Stolfi, "Affine arithmetic and its applications to
computer graphics", SIBGRAPI 1993 (from memory); here with one common rest instead of new variables.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ROUNDING = 64.0 * np.finfo(float).eps
"""Share of a result's size that covers the rounding of one operation, generously."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Affine:
    """A quantity over a batch of boxes; real or complex.

    Attributes
    ----------
    mid : ndarray, shape (n_boxes, n_columns)
        Value in the middle [any].
    slope : ndarray, shape (n_variables, n_boxes, n_columns)
        Change over half the width of each variable [any].
    rest : ndarray, shape (n_boxes, n_columns)
        Largest size of everything else; infinite where nothing is known [any].
    """

    mid: np.ndarray
    slope: np.ndarray
    rest: np.ndarray

    @property
    def reach(self) -> np.ndarray:
        """Largest distance from the middle."""
        return np.asarray(np.abs(self.slope).sum(axis=0) + self.rest)

    @property
    def size(self) -> np.ndarray:
        """Largest absolute value."""
        return np.asarray(np.abs(self.mid) + self.reach)

    @property
    def real(self) -> Affine:
        """Real part."""
        return Affine(mid=self.mid.real, slope=self.slope.real, rest=self.rest)

    @property
    def conjugate(self) -> Affine:
        """Complex conjugate."""
        return Affine(mid=np.conj(self.mid), slope=np.conj(self.slope), rest=self.rest)

    def __add__(self, other: Affine | np.ndarray | complex) -> Affine:
        """Sum with a form, or with numbers taken as exact."""
        if not isinstance(other, Affine):
            mid = self.mid + other
            rest = self.rest + ROUNDING * (np.abs(mid) + np.abs(other))
            return Affine(mid=mid, slope=self.slope, rest=rest + np.zeros(mid.shape))
        rest = (self.rest + other.rest) * (1.0 + ROUNDING) + ROUNDING * (self.size + other.size)
        return Affine(mid=self.mid + other.mid, slope=self.slope + other.slope, rest=rest)

    def __sub__(self, other: Affine) -> Affine:
        """Difference of two forms."""
        return self + other * -1.0

    def __mul__(self, other: Affine | np.ndarray | complex) -> Affine:
        """Product with a form, or with numbers taken as exact."""
        if not isinstance(other, Affine):
            factor = np.asarray(other)
            rest = np.abs(factor) * (self.rest * (1.0 + ROUNDING) + ROUNDING * self.size)
            return Affine(mid=self.mid * factor, slope=self.slope * factor, rest=rest)
        mine, its = np.abs(self.slope).sum(axis=0), np.abs(other.slope).sum(axis=0)
        size, other_size = np.abs(self.mid), np.abs(other.mid)
        rest = size * other.rest + other_size * self.rest + (mine + self.rest) * (its + other.rest)
        whole = (size + mine + self.rest) * (other_size + its + other.rest)
        return Affine(
            mid=self.mid * other.mid,
            slope=self.mid * other.slope + other.mid * self.slope,
            rest=rest * (1.0 + ROUNDING) + ROUNDING * whole,
        )


def variable(low: np.ndarray, high: np.ndarray, index: int, count: int) -> Affine:
    """The form of one of the box's variables.

    Parameters
    ----------
    low, high : ndarray, shape (n_boxes,)
        Range in each box [any].
    index, count : int
        Which variable of how many [1].

    Returns
    -------
    Affine
        With one column [record].
    """
    mid = 0.5 * (low + high)[:, None]
    slope = np.zeros((count, *mid.shape))
    slope[index] = 0.5 * (high - low)[:, None]
    return Affine(mid=mid, slope=slope, rest=ROUNDING * np.maximum(np.abs(low), np.abs(high))[:, None])


def smooth(form: Affine, value: np.ndarray, slope: np.ndarray, curvature: np.ndarray) -> Affine:
    """A smooth function of a real form, by its tangent in the middle.

    Parameters
    ----------
    form : Affine
        The argument [record].
    value, slope : ndarray, broadcastable
        Function and its derivative in the middle [any].
    curvature : ndarray, broadcastable
        Largest absolute second derivative over the form's range; infinite where unknown [any].

    Returns
    -------
    Affine
        Encloses the function over the box [record].
    """
    reach = form.reach
    with np.errstate(invalid="ignore"):
        bend = np.where(reach > 0.0, 0.5 * curvature * reach**2, 0.0)
    rest = np.abs(slope) * form.rest + bend
    rest = rest * (1.0 + ROUNDING) + ROUNDING * (np.abs(value) + np.abs(slope) * (np.abs(form.mid) + reach))
    mid = np.asarray(value) + np.zeros(form.mid.shape)
    return Affine(mid=mid, slope=slope * form.slope, rest=rest + np.zeros(mid.shape))


def reciprocal(form: Affine) -> Affine:
    """One over a form; the rest is infinite where the form may be zero."""
    share = _share(form)
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = np.where(form.mid != 0.0, 1.0 / np.where(form.mid != 0.0, form.mid, 1.0), 0.0)
        own = np.abs(inverse) * form.rest
        rest = np.abs(inverse) * (own + share**2 / (1.0 - share)) * (1.0 + ROUNDING)
        rest = rest + 4.0 * ROUNDING * np.abs(inverse) / (1.0 - share)
        rest = np.where(share < 1.0, rest, np.inf)
    return Affine(mid=inverse, slope=-(inverse**2) * form.slope, rest=rest)


def log_above(form: Affine) -> Affine:
    """A real form that the logarithm of the absolute value never exceeds.

    With z = mid (1 + d): ln|1 + d| <= Re d + |d|^2/2 for every d, and <= ln(1 + |d|).
    """
    share = _share(form)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(np.isfinite(share), form.slope / form.mid, 0.0).real
        own = form.rest / np.abs(form.mid)
        curved = 0.5 * share**2 + own
        crude = np.log1p(share)
        keep = np.abs(relative).sum(axis=0) + curved <= crude
        mid = np.log(np.abs(form.mid))
        rest = np.where(keep, curved, crude) * (1.0 + ROUNDING) + ROUNDING * (1.0 + np.abs(mid))
        whole = np.log(form.size) * (1.0 + np.sign(np.log(form.size)) * ROUNDING) + ROUNDING
        lost = ~np.isfinite(share)  # the middle is zero
        mid = np.where(lost, whole, mid)
        rest = np.where(lost, ROUNDING, rest)
    return Affine(mid=mid, slope=np.where(keep & ~lost, relative, 0.0), rest=rest)


def log_below(form: Affine) -> Affine:
    """A real form that the logarithm of the absolute value never falls below.

    With z = mid (1 + d) and |d| < 1: ln|1 + d| >= Re d - |d|^2/(2 (1 - |d|)); the rest is infinite elsewhere.
    """
    share = _share(form)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(share < 1.0, form.slope / form.mid, 0.0).real
        own = form.rest / np.abs(form.mid)
        curved = 0.5 * share**2 / (1.0 - share) + own
        mid = np.where(share < 1.0, np.log(np.abs(form.mid)), 0.0)
        rest = curved * (1.0 + ROUNDING) + ROUNDING * (1.0 + np.abs(mid))
        rest = np.where(share < 1.0, rest, np.inf)
    return Affine(mid=mid, slope=relative, rest=rest)


def _share(form: Affine) -> np.ndarray:
    """Largest distance from the middle over the middle's size, rounded up."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = form.reach / np.abs(form.mid) * (1.0 + ROUNDING)
    return np.where(np.isnan(share), np.inf, share)
