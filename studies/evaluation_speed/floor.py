"""What a vented box takes at least: operations counted in the formulas, times what each costs here.

The count takes every sum as it stands (modes that vanish by symmetry left out), with one evaluation of
each function and no memory traffic. The price of an operation is measured on arrays that stay in the
first cache, compiled by the same compiler.
"""

from __future__ import annotations

import time
from collections import Counter

import numpy as np

from models.jit import entry_point, exp, inverse, inverse_root, log, sin_cos
from models.near_field import MODES, MODES_CORNER, MODES_SECOND, MODES_THIRD, NEAR

_SIZE, _ROUNDS = 512, 2000


@entry_point
def _exps(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            out[i] = exp(x[i])


@entry_point
def _logs(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            out[i] = log(x[i])


@entry_point
def _sines(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            s, c = sin_cos(x[i])
            out[i] = s + c


@entry_point
def _roots(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            out[i] = inverse_root(x[i])


@entry_point
def _inverses(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            out[i] = inverse(x[i])


@entry_point
def _divisions(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            out[i] = 1.0 / (x[i] + 0.5)


@entry_point
def _flops(x: np.ndarray, out: np.ndarray, rounds: int) -> None:
    for _ in range(rounds):
        for i in range(x.size):
            y = x[i]
            y = y * 0.99 + 0.5
            y = y * y + 0.25
            y = y * 0.98 + 0.125
            y = y * y + 0.0625
            out[i] = y


KERNELS = {
    "exp": (_exps, 1),
    "log": (_logs, 1),
    "sine and cosine": (_sines, 1),
    "inverse root": (_roots, 1),
    "inverse": (_inverses, 1),
    "division or root": (_divisions, 1),
    "flop": (_flops, 8),
}
"""Loops that measure an operation, and how many of it each pass holds."""


def prices(rounds: int = _ROUNDS) -> dict[str, float]:
    """Nanoseconds of processor time of one operation."""
    x = np.random.default_rng(1).uniform(0.5, 2.0, _SIZE)
    out = np.empty(_SIZE)
    found = {}
    for name, (loop, many) in KERNELS.items():
        loop(x, out, 1)
        times = []
        for _ in range(3):
            start = time.process_time()
            loop(x, out, rounds)
            times.append(time.process_time() - start)
        found[name] = 1e9 * min(times) / (rounds * _SIZE * many)
    return found


def near_field_count() -> Counter[str]:
    """Operations of the near field of a driver in the middle of an end wall and a duct on a side wall.

    Of the driver's averages every second one is zero on both axes, of the duct's on one.
    """
    count: Counter[str] = Counter()
    own, face = MODES**2 - 1, (MODES // 2) ** 2 - 1
    corner = MODES_CORNER // 2 * MODES_CORNER - 1
    near_own, near_face, near_corner = NEAR**2 - 1, (NEAR // 2) ** 2 - 1, NEAR // 2 * NEAR - 1
    count["inverse root"] += own + face + corner
    count["exp"] += near_own + near_face + 2 * corner + 2 * near_corner
    count["inverse"] += near_own + near_face + near_corner
    count["flop"] += 2 * (own + face + corner)  # square and factor
    count["flop"] += 2 * (3 * own + face + 2 * corner)  # running sums
    count["flop"] += 6 * (near_own + near_face) + 12 * corner + 10 * near_corner
    count["flop"] += 6 * 2 * MODES  # sums over the other axis
    count["sine and cosine"] += 8
    count["division or root"] += 4
    count["flop"] += 4 * MODES * 20 + 2 * MODES * 10  # averages by rotation, products
    count["division or root"] += 2 * MODES
    half, low = MODES_SECOND // 2 + 1, MODES_THIRD // 2
    second = half**2 * MODES_SECOND + 2 * half * MODES_SECOND**2
    third = low**2 * MODES_THIRD + 2 * low * MODES_THIRD**2
    count["inverse"] += half * MODES_SECOND**2  # modes of the room, once for all pairs
    count["flop"] += 4 * half * MODES_SECOND**2 + 2 * (second + third)
    return count


def network_count(tones: int, spaces: int, steps: float) -> Counter[str]:
    """Operations of duct, room, elimination and fixed point of a vented box; steps of an average tone."""
    count: Counter[str] = Counter()
    # a tone: two loss functions of ten complex terms, complex roots and inverses, the duct's sine
    count["flop"] += tones * (2 * 10 * 8 + 120)
    count["division or root"] += tones * 16
    count["sine and cosine"] += tones
    count["exp"] += tones
    # a tone: complex sines of k L, k x, k (L - x) and k h; three pairs of patches
    count["sine and cosine"] += tones * 5
    count["exp"] += tones * 5
    count["division or root"] += tones * 9
    count["flop"] += tones * (5 * 12 + 3 * 40 + 60)
    # a tone and space: outside, elimination of the driver, and in every step two duct ends and the limits
    columns = tones * spaces
    count["flop"] += columns * (60 + 60)
    count["division or root"] += columns * 1
    count["flop"] += columns * steps * 110
    count["division or root"] += columns * (steps * 7 + 17)  # squares are compared, roots come at the end
    count["log"] += columns * (steps * 2 + 1)
    count["exp"] += columns * steps * 2
    return count


def cost(count: Counter[str], price: dict[str, float]) -> float:
    """Microseconds of counted operations."""
    return 1e-3 * sum(number * price[name] for name, number in count.items())
