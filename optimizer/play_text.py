"""What ``boxwright play`` prints for a person."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.score import REFERENCE_PRESSURE
from optimizer.cli_output import text_table

CAUTIONS = (
    "caution: levels in a cabin can pass safe exposure within seconds. Nobody stays inside; measure from "
    "outside, with protection.",
    "caution: music heats the coil for minutes, which is not modelled; stay below the gain and let it cool.",
    "caution: turn the volume down before you listen to a written track, then up slowly.",
)

_WORDS = {
    "excursion": "excursion",
    "diaphragm": "diaphragm excursion",
    "power": "power",
    "air_speed": "air speed",
    "voltage": "amplifier voltage",
    "current": "amplifier current",
}


def track_time(seconds: float) -> str:
    """Minutes and seconds, as in ``1:02.5``."""
    tenths = round(seconds * 10.0)
    return f"{tenths // 600}:{tenths % 600 / 10.0:04.1f}"


def played_text(record: dict[str, Any], files: list[str], full_scale: float) -> str:
    """What is printed for a person.

    Parameters
    ----------
    record : dict
        From :func:`optimizer.play.played_record` [record].
    files : list of str
        Names of the written tracks [text].
    full_scale : float
        Peak pressure at their digital full scale [Pa].

    Returns
    -------
    str
        Several lines [text].
    """
    scale, band = record["scale"], record["band_hz"]
    gains, values = [], []
    for one in record["spaces"]:
        when = track_time(one["limit_at_track_s"])
        gains.append(
            [one["name"], f"{one['full_scale_v_peak']:.2f}", f"{one['drive_v_rms']:.2f}",
             f"{one['mean_level_db']:.1f}", f"{one['peak_level_db']:.1f}",
             f"{_WORDS[one['limit']]} at {when}"]
        )  # fmt: skip
        air = "" if one["air_speed_m_s"] is None else f"{one['air_speed_m_s']:.2f}"
        values.append([one["name"], f"{one['excursion_mm']:.3f}", air, f"{one['power_w']:.2f}"])
    level = 20.0 * np.log10(full_scale / REFERENCE_PRESSURE)
    lines = [
        text_table(
            ["space", "full scale V peak", "drive V rms", "mean dB", "peak dB", "first limit"], gains
        ),
        "",
        text_table(["largest values", "excursion mm", "air speed m/s", "power W"], values),
        "",
        f"The track of {track_time(record['track_s'])} plays {scale:g} times faster, in "
        f"{record['model_s']:.4g} s, from {band[0]:.4g} to {band[1]:.4g} Hz",
        f"({band[0] / scale:.4g} to {band[1] / scale:.4g} Hz of the track); Butterworth filters of fourth "
        "order take off the rest.",
        "The gain is the largest at which no limit is exceeded." if record["gain_sought"] else
        "The gain is the given one; the first limit is the one that is met first as it rises.",
        f"Power is a mean over {record['power_window_s']:g} s of the model's time; the amplifier's limits "
        "are read at peak, as those of a sine.",
        "The loss at duct ends is one for the whole track: too large where it is quiet, too small where it "
        "is loudest.",
        f"{', '.join(files)}: slowed back to full-size speed;",
        f"digital full scale is {full_scale:.3g} Pa, {level:.1f} dB at peak.",
        *CAUTIONS,
    ]  # fmt: skip
    if not all(one["settled"] for one in record["spaces"]):
        lines.append("caution: gain and duct losses did not settle; the gain is not sure.")
    return "\n".join(lines)
