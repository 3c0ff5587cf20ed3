"""A season's rules as the physics needs them: driver, envelope, limits, tones, spaces, air."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from models.air import Air
from models.driver import Driver
from models.envelope import Envelope
from models.spaces import Space
from models.tolerances import Tolerances


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Largest permitted values; ``None`` where a season sets none.

    Attributes
    ----------
    power : float
        Ceiling of the clamp meter, mean [W].
    power_kind : str
        What the clamp reads: real power, apparent power, or V2/R of the nominal resistance [text].
    excursion : float
        Peak excursion of a driver, one way [m].
    air_speed : float or None
        Peak air speed at either end of any duct [m/s].
    voltage : float or None
        Amplifier voltage, rms [V].
    current : float or None
        Amplifier current, rms [A].
    """

    power: float
    power_kind: Literal["real", "apparent", "nominal"] = "real"
    excursion: float
    air_speed: float | None = None
    voltage: float | None = None
    current: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Physics:
    """Switches of the model, for checks against the literature and for studies.

    Attributes
    ----------
    chambers : str
        ``room`` (patches, line and near field), ``line`` (line only) or ``lump`` (compliance only) [text].
    wall_losses : bool
        Viscous and thermal losses at chamber and duct walls [flag].
    duct_end_loss : bool
        Level-dependent loss at duct ends [flag].
    radiation : bool
        Radiation mass and resistance at driver faces and duct mouths outside [flag].
    leak_corner_hz : float
        Leakage of every chamber: corner of its leak resistance with its compliance; 0 for none [Hz].
    """

    chambers: Literal["room", "line", "lump"] = "room"
    wall_losses: bool = True
    duct_end_loss: bool = True
    radiation: bool = True
    leak_corner_hz: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """Everything that decides a design's score.

    Attributes
    ----------
    driver : Driver
        The league's driver [record].
    driver_count : int
        Number of identical drivers an entry carries [1].
    wiring : str
        ``parallel`` or ``series`` when there are several drivers [text].
    envelope : Envelope
        Outer sizes and wall thickness [record].
    limits : Limits
        Largest permitted values [record].
    tones_hz : ndarray, shape (n_tones,)
        Test tones [Hz].
    tone_weights : ndarray, shape (n_tones,)
        Their weights in a space's mean [1].
    spaces : tuple of Space
        Listening spaces [list].
    air : Air
        The gas [record].
    physics : Physics
        Switches of the model [record].
    drive : str
        ``per_tone``: the largest drive is sought for each tone; ``per_space``: one setting
        for all tones of a space; ``common``: one setting for all tones and spaces [text].
    mean : str
        How tones are averaged: ``level`` (mean of decibels), ``energy`` (mean of squared
        pressures) or ``worst`` (lowest level) [text].
    tolerances : Tolerances
        How boxes, drivers and the day deviate; no part of a score [record].
    """

    driver: Driver
    driver_count: int = 1
    wiring: Literal["parallel", "series"] = "parallel"
    envelope: Envelope
    limits: Limits
    tones_hz: np.ndarray
    tone_weights: np.ndarray
    spaces: tuple[Space, ...]
    air: Air
    physics: Physics
    drive: Literal["per_tone", "per_space", "common"] = "per_tone"
    mean: Literal["level", "energy", "worst"] = "level"
    tolerances: Tolerances = field(default_factory=Tolerances)

    @property
    def omega(self) -> np.ndarray:
        """Angular frequencies of the tones, shape (n_tones,) [rad/s]."""
        return 2.0 * np.pi * self.tones_hz
