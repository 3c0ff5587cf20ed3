"""Levels and permitted drives at given voltages with exact slopes over all variables, by numpy.

The network of a point and tone is Z u = b with end losses that depend on u. Its state is sought by Newton's
method on the logarithms of the peak air speeds at the duct ends, whose matrix is the one that the implicit
function theorem needs afterwards: with Z^-1 = Y and dZ from the elements, the flows change by -Y dZ u with
the losses held, and by what the losses change on top of that. Where a limit is met by the fastest of
several parts, the slope is that of the part which is fastest.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.ducts import round_loss_function, slot_loss_function
from models.element_slopes import duct_slopes, line_slopes, round_loss_slope, slot_loss_slope
from models.kernel_records import Bounds
from models.linear_layout import Layout, Medium
from models.linear_terms import Terms
from models.rooms import NEAREST

DONE = 1e-10
"""Change of the logarithm of any air speed at which the state counts as found; the step before it was some
1e-5, and Newton's steps square [1]."""

MOST_STEPS = 40
"""Steps of Newton's method at most [1]."""

LONGEST_STEP = 3.0
"""Longest step in the logarithm of a speed [1]."""

DECIBEL = 20.0 / np.log(10.0)


class Linear(NamedTuple):
    """Points at given drives; columns run over spaces, then tones.

    Attributes
    ----------
    level : ndarray, shape (n_points, n_columns)
        Level of the pressure [dB re 1 Pa].
    permitted : ndarray, shape (n_points, n_columns, 6)
        Logarithm of the voltage at which each limit is met [1].
    d_level, d_permitted : ndarray, shape (n_points, n_columns, n) and (n_points, n_columns, 6, n)
        Slopes over the variables; zero where there is no such limit [mixed].
    level_by_drive, permitted_by_drive : ndarray, shape (n_points, n_columns) and (n_points, n_columns, 6)
        Slopes over the logarithm of the drive [mixed].
    """

    level: np.ndarray
    permitted: np.ndarray
    d_level: np.ndarray
    d_permitted: np.ndarray
    level_by_drive: np.ndarray
    permitted_by_drive: np.ndarray


def make_linear(voltage: np.ndarray, n: int) -> Linear:
    """Room for results at given drives over n variables: no level, no limit, no slope."""
    points, columns = voltage.shape
    return Linear(
        np.zeros((points, columns)),
        np.full((points, columns, 6), np.inf),
        np.zeros((points, columns, n)),
        np.zeros((points, columns, 6, n)),
        np.zeros((points, columns)),
        np.zeros((points, columns, 6)),
    )


def linear_drive(layout: Layout, medium: Medium, terms: Terms, voltage: np.ndarray) -> Linear:
    """Levels and permitted drives with slopes.

    Parameters
    ----------
    layout : Layout
        Structure [record].
    medium : Medium
        Constants of the season [record].
    terms : Terms
        Sizes and coefficients with slopes [record].
    voltage : ndarray, shape (n_points, n_columns)
        Given drives [V].

    Returns
    -------
    Linear
        Values and slopes [record].
    """
    bounds, size = layout.graph.bounds, layout.graph.entries.shape[0]
    points = voltage.shape[0]
    first, ends = bounds.drivers + bounds.diaphragms, 2 * bounds.ducts
    z, dz = _elements(layout, medium, terms)
    one, two, weight = layout.places.T
    meets, each = np.zeros((one.size, size, size)), np.arange(one.size)
    meets[each, one, two] = meets[each, two, one] = weight
    n = dz.shape[3]
    tone = np.tile(np.arange(medium.omega.size), medium.spaces)
    matrix = (z @ meets.reshape(one.size, -1)).reshape(points, -1, size, size) + medium.drivers
    matrix = matrix[:, tone] + terms.outside
    at = slice(layout.ends, layout.ends + 2 * ends)
    area, loss = np.moveaxis(terms.value[:, at].reshape(points, 1, ends, 2), 3, 0)
    d_area, d_loss = np.moveaxis(terms.slope[:, at].reshape(points, 1, ends, 2, n), 3, 0)
    flows, inverse, speeds = _state(matrix, medium.source[tone], voltage, area, loss, first)
    # with the losses held: every element's dZ times the flow that meets it
    pushed = np.einsum("eab,pcb->pcae", meets, flows) @ np.moveaxis(dz, 1, 2)[:, tone]
    pushed[:, :, first:] += (d_loss * (speeds * flows[:, :, first:])[..., None]).astype(complex)
    moved = -(inverse @ pushed)
    moved = np.concatenate([moved, np.zeros((*moved.shape[:3], 1))], axis=3)  # last: the drive's logarithm
    moved = moved.astype(complex)
    if ends:
        own = flows[:, :, first:]
        wish = (moved[:, :, first:] / own[..., None]).real
        wish[..., :-1] -= d_area / area[..., None]
        wish[..., -1] += 1.0
        change = inverse[:, :, :, first:] * (loss * speeds * own)[:, :, None]
        turn = np.eye(ends) + (change[:, :, first:] / own[..., None]).real
        moved -= change @ np.linalg.solve(turn, wish)
    return _measured(layout, medium, terms, voltage, flows, moved)


