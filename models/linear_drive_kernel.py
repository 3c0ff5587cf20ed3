"""Levels and permitted drives with slopes of :mod:`models.linear_drive`, compiled, in blocks of points."""

from __future__ import annotations

import math

import numpy as np

from models.drive_kernel import reciprocal, times
from models.jit import compiled, entry_point
from models.linear_drive import Linear
from models.linear_elements_kernel import add_diagonal, add_ducts, add_pairs, duct_losses
from models.linear_layout import Layout, Medium
from models.linear_limits_kernel import measure
from models.linear_state_kernel import find_state, newton_matrix, solve_real
from models.linear_terms import Terms

BLOCK = 8
"""Points side by side; every one of them brings its tones in all spaces as lanes."""


@compiled
def _elements(layout: Layout, medium: Medium, terms: Terms, begin: int, end: int, z: np.ndarray,
              dz: np.ndarray, z_now: np.ndarray, dz_now: np.ndarray,
              functions: np.ndarray) -> None:  # fmt: skip
    """Impedances (elements, 2, lanes) and slopes (elements, n, 2, lanes); lanes are points, then tones."""
    tones, n = medium.omega.size, dz.shape[1]
    pairs, ducts = layout.pairs.shape[0], 3 * layout.ways.shape[0]
    for p in range(begin, end):
        if medium.lossy:
            duct_losses(layout, medium, terms, p, functions)
        for t in range(tones):
            add_pairs(layout, medium, terms, p, t, z_now[:pairs], dz_now[:pairs])
            add_ducts(
                layout, medium, terms, p, t, functions, z_now[pairs : pairs + ducts],
                dz_now[pairs : pairs + ducts],
            )  # fmt: skip
            add_diagonal(layout, medium, terms, p, t, z_now[pairs + ducts :], dz_now[pairs + ducts :])
            lane = (p - begin) * tones + t
            for e in range(z.shape[0]):
                z[e, 0, lane], z[e, 1, lane] = z_now[e].real, z_now[e].imag
                for i in range(n):
                    dz[e, i, 0, lane], dz[e, i, 1, lane] = dz_now[e, i].real, dz_now[e, i].imag


@compiled
def _load(layout: Layout, medium: Medium, terms: Terms, begin: int, space: int, voltage: np.ndarray,
          z: np.ndarray, plain: np.ndarray, source: np.ndarray, scale: np.ndarray, loss: np.ndarray,
          area: np.ndarray) -> bool:  # fmt: skip
    """Matrices, right sides and duct ends of a block in one space; whether there are losses."""
    tones, size, lanes = medium.omega.size, plain.shape[0], plain.shape[3]
    lossy = False
    for m in range(lanes):
        p, t = begin + m // tones, m % tones
        column = space * tones + t
        for i in range(size):
            source[i, 0, m], source[i, 1, m] = medium.source[t, i].real, medium.source[t, i].imag
            for j in range(size):
                own = medium.drivers[t, i, j] + terms.outside[p, column, i, j]
                plain[i, j, 0, m], plain[i, j, 1, m] = own.real, own.imag
        for end in range(scale.shape[0]):
            at = layout.ends + 2 * end
            area[end, m], loss[end, m] = terms.value[p, at], terms.value[p, at + 1]
            scale[end, m] = math.sqrt(2.0) * voltage[p, column] / area[end, m]
            lossy = lossy or loss[end, m] > 0.0
    for e in range(layout.places.shape[0]):
        a, b, weight = layout.places[e]
        for part in range(2):
            for m in range(lanes):
                plain[a, b, part, m] += weight * z[e, part, m]
            if a != b:
                for m in range(lanes):
                    plain[b, a, part, m] += weight * z[e, part, m]
    return lossy


@compiled
def _push(a: int, b: int, weight: float, flows: np.ndarray, dz: np.ndarray, pushed: np.ndarray) -> None:
    """Add what an element's change does to the pressure at one of its unknowns by the flow of the other."""
    for i in range(dz.shape[0]):
        for m in range(flows.shape[2]):
            re, im = times(flows[b, 0, m], flows[b, 1, m], dz[i, 0, m], dz[i, 1, m])
            pushed[a, i, 0, m] += weight * re
            pushed[a, i, 1, m] += weight * im


@compiled
def _take(inverse: np.ndarray, pushed: np.ndarray, moved: np.ndarray) -> None:
    """Take a matrix times what is pushed off what moves."""
    for a in range(inverse.shape[0]):
        for b in range(inverse.shape[1]):
            for i in range(pushed.shape[1]):
                for m in range(inverse.shape[3]):
                    re, im = times(
                        inverse[a, b, 0, m], inverse[a, b, 1, m], pushed[b, i, 0, m], pushed[b, i, 1, m]
                    )
                    moved[a, i, 0, m] -= re
                    moved[a, i, 1, m] -= im


