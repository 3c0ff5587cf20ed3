"""The sums N and P of :mod:`models.near_field`, compiled: a few rooms side by side."""

from __future__ import annotations

from models.jit import compiled, inverse
from models.kernel_records import Near
from models.lanes import any_lane, choose, load, store
from models.near_field import MODES_SECOND, MODES_THIRD
from models.near_field_modes_kernel import ZERO


@compiled
def _mark(near: Near) -> None:
    """Which modes of the room do not vanish at all its patches."""
    for axis in range(3):
        for m in range(MODES_SECOND):
            near.active[axis, m] = 0
            for i in range(near.even.shape[0]):
                average = load(near.even, (i, axis, m))
                if any_lane(average * average > 0.25 * ZERO):  # twice a product of two may count
                    near.active[axis, m] = 1


@compiled
def higher_blocks(near: Near, line: float) -> None:
    """1/k^4 of the modes of a room, 1/k^6 of the lowest, those of the line alone left out."""
    _mark(near)
    for x in range(MODES_SECOND):
        for y in range(MODES_SECOND):
            if near.active[0, x] == 0 or near.active[1, y] == 0:
                continue
            square = load(near.squares, (0, x)) + load(near.squares, (1, y))
            for z in range(MODES_SECOND):
                if near.active[2, z] == 0 or x + y + z == 0:
                    continue
                over = inverse(square + load(near.squares, (2, z)))
                fourth = over * over
                alone = 0.0 if y + z == 0 else (1.0 if x + z == 0 else (2.0 if x + y == 0 else -1.0))
                if alone >= 0.0:
                    fourth = choose(line == alone, 0.0, fourth)
                store(near.fourth, (x, y, z), fourth)
                if x < MODES_THIRD and y < MODES_THIRD and z < MODES_THIRD:
                    store(near.sixth, (x, y, z), fourth * over)


@compiled
def higher_sums(near: Near, one: int, two: int) -> tuple[float, float]:
    """V times N and P of two patches."""
    zero = 0.0 * load(near.even, (one, 0, 0))
    for axis in range(3):
        for m in range(MODES_SECOND):
            weight = 1.0 if m == 0 else 2.0
            product = weight * load(near.even, (one, axis, m)) * load(near.even, (two, axis, m))
            store(near.products, (axis, m), product)
            near.active[axis, m] = 1 if any_lane(abs(product) > ZERO) else 0
    second, third = zero, zero
    for x in range(MODES_SECOND):
        for y in range(MODES_SECOND):
            if near.active[0, x] == 0 or near.active[1, y] == 0:
                continue
            along, deep = zero, zero
            for z in range(MODES_SECOND):
                if near.active[2, z] == 1 and x + y + z > 0:
                    product = load(near.products, (2, z))
                    along += product * load(near.fourth, (x, y, z))
                    if x < MODES_THIRD and y < MODES_THIRD and z < MODES_THIRD:
                        deep += product * load(near.sixth, (x, y, z))
            level = load(near.products, (0, x)) * load(near.products, (1, y))
            second += level * along
            third += level * deep
    return second, third
