"""Tracks as WAV files: read into one channel, and written with a stated level."""

from __future__ import annotations

import io
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from optimizer.faults import ConfigError, Fault
from optimizer.files import write_bytes

LARGEST_BYTES = 400_000_000
MOST_SAMPLES = 30_000_000
"""Longest track: ten minutes at 48 kHz [1]."""

LEAST_SECONDS = 0.1
LOWEST_RATE, HIGHEST_RATE = 1000, 400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """A track in one channel.

    Attributes
    ----------
    rate : int
        Samples a second [Hz].
    samples : ndarray, shape (n,)
        1 at digital full scale [1].
    channels : int
        Channels of the file, of which this is the mean [1].
    """

    rate: int
    samples: np.ndarray
    channels: int

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.samples.size / self.rate


def read_recording(path: Path) -> Recording:
    """Read a WAV file of integers of 8 to 32 bit or of floats.

    Parameters
    ----------
    path : Path
        The file [path].

    Returns
    -------
    Recording
        The mean of its channels [record].

    Raises
    ------
    ConfigError
        The file is missing, broken, empty, silent, too long, or of another kind.
    """

    def refuse(message: str) -> ConfigError:
        return ConfigError([Fault(str(path), 1, "track", message)])

    try:
        if path.is_dir():
            raise refuse("is a directory, not a file")
        if path.stat().st_size > LARGEST_BYTES:
            raise refuse(f"is larger than {LARGEST_BYTES / 1e6:g} million bytes; cut the track")
        if path.stat().st_size == 0:
            raise refuse("is empty")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks other than format and data
            warnings.filterwarnings("error", "Reached EOF", wavfile.WavFileWarning)
            rate, data = wavfile.read(path)
    except wavfile.WavFileWarning as error:
        raise refuse(f"is cut off: {error}") from None
    except FileNotFoundError:
        raise refuse("no such file") from None
    except OSError as error:
        raise refuse(f"cannot be read: {error.strerror or error}") from None
    except (ValueError, struct.error, EOFError, TypeError, ZeroDivisionError, UnboundLocalError) as error:
        raise refuse(f"is no WAV file that can be read: {error}") from None
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise refuse(f"a rate of {rate} Hz is outside {LOWEST_RATE} to {HIGHEST_RATE} Hz")
    if data.shape[0] > MOST_SAMPLES:
        raise refuse(f"{data.shape[0] / rate:.0f} s are too long; the most is {MOST_SAMPLES / rate:.0f} s")
    if data.shape[0] < LEAST_SECONDS * rate:
        raise refuse(f"holds {data.shape[0]} samples; at least {LEAST_SECONDS:g} s are needed")
    channels = 1 if data.ndim == 1 else data.shape[1]
    samples = _full_scale(data).reshape(data.shape[0], -1).mean(axis=1)
    if not np.all(np.isfinite(samples)):
        raise refuse(f"sample {int(np.flatnonzero(~np.isfinite(samples))[0]) + 1} is not a finite number")
    if float(np.max(np.abs(samples))) < 1e-6:
        raise refuse("is silent")
    return Recording(rate=rate, samples=samples, channels=channels)


def _full_scale(data: np.ndarray) -> np.ndarray:
    """Samples with 1 at digital full scale; 24 bit come left-aligned in 32."""
    if data.dtype == np.uint8:
        return (data.astype(float) - 128.0) / 128.0
    if np.issubdtype(data.dtype, np.integer):
        return data.astype(float) / -float(np.iinfo(data.dtype).min)
    return data.astype(float)


def write_recording(path: Path, rate: int, samples: np.ndarray) -> None:
    """Write one channel as integers of 16 bit, whole or not at all.

    Parameters
    ----------
    path : Path
        The file [path].
    rate : int
        Samples a second [Hz].
    samples : ndarray, shape (n,)
        1 at digital full scale; what is beyond is cut off [1].

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    content = io.BytesIO()
    wavfile.write(content, rate, np.round(np.clip(samples, -1.0, 1.0) * 32767.0).astype(np.int16))
    write_bytes(path, content.getvalue())