@compiled
def _follow(layout: Layout, medium: Medium, terms: Terms, begin: int, first: int, inverse: np.ndarray,
            flows: np.ndarray, weight: np.ndarray, area: np.ndarray, moved: np.ndarray, wish: np.ndarray,
            turn: np.ndarray, factor: np.ndarray) -> None:  # fmt: skip
    """Let the losses follow: the implicit function theorem at the duct ends. The drive comes last."""
    size, ends, lanes = flows.shape[0], weight.shape[0], flows.shape[2]
    n, tones = moved.shape[1] - 1, medium.omega.size
    for end in range(ends):
        for m in range(lanes):
            factor[0, m], factor[1, m] = reciprocal(flows[first + end, 0, m], flows[first + end, 1, m])
            wish[end, n, m] = 1.0
        for i in range(n):
            for m in range(lanes):
                re, im = moved[first + end, i, 0, m], moved[first + end, i, 1, m]
                less = terms.slope[begin + m // tones, layout.ends + 2 * end, i] / area[end, m]
                wish[end, i, m] = re * factor[0, m] - im * factor[1, m] - less
    newton_matrix(inverse, flows, weight, first, factor, turn)
    solve_real(turn, wish)
    for end in range(ends):
        for a in range(size):
            for m in range(lanes):
                re, im = times(
                    inverse[a, first + end, 0, m], inverse[a, first + end, 1, m], flows[first + end, 0, m],
                    flows[first + end, 1, m],
                )  # fmt: skip
                factor[0, m], factor[1, m] = weight[end, m] * re, weight[end, m] * im
            for i in range(n + 1):
                for m in range(lanes):
                    moved[a, i, 0, m] -= factor[0, m] * wish[end, i, m]
                    moved[a, i, 1, m] -= factor[1, m] * wish[end, i, m]


@entry_point
def drive_points(layout: Layout, medium: Medium, terms: Terms, voltage: np.ndarray, found: Linear) -> None:
    """Levels and permitted drives with slopes, as :func:`models.linear_drive.linear_drive`.

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
    found : Linear
        Results, written in place [record].
    """
    bounds, size, n = layout.graph.bounds, layout.graph.entries.shape[0], terms.slope.shape[2]
    first, ends, tones = bounds.drivers + bounds.diaphragms, 2 * bounds.ducts, medium.omega.size
    elements, points = layout.places.shape[0], voltage.shape[0]
    z_now, dz_now = np.empty(elements, np.complex128), np.empty((elements, n), np.complex128)
    functions, heard = np.empty((bounds.ducts, 4, tones)), np.empty((n + 1, 2, 1))
    for begin in range(0, points, BLOCK):
        lanes = (min(begin + BLOCK, points) - begin) * tones
        z, dz = np.empty((elements, 2, lanes)), np.empty((elements, n, 2, lanes))
        plain, inverse = np.empty((size, size, 2, lanes)), np.empty((size, size, 2, lanes))
        source, flows = np.empty((size, 2, lanes)), np.empty((size, 2, lanes))
        scale, loss, area = np.empty((ends, lanes)), np.empty((ends, lanes)), np.empty((ends, lanes))
        weight, turn = np.empty((ends, lanes)), np.empty((ends, ends, lanes))
        short, wish, factor = np.empty((ends, 1, lanes)), np.empty((ends, n + 1, lanes)), np.empty((2, lanes))
        pushed, moved = np.empty((size, n, 2, lanes)), np.empty((size, n + 1, 2, lanes))
        _elements(layout, medium, terms, begin, begin + lanes // tones, z, dz, z_now, dz_now, functions)
        for space in range(medium.spaces):
            lossy = _load(layout, medium, terms, begin, space, voltage, z, plain, source, scale, loss, area)
            find_state(
                plain, source, scale, loss, lossy, first, inverse, flows, weight, turn, short, factor
            )
            pushed[:] = 0.0
            moved[:] = 0.0
            for e in range(elements):
                a, b, share = layout.places[e]
                _push(a, b, float(share), flows, dz[e], pushed)
                if a != b:
                    _push(b, a, float(share), flows, dz[e], pushed)
            for end in range(ends if lossy else 0):
                for m in range(lanes):
                    held, p = weight[end, m] / loss[end, m], begin + m // tones
                    for i in range(n):
                        push = held * terms.slope[p, layout.ends + 2 * end + 1, i]
                        pushed[first + end, i, 0, m] += push * flows[first + end, 0, m]
                        pushed[first + end, i, 1, m] += push * flows[first + end, 1, m]
            _take(inverse, pushed, moved)
            if ends > 0:
                _follow(
                    layout, medium, terms, begin, first, inverse, flows, weight, area, moved, wish, turn,
                    factor,
                )  # fmt: skip
            for m in range(lanes):
                p, t = begin + m // tones, m % tones
                column = space * tones + t
                volts = voltage[p, column]
                measure(layout, medium, terms, p, t, column, volts, m, flows, moved, heard, found)
