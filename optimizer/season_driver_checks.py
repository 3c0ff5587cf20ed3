"""What must hold between a season's drivers, the one it has and those it could have, and its envelope."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from models.driver import Driver
from optimizer.checking import Checker
from optimizer.season_schema import DriverOptionTable, EnvelopeTable
from optimizer.season_sections import Sections
from optimizer.toml_lines import Location


def check_drivers(
    sections: Sections,
    driver: Driver | None,
    options: Mapping[int, Driver],
    envelope_fits: bool,
    checker: Checker,
) -> None:
    """Note every contradiction between drivers, envelope and air.

    Parameters
    ----------
    sections : Sections
        Parts that are valid by themselves [record].
    driver : Driver or None
        The season's driver, where its data are complete [record].
    options : mapping of int to Driver
        Drivers that the season could have instead, by their index in the file [record].
    envelope_fits : bool
        Whether the envelope has room between its walls [flag].
    checker : Checker
        Told about the faults [record].
    """
    drivers: list[tuple[Location, Driver | None, DriverOptionTable | None]] = [
        (("driver",), driver, sections.driver)
    ]
    drivers += [(("driver_options", i), one, sections.options[i]) for i, one in options.items()]
    count = 1 if sections.driver is None else sections.driver.count
    for at, one, table in drivers:
        if one is not None and table is not None:
            _check_mass(one, table, sections, at, checker)
            if sections.envelope is not None and envelope_fits:
                _check_driver_fits(one, table, count, sections.envelope, at, checker)
    _check_option_names(sections, checker)


def _check_option_names(sections: Sections, checker: Checker) -> None:
    """Refuse drivers that a comparison could not tell apart."""
    names = {} if sections.driver is None else {sections.driver.name: "[driver]"}
    for i, table in sections.options.items():
        if table.name in names:
            message = f'"{table.name}" is also the name of {names[table.name]}'
            checker.add(("driver_options", i, "name"), message)
        names.setdefault(table.name, f"driver_options[{i}]")


def _check_mass(
    driver: Driver, table: DriverOptionTable, sections: Sections, at: Location, checker: Checker
) -> None:
    try:
        driver.mass_in_vacuo(sections.gas())
    except ValueError as error:
        checker.add(at if table.mms_g is None else (*at, "mms_g"), str(error))


def _check_driver_fits(
    driver: Driver,
    table: DriverOptionTable,
    count: int,
    envelope: EnvelopeTable,
    at: Location,
    checker: Checker,
) -> None:
    frame, cutout, depth = driver.frame * 1e3, driver.cutout * 1e3, driver.depth * 1e3
    diameter = driver.radius * 2e3
    frame_key = (
        "frame_mm" if table.frame_mm is not None else "cutout_mm" if table.cutout_mm is not None else "sd_cm2"
    )
    cutout_key = "cutout_mm" if table.cutout_mm is not None else "sd_cm2"
    checker.refuse_if(
        cutout > frame * (1.0 + 1e-9),
        (*at, cutout_key),
        f"the cut-out of {cutout:g} mm is larger than frame_mm = {frame:g}",
    )
    checker.refuse_if(
        diameter > frame * (1.0 + 1e-9),
        (*at, "sd_cm2" if table.sd_cm2 is not None else "diameter_mm"),
        f"the effective diameter of {diameter:.4g} mm is larger than the frame of {frame:g} mm",
    )
    wall = envelope.wall_mm
    outer = np.array([envelope.depth_mm, envelope.width_mm, envelope.height_mm])
    # faces normal to each axis: smaller side of the face, and depth behind it
    faces = [(min(np.delete(outer, axis)), outer[axis] - wall) for axis in range(3)]
    largest = max(side for side, _ in faces)
    if checker.refuse_if(
        frame > largest,
        (*at, frame_key),
        f"a frame of {frame:g} mm fits no face of the envelope; at most {largest:g}",
    ):
        return
    widest_hole = largest - 2.0 * wall
    if checker.refuse_if(
        cutout > widest_hole,
        (*at, cutout_key),
        f"a cut-out of {cutout:g} mm fits no face between its walls; at most {widest_hole:g}",
    ):
        return
    room = max(behind for side, behind in faces if frame <= side and cutout <= side - 2.0 * wall)
    checker.refuse_if(
        depth > room,
        (*at, "depth_mm"),
        f"{depth:g} mm does not fit behind any face that takes the frame; at most {room:g}",
    )
    inner = float(np.prod(outer - 2.0 * wall)) * 1e-3
    taken = driver.displaced_volume * 1e6 * count
    checker.refuse_if(
        taken >= inner,
        (*at, "displaced_cm3"),
        f"{count} x {driver.displaced_volume * 1e6:g} cm3 is not below "
        f"the envelope's inner volume of {inner:.6g} cm3",
    )
