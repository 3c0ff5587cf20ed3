"""Upper bounds of the averaged output over whole boxes of sizes: closed and vented, lumped and lossless.

The model is that of :mod:`models.network` with lumped chambers, without wall losses and without
level-dependent duct losses; the duct is a lossless line, the outside is the table of the season's
spaces. With cone flow q, duct flows w1 (in) and w2 (out) and unknown scale g, all of them and the
pressure at the microphone are entire functions of the sizes times g:
q = D g, w2 = -N g, w1 = -W g, Za q = F g, p = (T_d D - T_m N) g, so that every limit's level is a
ratio of two of them. The algebra follows from p1 = c p2 + j s/y w2, w1 = j y s p2 + c w2 with c and s
the cosine and sine of k l and y = S/(rho c); the line's determinant of one takes the squares out of
W = Z_dm + Z_b (c + j y s Z_mm) and of F.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.affine import Affine, log_above, log_below, reciprocal, smooth, variable
from models.driver_bound import most_power_out
from models.places import SLOT_ASPECT
from models.radiation import (
    EVEN_MODE,
    ORIFICE,
    PROFILE,
    disc_length,
    rectangle_length,
)
from models.rules import Physics, Rules
from models.score import REFERENCE_PRESSURE, mean_level
from models.site_groups import SiteGroups

DB = 20.0 / np.log(10.0)
"""Decibels in one neper."""

SLACK_DB = 1e-9
"""Added to every bound for the rounding of the last sums [dB]."""

_TANH_BEND = 4.0 / (3.0 * np.sqrt(3.0))
"""Largest second derivative of the hyperbolic tangent."""


def lossless(physics: Physics) -> Physics:
    """The switches of the model that the bounds hold in; radiation and leakage as they were."""
    return replace(physics, chambers="lump", wall_losses=False, duct_end_loss=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Boxes:
    """A batch of boxes of sizes: all designs whose sizes lie in the ranges.

    Attributes
    ----------
    group : ndarray of int, shape (n_boxes,)
        Group of choices of sites [1].
    low, high : ndarray, shape (n_boxes, 1 or 3)
        Ranges of the chamber's volume, of the duct's area and of its length [m3], [m2], [m].
    """

    group: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def rows(self, rows: np.ndarray) -> Boxes:
        """Some of the boxes."""
        return Boxes(group=self.group[rows], low=self.low[rows], high=self.high[rows])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Flows:
    """Cone flow, force, pressure at the microphone and duct flows, up to one common factor."""

    cone: Affine
    force: Affine
    pressure: Affine
    duct: tuple[Affine, ...] = ()
    area: Affine | None = None


class Family:
    """Closed or vented boxes of one driver under one season's rules.

    Parameters
    ----------
    rules : Rules
        The season's rules with the switches of :func:`lossless` [record].
    groups : SiteGroups
        The outside of every group of choices of sites [record].
    vented : bool
        Whether there is a duct to the outside [flag].
    slots : bool
        Whether the duct is a slot of :data:`models.places.SLOT_ASPECT`, not round [flag].
    """

    def __init__(self, rules: Rules, groups: SiteGroups, vented: bool, slots: bool = False) -> None:
        if rules.driver_count != 1:
            raise ValueError("bounds are derived for one driver only")
        self.rules = rules
        self.groups = groups
        self.vented = vented
        self.slots = slots
        self.omega = np.tile(rules.omega, len(rules.spaces))
        spaces = np.array([space.weight for space in rules.spaces])
        tones = rules.tone_weights / rules.tone_weights.sum()
        self.weights = (spaces[:, None] / spaces.sum() * tones).ravel()
        driver, air, physics = rules.driver, rules.air, rules.physics
        mass = driver.mass_in_vacuo(air) if physics.radiation else driver.mass
        cone = driver.mechanical_impedance(self.omega) + 1j * self.omega * (mass - driver.mass)
        self._cone = cone / driver.area**2
        both_faces = 2.0 * air.density * float(disc_length(np.array(driver.area))) / driver.area
        self._face = 1j * self.omega * (both_faces if physics.radiation else 0.0)
        compression = (1.0 - 2j * np.pi * physics.leak_corner_hz / self.omega) / air.bulk_modulus
        self._lump = 1.0 / (1j * self.omega * compression)

    def free_volume(self, area: np.ndarray, length: np.ndarray) -> np.ndarray:
        """Volume that a duct leaves inside the envelope, which falls with its area and its length.

        Parameters
        ----------
        area, length : ndarray, any shape
            Area [m2] and length of the duct [m].

        Returns
        -------
        ndarray
            Volume, a little too large so that rounding does no harm [m3].
        """
        wall, inner = self.rules.envelope.wall, self.rules.envelope.inner_volume
        root = np.sqrt(area)
        if self.slots:
            aspect = np.sqrt(SLOT_ASPECT)
            section = (root * aspect + 2.0 * wall) * (root / aspect + 2.0 * wall)
        else:
            section = (root + np.sqrt(np.pi) * wall) ** 2
        return np.asarray(inner * (1.0 + 4e-9) - section * np.maximum(length - wall, 0.0))

    def bound(self, boxes: Boxes) -> np.ndarray:
        """Averaged output that no design of a box exceeds.

        Parameters
        ----------
        boxes : Boxes
            Boxes of sizes [record].

        Returns
        -------
        ndarray, shape (n_boxes,)
            Bound of each box, infinite where none was found [dB].
        """
        slopes = boxes.low.shape[1]
        with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
            flows = self._vented(boxes) if self.vented else self._closed(boxes)
            gain, drives, levels = self._levels(flows)
            levels += [_constant(np.log(cap / REFERENCE_PRESSURE), slopes) for cap in self._caps(boxes)]
            found = self._by_column(levels)
            if self.rules.mean == "level":
                found = np.fmin(found, self._joint(gain, drives, levels))
        return np.where(np.isnan(found), np.inf, found) + SLACK_DB

    def _closed(self, boxes: Boxes) -> _Flows:
        volume = variable(boxes.low[:, 0], boxes.high[:, 0], 0, 1) + -self.rules.driver.displaced_volume
        chamber = _with_columns(reciprocal(volume), self._lump)
        one = _constant(np.ones(chamber.mid.shape, dtype=complex), 1)
        face = self._at("dd", boxes) + (self._cone + self._face)
        return _Flows(cone=one, force=chamber + face, pressure=self._at("td", boxes))

    def _vented(self, boxes: Boxes) -> _Flows:
        low, high = boxes.low, boxes.high
        air = self.rules.air
        volume, area, length = (variable(low[:, i], high[:, i], i, 3) for i in range(3))
        root = _root(area, low[:, 1])
        zb = _with_columns(reciprocal(volume + -self.rules.driver.displaced_volume), self._lump)
        end = _with_columns(self._near(root, low, length), 1j * self.omega * air.density)
        if not self.rules.physics.radiation:
            end = _constant(np.zeros(zb.mid.shape, dtype=complex), 3)
        cosine, sine = _line(length, self.omega / air.sound_speed)
        stiff = air.density * air.sound_speed
        across = sine * reciprocal(area) * (1j * stiff)  # j s / y
        along = sine * area * (1j / stiff)  # j y s
        mm = end + self._at("mm", boxes)
        md = self._at("dm", boxes)
        dd = self._at("dd", boxes) + (self._cone + self._face)
        outer = cosine + along * mm  # w1 per w2
        coupling = along * md + 1.0
        d0 = cosine * mm + across + end * outer
        n0 = (cosine + along * end) * md
        td, tm = self._at("td", boxes), self._at("tm", boxes)
        # every quantity as one part without and one part with the chamber, so that what is common cancels
        force = d0 * dd - n0 * md + zb * (outer * dd - (coupling + 1.0) * md + d0)
        pressure = d0 * td - n0 * tm + zb * (outer * td - coupling * tm)
        duct = (n0 + zb * coupling, md + zb * outer)
        return _Flows(cone=d0 + zb * outer, force=force, pressure=pressure, duct=duct, area=area)

    def _at(self, key: str, boxes: Boxes) -> Affine:
        """A value of the outside over the groups of the boxes."""
        mid = self.groups.middle[key][boxes.group]
        slope = np.zeros((boxes.low.shape[1], *mid.shape))
        return Affine(mid=mid, slope=slope, rest=self.groups.radius[key][boxes.group])

    def _near(self, root: Affine, low: np.ndarray, length: Affine) -> Affine:
        """Near-field length of a duct end over its area, one column [1/m]."""
        unit = np.ones(1)
        own = float((rectangle_length(unit, SLOT_ASPECT) if self.slots else disc_length(unit))[0])
        inverse = reciprocal(root)
        decay = length * inverse * (0.5 * EVEN_MODE * np.sqrt(np.pi))
        tanh = np.tanh(decay.mid)
        profile = smooth(decay, tanh, 1.0 - tanh**2, np.full(tanh.shape, _TANH_BEND))
        return (profile * (PROFILE - ORIFICE) + ORIFICE) * inverse * own

    def _levels(self, flows: _Flows) -> tuple[Affine, list[Affine], list[Affine]]:
        """Logarithms, never too low: pressure re 20 uPa per volt, permitted voltages, their pressures."""
        driver, limits = self.rules.driver, self.rules.limits
        coil = driver.coil_impedance(self.omega)
        current = flows.force * (driver.area / driver.force_factor)
        voltage = current * coil + flows.cone * (driver.force_factor / driver.area)
        volts = log_below(voltage)
        peak = np.sqrt(2.0)
        ceilings = [(log_below(flows.cone), limits.excursion * driver.area * self.omega / peak)]
        if limits.power_kind == "real":
            heat = (current * current.conjugate).real * coil.real
            power = heat + (flows.force * flows.cone.conjugate).real
            ceilings.append((log_below(power) * 0.5, np.sqrt(limits.power)))
        elif limits.power_kind == "apparent":
            ceilings.append(((volts + log_below(current)) * 0.5, np.sqrt(limits.power)))
        else:
            ceilings.append((volts, np.sqrt(limits.power * driver.nominal_resistance)))
        if limits.voltage is not None:
            ceilings.append((volts, limits.voltage))
        if limits.current is not None:
            ceilings.append((log_below(current), limits.current))
        if limits.air_speed is not None and flows.area is not None:
            low = flows.area.mid - flows.area.reach
            area = smooth(flows.area, np.log(flows.area.mid), 1.0 / flows.area.mid, low**-2)
            ceilings += [(log_below(flow) - area, limits.air_speed / peak) for flow in flows.duct]
        pressure = log_above(flows.pressure) + -np.log(REFERENCE_PRESSURE)
        permitted = [form * -1.0 + np.log(top) for form, top in ceilings]
        levels = [pressure + form for form in permitted]  # the voltage cancels
        above = log_above(voltage)
        return pressure - volts, [above + form for form in permitted], levels

    def _caps(self, boxes: Boxes) -> list[np.ndarray]:
        """Pressures that hold without the network: from the power that can leave, and from flows alone."""
        limits, driver = self.rules.limits, self.rules.driver
        groups, peak = self.groups, np.sqrt(2.0)
        caps = [np.sqrt(groups.per_watt[boxes.group] * most_power_out(self.rules, self.omega))]
        cone = limits.excursion * driver.area * self.omega / peak * self._largest("td", boxes)
        if not self.vented:
            return [*caps, cone]
        if limits.air_speed is not None:
            mouth = limits.air_speed / peak * boxes.high[:, 1, None] * self._largest("tm", boxes)
            caps.append((cone + mouth) * (1.0 + 1e-12))
        return caps

    def _largest(self, key: str, boxes: Boxes) -> np.ndarray:
        return np.asarray((np.abs(self.groups.middle[key]) + self.groups.radius[key])[boxes.group])

    def _by_column(self, levels: Sequence[Affine]) -> np.ndarray:
        """Mean of the least bound of each column [dB]."""
        each = np.min([form.mid + form.reach for form in levels], axis=0)
        rules = self.rules
        shape = (-1, len(rules.spaces), rules.tones_hz.size)
        weights = np.array([space.weight for space in rules.spaces])
        per_space = mean_level((each * DB).reshape(shape), rules.tone_weights, rules.mean)
        return np.asarray((per_space * weights).sum(axis=1) / weights.sum())

    def _joint(self, gain: Affine, drives: Sequence[Affine], levels: Sequence[Affine]) -> np.ndarray:
        """Mean of the columns' levels as one form, in which what they have in common cancels [dB]."""
        count = len(self.rules.spaces)
        best = np.full(gain.mid.shape[0], np.inf)
        for widened in (False, True):
            if self.rules.drive == "per_tone":
                wholes = [(_picked(levels, widened), self.weights)]
            else:
                parts = count if self.rules.drive == "per_space" else 1
                lowest = _lowest(_picked(drives, widened), parts, widened)
                wholes = [(gain, self.weights), (lowest, self.weights.reshape(parts, -1).sum(axis=1))]
            mid = sum((form.mid * w).sum(axis=1) for form, w in wholes)
            slope = sum((form.slope * w).sum(axis=2) for form, w in wholes)
            rest = sum((form.rest * w).sum(axis=1) for form, w in wholes)
            best = np.fmin(best, (mid + np.abs(slope).sum(axis=0) + rest) * DB)
        return best


