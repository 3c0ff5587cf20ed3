"""What the network of a batch is made of, as numbers with slopes: the input of :mod:`models.linear_drive`.

A batch decoded from :func:`models.complex_step.stepped` variables carries, in its imaginary parts, how every
size depends on every variable. All real quantities of a network (sizes of patches and ducts, volumes,
inertances of ends, losses of ends) follow from it by real algebra, slopes included; what is complex
(lines of rooms, ducts) has its slopes as formulas (:mod:`models.element_slopes`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from models.complex_step import parted
from models.design import DesignBatch, Mouth, Patch
from models.ducts import end_resistance_per_speed
from models.joints import far_area
from models.kernel_records import AXIS, BY_HAND, ELEMENT, KIND, SIDE, UNKNOWN, YIELDS, Graph
from models.linear_layout import Layout, Medium
from models.linear_tapers import given_duct
from models.near_field import near_field
from models.outside import OutsideTable
from models.radiation import disc_length, profile_factor, rectangle_length
from models.rules import Rules
from models.structure import EndList, ends_of, is_plain

Known = dict[tuple[int, ...], tuple[np.ndarray, np.ndarray]]
"""The outside of designs by their sites: a solver keeps a point's sites from step to step."""

KEPT = 4096
"""Most entries of that [1]."""


class Terms(NamedTuple):
    """Numbers of some points with slopes over n variables.

    Attributes
    ----------
    value, slope : ndarray, shape (n_points, n_columns) and (n_points, n_columns, n)
        Sizes and real coefficients, by the columns of a :class:`Layout` [mixed].
    near, d_near : ndarray, shape (n_points, n_pairs, 3) and (n_points, n_pairs, 3, n)
        M, N and P of every pair of patches [mixed].
    given, d_given : complex ndarray, shape (n_points, n_ducts, 3, n_tones) and (..., n)
        z11, z12 and z22 of ducts that are not plain [Pa s/m3].
    outside : complex ndarray, shape (n_points, n_columns, n_unknowns, n_unknowns)
        Impedances among the openings [Pa s/m3].
    transfer : complex ndarray, shape (n_points, n_columns, n_unknowns)
        Pressure at the microphone per flow [Pa s/m3].
    """

    value: np.ndarray
    slope: np.ndarray
    near: np.ndarray
    d_near: np.ndarray
    given: np.ndarray
    d_given: np.ndarray
    outside: np.ndarray
    transfer: np.ndarray


def make_terms(
    batch: DesignBatch,
    points: int,
    rules: Rules,
    layout: Layout,
    medium: Medium,
    table: OutsideTable,
    known: Known,
) -> Terms:
    """Numbers and slopes of a stepped batch, the near fields by real algebra.

    Parameters
    ----------
    batch : DesignBatch
        Designs of :func:`models.complex_step.stepped` variables [record].
    points : int
        Number of points [1].
    rules : Rules
        The season's rules [record].
    layout : Layout
        Structure of the batch [record].
    medium : Medium
        Constants [record].
    table : OutsideTable
        The outside at the batch's sites [record].
    known : dict
        What :func:`outside_of` gave before for the same layout, by sites; filled here [record].

    Returns
    -------
    Terms
        The terms; M, N and P are still zero [record].
    """
    graph, rows, ends = layout.graph, batch.size, ends_of(batch)
    chambers, n = batch.topology.chambers, rows // points
    sides = batch.sides.transpose(1, 2, 0)  # chamber, axis, row
    x, y, z = sides[:, 0], sides[:, 1], sides[:, 2]
    rear = np.array([sum(r == chamber for _, r in batch.topology.drivers) for chamber in range(chambers)])
    volume = x * y * z - (rear * rules.driver.displaced_volume)[:, None]
    length = sides[:, layout.line]
    alpha = (x + y + z - length) * length / volume
    beta = (x * y + y * z + z * x) / volume
    middle = np.sort(sides, axis=1)[:, 1]
    inner = [one for one in ends if isinstance(one[6], Patch)]
    patches = np.array([[*one[6].centre.T, *one[6].half.T] for one in inner if isinstance(one[6], Patch)])
    ducts = np.zeros((len(batch.ducts), 3, rows), dtype=complex)
    areas = np.zeros((2 * len(batch.ducts), rows), dtype=complex)
    factors = np.zeros((2 * len(batch.ducts), 1 if not batch.ducts else rows))
    for k, duct in enumerate(batch.ducts):
        ducts[k, 0], ducts[k, 1] = duct.area, duct.length
        if duct.slot_height is not None:
            ducts[k, 2] = duct.slot_height
        areas[2 * k], areas[2 * k + 1] = duct.area, far_area(duct)
        factors[2 * k : 2 * k + 2] = duct.loss_factor.real
    losses = end_resistance_per_speed(areas, factors, rules.air) * float(rules.physics.duct_end_loss)
    diagonal = _diagonal(batch, rules, graph, sides, patches, ducts, areas)
    blocks = [
        np.zeros((1, rows), dtype=complex),
        sides.reshape(-1, rows),
        alpha,
        beta,
        volume,
        middle,
        patches.reshape(-1, rows),
        ducts.reshape(-1, rows),
        diagonal.reshape(-1, rows),
        np.stack([areas, losses], axis=1).reshape(-1, rows),
        *(np.stack([one.area, one.excursion_limit]) for one in batch.diaphragms),
    ]
    value, slope = parted(np.concatenate(blocks), points)
    given = np.zeros((points, len(batch.ducts), 3, medium.omega.size), dtype=complex)
    moves = n if np.any(layout.ways[:, 0] == 0) else 0
    d_given = np.zeros((points, len(batch.ducts), 3, medium.omega.size, moves), dtype=complex)
    for k, duct in enumerate(batch.ducts):
        if not is_plain(duct):
            given[:, k], d_given[:, k] = given_duct(duct, points, rules, medium.omega)
    mouths = np.array([one[6].site[::n] for one in ends if isinstance(one[6], Mouth)], dtype=int)
    mouths = mouths.reshape(-1, points)
    keys = [(id(table), *mouths[:, p]) for p in range(points)]
    if len(known) > KEPT:
        known.clear()
    for p, key in enumerate(keys):
        if key not in known:
            known[key] = outside_of(mouths[:, p], ends, layout, medium, table)
    outside, transfer = (np.array([known[key][part] for key in keys]) for part in (0, 1))
    pairs = layout.pairs.shape[0]
    near = np.zeros((points, pairs, 3))
    return Terms(value, slope, near, np.zeros((points, pairs, 3, n)), given, d_given, outside, transfer)


