"""From a graph to a search space: variables between 0 and 1, and back to designs.

Continuous variables are the logarithms of chamber volumes, duct areas and duct lengths, and the
places of ducts along their chambers. Integer variables are the sites of driver faces and mouths.
A chamber is the most cubic cuboid of its volume that fits the inside of the envelope; its first
connection lies at the centre of an end wall, the others on side walls at their place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.design import DesignBatch, Ducts, End, Mouth, Patch
from models.envelope import Site, in_plane_axes
from models.fit import duct_sections, duct_volume, partition_volume
from models.places import SLOT_ASPECT, default_patch
from models.rules import Rules
from models.topology import OUTSIDE, Topology

LONGEST_DUCT = 3.0
"""Longest duct, in longest inner sides of the envelope."""

PLACE_RANGE = (0.02, 0.98)
"""Range of a duct's place along the longest side of its chamber."""


def compact_sides(volume: np.ndarray, inner: np.ndarray) -> np.ndarray:
    """Sides of the most cubic cuboid of a volume inside a larger cuboid, longest first.

    Parameters
    ----------
    volume : ndarray, shape (n_designs,)
        Volume [m3].
    inner : ndarray, shape (3,)
        Sides of the cuboid around it [m].

    Returns
    -------
    ndarray, shape (n_designs, 3)
        Sides along x, y, z in falling order [m].
    """
    short, middle, _ = np.sort(inner)
    z = np.minimum(np.cbrt(volume), short)
    y = np.minimum(np.sqrt(volume / z), middle)
    return np.stack([volume / (z * y), y, z], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """One continuous variable.

    Attributes
    ----------
    name : str
        Name with unit [text].
    low, high : float
        Range in natural units [mixed].
    log : bool
        Whether it is spaced by its logarithm [flag].
    """

    name: str
    low: float
    high: float
    log: bool

    def value(self, unit: np.ndarray) -> np.ndarray:
        """Natural value of a variable between 0 and 1."""
        if self.log:
            return np.asarray(self.low * (self.high / self.low) ** unit)
        return np.asarray(self.low + (self.high - self.low) * unit)

    def unit(self, value: np.ndarray) -> np.ndarray:
        """Inverse of :meth:`value`."""
        if self.log:
            return np.asarray(np.log(value / self.low) / np.log(self.high / self.low))
        return np.asarray((value - self.low) / (self.high - self.low))


class SearchSpace:
    """Search space of one graph under one season's rules.

    Parameters
    ----------
    topology : Topology
        The graph; diaphragms are not searched [record].
    rules : Rules
        Envelope and driver [record].
    sites : tuple of Site
        Sites for driver faces and mouths [list].
    duct_shape : str
        ``round`` or ``slot`` [text].
    """

    def __init__(
        self, topology: Topology, rules: Rules, sites: tuple[Site, ...], duct_shape: str = "round"
    ) -> None:
        if topology.diaphragms:
            raise ValueError("graphs with diaphragms have no search space")
        self.topology = topology
        self.rules = rules
        self.sites = sites
        self.duct_shape = duct_shape
        self.variables: list[Variable] = []
        inner = rules.envelope.inner_sides
        largest = rules.envelope.inner_volume
        self._volumes = []
        for chamber in range(topology.chambers):
            behind = sum(rear == chamber for _, rear in topology.drivers)
            least = 0.01 * largest + behind * rules.driver.displaced_volume
            self._volumes.append(
                self._add(Variable(name=f"volume {chamber}", low=least, high=largest, log=True))
            )
        widest = 0.8 * float(np.sort(inner)[0]) ** 2 * np.pi / 4.0
        self._ducts = []
        for i, _ in enumerate(topology.ducts):
            area = Variable(name=f"area {i}", low=0.05 * rules.driver.area, high=widest, log=True)
            longest = LONGEST_DUCT * float(inner.max())
            length = Variable(name=f"length {i}", low=rules.envelope.wall, high=longest, log=True)
            self._ducts.append((self._add(area), self._add(length)))
        self._orders, self._places = self._lay_out()
        self.site_slots = self._count_sites()
        self._edge, self._middle = self._measure_sites()

    @property
    def dimensions(self) -> int:
        """Number of continuous variables."""
        return len(self.variables)

    def _add(self, variable: Variable) -> int:
        self.variables.append(variable)
        return len(self.variables) - 1

    def _lay_out(self) -> tuple[dict[tuple[str, int, int], int], dict[tuple[str, int, int], int]]:
        """Order of each end at its chamber, and the variable of its place where it has one."""
        orders: dict[tuple[str, int, int], int] = {}
        places: dict[tuple[str, int, int], int] = {}
        seen = [0] * self.topology.chambers
        for kind, edges in (("driver", self.topology.drivers), ("duct", self.topology.ducts)):
            for i, edge in enumerate(edges):
                for side, place in enumerate(edge):
                    if place == OUTSIDE:
                        continue
                    key = (kind, i, side)
                    orders[key] = seen[place]
                    if seen[place] > 0:
                        low, high = PLACE_RANGE
                        places[key] = self._add(Variable(name=f"place {key}", low=low, high=high, log=False))
                    seen[place] += 1
        return orders, places

    def _count_sites(self) -> dict[tuple[str, int, int], int]:
        """Column of the site of each end that lies outside."""
        columns: dict[tuple[str, int, int], int] = {}
        for kind, edges in (("driver", self.topology.drivers), ("duct", self.topology.ducts)):
            for i, edge in enumerate(edges):
                for side, place in enumerate(edge):
                    if place == OUTSIDE:
                        columns[(kind, i, side)] = len(columns)
        return columns

    def decode(self, x: np.ndarray, site: np.ndarray) -> DesignBatch:
        """Designs of variables.

        Parameters
        ----------
        x : ndarray, shape (n_designs, dimensions)
            Continuous variables between 0 and 1 [1].
        site : ndarray of int, shape (n_designs, number of site slots)
            Indexes of sites [1].

        Returns
        -------
        DesignBatch
            The designs, whether they fit or not [record].
        """
        natural = np.stack([v.value(x[:, i]) for i, v in enumerate(self.variables)], axis=1)
        inner = self.rules.envelope.inner_sides
        sides = np.stack([compact_sides(natural[:, i], inner) for i in self._volumes], axis=1)
        driver_area = np.full(x.shape[0], self.rules.driver.area)
        driver_ends = tuple(
            (
                self._end("driver", i, 0, edge[0], sides, natural, site, driver_area, None),
                self._end("driver", i, 1, edge[1], sides, natural, site, driver_area, None),
            )
            for i, edge in enumerate(self.topology.drivers)
        )
        return DesignBatch(
            topology=self.topology,
            sides=sides,
            driver_ends=driver_ends,
            ducts=tuple(self._duct(i, sides, natural, site) for i in range(len(self.topology.ducts))),
            sites=self.sites,
        )

    def _duct(self, i: int, sides: np.ndarray, natural: np.ndarray, site: np.ndarray) -> Ducts:
        area, length = (natural[:, column] for column in self._ducts[i])
        edge = self.topology.ducts[i]
        height = np.sqrt(area / SLOT_ASPECT) if self.duct_shape == "slot" else None
        return Ducts(
            name=f"duct {i + 1}",
            ends=(
                self._end("duct", i, 0, edge[0], sides, natural, site, area, height),
                self._end("duct", i, 1, edge[1], sides, natural, site, area, height),
            ),
            area=area,
            length=length,
            shape="round" if height is None else "slot",
            slot_height=height,
            loss_factor=np.ones(area.size),
        )

    def _end(
        self,
        kind: str,
        i: int,
        side: int,
        place: int,
        sides: np.ndarray,
        natural: np.ndarray,
        site: np.ndarray,
        area: np.ndarray,
        height: np.ndarray | None,
    ) -> End:
        key = (kind, i, side)
        if place == OUTSIDE:
            return Mouth(site=site[:, self.site_slots[key]])
        column = self._places.get(key)
        at = None if column is None else natural[:, column]
        patch: Patch = default_patch(
            sides[:, place],
            self._orders[key],
            at,
            area,
            shape="round" if height is None else "slot",
            slot_height=height,
            line=0,
        )
        return patch

    def repair(self, x: np.ndarray, site: np.ndarray, move: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """Mend what has a plain remedy: too large a whole, and mouths that reach over an edge.

        Chambers that together with the ducts exceed the envelope's inside are shrunk. Where asked
        for, a mouth or driver that reaches over the edge of its face moves to the middle of it.

        Parameters
        ----------
        x : ndarray, shape (n_designs, dimensions)
            Continuous variables [1].
        site : ndarray of int, shape (n_designs, number of site slots)
            Sites [1].
        move : bool
            Whether mouths may be moved [flag].

        Returns
        -------
        tuple of two ndarrays
            Variables and sites of the same shapes [1].
        """
        x = np.clip(x, 0.0, 1.0)
        site = site.copy()
        batch = self.decode(x, site)
        envelope = self.rules.envelope
        rigid = partition_volume(batch, envelope) + sum(
            (duct_volume(duct, envelope.wall) for duct in batch.ducts), start=np.zeros(x.shape[0])
        )
        chambers = np.prod(batch.sides, axis=2).sum(axis=1)
        scale = np.minimum((envelope.inner_volume * (1.0 - 1e-9) - rigid) / chambers, 1.0)
        for column in self._volumes:
            variable = self.variables[column]
            shrunk = variable.unit(np.where(scale > 0.0, scale, 1.0) * variable.value(x[:, column]))
            x[:, column] = np.clip(shrunk, 0.0, 1.0)
        for (kind, i, side), slot in self.site_slots.items() if move else ():
            if kind == "duct":
                half = 0.5 * duct_sections(batch.ducts[i], envelope.wall)[0] - envelope.wall
            else:
                half = np.full(x.shape[0], 0.5 * (self.rules.driver.frame, self.rules.driver.cutout)[side])
            over = half > self._edge[site[:, slot]]
            site[:, slot] = np.where(over, self._middle[site[:, slot]], site[:, slot])
        return x, site

    def _measure_sites(self) -> tuple[np.ndarray, np.ndarray]:
        """Distance of every site to the edge of its face, and the site nearest to that face's middle."""
        edge, middle = [], []
        for site in self.sites:
            sides = self.rules.envelope.outer_sides[list(in_plane_axes(site.wall))]
            at = np.array(site.at)
            edge.append(float(np.minimum(at, sides - at).min()))
            away = [
                np.inf if other.wall != site.wall else float(np.abs(np.array(other.at) - 0.5 * sides).max())
                for other in self.sites
            ]
            middle.append(int(np.argmin(away)))
        return np.array(edge), np.array(middle)
