"""A small closure over the Thiele-Small relations: any sufficient set of data gives the complete set.

All relations but one are products of powers, so they are linear in the logarithms of the quantities;
a quantity is known when its logarithm lies in the span of the relations and of the given values.
The remaining one, 1/Qts = 1/Qms + 1/Qes, is applied in turn with the linear step until nothing more follows.

Relations: ws^2 Mms Cms = 1; Qms Rms = ws Mms; Qes Bl^2 = ws Mms Re; Vas = rho c^2 Sd^2 Cms;
eta0 = (4 pi^2 / c^3) fs^3 Vas / Qes (R. H. Small, "Direct-Radiator Loudspeaker System Analysis",
JAES 20(5) 383-395, 1972, cited from memory; the identity of the two usual forms of eta0 was checked).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np

from models.air import Air

TOLERANCE = 0.03
"""Largest relative difference between a given value and what follows from the others."""

QUANTITIES = ("fs", "qms", "qes", "re", "sd", "vas", "mms", "cms", "rms", "bl", "qts", "eta0")
"""Quantities in the order in which they are believed: one that follows from earlier ones is checked."""

_RATIO = "qms/qes"
_COLUMNS = (*QUANTITIES, _RATIO)

Known = dict[str, tuple[float, frozenset[str]]]
"""Value and the given quantities it follows from."""


class SurplusError(Exception):
    """Given quantities contradict each other.

    Attributes
    ----------
    conflicts : list
        Quantity, value that follows from the others, and which others [list].
    """

    def __init__(self, conflicts: list[tuple[str, float, tuple[str, ...]]]) -> None:
        self.conflicts = conflicts
        super().__init__(f"contradictory: {conflicts}")


def solve(given: Mapping[str, float], air: Air) -> dict[str, float]:
    """Everything that follows from the given quantities.

    Parameters
    ----------
    given : mapping
        Positive values in SI by names of :data:`QUANTITIES` [record].
    air : Air
        The gas [record].

    Returns
    -------
    dict
        All quantities that are determined [record].

    Raises
    ------
    SurplusError
        A given value differs by more than :data:`TOLERANCE` from what follows from the others.
    """
    base: Known = {}
    closed: Known = {}
    conflicts: list[tuple[str, float, tuple[str, ...]]] = []
    for name in QUANTITIES:
        if name not in given:
            continue
        value = given[name]
        if name in closed:
            other, sources = closed[name]
            if not abs(other - value) <= TOLERANCE * abs(value):
                conflicts.append((name, other, _in_order(sources)))
            continue
        base[name] = (value, frozenset({name}))
        closed = _close(base, air)
    if conflicts:
        raise SurplusError(conflicts)
    return {name: closed[name][0] for name in QUANTITIES if name in closed}


def completing(given: Iterable[str], wanted: Iterable[str], air: Air) -> list[str]:
    """Single quantities, any of which would make all wanted ones follow.

    Parameters
    ----------
    given : iterable of str
        Quantities that are given [list].
    wanted : iterable of str
        Quantities that must follow [list].
    air : Air
        The gas [record].

    Returns
    -------
    list of str
        Names, empty when one more does not suffice [list].
    """
    wanted, given = set(wanted), set(given)
    # only which quantities follow matters here, so the values of any possible driver do
    any_driver = {"mms": 0.01, "cms": 1e-3, "rms": 1.0, "bl": 5.0, "re": 4.0, "sd": 0.01}
    possible = _close({name: (value, frozenset({name})) for name, value in any_driver.items()}, air)
    found = []
    for name in QUANTITIES:
        if name not in given and wanted <= set(_close({n: possible[n] for n in (*given, name)}, air)):
            found.append(name)
    return found


def _relations(air: Air) -> tuple[np.ndarray, np.ndarray]:
    """Rows A and right sides b of A log(quantities) = b."""
    two_pi = math.log(2.0 * math.pi)
    rows = [
        ({"fs": 2, "mms": 1, "cms": 1}, -2.0 * two_pi),
        ({"qms": 1, "rms": 1, "fs": -1, "mms": -1}, two_pi),
        ({"qes": 1, "bl": 2, "fs": -1, "mms": -1, "re": -1}, two_pi),
        ({"vas": 1, "sd": -2, "cms": -1}, math.log(air.bulk_modulus)),
        ({"eta0": 1, "fs": -3, "vas": -1, "qes": 1}, math.log(4.0 * math.pi**2 / air.sound_speed**3)),
        ({_RATIO: 1, "qms": -1, "qes": 1}, 0.0),
    ]
    matrix = np.array([[row.get(name, 0.0) for name in _COLUMNS] for row, _ in rows])
    return matrix, np.array([right for _, right in rows])


def _close(base: Known, air: Air) -> Known:
    known = dict(base)
    matrix, right = _relations(air)
    while True:
        more = _linear_step(known, matrix, right) or _parallel_step(known)
        if not more:
            return known
        known.update(more)


def _linear_step(known: Known, matrix: np.ndarray, right: np.ndarray) -> Known:
    unknown = [i for i, name in enumerate(_COLUMNS) if name not in known and name != "qts"]
    fixed = [i for i, name in enumerate(_COLUMNS) if name in known and name != "qts"]
    if not unknown or not fixed:
        return {}
    inverse = np.linalg.pinv(matrix[:, unknown])
    free = np.eye(len(unknown)) - inverse @ matrix[:, unknown]
    weights = -inverse @ matrix[:, fixed]
    logs = np.log([known[_COLUMNS[i]][0] for i in fixed])
    values = inverse @ right + weights @ logs
    found: Known = {}
    for row, column in enumerate(unknown):
        if np.abs(free[row]).max() < 1e-9:
            used = [known[_COLUMNS[i]][1] for i, w in zip(fixed, weights[row], strict=True) if abs(w) > 1e-9]
            found[_COLUMNS[column]] = (math.exp(values[row]), frozenset().union(*used))
    return found


def _parallel_step(known: Known) -> Known:
    """1/Qts = 1/Qms + 1/Qes, also where only Qts and the ratio Qms/Qes are known."""

    def both(*names: str) -> frozenset[str]:
        return frozenset().union(*(known[name][1] for name in names))

    def value(name: str) -> float:
        return known[name][0]

    if "qts" not in known:
        if "qms" in known and "qes" in known:
            total = value("qms") * value("qes") / (value("qms") + value("qes"))
            return {"qts": (total, both("qms", "qes"))}
        return {}
    if "qms" in known and "qes" in known:
        return {}
    for one, other in (("qms", "qes"), ("qes", "qms")):
        if one in known:
            rest = 1.0 / value("qts") - 1.0 / value(one)
            if rest <= 0.0:  # Qts cannot reach the other: report that bound as the value it contradicts
                raise SurplusError([("qts", value(one), _in_order(known[one][1]))])
            return {other: (1.0 / rest, both("qts", one))}
    if _RATIO in known:
        return {"qms": (value("qts") * (1.0 + value(_RATIO)), both("qts", _RATIO))}
    return {}


def _in_order(sources: frozenset[str]) -> tuple[str, ...]:
    return tuple(name for name in QUANTITIES if name in sources)