def near_sums(batch: DesignBatch, points: int, layout: Layout) -> tuple[np.ndarray, np.ndarray]:
    """M, N and P of every pair of patches of a stepped batch, with slopes, by numpy.

    Parameters
    ----------
    batch : DesignBatch
        Designs of stepped variables [record].
    points : int
        Number of points [1].
    layout : Layout
        Their structure [record].

    Returns
    -------
    tuple of two ndarrays, shape (n_points, n_pairs, 3) and (n_points, n_pairs, 3, n)
        Sums and slopes [mixed].
    """
    graph, ends, n = layout.graph, ends_of(batch), batch.size // points
    pairs = layout.pairs.shape[0]
    value, slope = np.zeros((points, pairs, 3)), np.zeros((points, pairs, 3, n))
    rows = np.arange(batch.size).reshape(points, n)
    for chamber in range(batch.topology.chambers):
        begin, end = graph.starts[chamber : chamber + 2]
        patches = [one[6] for one in ends[begin:end] if isinstance(one[6], Patch)]
        sizes = [batch.sides[:, chamber], *(part for patch in patches for part in (patch.centre, patch.half))]
        moves = np.any(np.concatenate(sizes, axis=1).imag.reshape(points, n, -1) != 0.0, axis=(0, 2))
        few = rows[:, moves].ravel()
        patches = [Patch(wall=p.wall, centre=p.centre[few], half=p.half[few]) for p in patches]
        ducts = [k for k in range(end - begin) if graph.joints[begin + k, YIELDS]]
        sums = np.stack(near_field(batch.sides[few, chamber], patches, layout.line, ducts))
        here = np.nonzero(layout.pairs[:, 3] == chamber)[0]
        one, two = layout.pairs[here, 4:].T
        found, rate = parted(sums[:, :, one, two].transpose(2, 0, 1).reshape(-1, few.size), points)
        value[:, here] = found.reshape(points, here.size, 3)
        slope[:, here[:, None, None], np.arange(3)[:, None], np.nonzero(moves)[0]] = rate.reshape(
            points, here.size, 3, -1
        )
    return value, slope


