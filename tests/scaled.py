"""Designs and rules with all lengths over n and all frequencies times n."""

from __future__ import annotations

from dataclasses import fields, replace

from models.design import DesignBatch, Diaphragms, Ducts, End, Mouth, Patch
from models.envelope import Envelope, Site
from models.rules import Rules
from models.spaces import HalfSpace


def scaled_end(end: End, n: float) -> End:
    """An end with all lengths over n."""
    return end if isinstance(end, Mouth) else Patch(wall=end.wall, centre=end.centre / n, half=end.half / n)


def scaled_ends(ends: tuple[End, End], n: float) -> tuple[End, End]:
    """Both ends with all lengths over n."""
    return scaled_end(ends[0], n), scaled_end(ends[1], n)


def scaled_duct(duct: Ducts, n: float) -> Ducts:
    """A duct with all lengths over n."""
    return replace(
        duct,
        ends=scaled_ends(duct.ends, n),
        area=duct.area / n**2,
        length=duct.length / n,
        slot_height=None if duct.slot_height is None else duct.slot_height / n,
        area_end=None if duct.area_end is None else duct.area_end / n**2,
        lining=None if duct.lining is None else duct.lining * n,
    )


def scaled_diaphragm(one: Diaphragms, n: float) -> Diaphragms:
    """A diaphragm whose mechanics scale as the air's: impedance as area, time as length."""
    return replace(
        one,
        ends=scaled_ends(one.ends, n),
        area=one.area / n**2,
        mass=one.mass / n**3,
        compliance=one.compliance * n,
        excursion_limit=one.excursion_limit / n,
    )


def scaled_batch(batch: DesignBatch, n: float) -> DesignBatch:
    """Designs with all lengths over n."""
    return replace(
        batch,
        sides=batch.sides / n,
        driver_ends=tuple(scaled_ends(pair, n) for pair in batch.driver_ends),
        ducts=tuple(scaled_duct(duct, n) for duct in batch.ducts),
        diaphragms=tuple(scaled_diaphragm(one, n) for one in batch.diaphragms),
        sites=tuple(Site(site.wall, (site.at[0] / n, site.at[1] / n)) for site in batch.sites),
        lining=tuple(None if one is None else one * n for one in batch.lining),
        leak=tuple(None if one is None else one * n for one in batch.leak),
    )


def scaled_rules(full: Rules, n: float) -> Rules:
    """Rules with all lengths over n and frequencies times n: driver, envelope, limits, tones, microphone."""
    driver, limits = full.driver, full.limits
    small_driver = replace(
        driver,
        area=driver.area / n**2,
        mass=driver.mass / n**3,
        compliance=driver.compliance * n,
        resistance_mechanical=driver.resistance_mechanical / n**2,
        force_factor=driver.force_factor / n,
        coil_inductance=driver.coil_inductance / n,
        displaced_volume=driver.displaced_volume / n**3,
    )
    return replace(
        full,
        driver=small_driver,
        envelope=Envelope(**{f.name: getattr(full.envelope, f.name) / n for f in fields(full.envelope)}),
        limits=replace(limits, power=limits.power / n**2, excursion=limits.excursion / n),
        tones_hz=full.tones_hz * n,
        spaces=(HalfSpace(name="half space", distance=1.0 / n),),
        physics=replace(full.physics, leak_corner_hz=full.physics.leak_corner_hz * n),
    )
