"""Plane channels of unit width with two bends near each other, and with ends that they turn into."""

from __future__ import annotations

import numpy as np

from models.bends import (
    end_share,
    fold_correction,
    fold_skew,
    mitred_bend_correction,
    pair_correction,
    side_end_correction,
    side_end_skew,
)
from models.plan_air import Face
from models.plan_elements import face_impedances
from studies.network_and_fem.cases import box_of
from studies.network_and_fem.folded import channel_squares
from studies.network_and_fem.solid import Box

LEG = 3.0
"""Straight channel before the first bend and behind the last [widths]."""

OPEN = 8.0
"""Half the width and the whole depth of the open space that ends look into [widths]."""

Plane = tuple[float, float, float, float]
"""A rectangle: low and high along x, then along y [widths]."""


def pair_table(finest: float) -> list[tuple[str, float, float]]:
    """Name, squares by finite elements less those of a straight end in the open, squares by models.bends."""
    corner = float(mitred_bend_correction(1.0))
    rows = []
    for straight in (0.0, 0.1, 0.4, 1.0):
        for same_way, letter in ((False, "S"), (True, "U")):
            if same_way and straight == 0.0:
                continue
            run, out = straight + 2.0, (-LEG, 0.0) if same_way else (1.0, 1.0 + LEG)
            planes = [(0.0, run, 0.0, 1.0), (0.0, 1.0, -LEG, 0.0), (run - 1.0, run, *out)]
            end = -LEG if same_way else 1.0 + LEG
            ends = [(0.0, 1.0, -LEG, -LEG), (run - 1.0, run, end, end)]
            skew = float(fold_skew(1.0, 1e9))
            form = 2.0 * LEG + 2.0 + straight + 2.0 * corner
            form += float(pair_correction(1.0, straight, skew, skew, same_way))
            rows.append((f"corners like {letter}, {straight:g} apart", _squares(planes, ends, finest), form))
    for t in (0.05, 0.1, 0.2):
        for straight in (0.0, 0.2):
            form = 2.0 * LEG + 2.0 * (2.0 + t) + straight + 2.0 * float(fold_correction(1.0, 1.0, t))
            form += float(pair_correction(1.0, straight, fold_skew(1.0, t), fold_skew(1.0, t)))
            run, pitch = straight + 2.0, 1.0 + t
            planes = [
                (1.0 - LEG + straight, run, 0.0, 1.0), (0.0, run, pitch, 1.0 + pitch),
                (0.0, 1.0 + LEG, 2.0 * pitch, 1.0 + 2.0 * pitch),
                (run - 1.0, run, 1.0, pitch), (0.0, 1.0, 1.0 + pitch, 2.0 * pitch),
            ]  # fmt: skip
            ends = [
                (1.0 - LEG + straight, 1.0 - LEG + straight, 0.0, 1.0),
                (1.0 + LEG, 1.0 + LEG, 2.0 * pitch, 1.0 + 2.0 * pitch),
            ]
            name = f"two folds, partition {t:g}, {straight:g} apart"
            rows.append((name, _squares(planes, ends, finest), form))
        rows += _ends(t, finest)
    return rows


def _ends(t: float, finest: float) -> list[tuple[str, float, float]]:
    """Channels that turn into the open through a wall, without and with a fold before it."""
    straight, open_end = _opened(1.0, 0.0)
    plain = _squares([(0.0, 1.0, -LEG, 0.0), straight], [(0.0, 1.0, -LEG, -LEG), open_end], finest) - LEG
    turn = float(side_end_correction(1.0, t))
    space, open_end = _opened(LEG + 1.0, 1.0 + t)
    planes = [(0.0, LEG + 1.0, 0.0, 1.0), (LEG, LEG + 1.0, 1.0, 1.0 + t), space]
    found = _squares(planes, [(0.0, 0.0, 0.0, 1.0), open_end], finest) - plain
    rows = [(f"turn through a wall of {t:g}", found, LEG + 1.0 + t + turn)]
    apart, pitch = 0.1, 1.0 + t
    run = apart + 2.0
    space, open_end = _opened(1.0, 2.0 * pitch)
    planes = [
        (run - 1.0 - LEG, run, 0.0, 1.0), (0.0, run, pitch, 1.0 + pitch), (run - 1.0, run, 1.0, pitch),
        (0.0, 1.0, 1.0 + pitch, 2.0 * pitch), space,
    ]  # fmt: skip
    ends = [(run - 1.0 - LEG, run - 1.0 - LEG, 0.0, 1.0), open_end]
    form = LEG + (2.0 + t) + apart + 1.0 + t + float(fold_correction(1.0, 1.0, t)) + turn
    form += float(pair_correction(1.0, apart, fold_skew(1.0, t), side_end_skew(1.0, t)))
    name = f"fold and turn through a wall of {t:g}, {apart:g} apart"
    return [*rows, (name, _squares(planes, ends, finest) - plain, form)]


def even_pressure(t: float, finest: float) -> float:
    """What one pressure across a mouth that a channel turns into takes off, over end_share, less one."""
    height = 1.0
    floor = np.array([[[0.0, LEG + 1.0], [0.0, 1.0]], [[LEG, LEG + 1.0], [1.0, 1.0 + t]]])
    ends = [
        Face(spans=((0.0, 0.0), (0.0, 1.0), (0.0, height)), flow=0, sign=1.0, piston=False),
        Face(spans=((LEG, LEG + 1.0), (1.0 + t, 1.0 + t), (0.0, height)), flow=1, sign=1.0, piston=False),
    ]
    squares = []
    for cell in (2.0 * finest, finest):
        z = face_impedances(floor, 0.0, height, ends, np.array([1e-3]), step=0.3, finest=cell)[0]
        squares.append(height * float(z[0, 0] - z[0, 1] ** 2 / z[1, 1]))
    exact = squares[1] + (squares[1] - squares[0]) / (2.0 ** (4.0 / 3.0) - 1.0)
    plain = LEG + 1.0 + t + float(mitred_bend_correction(1.0))
    return (exact - plain) / float(end_share(1.0, t)) - 1.0


def _opened(high: float, at: float) -> tuple[Plane, Plane]:
    """Open space above a mouth of unit width that ends at x = high, and its far side."""
    low, top = high - 0.5 - OPEN, at + OPEN
    return (low, low + 2.0 * OPEN, at, top), (low, low + 2.0 * OPEN, top, top)


def _squares(planes: list[Plane], ends: list[Plane], finest: float) -> float:
    height = 4.0 * finest
    cuboids: list[Box] = [box_of((p[0], p[2], 0.0), (p[1], p[3], height)) for p in planes]
    first, second = (box_of((p[0], p[2], 0.0), (p[1], p[3], height)) for p in ends)
    return channel_squares(cuboids, (first, second), height, finest=finest)
