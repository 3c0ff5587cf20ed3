"""A track of music through a design: everything that is limited, over time, and the largest gain.

The track is filtered by the network's transfer functions in one Fourier transform, which also brings it
to a rate that suits the low band of an enclosure. A duct end's loss grows with the air speed; for a track
it is that of the sine which dissipates alike at equal mean square speed, u = (3 pi / 8) mean|v|^3 / mean v^2
(equivalent linearisation: T. K. Caughey, "Equivalent Linearization Techniques", JASA 35(11) 1706-1711,
1963, from memory), taken over the whole track. For a sine it is exactly the loss of
:mod:`models.drive`; in quiet passages it is too large, in loud ones too small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.interpolate import CubicSpline
from scipy.ndimage import uniform_filter1d

from models.design import DesignBatch
from models.drive import LEAST_SPEED, LIMIT_NAMES
from models.rules import Rules
from models.score import Judge
from models.transfer import Transfers, transfers

GRID = 400
"""Frequencies at which the network is solved; between them runs a cubic spline."""

OVERSAMPLING = 32.0
"""Rate of the signals over the upper end of the band, so that no peak falls between samples."""

ORDER = 4
"""Order of the Butterworth filters at both ends of the band."""

REACH = 4.0
"""Below the lower end over this and above the upper end times this nothing is left."""

TAIL = 0.5
"""Silence after the track, over which it may ring, in periods of the lower end times hundred [1]."""

SETTLED = 1e-4
"""Relative change of gain and of duct end speeds at which both count as found [1]."""

MAX_STEPS = 60
"""Steps after which they count as not found."""

RELAXATION = 0.7
"""Share of the way to the answer that a step goes, in the logarithm: more speed gives less of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Crossover in front of the amplifier: Butterworth filters of fourth order.

    Attributes
    ----------
    low, high : float
        Ends of the band at the model's frequencies [Hz].
    top : float
        Highest frequency of the model; everything above is cut off [Hz].
    """

    low: float
    high: float
    top: float

    def grid(self) -> np.ndarray:
        """Frequencies to solve the network at [Hz]."""
        return np.geomspace(self.low / REACH, min(self.top, self.high * REACH), GRID)

    def filter(self, hz: np.ndarray) -> np.ndarray:
        """Transfer function of both filters, causal, complex [1]."""
        s = 1j * hz
        poles = np.exp(1j * np.pi * (2.0 * np.arange(ORDER) + ORDER + 1.0) / (2.0 * ORDER))
        low = np.prod([s / self.high - pole for pole in poles], axis=0)
        high = np.prod([self.low / s - pole for pole in poles], axis=0)
        return np.asarray(1.0 / (low * high))


@dataclass(frozen=True, slots=True, kw_only=True)
class Signals:
    """A track in one space at its gain; all arrays run over the same times.

    Attributes
    ----------
    gain : float
        Voltage at digital full scale, peak, before the crossover [V].
    permitted : ndarray, shape (6,)
        Gain at which each limit of :data:`models.drive.LIMIT_NAMES` is met, with the losses found [V].
    moment : ndarray of int, shape (6,)
        Index of the time at which each limit is nearest [1].
    pressure : ndarray, shape (n,)
        At the microphone [Pa].
    voltage, current : ndarray, shape (n,)
        Of the amplifier [V], [A].
    excursion : ndarray, shape (n,)
        Largest of the drivers' excursions, without sign [m].
    diaphragm_excursion : ndarray, shape (n,)
        Largest of the diaphragms' excursions over their limits, without sign [1].
    air_speed : ndarray, shape (n,)
        Largest of the air speeds at duct ends, without sign [m/s].
    power : ndarray, shape (n,)
        What the season's clamp reads, a mean over the window [W].
    end_speeds : ndarray, shape (2 n_ducts,)
        Peak speed of the sine from which each end's loss is taken [m/s].
    settled : bool
        Whether gain and losses agree [flag].
    """

    gain: float
    permitted: np.ndarray
    moment: np.ndarray
    pressure: np.ndarray
    voltage: np.ndarray
    current: np.ndarray
    excursion: np.ndarray
    diaphragm_excursion: np.ndarray
    air_speed: np.ndarray
    power: np.ndarray
    end_speeds: np.ndarray
    settled: bool

    @property
    def limit(self) -> str:
        """Name of the limit that is met first as the gain rises."""
        return LIMIT_NAMES[int(np.argmin(self.permitted))]


class Track:
    """A track as a spectrum, ready to be filtered.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The track, 1 at digital full scale [1].
    rate : float
        Samples a second as the model plays it: that of the track times the season's scale [Hz].
    band : Band
        Crossover [record].
    """

    def __init__(self, samples: np.ndarray, rate: float, band: Band) -> None:
        self.band = band
        self.length = samples.size
        self.rate_in = rate
        tail = int(np.ceil(TAIL * 100.0 / band.low * rate))
        self.padded = int(next_fast_len(samples.size + tail, real=True))
        spectrum = rfft(samples, self.padded)
        hz = np.arange(spectrum.size) * rate / self.padded
        grid = band.grid()
        self.rows = np.flatnonzero((hz >= grid[0]) & (hz <= grid[-1]))
        self.hz = hz[self.rows]
        self.spectrum = spectrum[self.rows] * band.filter(self.hz)
        wanted = self.padded * OVERSAMPLING * band.high / rate
        least = max(int(np.ceil(wanted)), 2 * (int(self.rows[-1]) + 1), 16)
        self.count = int(next_fast_len(least, real=True))
        self.step = self.padded / rate / self.count
        """Time between samples of all signals [s]."""

    @property
    def heard(self) -> int:
        """Samples of the signals that belong to the track itself, without the silence after it."""
        return min(self.count, int(np.ceil(self.length / self.rate_in / self.step)))

    def through(self, transfer: np.ndarray | float, count: int | None = None) -> np.ndarray:
        """The track through a transfer function given at the band's grid.

        Parameters
        ----------
        transfer : complex ndarray, shape (400,), or float
            Output per volt at :meth:`Band.grid` [any].
        count : int or None
            Samples of the result over the padded time; None takes the rate of all signals [1].

        Returns
        -------
        ndarray, shape (count,)
            Output at one volt at full scale [any].
        """
        count = self.count if count is None else count
        if isinstance(transfer, np.ndarray):
            transfer = CubicSpline(np.log(self.band.grid()), transfer)(np.log(self.hz))
        spectrum = np.zeros(count // 2 + 1, dtype=complex)
        fits = self.rows < spectrum.size
        spectrum[self.rows[fits]] = (self.spectrum * transfer)[fits]
        return np.asarray(irfft(spectrum, count) * (count / self.padded))


def play(
    track: Track, judge: Judge, batch: DesignBatch, window: float, gain: float | None = None
) -> list[Signals]:
    """Run a track through a design in every space.

    Parameters
    ----------
    track : Track
        The track [record].
    judge : Judge
        Season, at the frequencies of the track's band [record].
    batch : DesignBatch
        A batch of one [record].
    window : float
        Time over which the clamp takes the mean of the power [s].
    gain : float or None
        Peak voltage at digital full scale; None seeks the largest at which no limit is exceeded, in each
        space, or one for all spaces where the season asks for a common drive [V].

    Returns
    -------
    list of Signals
        One a space [record].
    """
    rules, spaces = judge.rules, range(len(judge.rules.spaces))
    speeds = np.full((2 * len(batch.ducts), len(spaces)), 1e-3)
    gains, network = np.ones(len(spaces)), judge.network(batch)
    settled = False
    for _ in range(MAX_STEPS):
        response = transfers(judge, batch, network, speeds)
        found = [_unit(track, response, rules, batch, space, window) for space in spaces]
        wanted = np.array([float(one.permitted.min()) for one in found])
        if gain is not None:
            wanted = np.full(len(spaces), gain)
        elif rules.drive == "common":
            wanted[:] = wanted.min()
        answer = np.array([one.end_speeds for one in found]).T * wanted
        if not rules.physics.duct_end_loss:
            answer = speeds
        moved = np.abs(np.log(np.maximum(answer, LEAST_SPEED) / np.maximum(speeds, LEAST_SPEED)))
        settled = bool(np.all(moved < SETTLED) and np.all(np.abs(wanted / gains - 1.0) < SETTLED))
        gains = wanted
        if settled or not speeds.size or not rules.physics.duct_end_loss:
            settled = True
            break
        ratio = np.maximum(answer, LEAST_SPEED) / np.maximum(speeds, LEAST_SPEED)
        speeds = np.maximum(speeds, LEAST_SPEED) * ratio**RELAXATION
    return [_at_gain(one, float(g), settled) for one, g in zip(found, gains, strict=True)]


def _unit(
    track: Track, response: Transfers, rules: Rules, batch: DesignBatch, space: int, window: float
) -> Signals:
    """Signals at one volt at full scale."""
    voltage, current = track.through(1.0), track.through(response.current[space])

    def largest(transfer: np.ndarray, over: np.ndarray) -> np.ndarray:
        result = np.zeros(track.count)
        for one, unit in zip(transfer[:, space], over, strict=True):
            np.maximum(result, np.abs(track.through(one)) / unit, out=result)
        return result

    ends = [track.through(one) for one in response.air_speed[:, space]]
    alike = [equivalent_speed(v) for v in ends]
    speed = np.zeros(track.count)
    for v in ends:
        np.maximum(speed, np.abs(v), out=speed)
    excursion = largest(response.excursion, np.ones(response.excursion.shape[0]))
    stops = np.array([float(d.excursion_limit[0]) for d in batch.diaphragms])
    passive = largest(response.diaphragm_excursion, stops)
    span = min(window / track.step, track.heard)
    power = clamp_power(voltage, current, rules, len(batch.driver_ends), span)
    limits, peak = rules.limits, np.sqrt(2.0)
    series = (
        (excursion, limits.excursion),
        (passive, 1.0 if batch.diaphragms else None),
        (np.sqrt(np.maximum(power, 0.0)), np.sqrt(limits.power)),
        (speed, limits.air_speed if batch.ducts else None),
        (np.abs(voltage), None if limits.voltage is None else peak * limits.voltage),
        (np.abs(current), None if limits.current is None else peak * limits.current),
    )
    moment = np.array([int(np.argmax(values)) for values, _ in series])
    permitted = np.array(
        [np.inf if most is None else most / max(float(v[at]), 1e-300)
         for (v, most), at in zip(series, moment, strict=True)]
    )  # fmt: skip
    return Signals(
        gain=1.0, permitted=permitted, moment=moment, pressure=track.through(response.pressure[space]),
        voltage=voltage, current=current, excursion=excursion, diaphragm_excursion=passive, air_speed=speed,
        power=power, end_speeds=np.array(alike), settled=False,
    )  # fmt: skip


def equivalent_speed(speed: np.ndarray) -> float:
    """Peak of the sine whose quadratic loss is that of a signal at equal mean square, 0 for none [m/s]."""
    square = float(np.mean(speed**2))
    return 3.0 * np.pi / 8.0 * float(np.mean(np.abs(speed) ** 3)) / square if square > 0.0 else 0.0


def clamp_power(
    voltage: np.ndarray, current: np.ndarray, rules: Rules, drivers: int, window: float
) -> np.ndarray:
    """What the season's clamp reads over time: a running mean.

    Parameters
    ----------
    voltage, current : ndarray, shape (n,)
        Of the amplifier [V], [A].
    rules : Rules
        Kind of the clamp, driver and wiring [record].
    drivers : int
        Number of drivers [1].
    window : float
        Samples of the mean [1].

    Returns
    -------
    ndarray, shape (n,)
        Power [W].
    """
    size = min(max(round(window), 1), voltage.size)

    def mean(values: np.ndarray) -> np.ndarray:
        return np.asarray(uniform_filter1d(values, size, mode="constant"))

    if rules.limits.power_kind == "real":
        return mean(voltage * current)
    if rules.limits.power_kind == "apparent":
        return np.asarray(np.sqrt(np.maximum(mean(voltage**2) * mean(current**2), 0.0)))
    nominal = rules.driver.nominal_resistance * (drivers if rules.wiring == "series" else 1.0 / drivers)
    return mean(voltage**2) / nominal


def _at_gain(unit: Signals, gain: float, settled: bool) -> Signals:
    return Signals(
        gain=gain, permitted=unit.permitted, moment=unit.moment, pressure=unit.pressure * gain,
        voltage=unit.voltage * gain, current=unit.current * gain, excursion=unit.excursion * gain,
        diaphragm_excursion=unit.diaphragm_excursion * gain, air_speed=unit.air_speed * gain,
        power=unit.power * gain**2, end_speeds=unit.end_speeds * gain, settled=settled,
    )  # fmt: skip
