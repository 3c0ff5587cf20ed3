"""What must hold between the values of a design, beyond each value's own type and range."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.envelope import in_plane_axes
from models.lining import lining_range
from models.rules import Rules
from optimizer.checking import Checker, nearest
from optimizer.design_ends import EdgeEnd, GivenEnd, patch_half
from optimizer.design_schema import DesignFile, DiaphragmTable, DuctTable, PatchTable
from optimizer.toml_lines import Location

MOST_CHAMBERS = 6
_NEAR = 1e-9

Edge = tuple[Location, tuple[tuple[str, GivenEnd], tuple[str, GivenEnd]], EdgeEnd]
"""Location, the two ends with their keys, and the section."""


def check_design(
    design: DesignFile, sides: dict[str, np.ndarray | None], rules: Rules, checker: Checker
) -> None:
    """Note every contradiction within a design, and between it and the season.

    Parameters
    ----------
    design : DesignFile
        Tables that are valid by themselves [record].
    sides : dict of ndarray, each shape (3,), or None
        Inner sides by chamber [m].
    rules : Rules
        The season's rules [record].
    checker : Checker
        Told about the faults [record].
    """
    _check_chambers(design, checker)
    _check_ducts(design, checker)
    _check_names(design, checker)
    checker.refuse_if(
        len(design.drivers) != rules.driver_count,
        ("drivers",),
        f"{len(design.drivers)} placed, but the season's entries carry {rules.driver_count}",
    )
    edges = list(_edges(design, rules))
    named = True
    for location, ends, _ in edges:
        named &= _check_places(location, ends, list(design.chambers), checker)
    if named:
        _check_joined(design, edges, checker)
    for location, ends, section in edges:
        for key, given in ends:
            _check_end(key, given, section, location, sides, rules, checker)


def _edges(design: DesignFile, rules: Rules) -> Iterator[Edge]:
    for i, driver in enumerate(design.drivers):
        front = GivenEnd(driver.front, driver.front_patch, driver.front_at)
        rear = GivenEnd(driver.rear, driver.rear_patch, driver.rear_at)
        yield ("drivers", i), (("front", front), ("rear", rear)), EdgeEnd(area=rules.driver.area)
    for kind, tables in (("ducts", design.ducts), ("diaphragms", design.diaphragms)):
        edges: list[DuctTable | DiaphragmTable] = list(tables)
        for i, edge in enumerate(edges):
            start = GivenEnd(edge.start, edge.from_patch, edge.from_at)
            end = GivenEnd(edge.end, edge.to_patch, edge.to_at)
            yield (kind, i), (("from", start), ("to", end)), EdgeEnd(area=edge.area_cm2 * 1e-4)


def _check_chambers(design: DesignFile, checker: Checker) -> None:
    count = len(design.chambers)
    checker.refuse_if(count > MOST_CHAMBERS, ("chambers",), f"{count} chambers; at most {MOST_CHAMBERS}")
    for name, table in design.chambers.items():
        at: Location = ("chambers", name)
        checker.refuse_if(name == "outside", at, '"outside" is the name of the outside; choose another')
        if table.sides_mm is not None and table.volume_l is not None:
            message = f"{table.volume_l:g} L is given beside sides_mm = {table.sides_mm}; give one of the two"
            checker.add((*at, "volume_l"), message)
        elif table.sides_mm is None and table.volume_l is None:
            checker.add(at, "needs sides_mm or volume_l")
        if table.sides_mm is not None:
            message = "goes with volume_l, not with sides_mm"
            checker.refuse_if(table.length_mm is not None, (*at, "length_mm"), message)


def check_linings(design: DesignFile, tones_hz: np.ndarray, checker: Checker) -> None:
    """Note every lining whose form does not hold at all frequencies of an evaluation.

    Parameters
    ----------
    design : DesignFile
        Tables that are valid by themselves [record].
    tones_hz : ndarray, shape (n_tones,)
        The frequencies [Hz].
    checker : Checker
        Told about the faults [record].
    """
    lowest, highest = float(tones_hz.min()), float(tones_hz.max())
    least, most = lining_range(lowest, highest)
    linings: list[tuple[Location, float | None]] = [
        (("chambers", name, "lining_pa_s_m2"), table.lining_pa_s_m2)
        for name, table in design.chambers.items()
    ]
    linings += [(("ducts", i, "lining_pa_s_m2"), duct.lining_pa_s_m2) for i, duct in enumerate(design.ducts)]
    for location, lining in linings:
        if not lining:
            continue
        tones = f"Pa s/m2 is outside the range of the model of linings from {lowest:g} to {highest:g} Hz"
        known = (
            f"{least:g} to {most:g}" if least <= most else "none; the highest is over 100 times the lowest"
        )
        checker.refuse_if(not least <= lining <= most, location, f"{lining:g} {tones}: {known}")


def _check_ducts(design: DesignFile, checker: Checker) -> None:
    for i, duct in enumerate(design.ducts):
        for at_mm, by_mm in duct.bends_mm:
            message = f"a bend at {at_mm:g} mm, corrected by {by_mm:g} mm, is not within {duct.length_mm:g}"
            off = not 0.0 < at_mm < duct.length_mm or abs(by_mm) >= duct.length_mm
            checker.refuse_if(off, ("ducts", i, "bends_mm"), message)
        if duct.profile is not None and duct.area_end_cm2 is None:
            checker.add(("ducts", i, "profile"), f'"{duct.profile}" is for tapered ducts; give area_end_cm2')
        if duct.height_mm is None:
            continue
        at: Location = ("ducts", i, "height_mm")
        if checker.refuse_if(
            duct.shape == "round", at, f"{duct.height_mm:g} mm is for slots; the shape is round"
        ):
            continue
        each_mm2 = duct.area_cm2 * 100.0 / duct.count
        checker.refuse_if(
            duct.height_mm**2 > each_mm2 * (1.0 + 1e-9),
            at,
            f"{duct.height_mm:g} mm is not the short side of a slot of {each_mm2 / 100.0:g} cm2; "
            f"at most {each_mm2**0.5:.6g}",
        )


def _check_names(design: DesignFile, checker: Checker) -> None:
    seen: dict[str, str] = {}
    named: list[tuple[str, str, list[DuctTable] | list[DiaphragmTable]]] = [
        ("ducts", "duct", design.ducts),
        ("diaphragms", "diaphragm", design.diaphragms),
    ]
    for kind, word, edges in named:
        for i, edge in enumerate(edges):
            name = edge.name or f"{word} {i + 1}"
            if name in seen:
                checker.add((kind, i, "name"), f'"{name}" is also the name of {seen[name]}')
            seen.setdefault(name, f"{kind}[{i}]")


def _check_places(
    location: Location,
    ends: tuple[tuple[str, GivenEnd], tuple[str, GivenEnd]],
    chambers: list[str],
    checker: Checker,
) -> bool:
    valid = ["outside", *chambers]
    known = True
    for key, given in ends:
        if given.place not in valid:
            hint = f"the nearest is {nearest(given.place, valid)}; places: {', '.join(valid)}"
            checker.add((*location, key), f'"{given.place}" is not a place of this design; {hint}')
            known = False
    (_, first), (key, second) = ends
    checker.refuse_if(first.place == second.place, (*location, key), f'joins "{first.place}" to itself')
    return known


def _check_joined(design: DesignFile, edges: list[Edge], checker: Checker) -> None:
    reached, grown = {"outside"}, True
    while grown:
        grown = False
        for _, ((_, first), (_, second)), _ in edges:
            pair = {first.place, second.place}
            if pair & reached and not pair <= reached:
                reached |= pair
                grown = True
    for name in design.chambers:
        message = "no driver, duct or diaphragm joins it to the outside or to a chamber that has a way there"
        checker.refuse_if(name not in reached, ("chambers", name), message)


def _check_end(
    key: str,
    given: GivenEnd,
    section: EdgeEnd,
    location: Location,
    sides: dict[str, np.ndarray | None],
    rules: Rules,
    checker: Checker,
) -> None:
    outside = given.place == "outside"
    at_place: Location = (*location, f"{key}_at")
    if given.at is not None:
        if outside:
            checker.add(at_place, f"{given.at:g} is a place in a chamber; outside give {key}_patch")
        elif given.patch is not None:
            checker.add(at_place, f"{given.at:g} is given beside {key}_patch; give one of the two")
    if given.patch is None:
        return
    place: Location = (*location, f"{key}_patch")
    if given.patch.diameter_mm is not None and given.patch.size_mm is not None:
        message = f"is given beside diameter_mm = {given.patch.diameter_mm:g}; give one of the two"
        checker.add((*place, "size_mm"), message)
        return
    extent = rules.envelope.outer_sides if outside else sides.get(given.place)
    if extent is not None:
        half = (0.0, 0.0) if outside and _has_no_size(given.patch) else patch_half(given.patch, section)
        owner = "the envelope" if outside else given.place
        _check_on_wall(given.patch, half, extent, owner, place, checker)


def _has_no_size(patch: PatchTable) -> bool:
    return patch.diameter_mm is None and patch.size_mm is None


def _check_on_wall(
    patch: PatchTable,
    half: tuple[float, float],
    extent: np.ndarray,
    owner: str,
    place: Location,
    checker: Checker,
) -> None:
    for axis, centre_mm, reach in zip(in_plane_axes(patch.wall), patch.at_mm, half, strict=True):
        low, high = centre_mm * 1e-3 - reach, centre_mm * 1e-3 + reach
        checker.refuse_if(
            bool(low < -_NEAR or high > extent[axis] + _NEAR),
            (*place, "at_mm"),
            f"reaches from {low * 1e3:.6g} to {high * 1e3:.6g} mm along {'xyz'[axis]}, over the edge of wall "
            f"{patch.wall} of {owner}: 0 to {extent[axis] * 1e3:.6g}",
        )
