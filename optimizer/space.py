"""From a graph to a search space: variables between 0 and 1, and back to designs.

Continuous variables are the logarithms of chamber volumes, of duct areas, lengths and flares, of diaphragm
areas, masses and compliances, and the places of connections along their chambers. Integer variables
are the sites of driver faces and mouths. A chamber is the most cubic cuboid of its volume that fits
the inside of the envelope; its first connection lies at the centre of an end wall, the others on side
walls at their place.
"""

from __future__ import annotations

import numpy as np

from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth, Patch
from models.envelope import Site, in_plane_axes
from models.fit import duct_volume, mouth_width, partition_volume
from models.places import SLOT_ASPECT, default_patch
from models.rules import Rules
from models.topology import OUTSIDE, Topology
from optimizer.variables import Variable, compact_sides, natural_values, ranges_of

LONGEST_DUCT = 6.0
"""Longest duct, in longest inner sides of the envelope."""

PLACE_RANGE = (0.02, 0.98)
"""Range of a connection's place along the longest side of its chamber."""

LARGEST_FLARE = 8.0
"""Largest ratio of the sections at both ends of a tapered duct."""

DIAPHRAGM_Q = 6.0
"""Mechanical quality factor of a searched diaphragm."""

DIAPHRAGM_REACH = 1.5
"""Excursion limit of a searched diaphragm over that of the driver."""

EndKey = tuple[str, int, int]


