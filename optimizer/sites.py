"""Sites on the envelope that a search may give to driver faces and duct mouths."""

from __future__ import annotations

import numpy as np

from models.envelope import WALLS, Site, front_centre, in_plane_axes, wall_axis
from models.rules import Rules
from models.spaces import Cabin

FRACTIONS = (0.22, 0.5, 0.78)
"""Places along each side of a face."""

CLEARANCE_SHARE = 0.1
"""Free depth that a face needs before it in every cabin, as a share of the envelope's smallest side."""


def search_sites(rules: Rules) -> tuple[Site, ...]:
    """Sites on every face that is free, the front's centre first.

    The base stands on the floor; a face nearer to a cabin's wall than the clearance is not free.

    Parameters
    ----------
    rules : Rules
        Envelope and spaces [record].

    Returns
    -------
    tuple of Site
        Nine places a face [list].
    """
    envelope = rules.envelope
    sites = [front_centre(envelope)]
    for wall in WALLS:
        if wall == "z-" or not _free(rules, wall):
            continue
        sides = envelope.outer_sides[list(in_plane_axes(wall))]
        for u in FRACTIONS:
            for v in FRACTIONS:
                site = Site(wall, (float(u * sides[0]), float(v * sides[1])))
                if site not in sites:
                    sites.append(site)
    return tuple(sites)


def _free(rules: Rules, wall: str) -> bool:
    need = CLEARANCE_SHARE * float(np.min(rules.envelope.outer_sides))
    axis = wall_axis(wall)
    half = 0.5 * rules.envelope.outer_sides[axis]
    for space in rules.spaces:
        if isinstance(space, Cabin):
            centre = space.enclosure_at[axis]
            gap = space.size[axis] - centre - half if wall[1] == "+" else centre - half
            if gap < need:
                return False
    return True