def _diagonal(
    batch: DesignBatch,
    rules: Rules,
    graph: Graph,
    sides: np.ndarray,
    patches: np.ndarray,
    ducts: np.ndarray,
    areas: np.ndarray,
) -> np.ndarray:
    """Inertance, resistance and stiffness of every unknown's own entry, shape (n_unknowns, 3, n_rows)."""
    rows, size = sides.shape[2], graph.entries.shape[0]
    result = np.zeros((size, 3, rows), dtype=complex)
    joints, inner = graph.joints, patches.shape[0]
    near, flat = _end_lengths(batch, rules, ducts, areas)
    moving = np.array([np.full(rows, rules.driver.area), *(one.area for one in batch.diaphragms)])
    # by joint: duct ends, then drivers, then diaphragms
    kinds, elements, hand = joints[:, KIND], joints[:, ELEMENT], joints[:, BY_HAND] == 1
    row = len(areas) + np.where(kinds == 1, elements + 1, 0)
    row = np.where(kinds == 2, 2 * elements + joints[:, SIDE], row)
    area = np.concatenate([areas, moving])[row]
    length = np.concatenate([near, disc_length(moving)])[row]
    for joint in np.nonzero(hand)[0]:
        length[joint] = batch.ducts[elements[joint]].end_lengths[joints[joint, SIDE]]
    if rules.physics.chambers == "room":
        length[:inner] -= np.concatenate([flat, rectangle_length(moving)])[row[:inner]]
        chamber = np.searchsorted(graph.starts, np.arange(inner), side="right") - 1
        walls = np.array([[1, 2], [0, 2], [0, 1]])[joints[:inner, AXIS]]
        section = sides[chamber, walls[:, 0]] * sides[chamber, walls[:, 1]]
        left = np.maximum(1.0 - 4.0 * patches[:, 2] * patches[:, 3] / section, 0.0)
        length[:inner] *= np.where(hand[:inner, None], 1.0, left)
        if not rules.physics.radiation:
            length[inner:] *= hand[inner:, None]
    elif not rules.physics.radiation:
        length *= hand[:, None]
    np.add.at(result[:, 0], joints[:, UNKNOWN], rules.air.density * length / area)
    for k, one in enumerate(batch.diaphragms):
        over, unknown = 1.0 / one.area**2, graph.bounds.drivers + k
        result[unknown, 0] += over * one.mass
        result[unknown, 1] += over * np.sqrt(one.mass / one.compliance) / one.q
        result[unknown, 2] += over / one.compliance
    return result


def _end_lengths(
    batch: DesignBatch, rules: Rules, ducts: np.ndarray, areas: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Near-field lengths of all duct ends and of their uniform rectangles (:mod:`models.joints`)."""
    near, flat = np.empty_like(areas), np.empty_like(areas)
    slots = np.array([duct.slot_height is not None for duct in batch.ducts], dtype=bool)
    counts = np.array([duct.count for duct in batch.ducts])
    for slot in (False, True):
        picked = np.nonzero(slots == slot)[0]
        if picked.size == 0:
            continue
        ends = np.stack([2 * picked, 2 * picked + 1], axis=1).ravel()
        one = areas[ends] / np.repeat(counts[picked], 2)[:, None]
        profile = profile_factor(np.repeat(ducts[picked, 1], 2, axis=0), one)
        if slot:
            aspect = one / np.repeat(ducts[picked, 2], 2, axis=0) ** 2
            near[ends] = profile * rectangle_length(one, aspect)
            flat[ends] = rectangle_length(areas[ends], aspect)
        else:
            near[ends], flat[ends] = profile * disc_length(one), rectangle_length(areas[ends])
    return near, flat


def outside_of(
    sites: np.ndarray, ends: EndList, layout: Layout, medium: Medium, table: OutsideTable
) -> tuple[np.ndarray, np.ndarray]:
    """Impedances among the openings of one design and transfers to the microphone, by unknown.

    Parameters
    ----------
    sites : ndarray of int, shape (n_mouths,)
        Its sites [1].
    ends : list
        Ends of its batch from :func:`models.structure.ends_of` [list].
    layout, medium, table : Layout, Medium, OutsideTable
        Structure, season and outside [record].

    Returns
    -------
    tuple of two complex ndarrays, shape (n_columns, n_unknowns, n_unknowns) and (n_columns, n_unknowns)
        Both [Pa s/m3].
    """
    size, columns = layout.graph.entries.shape[0], medium.omega.size * medium.spaces
    mouths = [one for one in ends if isinstance(one[6], Mouth)]
    spread, at = np.zeros((len(mouths), size)), np.arange(len(mouths))
    if not mouths:
        return np.zeros((columns, size, size), dtype=complex), np.zeros((columns, size), dtype=complex)
    spread[at, [one[0] for one in mouths]] = [one[1] for one in mouths]
    z = np.moveaxis(table.impedance[sites[:, None], sites], 2, 0).copy()
    z[:, at, at] -= 1j * (np.tile(medium.omega, medium.spaces) * table.self_inertance[sites]).T
    return spread.T @ z @ spread, table.transfer[sites].T @ spread
