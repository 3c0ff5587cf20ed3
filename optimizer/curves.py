"""A design's response over frequency, for its figure and as a table in its folder."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.cabin_modes import highest_frequency
from models.design import DesignBatch
from models.drive import LIMIT_NAMES
from models.rules import Rules
from models.score import REACH, Judge, Responses
from models.spaces import Cabin
from optimizer.evaluation import unique_names
from optimizer.plain import number

POINTS = 161
"""Frequencies of a curve, besides the tones."""


def curve_frequencies(rules: Rules, points: int = POINTS) -> np.ndarray:
    """Frequencies from half the lowest to twice the highest tone, the tones among them.

    The curves end earlier where the model of a cabin does.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    points : int
        Frequencies besides the tones [1].

    Returns
    -------
    ndarray, shape (n_frequencies,)
        Rising frequencies [Hz].
    """
    tones_hz = rules.tones_hz
    ends = [highest_frequency(s.size, rules.air.sound_speed) for s in rules.spaces if isinstance(s, Cabin)]
    grid = np.geomspace(tones_hz.min() / 2.0, min([tones_hz.max() * REACH, *ends]), points)
    return np.unique(np.concatenate([grid, tones_hz]))


class CurveMaker:
    """Response curves of designs under one season's rules.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    scale : float
        Full-size lengths over model lengths [1].
    points : int
        Frequencies besides the tones [1].
    """

    def __init__(self, rules: Rules, scale: float, points: int = POINTS) -> None:
        self.rules = rules
        self.scale = scale
        self.at_tones = Judge(rules, backend="numpy")
        self.judge = Judge(rules, curve_frequencies(rules, points), backend="numpy")

    def respond(self, batch: DesignBatch) -> Responses:
        """Responses over frequency at the largest permitted drive, or at the common setting."""
        voltage: np.ndarray | None = None
        if self.rules.drive != "per_tone":
            setting = self.at_tones.respond(batch).voltage[:, :, :1]
            voltage = np.broadcast_to(setting, (*setting.shape[:2], self.judge.tones_hz.size))
        return self.judge.respond(batch, voltage)

    def rows(self, batch: DesignBatch) -> list[dict[str, Any]]:
        """Curves of one design in every space, one row a frequency.

        Parameters
        ----------
        batch : DesignBatch
            The design, a batch of one [record].

        Returns
        -------
        list of dict
            Columns with units in their names; the drive is the largest permitted one at each
            frequency, or the common setting where the season asks for one [mixed].
        """
        responses = self.respond(batch)
        impedance = responses.impedance
        ducts = unique_names([duct.name for duct in batch.ducts])
        table = []
        for place, space in enumerate(self.rules.spaces):
            for column, hz in enumerate(self.judge.tones_hz):
                at = (0, place, column)
                row: dict[str, Any] = {
                    "space": space.name,
                    "hz": float(hz),
                    "full_size_hz": float(hz / self.scale),
                    "level_db": number(responses.level_db[at]),
                    "drive_v_rms": number(responses.voltage[at]),
                    "impedance_ohm": number(abs(impedance[at])),
                    "phase_deg": number(np.degrees(np.angle(impedance[at]))),
                    "excursion_mm": number(responses.excursion[at].max() * 1e3),
                    "limit": LIMIT_NAMES[int(responses.limit[at])],
                }
                for name, speed in zip(ducts, responses.air_speed[at], strict=True):
                    row[f"air_speed_m_s {name}"] = number(speed)
                table.append(row)
        return table
