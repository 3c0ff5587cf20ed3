"""How long ears may hear a tone, by published limits for workplaces.

These limits are for people at work over years; they are quoted here because nothing shorter is safer, not
because a contest is a workplace. All of them read A-weighted levels, which take 40 dB and more off a deep
tone; the limits of peak pressure read C-weighted ones.

Sources: weighting, IEC 61672-1:2013, equations of its Annex E and nominal values of its table 3 (from
memory); NIOSH, "Criteria for a recommended standard: occupational noise exposure", publication 98-126
(1998), section 1.1 and table 1-1; Directive 2003/10/EC of the European Parliament and the Council, article 3.
"""

from __future__ import annotations

import numpy as np

NIOSH_DBA = 85.0
"""Recommended exposure limit over eight hours, A-weighted (NIOSH 98-126) [dB]."""

NIOSH_EXCHANGE_DB = 3.0
"""Rise of the level that halves the permitted time (NIOSH 98-126) [dB]."""

EUROPE_DBA = 87.0
"""Exposure limit value L_EX,8h, A-weighted (Directive 2003/10/EC, article 3) [dB]."""

EUROPE_PEAK_DBC = 140.0
"""Exposure limit value of the peak, 200 Pa, C-weighted (Directive 2003/10/EC, article 3) [dB]."""

EIGHT_HOURS = 8.0 * 3600.0
"""Working day [s]."""

_F1, _F2, _F3, _F4 = 20.60, 107.7, 737.9, 12194.0
"""Corner frequencies of the weightings as the standard prints them [Hz]."""


def a_weighting_db(hz: np.ndarray) -> np.ndarray:
    """A-weighting of IEC 61672-1, 0 dB at 1 kHz.

    Parameters
    ----------
    hz : ndarray, any shape
        Frequency [Hz].

    Returns
    -------
    ndarray, same shape
        Weighting [dB].
    """
    return np.asarray(_a(np.asarray(hz, dtype=float)) - _a(np.array(1000.0)))


def c_weighting_db(hz: np.ndarray) -> np.ndarray:
    """C-weighting of IEC 61672-1, 0 dB at 1 kHz.

    Parameters
    ----------
    hz : ndarray, any shape
        Frequency [Hz].

    Returns
    -------
    ndarray, same shape
        Weighting [dB].
    """
    return np.asarray(_c(np.asarray(hz, dtype=float)) - _c(np.array(1000.0)))


def _c(f: np.ndarray) -> np.ndarray:
    return np.asarray(20.0 * np.log10(_F4**2 * f**2 / ((f**2 + _F1**2) * (f**2 + _F4**2))))


def _a(f: np.ndarray) -> np.ndarray:
    return np.asarray(_c(f) + 20.0 * np.log10(f**2 / np.sqrt((f**2 + _F2**2) * (f**2 + _F3**2))))


def niosh_seconds(level_dba: np.ndarray) -> np.ndarray:
    """Time a day at a steady level that fills the recommended exposure limit: 8 h / 2^((L - 85) / 3).

    Parameters
    ----------
    level_dba : ndarray, any shape
        A-weighted level [dB].

    Returns
    -------
    ndarray, same shape
        Time, beyond a day where the level is low [s].
    """
    return np.asarray(EIGHT_HOURS / 2.0 ** ((np.asarray(level_dba) - NIOSH_DBA) / NIOSH_EXCHANGE_DB))


def europe_seconds(level_dba: np.ndarray) -> np.ndarray:
    """Time a day at a steady level that makes L_EX,8h the limit value: equal energy, 8 h 10^((87 - L) / 10).

    Parameters
    ----------
    level_dba : ndarray, any shape
        A-weighted level [dB].

    Returns
    -------
    ndarray, same shape
        Time, beyond a day where the level is low [s].
    """
    return np.asarray(EIGHT_HOURS * 10.0 ** ((EUROPE_DBA - np.asarray(level_dba)) / 10.0))


def peak_dbc(level_db: np.ndarray, hz: np.ndarray) -> np.ndarray:
    """C-weighted peak of a tone: its rms level, the weighting, and 3.01 dB for the crest of a sine.

    Parameters
    ----------
    level_db : ndarray, any shape
        Level, rms re 20 uPa [dB].
    hz : ndarray, same shape
        Frequency [Hz].

    Returns
    -------
    ndarray, same shape
        Peak level [dB].
    """
    return np.asarray(level_db + c_weighting_db(hz) + 10.0 * np.log10(2.0))
