"""Choices of sites gathered into groups: what the outside can be for any choice of a group.

A group's values are a middle and a radius in the complex plane for each space and tone, so one bound
can hold for many choices at once. Groups form a tree: the first holds every choice, a leaf one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.affine import ROUNDING
from models.outside import OutsideTable

LARGEST_SHARE = 1e3
"""Largest ratio of radius to size that counts, where a middle is near zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteGroups:
    """A tree of groups of choices; a choice is the driver's site and, where there is one, the mouth's.

    Attributes
    ----------
    middle, radius : dict of str to ndarray, each shape (n_groups, n_columns)
        Transfers ``td`` and ``tm`` of driver and mouth, impedances ``dd``, ``dm`` and ``mm`` among them,
        without the near fields of the reference patches [Pa s/m3].
    children : ndarray of int, shape (n_groups, 2)
        Both halves of a group; -1 for a leaf [1].
    spread : ndarray, shape (n_groups,)
        Radius of the transfers over their size, mean over columns; 0 for a leaf [1].
    example : ndarray of int, shape (n_groups, 1 or 2)
        One choice of the group [1].
    widest : ndarray, shape (n_groups,)
        Largest duct area that any choice of the group leaves room for [m2].
    per_watt : ndarray, shape (n_groups, n_columns)
        Largest squared pressure at the microphone per power that leaves the openings [Pa2/W].
    """

    middle: dict[str, np.ndarray]
    radius: dict[str, np.ndarray]
    children: np.ndarray
    spread: np.ndarray
    example: np.ndarray
    widest: np.ndarray
    per_watt: np.ndarray


def group_sites(
    outside: OutsideTable, omega: np.ndarray, choices: np.ndarray, widest: np.ndarray
) -> SiteGroups:
    """Tree of groups of choices that look alike from the microphone.

    Parameters
    ----------
    outside : OutsideTable
        The outside over all spaces and tones [record].
    omega : ndarray, shape (n_columns,)
        Angular frequency of each column [rad/s].
    choices : ndarray of int, shape (n_choices, 1 or 2)
        Sites of driver and mouth [1].
    widest : ndarray, shape (n_choices,)
        Largest duct area of each choice [m2].

    Returns
    -------
    SiteGroups
        The tree, the group of all choices first [record].
    """
    values = _values(outside, omega, choices)
    per_watt = _pressure_per_watt(values)
    looks = np.concatenate(
        [
            part / np.abs(value).max(axis=0)
            for value in _transfers(values)
            for part in (value.real, value.imag)
        ],
        axis=1,
    )
    members = [np.arange(choices.shape[0])]
    children: list[tuple[int, int]] = []
    place = 0
    while place < len(members):
        group = members[place]
        if group.size == 1:
            children.append((-1, -1))
        else:
            column = int(np.argmax(np.ptp(looks[group], axis=0)))
            order = group[np.argsort(looks[group, column], kind="stable")]
            members += [order[: group.size // 2], order[group.size // 2 :]]
            children.append((len(members) - 2, len(members) - 1))
        place += 1
    middle = {key: np.stack([_middle(value[group]) for group in members]) for key, value in values.items()}
    radius = {
        key: np.stack([_radius(value[group], middle[key][i]) for i, group in enumerate(members)])
        for key, value in values.items()
    }
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = [
            np.where(radius[k] > 0.0, radius[k] / np.abs(middle[k]), 0.0) for k in ("td", "tm") if k in values
        ]
    return SiteGroups(
        middle=middle,
        radius=radius,
        children=np.array(children),
        spread=np.minimum(np.max(shares, axis=0), LARGEST_SHARE).mean(axis=1),
        example=np.stack([choices[group[np.argmax(widest[group])]] for group in members]),
        widest=np.array([widest[group].max() for group in members]),
        per_watt=np.stack([per_watt[group].max(axis=0) for group in members]),
    )


def _values(outside: OutsideTable, omega: np.ndarray, choices: np.ndarray) -> dict[str, np.ndarray]:
    def own(site: np.ndarray) -> np.ndarray:
        return np.asarray(outside.impedance[site, site] - 1j * omega * outside.self_inertance[site])

    driver = choices[:, 0]
    values = {"td": outside.transfer[driver], "dd": own(driver)}
    if choices.shape[1] > 1:
        mouth = choices[:, 1]
        values |= {"tm": outside.transfer[mouth], "mm": own(mouth), "dm": outside.impedance[driver, mouth]}
    return values


def _pressure_per_watt(values: dict[str, np.ndarray]) -> np.ndarray:
    """Largest |p|^2 / P over all flows of the openings: t^H R^-1 t, with R the real part of their impedances.

    It holds for whatever drives the openings, as p = t q and P = q^H R q.
    """
    td, rdd = values["td"], values["dd"].real
    with np.errstate(divide="ignore", invalid="ignore"):
        if "tm" not in values:
            found, whole = np.abs(td) ** 2 / rdd, rdd
        else:
            tm, rmm, rdm = values["tm"], values["mm"].real, values["dm"].real
            whole = rdd * rmm - rdm**2
            both = np.abs(td) ** 2 * rmm - 2.0 * (td * np.conj(tm)).real * rdm + np.abs(tm) ** 2 * rdd
            found = both / whole
            whole = np.where(whole > 1e-9 * rdd * rmm, whole, 0.0)  # else too near to singular to be sure
    return np.asarray(np.where(whole > 0.0, found * (1.0 + 1e-5), np.inf))


def _transfers(values: dict[str, np.ndarray]) -> list[np.ndarray]:
    return [values[key] for key in ("td", "tm") if key in values]


def _middle(values: np.ndarray) -> np.ndarray:
    if values.shape[0] == 1:
        return np.asarray(values[0])
    real = 0.5 * (values.real.min(axis=0) + values.real.max(axis=0))
    return np.asarray(real + 0.5j * (values.imag.min(axis=0) + values.imag.max(axis=0)))


def _radius(values: np.ndarray, middle: np.ndarray) -> np.ndarray:
    if values.shape[0] == 1:
        return np.zeros(values.shape[1])
    return np.asarray(np.abs(values - middle).max(axis=0) * (1.0 + ROUNDING))
