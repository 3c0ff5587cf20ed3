"""Tables and keys of a design file, with their types, units in the names, defaults and ranges."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from optimizer.checking import Table, Text

LengthMm = Annotated[float, Field(gt=0.0, le=1e5)]
AreaCm2 = Annotated[float, Field(gt=0.0, le=1e8)]
EndMm = Annotated[float, Field(ge=0.0, le=1e5)]
Lining = Annotated[float, Field(ge=0.0, le=1e7)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Bend = Annotated[list[Annotated[float, Field(ge=-1e5, le=1e5)]], Field(min_length=2, max_length=2)]
"""Where along a duct, and the correction to its length."""
Pair = Annotated[list[LengthMm], Field(min_length=2, max_length=2)]


class ChamberTable(Table):
    """``[chambers.NAME]``: inner sides, or a volume."""

    sides_mm: Annotated[list[LengthMm], Field(min_length=3, max_length=3)] | None = None
    volume_l: Annotated[float, Field(gt=0.0, le=1e9)] | None = None
    length_mm: LengthMm | None = None
    lining_pa_s_m2: Lining | None = None
    leak_corner_hz: Annotated[float, Field(ge=0.0, le=5000.0)] | None = None


class PatchTable(Table):
    """Place on a wall of a chamber, or on a face of the envelope."""

    wall: Literal["x-", "x+", "y-", "y+", "z-", "z+"]
    at_mm: Annotated[list[Annotated[float, Field(ge=-1e5, le=1e5)]], Field(min_length=2, max_length=2)]
    diameter_mm: LengthMm | None = None
    size_mm: Pair | None = None


class DriverTable(Table):
    """``[[drivers]]``: the two places of one driver."""

    front: Text
    rear: Text
    front_patch: PatchTable | None = None
    rear_patch: PatchTable | None = None
    front_at: Fraction | None = None
    rear_at: Fraction | None = None


class _EdgeTable(Table):
    name: Text | None = None
    start: Annotated[Text, Field(alias="from")]
    end: Annotated[Text, Field(alias="to")]
    from_patch: PatchTable | None = None
    to_patch: PatchTable | None = None
    from_at: Fraction | None = None
    to_at: Fraction | None = None


class DuctTable(_EdgeTable):
    """``[[ducts]]``: one duct, or several equal ones that share the area."""

    shape: Literal["round", "slot"] = "round"
    area_cm2: AreaCm2
    area_end_cm2: AreaCm2 | None = None
    profile: Literal["conical", "exponential"] | None = None
    height_mm: LengthMm | None = None
    length_mm: LengthMm
    bends_mm: list[Bend] = Field(default_factory=list, max_length=100)
    count: Annotated[int, Field(ge=1, le=100)] = 1
    from_end_mm: EndMm | None = None
    to_end_mm: EndMm | None = None
    loss_factor: Annotated[float, Field(ge=0.0, le=100.0)] = 1.0
    lining_pa_s_m2: Lining | None = None


class DiaphragmTable(_EdgeTable):
    """``[[diaphragms]]``: one passive radiator."""

    area_cm2: AreaCm2
    mass_g: Annotated[float, Field(gt=0.0, le=1e6)]
    compliance_mm_n: Annotated[float, Field(gt=0.0, le=1e6)]
    qm: Annotated[float, Field(gt=0.0, le=1e4)]
    excursion_mm: Annotated[float, Field(gt=0.0, le=1000.0)]


class DesignFile(Table):
    """The whole file."""

    topology: Text | None = None
    plan: Text | None = None
    chambers: Annotated[dict[Text, ChamberTable], Field(min_length=1)]
    drivers: Annotated[list[DriverTable], Field(min_length=1)]
    ducts: list[DuctTable] = Field(default_factory=list)
    diaphragms: list[DiaphragmTable] = Field(default_factory=list)
