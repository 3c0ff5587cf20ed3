"""A track played through a design: gains, levels and limits over time, as text, tables and sound."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from models.cabin_modes import highest_frequency
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.rules import Rules
from models.score import REFERENCE_PRESSURE, Judge
from models.spaces import Cabin
from models.track import Band, Signals, Track, play
from optimizer.faults import ConfigError, Fault
from optimizer.plain import number
from optimizer.play_text import CAUTIONS
from optimizer.season import Season
from optimizer.wav_file import Recording, write_recording

MOST_ROWS = 600
"""Rows of the table over time, for each space."""

LEAST_ROW_S = 0.05
"""Shortest row of the table, in the track's time [s]."""

LEAST_SHARE = 1e-3
"""Least peak within the band over that of the track that counts as anything to play [1]."""

FULL_SCALE = 0.9
"""Peak of the loudest written track [1]."""

@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A track in all spaces of a season.

    Attributes
    ----------
    season : Season
        The season [record].
    recording : Recording
        The track as it was read [record].
    track : Track
        The same as a spectrum [record].
    signals : list of Signals
        One a space [list].
    sought : bool
        Whether the gain is the largest permitted one rather than a given one [flag].
    window : float
        Time over which the power is a mean, in the model's time [s].
    has_ducts : bool
        Whether there is any air speed to show [flag].
    """

    season: Season
    recording: Recording
    track: Track
    signals: list[Signals]
    sought: bool
    window: float
    has_ducts: bool


def default_band(rules: Rules, low_hz: float | None, high_hz: float | None) -> Band:
    """Crossover at the model's frequencies, by default a quarter of the lowest to twice the highest tone."""
    low = float(rules.tones_hz.min()) / 4.0 if low_hz is None else low_hz
    high = 2.0 * float(rules.tones_hz.max()) if high_hz is None else high_hz
    ends = [highest_frequency(s.size, rules.air.sound_speed) for s in rules.spaces if isinstance(s, Cabin)]
    top = min([5000.0, *ends])
    return Band(low=low, high=min(high, top), top=top)


def play_recording(
    season: Season,
    batch: DesignBatch,
    recording: Recording,
    path: Path,
    band: Band,
    window: float,
    gain: float | None,
) -> Played:
    """Run a recording through a design.

    Parameters
    ----------
    season : Season
        The season [record].
    batch : DesignBatch
        A batch of one [record].
    recording : Recording
        The track [record].
    path : Path
        Its file, named in faults [path].
    band : Band
        Crossover [record].
    window : float
        Time over which the power is a mean, in the model's time [s].
    gain : float or None
        Peak voltage at digital full scale, or None for the largest permitted [V].

    Returns
    -------
    Played
        Everything over time [record].

    Raises
    ------
    ConfigError
        The track holds nothing that the model can play.
    """
    rate = recording.rate * season.scale
    if rate / 2.0 <= band.high:
        words = f"at {recording.rate} Hz it ends below {band.high / season.scale:.4g} Hz, the end of the band"
        raise ConfigError([Fault(str(path), 1, "track", words)])
    track = Track(recording.samples, rate, band)
    loudest = float(np.max(np.abs(recording.samples)))
    if float(np.max(np.abs(track.through(1.0)))) < LEAST_SHARE * loudest:
        span = f"{band.low / season.scale:.4g} and {band.high / season.scale:.4g} Hz"
        raise ConfigError([Fault(str(path), 1, "track", f"holds next to nothing between {span}")])
    judge = Judge(season.rules, band.grid(), backend="numpy")
    return Played(
        season=season,
        recording=recording,
        track=track,
        signals=play(track, judge, batch, window, gain),
        sought=gain is None,
        window=window,
        has_ducts=bool(batch.ducts),
    )