class SearchSpace:
    """Search space of one graph under one season's rules.

    Parameters
    ----------
    topology : Topology
        The graph [record].
    rules : Rules
        Envelope and driver [record].
    sites : tuple of Site
        Sites for driver faces and mouths [list].
    duct_shape : str
        ``round`` or ``slot`` [text].
    duct_profile : str
        ``uniform``, or how the section of every duct may change: ``conical`` or ``exponential`` [text].
    """

    def __init__(
        self,
        topology: Topology,
        rules: Rules,
        sites: tuple[Site, ...],
        duct_shape: str = "round",
        duct_profile: str = "uniform",
    ) -> None:
        self.topology = topology
        self.rules = rules
        self.sites = sites
        self.duct_shape = duct_shape
        self.duct_profile = duct_profile
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
        self._flares = []
        if duct_profile != "uniform":
            low, high = 1.0 / LARGEST_FLARE, LARGEST_FLARE
            for i, _ in enumerate(topology.ducts):
                self._flares.append(self._add(Variable(name=f"flare {i}", low=low, high=high, log=True)))
        self._diaphragms = [self._add_diaphragm(i) for i in range(len(topology.diaphragms))]
        self._orders, self._places = self._lay_out()
        self._ranges = ranges_of(self.variables)
        self.site_slots = self._count_sites()
        self._edge, self._middle = self._measure_sites()

    @property
    def edges(self) -> np.ndarray:
        """Distance of every site to the edge of its face, shape (n_sites,) [m]."""
        return self._edge

    @property
    def dimensions(self) -> int:
        """Number of continuous variables."""
        return len(self.variables)

    def _add(self, variable: Variable) -> int:
        self.variables.append(variable)
        return len(self.variables) - 1

    def _add_diaphragm(self, i: int) -> tuple[int, int, int]:
        driver, inner = self.rules.driver, np.sort(self.rules.envelope.inner_sides)
        widest = 0.8 * float(inner[0] * inner[1]) * np.pi / 4.0
        area = Variable(name=f"diaphragm area {i}", low=0.5 * driver.area, high=widest, log=True)
        mass = Variable(name=f"diaphragm mass {i}", low=0.3 * driver.mass, high=100.0 * driver.mass, log=True)
        low, high = 0.1 * driver.compliance, 10.0 * driver.compliance
        compliance = Variable(name=f"diaphragm compliance {i}", low=low, high=high, log=True)
        return self._add(area), self._add(mass), self._add(compliance)

    def _ends(self) -> list[tuple[EndKey, int]]:
        """Every end of the graph with its place: drivers first, then ducts, then diaphragms."""
        parts = (
            ("driver", self.topology.drivers),
            ("duct", self.topology.ducts),
            ("diaphragm", self.topology.diaphragms),
        )
        return [
            ((kind, i, side), place)
            for kind, edges in parts
            for i, edge in enumerate(edges)
            for side, place in enumerate(edge)
        ]

    def _lay_out(self) -> tuple[dict[EndKey, int], dict[EndKey, int]]:
        """Order of each end at its chamber, and the variable of its place where it has one."""
        orders: dict[EndKey, int] = {}
        places: dict[EndKey, int] = {}
        seen = [0] * self.topology.chambers
        low, high = PLACE_RANGE
        for key, place in self._ends():
            if place == OUTSIDE:
                continue
            orders[key] = seen[place]
            if seen[place] > 0:
                places[key] = self._add(Variable(name=f"place {key}", low=low, high=high, log=False))
            seen[place] += 1
        return orders, places

    def _count_sites(self) -> dict[EndKey, int]:
        """Column of the site of each end that lies outside."""
        outer = [key for key, place in self._ends() if place == OUTSIDE]
        return {key: column for column, key in enumerate(outer)}

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
        natural = natural_values(self._ranges, x)
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
            diaphragms=tuple(
                self._diaphragm(i, sides, natural, site) for i in range(len(self.topology.diaphragms))
            ),
            sites=self.sites,
        )

    def _duct(self, i: int, sides: np.ndarray, natural: np.ndarray, site: np.ndarray) -> Ducts:
        area, length = (natural[:, column] for column in self._ducts[i])
        edge = self.topology.ducts[i]
        height = np.sqrt(area / SLOT_ASPECT) if self.duct_shape == "slot" else None
        last = area * natural[:, self._flares[i]] if self._flares else area
        return Ducts(
            name=f"duct {i + 1}",
            ends=(
                self._end("duct", i, 0, edge[0], sides, natural, site, area, height),
                self._end("duct", i, 1, edge[1], sides, natural, site, last, height),
            ),
            area=area,
            length=length,
            area_end=last if self._flares else None,
            profile="exponential" if self.duct_profile == "exponential" else "conical",
            shape="round" if height is None else "slot",
            slot_height=height,
            loss_factor=np.ones(area.size),
        )

    def _diaphragm(self, i: int, sides: np.ndarray, natural: np.ndarray, site: np.ndarray) -> Diaphragms:
        area, mass, compliance = (natural[:, column] for column in self._diaphragms[i])
        edge = self.topology.diaphragms[i]
        return Diaphragms(
            name=f"diaphragm {i + 1}",
            ends=(
                self._end("diaphragm", i, 0, edge[0], sides, natural, site, area, None),
                self._end("diaphragm", i, 1, edge[1], sides, natural, site, area, None),
            ),
            area=area,
            mass=mass,
            compliance=compliance,
            q=np.full(area.size, DIAPHRAGM_Q),
            excursion_limit=np.full(area.size, DIAPHRAGM_REACH * self.rules.limits.excursion),
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

    def repair(
        self, x: np.ndarray, site: np.ndarray, move: bool | np.ndarray = False
    ) -> tuple[np.ndarray, np.ndarray]:
        """Mend what has a plain remedy: too large a whole, and mouths that reach over an edge.

        Chambers that together with the ducts exceed the envelope's inside are shrunk. Where asked
        for, a mouth or driver that reaches over the edge of its face moves to the middle of it.

        Parameters
        ----------
        x : ndarray, shape (n_designs, dimensions)
            Continuous variables [1].
        site : ndarray of int, shape (n_designs, number of site slots)
            Sites [1].
        move : bool or ndarray of bool, shape (n_designs,)
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
        for (kind, i, side), slot in self.site_slots.items() if np.any(move) else ():
            if kind == "diaphragm":
                half = np.sqrt(batch.diaphragms[i].area / np.pi)
            elif kind == "duct":
                half = 0.5 * mouth_width(batch.ducts[i], side)
            else:
                half = np.full(x.shape[0], 0.5 * (self.rules.driver.frame, self.rules.driver.cutout)[side])
            over = move & (half > self._edge[site[:, slot]])
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
