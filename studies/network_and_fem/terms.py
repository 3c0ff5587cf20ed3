"""The network with one of its terms taken out, to see what each is worth."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

import numpy as np

from models.design import Patch
from models.near_field import near_field
from models.radiation import PROFILE


def _no_odd_modes(
    sides: np.ndarray, patches: Sequence[Patch], line: int, ducts: Sequence[int] = ()
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return near_field(sides, patches, line)


def _no_third_sum(
    sides: np.ndarray, patches: Sequence[Patch], line: int, ducts: Sequence[int] = ()
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    m, n, p = near_field(sides, patches, line, ducts)
    return m, n, 0.0 * p


def _always(value: float) -> Callable[..., Any]:
    return lambda first, *_: np.full(np.shape(first)[0] if np.ndim(first) else 1, value)


TERMS: dict[str, tuple[tuple[str, Callable[..., Any]], ...]] = {
    "all terms": (),
    "velocity at duct ends does not give way": (("models.rooms.near_field", _no_odd_modes),),
    "no third sum": (("models.rooms.near_field", _no_third_sum),),
    "profile factor the same for holes and wide ducts": (
        ("models.joints.profile_factor", _always(PROFILE)),
        ("models.network.open_share", _always(0.0)),
        ("studies.network_and_fem.comparing.open_share", _always(0.0)),
    ),
    "no profile factor": (("models.joints.profile_factor", _always(1.0)),),
}
"""Name of a variant, and what replaces what in it."""


@contextmanager
def variant(name: str) -> Iterator[None]:
    """Within this context the network is the named one of :data:`TERMS`."""
    patches = [patch(target, new) for target, new in TERMS[name]]
    for one in patches:
        one.start()
    try:
        yield
    finally:
        for one in patches:
            one.stop()
