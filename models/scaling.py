"""Designs and rules enlarged: all lengths times n, all frequencies over n, in the same gas.

The equations of lossless acoustics hold no length of their own, so that pressures and speeds stay when
lengths and periods grow alike: Mach number u/c, Strouhal number omega r/u and wavenumber times length are
the same. From equal pressures and speeds follows everything else:

- volume velocity and force grow as areas, n^2, so power, which is pressure times volume velocity, as n^2;
- excursion is speed over frequency and grows as n;
- with the same resistance of the coil, voltage and current are roots of power over and times resistance
  and grow as n; the force factor, force over current, as n;
- a moving mass grows as n^3, a compliance as 1/n, a mechanical resistance as n^2, an inductance as n:
  their reactances then keep their ratio to the air's, and Qs stay;
- a coil that loses power as n^2 at the same temperature has a thermal resistance of 1/n^2, as from surfaces
  that shed equal heat from each square metre.

So Sd grows as n^2, Vas as n^3, fs falls as 1/n, and Qms, Qes and Re are the same. A limit of power grows
as n^2, of excursion as n, of voltage and current as n, of air speed not at all.

Sources: dimensional analysis, E. Buckingham, "On physically similar systems", Phys. Rev. 4, 345-376 (1914)
(from memory); M. Almgren, J. Sound Vib. 105(2), 321-337 (1986) for what does not scale (read). That nothing
else is missing is tested on every graph (``tests/models/test_scaling.py``).
"""

from __future__ import annotations

from dataclasses import fields, replace

from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth, Patch
from models.driver import Driver
from models.envelope import Envelope, Site
from models.rules import Rules
from models.spaces import HalfSpace, Space

Ends = tuple[End, End]


def enlarged_batch(batch: DesignBatch, n: float) -> DesignBatch:
    """Designs with all lengths times n; the flow resistivity of a filling and the corner of a leak over n.

    Parameters
    ----------
    batch : DesignBatch
        Designs [record].
    n : float
        New lengths over old ones [1].

    Returns
    -------
    DesignBatch
        The enlarged designs [record].
    """
    return replace(
        batch,
        sides=batch.sides * n,
        driver_ends=tuple(_ends(pair, n) for pair in batch.driver_ends),
        ducts=tuple(_duct(duct, n) for duct in batch.ducts),
        diaphragms=tuple(_diaphragm(one, n) for one in batch.diaphragms),
        sites=tuple(Site(site.wall, (site.at[0] * n, site.at[1] * n)) for site in batch.sites),
        lining=tuple(None if one is None else one / n for one in batch.lining),
        leak=tuple(None if one is None else one / n for one in batch.leak),
    )


def enlarged_driver(driver: Driver, n: float) -> Driver:
    """Driver that does in the enlarged box what the given one does in the small one.

    Parameters
    ----------
    driver : Driver
        A driver [record].
    n : float
        New lengths over old ones [1].

    Returns
    -------
    Driver
        The enlarged driver, of the same name [record].
    """
    return replace(
        driver,
        area=driver.area * n**2,
        mass=driver.mass * n**3,
        compliance=driver.compliance / n,
        resistance_mechanical=driver.resistance_mechanical * n**2,
        force_factor=driver.force_factor * n,
        coil_inductance=driver.coil_inductance * n,
        coil_loss_k=driver.coil_loss_k * n**driver.coil_loss_n,
        displaced_volume=driver.displaced_volume * n**3,
        cutout=driver.cutout * n,
        frame=driver.frame * n,
        depth=driver.depth * n,
        thermal_resistance=None if driver.thermal_resistance is None else driver.thermal_resistance / n**2,
    )


def enlarged_rules(rules: Rules, n: float) -> Rules:
    """Rules with lengths times n and frequencies over n: driver, envelope, limits, tones, spaces.

    Parameters
    ----------
    rules : Rules
        A season's rules [record].
    n : float
        New lengths over old ones [1].

    Returns
    -------
    Rules
        The enlarged rules; the air is the same [record].
    """
    limits, outer = rules.limits, rules.envelope
    return replace(
        rules,
        driver=enlarged_driver(rules.driver, n),
        envelope=Envelope(**{f.name: getattr(outer, f.name) * n for f in fields(outer)}),
        limits=replace(
            limits,
            power=limits.power * n**2,
            excursion=limits.excursion * n,
            voltage=None if limits.voltage is None else limits.voltage * n,
            current=None if limits.current is None else limits.current * n,
        ),
        tones_hz=rules.tones_hz / n,
        spaces=tuple(_space(space, n) for space in rules.spaces),
        physics=replace(rules.physics, leak_corner_hz=rules.physics.leak_corner_hz / n),
    )


def _end(end: End, n: float) -> End:
    return end if isinstance(end, Mouth) else Patch(wall=end.wall, centre=end.centre * n, half=end.half * n)


def _ends(ends: Ends, n: float) -> Ends:
    return _end(ends[0], n), _end(ends[1], n)


def _duct(duct: Ducts, n: float) -> Ducts:
    first, second = duct.end_lengths
    return replace(
        duct,
        ends=_ends(duct.ends, n),
        area=duct.area * n**2,
        length=duct.length * n,
        slot_height=None if duct.slot_height is None else duct.slot_height * n,
        end_lengths=(None if first is None else first * n, None if second is None else second * n),
        area_end=None if duct.area_end is None else duct.area_end * n**2,
        bends=tuple((at * n, by * n) for at, by in duct.bends),
        lining=None if duct.lining is None else duct.lining / n,
    )


def _diaphragm(one: Diaphragms, n: float) -> Diaphragms:
    return replace(
        one,
        ends=_ends(one.ends, n),
        area=one.area * n**2,
        mass=one.mass * n**3,
        compliance=one.compliance / n,
        excursion_limit=one.excursion_limit * n,
    )


def _space(space: Space, n: float) -> Space:
    if isinstance(space, HalfSpace):
        return replace(space, distance=space.distance * n)
    x, y, z = space.size
    return replace(
        space,
        size=(x * n, y * n, z * n),
        enclosure_at=_point(space.enclosure_at, n),
        microphone_at=_point(space.microphone_at, n),
        leak_corner_hz=space.leak_corner_hz / n,
        openings=tuple(
            replace(o, at=_point(o.at, n), area=o.area * n**2, thickness=o.thickness * n)
            for o in space.openings
        ),
    )


def _point(at: tuple[float, float, float], n: float) -> tuple[float, float, float]:
    return at[0] * n, at[1] * n, at[2] * n
