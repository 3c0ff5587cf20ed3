"""A batch of designs of one topology: sizes as columns, one row a design."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Literal

import numpy as np

from models.envelope import Site
from models.topology import Topology


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """Where an end meets a chamber: a rectangle on one of its walls.

    Attributes
    ----------
    wall : str
        Wall of the chamber, named by the axis and side, as in ``x-`` [text].
    centre : ndarray, shape (n_designs, 2)
        Centre along the two other axes in their order, from the chamber's lowest corner [m].
    half : ndarray, shape (n_designs, 2)
        Half sides along the same axes; a disc is a square of equal area [m].
    """

    wall: str
    centre: np.ndarray
    half: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Mouth:
    """Where an end meets the outside: a site on the envelope.

    Attributes
    ----------
    site : ndarray of int, shape (n_designs,)
        Index into the batch's sites [1].
    """

    site: np.ndarray


End = Patch | Mouth


@dataclass(frozen=True, slots=True, kw_only=True)
class Ducts:
    """One duct of the graph, for every design of the batch.

    Attributes
    ----------
    name : str
        Name in reports [text].
    ends : tuple of two ends
        At the first and second place of the edge [record].
    area : ndarray, shape (n_designs,)
        Cross-section of all its parallel tubes together [m2].
    length : ndarray, shape (n_designs,)
        Length without end corrections [m].
    shape : str
        ``round`` or ``slot`` [text].
    slot_height : ndarray, shape (n_designs,), or None
        Short side of a slot's section [m].
    count : int
        Equal parallel tubes that share the area [1].
    end_lengths : tuple of two, each ndarray shape (n_designs,) or None
        End corrections set by hand; None takes them from the end's kind [m].
    loss_factor : ndarray, shape (n_designs,)
        K of the level-dependent loss of both ends together [1].
    area_end : ndarray, shape (n_designs,), or None
        Cross-section at the second place of a tapered duct [m2].
    profile : str
        ``conical`` (sides straight) or ``exponential``, of a tapered duct [text].
    bends : tuple of pairs of ndarrays, each shape (n_designs,)
        Where along the centre line, in order, and its correction (:mod:`models.bends`) [m].
    lining : ndarray, shape (n_designs,), or None
        Flow resistivity of a fibrous filling, 0 or None for none (:mod:`models.lining`) [Pa s/m2].
    """

    name: str
    ends: tuple[End, End]
    area: np.ndarray
    length: np.ndarray
    shape: Literal["round", "slot"] = "round"
    slot_height: np.ndarray | None = None
    count: int = 1
    end_lengths: tuple[np.ndarray | None, np.ndarray | None] = (None, None)
    loss_factor: np.ndarray
    area_end: np.ndarray | None = None
    profile: Literal["conical", "exponential"] = "conical"
    bends: tuple[tuple[np.ndarray, np.ndarray], ...] = ()
    lining: np.ndarray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Diaphragms:
    """One passive radiator of the graph, for every design of the batch.

    Attributes
    ----------
    name : str
        Name in reports [text].
    ends : tuple of two ends
        At the first and second place of the edge [record].
    area : ndarray, shape (n_designs,)
        Effective area [m2].
    mass : ndarray, shape (n_designs,)
        Moving mass without air load [kg].
    compliance : ndarray, shape (n_designs,)
        Suspension compliance [m/N].
    q : ndarray, shape (n_designs,)
        Mechanical quality factor [1].
    excursion_limit : ndarray, shape (n_designs,)
        Peak excursion, one way [m].
    """

    name: str
    ends: tuple[End, End]
    area: np.ndarray
    mass: np.ndarray
    compliance: np.ndarray
    q: np.ndarray
    excursion_limit: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Specimens:
    """What differs from design to design although the rules give one value: the driver as built.

    Attributes
    ----------
    mass : ndarray, shape (n_designs,)
        Moving mass Mms with the air load of a baffle mounting, of every driver of a design [kg].
    compliance : ndarray, shape (n_designs,)
        Suspension compliance [m/N].
    force_factor : ndarray, shape (n_designs,)
        Bl [T m].
    coil_resistance : ndarray, shape (n_designs,)
        Re [ohm].
    """

    mass: np.ndarray
    compliance: np.ndarray
    force_factor: np.ndarray
    coil_resistance: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignBatch:
    """Designs of one topology.

    Attributes
    ----------
    topology : Topology
        Graph that all designs share [record].
    sides : ndarray, shape (n_designs, n_chambers, 3)
        Inner sides of every chamber along x, y, z, the driver's own volume not yet taken off [m].
    driver_ends : tuple of pairs of ends
        Front and rear end of each driver [record].
    ducts : tuple of Ducts
        In the order of the topology's ducts [record].
    diaphragms : tuple of Diaphragms
        In the order of the topology's diaphragms [record].
    sites : tuple of Site
        Sites that mouths refer to by index [list].
    lining : tuple of ndarrays, each shape (n_designs,), or None
        Flow resistivity of a fibrous filling of each chamber, 0 or None for none; empty where no
        chamber has any [Pa s/m2].
    specimens : Specimens or None
        Drivers of each design, where they are not those of the rules [record].
    leak : tuple of ndarrays, each shape (n_designs,), or None
        Corner of a leakage of each chamber's own, on top of the season's; empty where no chamber has
        any [Hz].
    """

    topology: Topology
    sides: np.ndarray
    driver_ends: tuple[tuple[End, End], ...]
    ducts: tuple[Ducts, ...] = ()
    diaphragms: tuple[Diaphragms, ...] = ()
    sites: tuple[Site, ...] = ()
    lining: tuple[np.ndarray | None, ...] = ()
    specimens: Specimens | None = None
    leak: tuple[np.ndarray | None, ...] = ()

    @property
    def size(self) -> int:
        """Number of designs in the batch."""
        return int(self.sides.shape[0])

    def rows(self, rows: np.ndarray | slice) -> DesignBatch:
        """Some of the designs, by index, mask or slice along the first axis of every column."""
        return replace(
            self,
            sides=self.sides[rows],
            driver_ends=_pick(self.driver_ends, rows),
            ducts=_pick(self.ducts, rows),
            diaphragms=_pick(self.diaphragms, rows),
            lining=_pick(self.lining, rows),
            specimens=_pick(self.specimens, rows),
            leak=_pick(self.leak, rows),
        )

    def lining_of(self, chamber: int) -> np.ndarray | None:
        """Flow resistivity in a chamber, shape (n_designs,), or None [Pa s/m2]."""
        return self.lining[chamber] if self.lining else None

    def leak_of(self, chamber: int) -> np.ndarray | None:
        """Corner of a chamber's own leakage, shape (n_designs,), or None [Hz]."""
        return self.leak[chamber] if self.leak else None


def _pick(record: Any, rows: np.ndarray | slice) -> Any:
    """The same record or tuple of records with every column indexed."""
    if isinstance(record, np.ndarray):
        return record[rows]
    if isinstance(record, tuple):
        return tuple(_pick(item, rows) for item in record)
    if isinstance(record, Patch | Mouth | Ducts | Diaphragms | Specimens):
        return replace(record, **{f.name: _pick(getattr(record, f.name), rows) for f in fields(record)})
    return record
