"""What one design does under the rules: the object that ``evaluate --json`` prints."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from models.cabin_modes import highest_frequency
from models.catalogue import design_names
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.fit import reasons_not
from models.score import Judge, Responses
from models.spaces import Cabin
from models.trust import warnings
from optimizer.design_file import read_design
from optimizer.exposure import tone_exposure
from optimizer.faults import ConfigError, Fault
from optimizer.heat import heat_record
from optimizer.plain import number
from optimizer.planned import room_reasons
from optimizer.season import Season


class BadFrequency(ValueError):
    """A frequency at which a season's spaces are not modelled."""


def evaluate_files(
    season: Season, paths: Sequence[Path], hz: np.ndarray | None = None, voltage: float | None = None
) -> list[dict[str, Any]]:
    """Evaluate design files under a season.

    Parameters
    ----------
    season : Season
        The season [record].
    paths : sequence of Path
        Design files [path].
    hz : ndarray, shape (n,), or None
        Frequencies instead of the season's tones [Hz].
    voltage : float or None
        Amplifier voltage, rms; None seeks the largest permitted drive [V].

    Returns
    -------
    list of dict
        What ``evaluate --json`` prints: one object a design, that of :func:`evaluation` with its file under
        ``design`` [mixed].

    Raises
    ------
    ConfigError
        The faults of all files.
    BadFrequency
        A frequency lies above those for which a cabin is modelled.
    """
    if hz is not None:
        _refuse_high(season, float(hz.max()))
    batches: list[DesignBatch] = []
    rooms: list[list[str] | None] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            batches.append(read_design(path, season.rules, hz))
            rooms.append(room_reasons(path, batches[-1], season.rules))
        except ConfigError as error:
            faults += error.faults
    if faults:
        raise ConfigError(faults)
    judge = Judge(season.rules, hz, backend="numpy")
    found = []
    for path, batch, room in zip(paths, batches, rooms, strict=True):
        reasons = None if room is None else [room]
        found.append({"design": str(path)} | evaluation(judge, batch, voltage, reasons, season.scale)[0])
    return found


def _refuse_high(season: Season, highest: float) -> None:
    for space in season.rules.spaces:
        if isinstance(space, Cabin):
            top = highest_frequency(space.size, season.rules.air.sound_speed)
            if highest > top:
                raise BadFrequency(
                    f"{highest:g} Hz is above {top:.0f} Hz, where the model of {space.name!r} ends"
                )


def evaluation(
    judge: Judge,
    batch: DesignBatch,
    voltage: float | None = None,
    reasons: list[list[str]] | None = None,
    scale: float = 1.0,
) -> list[dict[str, Any]]:
    """Evaluate every design of a batch, as plain data that is valid JSON.

    Parameters
    ----------
    judge : Judge
        The season's rules and the tones [record].
    batch : DesignBatch
        Designs of one topology [record].
    voltage : float or None
        Amplifier voltage, rms; None seeks the largest permitted drive [V].
    reasons : list of list of str, or None
        Why each design does not fit; None counts room by volume, with walls of its own for every part [text].
    scale : float
        Full-size lengths over model lengths, for exposure at full size [1].

    Returns
    -------
    list of dict
        One object a design: score, fit, and for every space and tone the level, drive and what limits it,
        the exposure of ears, and where the driver's thermal resistance is known the state after warm-up;
        ``null`` stands for a value that is not finite or does not exist [mixed].
    """
    responses = judge.respond(batch, voltage)
    scores = judge.scores(responses)
    means = judge.space_means(responses)
    reasons = reasons_not(batch, judge.rules) if reasons is None else reasons
    warned = warnings(batch, judge.rules, judge.tones_hz)
    names = design_names(batch)
    ducts = unique_names([duct.name for duct in batch.ducts])
    diaphragms = unique_names([diaphragm.name for diaphragm in batch.diaphragms])
    result: list[dict[str, Any]] = [
        {
            "topology": names[row],
            "graph": batch.topology.graph_id,
            "score_db": number(scores[row]),
            "fits": not reasons[row],
            "reasons_not": list(reasons[row]),
            "settled": bool(responses.settled[row].all()),
            "warnings": warned[row],
            "spaces": [
                {
                    "name": space.name,
                    "weight": float(space.weight),
                    "mean_db": number(means[row, place]),
                    "tones": [
                        _tone(responses, (row, place, tone), float(hz), ducts, diaphragms, scale)
                        for tone, hz in enumerate(judge.tones_hz)
                    ],
                }
                for place, space in enumerate(judge.rules.spaces)
            ],
        }
        for row in range(batch.size)
    ]
    if judge.rules.driver.thermal_resistance is not None:
        for row, one in enumerate(result):
            _add_heat(one, heat_record(judge, batch.rows(slice(row, row + 1)), responses.voltage[[row]]))
    return result


def _add_heat(one: dict[str, Any], heat: dict[str, Any]) -> None:
    """Put the state after warm-up beside the cold one."""
    one |= heat["design"]
    for space, mean, tones in zip(one["spaces"], heat["means"], heat["tones"], strict=True):
        space |= mean
        for tone, hot in zip(space["tones"], tones, strict=True):
            tone |= hot


def unique_names(names: list[str]) -> list[str]:
    """Names with a number after every one that came before, so that they can be keys."""
    unique: list[str] = []
    for name in names:
        candidate, count = name, 1
        while candidate in unique:
            count += 1
            candidate = f"{name} {count}"
        unique.append(candidate)
    return unique


def _tone(
    responses: Responses,
    at: tuple[int, int, int],
    hz: float,
    ducts: list[str],
    diaphragms: list[str],
    scale: float,
) -> dict[str, Any]:
    voltage = responses.voltage[at]
    power = voltage * np.conj(responses.current[at])
    with np.errstate(divide="ignore", invalid="ignore"):
        impedance = np.divide(voltage, responses.current[at])
        margins = 20.0 * np.log10(responses.permitted[at] / voltage)
    return {
        "hz": hz,
        "level_db": number(responses.level_db[at]),
        "drive_v_rms": number(voltage),
        "current_a_rms": number(np.abs(responses.current[at])),
        "real_power_w": number(power.real),
        "apparent_power_va": number(np.abs(power)),
        "impedance_ohm": [number(impedance.real), number(impedance.imag)],
        "excursion_mm": [number(x * 1e3) for x in responses.excursion[at]],
        "diaphragm_excursion_mm": {
            name: number(x * 1e3)
            for name, x in zip(diaphragms, responses.diaphragm_excursion[at], strict=True)
        },
        "air_speed_m_s": {name: number(x) for name, x in zip(ducts, responses.air_speed[at], strict=True)},
        "limit": LIMIT_NAMES[int(responses.limit[at])],
        "margins_db": {name: number(m) for name, m in zip(LIMIT_NAMES, margins, strict=True)},
        "settled": bool(responses.settled[at]),
        "exposure": tone_exposure(number(responses.level_db[at]), hz, scale),
    }
