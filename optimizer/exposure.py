"""Levels of a design against published limits of exposure: data for every tone, and one sentence."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from models.exposure import (
    EUROPE_PEAK_DBC,
    a_weighting_db,
    c_weighting_db,
    europe_seconds,
    niosh_seconds,
    peak_dbc,
)


def tone_exposure(level_db: float | None, hz: float, scale: float) -> dict[str, Any] | None:
    """Exposure of ears at the microphone to one tone, at its own frequency and at full size.

    Parameters
    ----------
    level_db : float or None
        Level, rms re 20 uPa; None where there is none [dB].
    hz : float
        The model's frequency [Hz].
    scale : float
        Full-size lengths over model lengths [1].

    Returns
    -------
    dict or None
        Weighted levels and permitted times a day for the model's and the full-size frequency [mixed].
    """
    if level_db is None:
        return None
    return {
        "model": _at(level_db, hz),
        "full_size": _at(level_db, hz / scale),
    }


def _at(level_db: float, hz: float) -> dict[str, float]:
    level, frequency = np.array(level_db), np.array(hz)
    weighted = level + a_weighting_db(frequency)
    return {
        "hz": hz,
        "level_dba": float(weighted),
        "level_dbc": float(level + c_weighting_db(frequency)),
        "peak_dbc": float(peak_dbc(level, frequency)),
        "niosh_s": float(niosh_seconds(weighted)),
        "europe_s": float(europe_seconds(weighted)),
    }


def exposure_sentence(spaces: Iterable[dict[str, Any]], scale: float) -> str:
    """One caution on the most harmful tone of a design.

    Parameters
    ----------
    spaces : iterable of dict
        Spaces of its evaluation, each with its tones' ``hz`` and ``level_db`` [mixed].
    scale : float
        Full-size lengths over model lengths [1].

    Returns
    -------
    str
        Sentences; empty where no tone has a level [text].
    """
    found = [
        tone_exposure(tone["level_db"], tone["hz"], scale)
        for space in spaces
        for tone in space["tones"]
        if tone["level_db"] is not None
    ]
    known = [one for one in found if one is not None]
    if not known:
        return ""
    worst = max((one["model"] for one in known), key=lambda at: at["level_dba"])
    text = (
        f"at the microphone, {worst['hz']:g} Hz is {worst['level_dba']:.0f} dB(A): NIOSH 98-126 permits "
        f"{duration(worst['niosh_s'])} of it a day, Directive 2003/10/EC {duration(worst['europe_s'])}"
    )
    if scale != 1.0:
        full = max((one["full_size"] for one in known), key=lambda at: at["level_dba"])
        text += (
            f"; at full size the same level at {full['hz']:.4g} Hz is {full['level_dba']:.0f} dB(A): "
            f"{duration(full['niosh_s'])} and {duration(full['europe_s'])}"
        )
    every = [one[size] for one in known for size in ("model", "full_size")]
    highest = max(every, key=lambda at: at["peak_dbc"])
    if highest["peak_dbc"] > EUROPE_PEAK_DBC:
        text += (
            f". Peaks of up to {highest['peak_dbc']:.0f} dB(C) are above the Directive's limit of "
            f"{EUROPE_PEAK_DBC:g} dB(C)"
        )
    return text + ". A-weighting hides deep tones: a longer time does not make them safe."


def duration(seconds: float) -> str:
    """A time in words of two digits at most."""
    if seconds < 1.0:
        return "less than 1 s"
    if seconds < 60.0:
        return f"{seconds:.0f} s"
    if seconds < 3600.0:
        return f"{seconds / 60.0:.0f} min"
    if seconds < 24.0 * 3600.0:
        return f"{seconds / 3600.0:.1f} h"
    return "the whole day"
