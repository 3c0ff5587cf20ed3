"""Listening spaces as data: a half space at a distance, or a cabin with openings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfSpace:
    """Free air in front of an infinite rigid wall that holds every opening of the enclosure.

    Attributes
    ----------
    name : str
        Name of the space [text].
    weight : float
        Weight in the averaged score [1].
    distance : float
        Distance from the envelope's front centre to the microphone, along the front's normal [m].
    """

    name: str
    weight: float = 1.0
    distance: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A square aperture in a cabin's wall, such as a hatch or a door.

    Attributes
    ----------
    at : tuple of three floats
        Centre on one of the cabin's six walls [m].
    area : float
        Open area [m2].
    thickness : float
        Thickness of the wall around it [m].
    """

    at: tuple[float, float, float]
    area: float
    thickness: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cabin:
    """A rigid cuboid room with damping, leakage and openings; the enclosure stands in it.

    Attributes
    ----------
    name : str
        Name of the space [text].
    weight : float
        Weight in the averaged score [1].
    size : tuple of three floats
        Sides along x, y, z [m].
    enclosure_at : tuple of three floats
        Centre of the envelope; its depth lies along x, width along y, height along z [m].
    microphone_at : tuple of three floats
        Place of the microphone [m].
    damping : float
        Loss factor of every mode but the uniform one [1].
    leak_corner_hz : float
        Frequency below which leakage through seams empties the cabin faster than its
        compliance holds pressure; 0 for none [Hz].
    obstacle : bool
        True: the envelope stands in the cabin as a rigid block; False: an empty room of
        the volume less the envelope's [flag].
    openings : tuple of Opening
        Apertures to the open air [list].
    """

    name: str
    weight: float = 1.0
    size: tuple[float, float, float]
    enclosure_at: tuple[float, float, float]
    microphone_at: tuple[float, float, float]
    damping: float
    leak_corner_hz: float = 0.0
    obstacle: bool = True
    openings: tuple[Opening, ...] = ()


Space = HalfSpace | Cabin