def rows_over_time(played: Played) -> list[dict[str, Any]]:
    """What happens in each short stretch of the track: mean level, largest values.

    Parameters
    ----------
    played : Played
        The result [record].

    Returns
    -------
    list of dict
        Columns with units in their names [mixed].
    """
    track, scale = played.track, played.season.scale
    seconds = played.recording.seconds
    count = int(max(1, min(MOST_ROWS, seconds / LEAST_ROW_S, track.heard)))
    edges = np.linspace(0, track.heard, count + 1).astype(int)
    rows = []
    for space, signals in zip(played.season.rules.spaces, played.signals, strict=True):
        columns = (
            signals.excursion * 1e3, signals.air_speed, signals.power, np.abs(signals.voltage),
            np.abs(signals.current), signals.diaphragm_excursion,
        )  # fmt: skip
        for start, end in pairwise(edges.tolist()):
            time = 0.5 * float(start + end) * track.step
            most = [float(column[start:end].max()) for column in columns]
            rows.append(
                {
                    "space": space.name,
                    "track_s": round(time * scale, 4),
                    "model_s": round(time, 5),
                    "level_db": decibels(signals.pressure[start:end]),
                    "excursion_mm": most[0],
                    "air_speed_m_s": most[1],
                    "power_w": most[2],
                    "voltage_v_peak": most[3],
                    "current_a_peak": most[4],
                    "diaphragm_of_limit": most[5],
                }
            )
    return rows


def decibels(pressure: np.ndarray) -> float:
    """Level of the root mean square [dB re 20 uPa]."""
    return 20.0 * float(np.log10(max(float(np.sqrt(np.mean(pressure**2))), 1e-9) / REFERENCE_PRESSURE))


def _moments(played: Played, signals: Signals) -> list[float | None]:
    """When each limit is nearest, in the track's time; None where there is no such limit [s]."""
    unit = played.track.step * played.season.scale
    return [
        float(at) * unit if np.isfinite(most) else None
        for at, most in zip(signals.moment, signals.permitted, strict=True)
    ]


def played_record(played: Played) -> dict[str, Any]:
    """The result as plain data that is valid JSON [record]."""
    band, scale = played.track.band, played.season.scale
    spaces = []
    for space, signals in zip(played.season.rules.spaces, played.signals, strict=True):
        whole = signals.pressure[: played.track.heard]
        moments = _moments(played, signals)
        spaces.append(
            {
                "name": space.name,
                "full_scale_v_peak": signals.gain,
                "limit": signals.limit,
                "limit_at_track_s": moments[LIMIT_NAMES.index(signals.limit)],
                "mean_level_db": decibels(whole),
                "peak_level_db": 20.0 * float(np.log10(np.max(np.abs(whole)) / REFERENCE_PRESSURE)),
                "excursion_mm": float(signals.excursion.max()) * 1e3,
                "air_speed_m_s": float(signals.air_speed.max()) if played.has_ducts else None,
                "power_w": float(signals.power.max()),
                "drive_v_rms": float(np.sqrt(np.mean(signals.voltage[: played.track.heard] ** 2))),
                "permitted_v_peak": {
                    name: number(value) for name, value in zip(LIMIT_NAMES, signals.permitted, strict=True)
                },
                "nearest_at_track_s": dict(zip(LIMIT_NAMES, moments, strict=True)),
                "loss_at_end_speeds_m_s": [float(v) for v in signals.end_speeds],
                "settled": signals.settled,
            }
        )
    return {
        "track_s": played.recording.seconds,
        "model_s": played.recording.seconds / scale,
        "rate_hz": played.recording.rate,
        "channels": played.recording.channels,
        "scale": scale,
        "band_hz": [band.low, band.high],
        "power_window_s": played.window,
        "gain_sought": played.sought,
        "spaces": spaces,
        "cautions": list(CAUTIONS),
    }


def write_heard(played: Played, folder: Path) -> tuple[list[str], float]:
    """Write what is heard in each space, slowed back to full-size speed.

    Parameters
    ----------
    played : Played
        The result [record].
    folder : Path
        Where to [path].

    Returns
    -------
    list of str
        Names of the files [text].
    float
        Peak pressure at digital full scale, the same for all [Pa].

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    largest = max(float(np.max(np.abs(signals.pressure))) for signals in played.signals)
    full_scale = largest / FULL_SCALE
    count = played.track.padded
    names = []
    for index, signals in enumerate(played.signals, start=1):
        sound = _finer(signals.pressure, count)[: played.recording.samples.size]
        names.append(f"heard-{index}.wav")
        write_recording(folder / names[-1], played.recording.rate, sound / full_scale)
    return names, full_scale


def _finer(signal: np.ndarray, count: int) -> np.ndarray:
    from scipy.signal import resample

    return np.asarray(resample(signal, count))
