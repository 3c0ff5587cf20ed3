"""Lines folded in a plane: channels of full height, their first leg a room, the rest a duct."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from models.bends import fold_correction, mitred_bend_correction
from models.design import DesignBatch
from models.topology import parse_graph_id
from studies.network_and_fem.cases import MOUTH, SITES, Case, Spot, box_of, duct_between
from studies.network_and_fem.solid import Box, solve_solid

Treatment = Literal["none", "length", "area", "placed"]
"""What is made of bends: nothing, the length corrected, length and area corrected, each at its place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """Air of a bent channel and what its straight equivalent needs.

    Attributes
    ----------
    cuboids : tuple of boxes
        The air [m].
    mouth : box
        Its open end [m].
    centre_line : float
        Length of the centre line from the closed end to the mouth [m].
    bends : tuple of pairs of floats
        Place along the centre line and correction of each bend [m].
    """

    cuboids: tuple[Box, ...]
    mouth: Box
    centre_line: float
    bends: tuple[tuple[float, float], ...]


def folds(width: float, height: float, leg: float, count: int, wall: float = 0.003) -> Channel:
    """Legs side by side along y, joined by gaps as wide as a leg at alternate ends."""
    pitch, across = width + wall, leg + width
    cuboids = [box_of((0.0, i * pitch, 0.0), (across, i * pitch + width, height)) for i in range(count + 1)]
    for i in range(count):
        start = 0.0 if i % 2 else leg
        cuboids.append(box_of((start, i * pitch + width, 0.0), (start + width, (i + 1) * pitch, height)))
    end = 0.0 if count % 2 else across
    mouth = box_of((end, count * pitch, 0.0), (end, count * pitch + width, height))
    one = float(fold_correction(width, width, wall))
    length = across * (count + 1) + (pitch - width) * count
    # the middle of a fold is the middle of the way across
    places = [leg + width / 2.0 + pitch / 2.0 + i * (leg + pitch) for i in range(count)]
    bends = tuple((place, one) for place in places)
    return Channel(cuboids=tuple(cuboids), mouth=mouth, centre_line=length, bends=bends)


def right_angles(width: float, height: float, legs: tuple[float, float, float]) -> Channel:
    """Two right angles: along x, up y, on along x; legs are lengths between the crossings of middles."""
    a, b, c = legs
    half = width / 2.0
    cuboids = (
        box_of((0.0, 0.0, 0.0), (a + half, width, height)),
        box_of((a - half, 0.0, 0.0), (a + half, b + width, height)),
        box_of((a - half, b, 0.0), (a + c, b + width, height)),
    )
    mouth = box_of((a + c, b, 0.0), (a + c, b + width, height))
    one = float(mitred_bend_correction(width))
    return Channel(cuboids=cuboids, mouth=mouth, centre_line=a + b + c, bends=((a, one), (a + b, one)))


def straight_equivalent(area: float, length: float, correction: float) -> tuple[float, float]:
    """Area and length of the straight duct with a bent one's whole inertance and volume [m2], [m]."""
    share = 1.0 + correction / length
    return area / share**0.5, length * share**0.5


def folded_case(
    name: str, channel: Channel, width: float, height: float, room: float, at: float, treatment: Treatment
) -> Case:
    """A line with its driver in the side wall, the first part of its first leg taken as a room."""
    sides = np.array([room, width, height])
    driver = Spot(wall="y-", at=(at, height / 2.0))
    end = Spot(wall="x+", at=(width / 2.0, height / 2.0), size=(width, height))
    area, length = width * height, channel.centre_line - room
    correction = sum(bend for _, bend in channel.bends)
    if treatment == "length":
        length += correction
    elif treatment == "area":
        area, length = straight_equivalent(area, length, correction)
    duct = duct_between("line", (end.patch(), MOUTH), (width, height), length, area=area)
    if treatment == "placed":
        bends = tuple((np.array([at - room]), np.array([bend])) for at, bend in channel.bends)
        duct = replace(duct, bends=bends)
    batch = DesignBatch(
        topology=parse_graph_id("oA/Ao"),
        sides=sides[None, None],
        driver_ends=((MOUTH, driver.patch()),),
        ducts=(duct,),
        sites=SITES,
    )
    return Case(
        name=name,
        group="folded line",
        cuboids=channel.cuboids,
        driver=driver.box(np.zeros(3), sides),
        mouth=channel.mouth,
        batch=batch,
    )


def folded_cases(treatment: Treatment = "placed") -> list[Case]:
    """Return lines with one and two folds and with two right angles."""
    wide, narrow = (0.045, 0.080), (0.030, 0.050)
    return [
        folded_case("one fold, 45 x 80", folds(*wide, 0.18, 1), *wide, 0.12, 0.03, treatment),
        folded_case("two folds, 45 x 80", folds(*wide, 0.15, 2), *wide, 0.10, 0.03, treatment),
        folded_case("two folds, 30 x 50", folds(*narrow, 0.16, 2), *narrow, 0.12, 0.03, treatment),
        folded_case(
            "two right angles, 45 x 80", right_angles(*wide, (0.2, 0.12, 0.15)), *wide, 0.15, 0.03, treatment
        ),
    ]


def channel_squares(cuboids: list[Box], ends: tuple[Box, Box], height: float, *, finest: float) -> float:
    """Length over width of the straight channel with the inertance of a plane one, by finite elements."""
    squares = []
    size = float(np.max(np.array(cuboids)))
    for cell in (2.0 * finest, finest):
        response = solve_solid(cuboids, list(ends), step=0.08 * size, finest=cell, blocks=6)
        z = response.impedance(np.array([1e-3 / size]))[0]
        squares.append(float(z[0, 0] - z[0, 1] ** 2 / z[1, 1]) * height)
    return squares[1] + (squares[1] - squares[0]) / (2.0 ** (4.0 / 3.0) - 1.0)