def _lowest(form: Affine, parts: int, widened: bool) -> Affine:
    """Of each group of neighbouring columns the one that is least in the middle, or least at its most."""
    grouped = (-1, parts, form.mid.shape[1] // parts)
    top = (form.mid + (form.reach if widened else form.rest)).reshape(grouped)
    place = np.argmin(np.where(np.isnan(top), np.inf, top), axis=2)[..., None]

    def take(part: np.ndarray) -> np.ndarray:
        return np.asarray(np.take_along_axis(part.reshape(grouped), place, axis=2)[..., 0])

    return Affine(mid=take(form.mid), slope=np.stack([take(s) for s in form.slope]), rest=take(form.rest))


def _picked(forms: Sequence[Affine], widened: bool = False) -> Affine:
    """For each box and column the form that is least in the middle, or least at its most."""
    top = np.stack([form.mid + (form.reach if widened else form.rest) for form in forms])
    place = np.argmin(np.where(np.isnan(top), np.inf, top), axis=0)[None]

    def take(parts: list[np.ndarray]) -> np.ndarray:
        return np.asarray(np.take_along_axis(np.stack(parts), place, axis=0)[0])

    slope = np.stack([take([form.slope[i] for form in forms]) for i in range(forms[0].slope.shape[0])])
    return Affine(
        mid=take([form.mid for form in forms]), slope=slope, rest=take([form.rest for form in forms])
    )


def _constant(value: np.ndarray, count: int) -> Affine:
    return Affine(mid=value, slope=np.zeros((count, *value.shape)), rest=np.zeros(value.shape))


def _with_columns(form: Affine, factor: np.ndarray) -> Affine:
    """A form of one column times a row of numbers."""
    return form * factor[None, :]


def _root(area: Affine, low: np.ndarray) -> Affine:
    """Square root of the duct's area."""
    root = np.sqrt(area.mid)
    return smooth(area, root, 0.5 / root, 0.25 * low[:, None] ** -1.5 * (1.0 + 1e-12))


def _line(length: Affine, k: np.ndarray) -> tuple[Affine, Affine]:
    """Cosine and sine of wavenumber times length; no second derivative of theirs exceeds one."""
    angle = _with_columns(length, k)
    cosine, sine = np.cos(angle.mid), np.sin(angle.mid)
    ones = np.ones(angle.mid.shape)
    return smooth(angle, cosine, -sine, ones), smooth(angle, sine, cosine, ones)
