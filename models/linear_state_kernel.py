"""Newton's method of :mod:`models.linear_drive`, compiled, eight columns of one point side by side.

No matrix here needs pivots. Those of networks lose energy. Newton's, times the losses' powers w|u|^2, is
their diagonal plus w w' Re(u* Y u'), whose quadratic form is a power that the network takes.
"""

from __future__ import annotations

import math

import numpy as np

from models.complex_lanes import get, put
from models.jit import compiled, exp, log
from models.lanes import any_lane, load_few, store
from models.linear_drive import DONE, LONGEST_STEP, MOST_STEPS


@compiled
def invert(a: np.ndarray) -> None:
    """Inverse of matrices in place, shape (n, n, 2, FEW)."""
    n = a.shape[0]
    for k in range(n):
        over = 1.0 / get(a, (k, k))
        put(a, (k, k), 1.0)
        for j in range(n):
            put(a, (k, j), over * get(a, (k, j)))
        for i in range(n):
            if i == k:
                continue
            factor = get(a, (i, k))
            put(a, (i, k), 0.0)
            for j in range(n):
                put(a, (i, j), get(a, (i, j)) - factor * get(a, (k, j)))


@compiled
def newton_matrix(
    inverse: np.ndarray, flows: np.ndarray, weight: np.ndarray, first: int, back: bool, turn: np.ndarray
) -> None:
    """One less how the logarithms of the speeds found follow those assumed; weight: loss times speed.

    With ``back`` the transpose, of what follows per weight.
    """
    ends = weight.shape[0]
    for a in range(ends):
        for b in range(ends):
            one, two = (first + a, first + b) if back else (first + b, first + a)
            ratio = get(flows, one) / get(flows, two)
            real = (get(inverse, (first + a, first + b)) * ratio).real
            store(turn, (a, b), real * load_few(weight, b) + (1.0 if a == b else 0.0))


@compiled
def solve_real(a: np.ndarray, b: np.ndarray) -> None:
    """Solve real systems for several right sides in place; the matrices are used up."""
    n, many = b.shape[0], b.shape[1]
    for k in range(n):
        over = 1.0 / load_few(a, (k, k))
        store(a, (k, k), over)
        for i in range(k + 1, n):
            factor = load_few(a, (i, k)) * over
            for j in range(k + 1, n):
                store(a, (i, j), load_few(a, (i, j)) - factor * load_few(a, (k, j)))
            for j in range(many):
                store(b, (i, j), load_few(b, (i, j)) - factor * load_few(b, (k, j)))
    for k in range(n - 1, -1, -1):
        for j in range(many):
            rest = load_few(b, (k, j))
            for i in range(k + 1, n):
                rest -= load_few(a, (k, i)) * load_few(b, (i, j))
            store(b, (k, j), rest * load_few(a, (k, k)))


@compiled
def find_state(
    plain: np.ndarray, source: np.ndarray, scale: np.ndarray, loss: np.ndarray, lossy: bool, first: int,
    inverse: np.ndarray, flows: np.ndarray, weight: np.ndarray, turn: np.ndarray, short: np.ndarray,
) -> None:  # fmt: skip
    """Inverse and flows at one volt that agree with their losses.

    Parameters
    ----------
    plain : ndarray, shape (n, n, 2, FEW)
        Matrices without end losses [Pa s/m3].
    source : ndarray, shape (n, 2, FEW)
        Right sides per volt [Pa/V].
    scale : ndarray, shape (n_ends, FEW)
        Peak speed over flow at one volt [1/m2].
    loss : ndarray, shape (n_ends,)
        Resistance per peak speed [Pa s2/m4].
    lossy : bool
        Whether there are losses [flag].
    first : int
        First duct end among the unknowns [1].
    inverse, flows, weight : ndarray
        Results: inverse, flows, and loss times speed, shape (n_ends, FEW) [mixed].
    turn, short : ndarray, shape (n_ends, n_ends, FEW), (n_ends, 1, FEW)
        Scratch [any].
    """
    size, ends = flows.shape[0], weight.shape[0]
    for step in range(MOST_STEPS):
        for i in range(size):
            for j in range(size):
                put(inverse, (i, j), get(plain, (i, j)))
        if step > 0:
            for end in range(ends):
                own = first + end, first + end
                put(inverse, own, get(plain, own) + load_few(weight, end))
        invert(inverse)
        for i in range(size):
            flow = 0.0 * get(source, 0)
            for j in range(first):  # only what comes before the ducts is driven
                flow += get(inverse, (i, j)) * get(source, j)
            put(flows, i, flow)
        far = 0.0 * load_few(scale, 0) if ends > 0 else 0.0 * get(source, 0).real
        for end in range(ends):
            flow = get(flows, first + end)
            size_now = math.sqrt(flow.real * flow.real + flow.imag * flow.imag)
            found = load_few(scale, end) * size_now * loss[end]
            if step == 0:
                store(weight, end, found)
            elif loss[end] > 0.0:
                change = log(found / load_few(weight, end))
                store(short, (end, 0), change)
                far = max(far, abs(change))
            else:
                store(short, (end, 0), 0.0 * found)
        if not lossy:
            return
        if step == 0:
            continue
        if not any_lane(far > DONE):
            return
        newton_matrix(inverse, flows, weight, first, False, turn)
        solve_real(turn, short)
        for end in range(ends):
            change = min(max(load_few(short, (end, 0)), -LONGEST_STEP), LONGEST_STEP)
            store(weight, end, load_few(weight, end) * exp(change))
