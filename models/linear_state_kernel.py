"""Newton's method of :mod:`models.linear_drive`, compiled, points and tones side by side in lanes.

No matrix here needs pivots. Those of networks lose energy. Newton's, times the losses' powers w|u|^2, is
their diagonal plus w w' Re(u* Y u'), whose quadratic form is a power that the network takes.
"""

from __future__ import annotations

import math

import numpy as np

from models.drive_kernel import reciprocal, times
from models.jit import compiled, exp, log
from models.linear_drive import DONE, LONGEST_STEP, MOST_STEPS


@compiled
def invert(a: np.ndarray, factor: np.ndarray) -> None:
    """Inverse of matrices in place, shape (n, n, 2, n_lanes); ``factor`` is scratch, shape (2, n_lanes)."""
    n, lanes = a.shape[0], a.shape[3]
    for k in range(n):
        for m in range(lanes):
            factor[0, m], factor[1, m] = reciprocal(a[k, k, 0, m], a[k, k, 1, m])
            a[k, k, 0, m], a[k, k, 1, m] = 1.0, 0.0
        for j in range(n):
            for m in range(lanes):
                a[k, j, 0, m], a[k, j, 1, m] = times(factor[0, m], factor[1, m], a[k, j, 0, m], a[k, j, 1, m])
        for i in range(n):
            if i == k:
                continue
            for m in range(lanes):
                factor[0, m], factor[1, m] = a[i, k, 0, m], a[i, k, 1, m]
                a[i, k, 0, m], a[i, k, 1, m] = 0.0, 0.0
            for j in range(n):
                for m in range(lanes):
                    re, im = times(factor[0, m], factor[1, m], a[k, j, 0, m], a[k, j, 1, m])
                    a[i, j, 0, m] -= re
                    a[i, j, 1, m] -= im


@compiled
def newton_matrix(inverse: np.ndarray, flows: np.ndarray, weight: np.ndarray, first: int, factor: np.ndarray,
                  turn: np.ndarray) -> None:  # fmt: skip
    """One less how the logarithms of the speeds found follow those assumed; weight: loss times speed."""
    ends, lanes = weight.shape
    for a in range(ends):
        for m in range(lanes):
            factor[0, m], factor[1, m] = reciprocal(flows[first + a, 0, m], flows[first + a, 1, m])
        for b in range(ends):
            for m in range(lanes):
                re, im = times(factor[0, m], factor[1, m], flows[first + b, 0, m], flows[first + b, 1, m])
                real = inverse[first + a, first + b, 0, m] * re - inverse[first + a, first + b, 1, m] * im
                turn[a, b, m] = real * weight[b, m] + (1.0 if a == b else 0.0)


@compiled
def solve_real(a: np.ndarray, b: np.ndarray) -> None:
    """Solve real systems for several right sides in place; the matrices are used up."""
    n, many, lanes = b.shape
    for k in range(n):
        for m in range(lanes):
            a[k, k, m] = 1.0 / a[k, k, m]
        for i in range(k + 1, n):
            for m in range(lanes):
                a[i, k, m] *= a[k, k, m]
            for j in range(k + 1, n):
                for m in range(lanes):
                    a[i, j, m] -= a[i, k, m] * a[k, j, m]
            for j in range(many):
                for m in range(lanes):
                    b[i, j, m] -= a[i, k, m] * b[k, j, m]
    for k in range(n - 1, -1, -1):
        for j in range(many):
            for i in range(k + 1, n):
                for m in range(lanes):
                    b[k, j, m] -= a[k, i, m] * b[i, j, m]
            for m in range(lanes):
                b[k, j, m] *= a[k, k, m]


@compiled
def find_state(
    plain: np.ndarray, source: np.ndarray, scale: np.ndarray, loss: np.ndarray, lossy: bool, first: int,
    inverse: np.ndarray, flows: np.ndarray, weight: np.ndarray, turn: np.ndarray, short: np.ndarray,
    factor: np.ndarray,
) -> None:  # fmt: skip
    """Inverse and flows at one volt that agree with their losses.

    Parameters
    ----------
    plain : ndarray, shape (n, n, 2, n_lanes)
        Matrices without end losses [Pa s/m3].
    source : ndarray, shape (n, 2, n_lanes)
        Right sides per volt [Pa/V].
    scale, loss : ndarray, shape (n_ends, n_lanes)
        Peak speed over flow at one volt [1/m2], resistance per peak speed [Pa s2/m4].
    lossy : bool
        Whether there are losses [flag].
    first : int
        First duct end among the unknowns [1].
    inverse, flows, weight : ndarray
        Results: inverse, flows, and loss times speed, shape (n_ends, n_lanes) [mixed].
    turn, short, factor : ndarray, shape (n_ends, n_ends, n_lanes), (n_ends, 1, n_lanes), (2, n_lanes)
        Scratch [any].
    """
    size, lanes = flows.shape[0], flows.shape[2]
    ends = weight.shape[0]
    for end in range(ends):
        for m in range(lanes):
            weight[end, m] = 0.0
    for step in range(MOST_STEPS):
        for i in range(size):
            for j in range(size):
                for part in range(2):
                    for m in range(lanes):
                        inverse[i, j, part, m] = plain[i, j, part, m]
        for end in range(ends):
            for m in range(lanes):
                inverse[first + end, first + end, 0, m] += weight[end, m]
        invert(inverse, factor)
        for i in range(size):
            for m in range(lanes):
                flows[i, 0, m], flows[i, 1, m] = 0.0, 0.0
            for j in range(first):  # only what comes before the ducts is driven
                for m in range(lanes):
                    re, im = times(inverse[i, j, 0, m], inverse[i, j, 1, m], source[j, 0, m], source[j, 1, m])
                    flows[i, 0, m] += re
                    flows[i, 1, m] += im
        if not lossy:
            return
        far = 0.0
        for end in range(ends):
            for m in range(lanes):
                re, im = flows[first + end, 0, m], flows[first + end, 1, m]
                found = scale[end, m] * math.sqrt(re * re + im * im) * loss[end, m]
                short[end, 0, m] = found
                if step > 0:
                    live = loss[end, m] > 0.0
                    short[end, 0, m] = log(found / weight[end, m] if live else 1.0)
                    far = max(far, abs(short[end, 0, m]))
                else:
                    weight[end, m] = found
        if step == 0:
            continue
        if not far > DONE:
            return
        newton_matrix(inverse, flows, weight, first, factor, turn)
        solve_real(turn, short)
        for end in range(ends):
            for m in range(lanes):
                weight[end, m] *= exp(min(max(short[end, 0, m], -LONGEST_STEP), LONGEST_STEP))
