"""What must hold between the values of a season, beyond each value's own type and range."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

import numpy as np

from models.cabin_modes import highest_frequency
from models.catalogue import TRADE_NAMES, named_topology
from models.driver import Driver
from models.topology import Topology
from optimizer.checking import Checker, nearest
from optimizer.season_driver_checks import check_drivers
from optimizer.season_schema import OBJECTIVES, CabinTable, DriverTable, EnvelopeTable, SearchTable
from optimizer.season_sections import Sections
from optimizer.toml_lines import Location

_NEAR_MM = 1e-6
MOST_CHAMBERS = 6
"""Largest graph a season may list."""


def check_season(
    sections: Sections, driver: Driver | None, checker: Checker, options: Mapping[int, Driver] | None = None
) -> None:
    """Note every contradiction between valid parts of a season.

    Parameters
    ----------
    sections : Sections
        Parts that are valid by themselves [record].
    driver : Driver or None
        Driver, where its data are complete [record].
    checker : Checker
        Told about the faults [record].
    options : mapping of int to Driver, or None
        Drivers that the season could have instead, by their index in the file [record].
    """
    _check_tones(sections, checker)
    envelope_fits = sections.envelope is not None and _check_wall(sections.envelope, checker)
    check_drivers(sections, driver, options or {}, envelope_fits, checker)
    _check_spaces(sections, checker)
    _check_reach(sections, checker)
    if sections.search is not None:
        _check_search(sections.search, sections.driver, checker)


def _check_tones(sections: Sections, checker: Checker) -> None:
    seen: set[float] = set()
    for i, tone in sections.tones.items():
        if tone.hz in seen:
            checker.add(("tones", i, "hz"), f"{tone.hz:g} Hz is given twice")
        seen.add(tone.hz)
    _check_weights("tones", [tone.weight for tone in sections.tones.values()], checker)


def _check_reach(sections: Sections, checker: Checker) -> None:
    """Tones that the model of a cabin does not reach."""
    speed = sections.gas().sound_speed
    for space in sections.spaces.values():
        if not isinstance(space, CabinTable):
            continue
        x, y, z = (side * 1e-3 for side in space.size_mm)
        top = highest_frequency((x, y, z), speed)
        for i, tone in sections.tones.items():
            message = f'{tone.hz:g} Hz is above {top:.0f} Hz, where the model of "{space.name}" ends'
            checker.refuse_if(tone.hz > top, ("tones", i, "hz"), message)


def _check_weights(table: str, weights: list[float], checker: Checker) -> None:
    if weights and not any(weights):
        checker.add(
            (table, 0, "weight"), f"all weights are 0; at least one of {table} needs a weight above 0"
        )


def _check_wall(envelope: EnvelopeTable, checker: Checker) -> bool:
    sides = {"width_mm": envelope.width_mm, "height_mm": envelope.height_mm, "depth_mm": envelope.depth_mm}
    smallest = min(sides, key=lambda key: sides[key])
    return not checker.refuse_if(
        2.0 * envelope.wall_mm >= sides[smallest],
        ("envelope", "wall_mm"),
        f"two walls of {envelope.wall_mm:g} mm leave nothing of {smallest} = {sides[smallest]:g}",
    )


def _check_spaces(sections: Sections, checker: Checker) -> None:
    names: dict[str, int] = {}
    for i, space in sections.spaces.items():
        if space.name in names:
            checker.add(
                ("spaces", i, "name"), f'"{space.name}" is also the name of spaces[{names[space.name]}]'
            )
        names.setdefault(space.name, i)
        if isinstance(space, CabinTable):
            _check_cabin(space, ("spaces", i), sections.envelope, checker)
    _check_weights("spaces", [space.weight for space in sections.spaces.values()], checker)


def _check_cabin(cabin: CabinTable, at: Location, envelope: EnvelopeTable | None, checker: Checker) -> None:
    size, microphone = np.array(cabin.size_mm), np.array(cabin.microphone_at_mm)
    for axis in range(3):
        checker.refuse_if(
            not 0.0 <= microphone[axis] <= size[axis],
            (*at, "microphone_at_mm", axis),
            f"{microphone[axis]:g} is outside the cabin: {'xyz'[axis]} is 0 to {size[axis]:g}",
        )
    for n, opening in enumerate(cabin.openings):
        _check_opening(opening.at_mm, opening.area_cm2, size, (*at, "openings", n), checker)
    if envelope is None:
        return
    outer = np.array([envelope.depth_mm, envelope.width_mm, envelope.height_mm])
    low = np.array(cabin.enclosure_at_mm) - outer / 2.0
    high = low + outer
    outside = False
    for axis in range(3):
        outside |= checker.refuse_if(
            bool(low[axis] < -_NEAR_MM or high[axis] > size[axis] + _NEAR_MM),
            (*at, "enclosure_at_mm", axis),
            f"the envelope reaches from {low[axis]:g} to {high[axis]:g}, outside the cabin: "
            f"{'xyz'[axis]} is 0 to {size[axis]:g}",
        )
    if not cabin.obstacle or outside:
        return
    checker.refuse_if(
        bool(np.all((microphone > low + _NEAR_MM) & (microphone < high - _NEAR_MM))),
        (*at, "microphone_at_mm"),
        f"{_point(microphone)} lies inside the enclosure, {_point(low)} to {_point(high)}",
    )
    checker.refuse_if(
        bool(low[0] < _NEAR_MM),
        (*at, "enclosure_at_mm", 0),
        "the envelope's front face lies against the cabin's wall, so that nothing can radiate from it",
    )
    for n, opening in enumerate(cabin.openings):
        half = np.sqrt(opening.area_cm2 * 100.0) / 2.0
        centre = np.array(opening.at_mm)
        reach = np.where(_on_wall(centre, size), 0.0, half)
        checker.refuse_if(
            bool(np.all((centre + reach >= low - _NEAR_MM) & (centre - reach <= high + _NEAR_MM))),
            (*at, "openings", n, "at_mm"),
            f"the enclosure stands in the opening at {_point(centre)}",
        )


def _on_wall(centre: np.ndarray, size: np.ndarray) -> np.ndarray:
    on: np.ndarray = np.minimum(np.abs(centre), np.abs(centre - size)) < _NEAR_MM
    return on


def _check_opening(
    at_mm: list[float], area_cm2: float, size: np.ndarray, at: Location, checker: Checker
) -> None:
    centre = np.array(at_mm)
    walls = np.flatnonzero(_on_wall(centre, size))
    inside = bool(np.all((centre >= -_NEAR_MM) & (centre <= size + _NEAR_MM)))
    if checker.refuse_if(
        len(walls) != 1 or not inside,
        (*at, "at_mm"),
        f"{_point(centre)} is not on one of the six walls of the cabin of {_point(size)}",
    ):
        return
    side = float(np.sqrt(area_cm2 * 100.0))
    for axis in range(3):
        if axis != walls[0] and checker.refuse_if(
            bool(centre[axis] - side / 2.0 < -_NEAR_MM or centre[axis] + side / 2.0 > size[axis] + _NEAR_MM),
            (*at, "area_cm2"),
            f"a square of {area_cm2:g} cm2 ({side:.4g} mm) at {_point(centre)} runs over its wall's edge: "
            f"{'xyz'[axis]} is 0 to {size[axis]:g}",
        ):
            return


def _point(values: np.ndarray) -> str:
    return "[" + ", ".join(f"{value:g}" for value in values) + "]"


def _check_search(search: SearchTable, driver: DriverTable | None, checker: Checker) -> None:
    seen: list[str] = []
    for i, name in enumerate(search.objectives):
        checker.refuse_if(name in seen, ("search", "objectives", i), f'"{name}" is listed twice')
        _refuse_unknown(name, OBJECTIVES, ("search", "objectives", i), "an objective", checker)
        seen.append(name)
    if isinstance(search.topologies, str):
        if search.topologies not in ("all", "named"):
            message = f'is "{search.topologies}"; must be "all", "named", or a list of names or graph ids'
            checker.add(("search", "topologies"), message)
        return
    checker.refuse_if(not search.topologies, ("search", "topologies"), "the list is empty")
    graphs: dict[str, int] = {}
    for i, name in enumerate(search.topologies):
        place: Location = ("search", "topologies", i)
        topology = _listed_topology(name, place, checker)
        if topology is None:
            continue
        known = graphs.setdefault(topology.graph_id, i)
        checker.refuse_if(known != i, place, f'"{name}" is the same graph as topologies[{known}]')
        count = driver.count if driver is not None else len(topology.drivers)
        checks: list[tuple[str, int, Callable[[int, int], bool], str, int]] = [
            ("drivers", len(topology.drivers), int.__ne__, "driver.count", count),
            ("chambers", topology.chambers, int.__gt__, "search.max_chambers", search.max_chambers),
            ("ducts", len(topology.ducts), int.__gt__, "search.max_ducts", search.max_ducts),
            (
                "diaphragms",
                len(topology.diaphragms),
                int.__gt__,
                "search.max_diaphragms",
                search.max_diaphragms,
            ),
        ]
        for what, has, wrong, key, limit in checks:
            checker.refuse_if(wrong(has, limit), place, f'"{name}" has {has} {what}, but {key} = {limit}')


def _listed_topology(name: str, place: Location, checker: Checker) -> Topology | None:
    try:
        topology = named_topology(name)
    except ValueError as error:
        if re.fullmatch(r"[A-No./]+", name):
            checker.add(place, f'"{name}" is not a possible graph: {error}')
        else:
            _refuse_unknown(name, tuple(TRADE_NAMES.values()), place, "a topology or graph id", checker)
        return None
    if checker.refuse_if(
        topology.chambers > MOST_CHAMBERS,
        place,
        f'"{name}" has {topology.chambers} chambers; at most {MOST_CHAMBERS}',
    ):
        return None
    return topology


def _refuse_unknown(name: str, valid: tuple[str, ...], place: Location, what: str, checker: Checker) -> None:
    if name not in valid:
        hint = f"the nearest is {nearest(name, valid)}; valid: {', '.join(valid)}"
        checker.add(place, f'"{name}" is not {what}; {hint}')