def _state(
    matrix: np.ndarray,
    source: np.ndarray,
    voltage: np.ndarray,
    area: np.ndarray,
    loss: np.ndarray,
    first: int,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Flows at one volt, inverse of the matrix, and peak air speeds at the duct ends that agree with it."""
    ends = np.arange(first, matrix.shape[2])
    scale = np.sqrt(2.0) * voltage[..., None] / area
    matrix = matrix.copy()
    plain = matrix[:, :, ends, ends].copy()
    speeds = np.zeros((*voltage.shape, ends.size))
    for step in range(MOST_STEPS):
        matrix[:, :, ends, ends] = plain + loss * speeds
        inverse = np.linalg.inv(matrix)
        flows = (inverse @ source[..., None])[..., 0]
        own = flows[:, :, ends]
        found = scale * np.abs(own)
        if step == 0:
            speeds = found
            if not np.any(loss):
                break
            continue
        short = np.log(found / speeds)
        if not np.any(np.abs(short) > DONE):
            break
        turn = (inverse[:, :, ends][..., ends] * (loss * speeds * own)[:, :, None] / own[..., None]).real
        change = np.linalg.solve(np.eye(ends.size) + turn, short[..., None])[..., 0]
        speeds = speeds * np.exp(np.clip(change, -LONGEST_STEP, LONGEST_STEP))
    return flows, inverse, speeds


def _elements(layout: Layout, medium: Medium, terms: Terms) -> tuple[np.ndarray, np.ndarray]:
    """Impedances (points, tones, elements) and their slopes (points, elements, tones, n)."""
    omega, tones = medium.omega, medium.omega.size
    density, speed, viscosity, heats, prandtl = medium.air
    points, _, n = terms.slope.shape
    columns = terms.value[:, layout.columns][..., None]  # points, pairs, quantity, tone
    alpha, beta, volume, length, x1, h1, x2, h2 = np.moveaxis(columns, 2, 0)
    heavy = 1.0 + medium.viscous * alpha
    soft = 1.0 + medium.thermal * beta - 1j * medium.leak
    if layout.mode == 0:
        z = density * speed**2 / (1j * omega * volume * soft)
        rates = [0.0 * z, -z * medium.thermal / soft, -z / volume, *[0.0 * z] * 5]
    else:
        z, *rates = line_slopes(
            omega, heavy, medium.viscous, soft, medium.thermal, density, speed, volume, length, x1, h1, x2, h2
        )
    dz = np.stack(rates, axis=3) @ terms.slope[:, layout.columns]
    if layout.mode == 2:
        near, d_near = _near(layout, medium, terms)
        z, dz = z + near, dz + d_near
    parts, slopes = [z], [dz]
    for k, (count, slot) in enumerate(layout.ways[:, :2]):
        if count == 0:
            three, d_three = terms.given[:, k], terms.d_given[:, k]
        else:
            at = slice(layout.ducts + 3 * k, layout.ducts + 3 * k + 3)
            area, length, height = terms.value[:, at].T[..., None]
            s = 0.5 * height if slot else np.sqrt(area / (count * np.pi))
            s = s * np.sqrt(omega / viscosity)
            loss, turn = (
                (slot_loss_function, slot_loss_slope) if slot else (round_loss_function, round_loss_slope)
            )
            f, g = (loss(s), loss(s * prandtl)) if medium.lossy else (0.0 * s, 0.0 * s)
            df, dg = (turn(f, s), turn(g, s * prandtl)) if medium.lossy else (0.0 * s, 0.0 * s)
            by_area, by_height = (0.0, 1.0 / height) if slot else (0.5 / area, 0.0)
            z11, z12, *rates = duct_slopes(
                omega, area, length, by_area, by_height, f, df, g, dg, density, speed, heats
            )
            three = np.stack([z11, z12, z11], axis=1)
            rate = np.stack([np.stack(rates[:3], axis=2), np.stack(rates[3:], axis=2)], axis=1)
            d_three = rate[:, [0, 1, 0]] @ terms.slope[:, None, at]
        parts.append(three)
        slopes.append(d_three)
    size = layout.graph.entries.shape[0]
    diagonal = terms.value[:, layout.diagonal : layout.diagonal + 3 * size].reshape(points, size, 3)
    d_diagonal = terms.slope[:, layout.diagonal : layout.diagonal + 3 * size].reshape(points, size, 3, n)
    shares = np.stack([1j * omega, np.ones(tones), -1j / omega], axis=1)  # tone, kind
    parts.append(diagonal @ shares.T)
    slopes.append(shares @ d_diagonal)
    return np.concatenate(parts, axis=1).transpose(0, 2, 1), np.concatenate(slopes, axis=1)


def _near(layout: Layout, medium: Medium, terms: Terms) -> tuple[np.ndarray, np.ndarray]:
    """Impedance by what varies across the rooms' lines, with slopes."""
    square = (medium.omega / medium.air[1]) ** 2
    middle, d_middle = terms.value[:, layout.middle, None], terms.slope[:, layout.middle]
    ratio = square * (middle / np.pi) ** 2  # square of frequency over that of the first mode across
    followed = ratio < NEAREST
    over = 1.0 / (1.0 - np.minimum(ratio, NEAREST))
    bent = np.where(followed, 2.0 * ratio / middle, 0.0) * over * over
    unit = 1j * medium.omega * medium.air[0]
    m, n, p = np.moveaxis(terms.near, 2, 0)[..., None]
    d_m, d_n, d_p = np.moveaxis(terms.d_near, 2, 0)[:, :, :, None]
    z = unit * (m + square * n + square**2 * over * p)
    dz = d_m + square[:, None] * d_n + (square**2 * over)[..., None] * d_p
    dz = dz + (square**2 * bent * p)[..., None] * d_middle[:, :, None]
    return z, unit[:, None] * dz


def _measured(
    layout: Layout, medium: Medium, terms: Terms, voltage: np.ndarray, flows: np.ndarray, moved: np.ndarray
) -> Linear:
    """What is heard and limited, from flows and how they move; the drive comes last."""
    bounds = layout.graph.bounds
    n = moved.shape[3] - 1
    found = make_linear(voltage, n)
    tone = np.tile(np.arange(medium.omega.size), medium.spaces)
    pressure = (terms.transfer * flows).sum(axis=2)
    rise = ((terms.transfer[:, :, None] @ moved)[:, :, 0] / pressure[..., None]).real
    found.level[:] = DECIBEL * np.log(np.abs(pressure) * voltage)
    found.d_level[:], found.level_by_drive[:] = DECIBEL * rise[..., :-1], DECIBEL * (rise[..., -1] + 1.0)
    growth = (moved / flows[..., None]).real
    omega = medium.omega[tone][:, None]
    drivers, first, size = bounds.drivers, bounds.drivers + bounds.diaphragms, flows.shape[2]
    amount = np.sqrt(2.0) * np.abs(flows)

    def limit(row: int, value: np.ndarray, slope: np.ndarray) -> None:
        found.permitted[:, :, row] = value
        found.d_permitted[:, :, row], found.permitted_by_drive[:, :, row] = slope[..., :-1], slope[..., -1]

    def first_met(row: int, ratio: np.ndarray, slope: np.ndarray) -> None:
        """The part that needs the least voltage, by reach over amount at one volt."""
        which = ratio.argmin(axis=2)[..., None]
        limit(
            row,
            np.log(np.take_along_axis(ratio, which, axis=2)[..., 0]),
            np.take_along_axis(slope, which[..., None], axis=2)[:, :, 0],
        )

    first_met(0, bounds.excursion * bounds.area * omega / amount[:, :, :drivers], -growth[:, :, :drivers])
    if bounds.diaphragms:
        at = layout.reach + 2 * np.arange(bounds.diaphragms)
        slope = -growth[:, :, drivers:first]
        slope[..., :-1] += (terms.slope[:, at] / terms.value[:, at, None])[:, None]
        slope[..., :-1] += (terms.slope[:, at + 1] / terms.value[:, at + 1, None])[:, None]
        reach = (terms.value[:, at] * terms.value[:, at + 1])[:, None]
        first_met(1, reach * omega / amount[:, :, drivers:first], slope)
    current, d_current = _current(bounds, medium, tone, flows, moved)
    if bounds.kind == 0:
        limit(2, 0.5 * np.log(bounds.power / current.real), -0.5 * d_current.real / current.real[..., None])
    elif bounds.kind == 1:
        limit(2, 0.5 * np.log(bounds.power / np.abs(current)), -0.5 * (d_current / current[..., None]).real)
    else:
        found.permitted[:, :, 2] = 0.5 * np.log(bounds.power / bounds.nominal)
    if bounds.ducts and np.isfinite(bounds.air_speed):
        at = layout.ends + 2 * np.arange(size - first)
        slope = -growth[:, :, first:]
        slope[..., :-1] += (terms.slope[:, at] / terms.value[:, at, None])[:, None]
        first_met(3, bounds.air_speed * terms.value[:, at][:, None] / amount[:, :, first:], slope)
    found.permitted[:, :, 4] = np.log(bounds.voltage)
    if np.isfinite(bounds.current):
        limit(5, np.log(bounds.current / np.abs(current)), -(d_current / current[..., None]).real)
    return found


def _current(
    bounds: Bounds, medium: Medium, tone: np.ndarray, flows: np.ndarray, moved: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Amplifier current at one volt, and how it moves."""
    back = medium.back[tone]
    current = medium.still[tone] + back * flows[:, :, : bounds.drivers].sum(axis=2)
    return current, back[:, None] * moved[:, :, : bounds.drivers].sum(axis=2)
