"""The outside of an enclosure as a table over sites: impedances among them and transfer to the microphone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideTable:
    """One space seen from a list of sites on the envelope.

    The self term of a site contains the near field of a reference patch; the network adds
    the difference between a real opening's near field and that.

    Attributes
    ----------
    impedance : complex ndarray, shape (n_sites, n_sites, n_tones)
        Pressure at one site per volume velocity into the outside at another [Pa s/m3].
    transfer : complex ndarray, shape (n_sites, n_tones)
        Pressure at the microphone per volume velocity into the outside at a site [Pa s/m3].
    self_inertance : ndarray, shape (n_sites, n_tones)
        Near-field inertance already inside the self terms: that of a flanged reference patch [kg/m4].
    """

    impedance: np.ndarray
    transfer: np.ndarray
    self_inertance: np.ndarray


def side_by_side(tables: Sequence[OutsideTable]) -> OutsideTable:
    """Several spaces as one table: the columns of the first, then those of the next."""
    return OutsideTable(
        impedance=np.concatenate([t.impedance for t in tables], axis=2),
        transfer=np.concatenate([t.transfer for t in tables], axis=1),
        self_inertance=np.concatenate([t.self_inertance for t in tables], axis=1),
    )
