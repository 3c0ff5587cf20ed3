"""What one design does under the rules: the object that ``evaluate --json`` prints."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.catalogue import design_names
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.fit import reasons_not
from models.score import Judge, Responses
from models.trust import warnings
from optimizer.exposure import tone_exposure
from optimizer.heat import heat_record
from optimizer.plain import number

__all__ = ["evaluation", "number", "unique_names"]


def evaluation(
    judge: Judge, batch: DesignBatch, voltage: float | None = None, scale: float = 1.0
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
    reasons = reasons_not(batch, judge.rules)
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
