"""Tables and keys of a season file, with their types, units in the names, defaults and ranges."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from optimizer.checking import Table, Text, in_short

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
LengthMm = Annotated[float, Field(gt=0.0, le=1e5)]
PlaceMm = Annotated[float, Field(ge=-1e6, le=1e6)]
Point = Annotated[list[PlaceMm], Field(min_length=3, max_length=3)]
Percent = Annotated[float, Field(ge=0.0, le=30.0)]
ToneHz = Annotated[float, Field(ge=5.0, le=5000.0)]


def _name_or_names(value: Any) -> Any:
    if isinstance(value, str) or (isinstance(value, list) and all(isinstance(one, str) for one in value)):
        return value
    raise ValueError(f'must be "all", "named", or a list of names or graph ids, is {in_short(value)}')


Topologies = Annotated[Any, AfterValidator(_name_or_names)]

OBJECTIVES = ("output", "worst_tone", "evenness", "material", "outer_volume", "tolerance")
"""Objectives by name."""

DEFAULT_OBJECTIVES = ("output", "evenness", "material")


class SeasonTable(Table):
    """``[season]``: name and scale of the model league."""

    name: Text
    scale: Annotated[float, Field(gt=0.0, le=1000.0)] = 1.0


class DriverOptionTable(Table):
    """``[[driver_options]]``: a driver that the season could have instead."""

    file: Text | None = None
    name: Text = "driver"
    fs_hz: float | None = None
    qms: float | None = None
    qes: float | None = None
    qts: float | None = None
    vas_l: float | None = None
    re_ohm: float | None = None
    sd_cm2: float | None = None
    diameter_mm: float | None = None
    mms_g: float | None = None
    cms_mm_n: float | None = None
    rms_kg_s: float | None = None
    bl_tm: float | None = None
    eta0_percent: float | None = None
    le_mh: float | None = None
    coil_k: float | None = None
    coil_n: float | None = None
    nominal_ohm: float | None = None
    displaced_cm3: float | None = None
    cutout_mm: float | None = None
    frame_mm: float | None = None
    depth_mm: float | None = None
    thermal_k_w: float | None = None
    coil_temperature_max_c: float | None = None


class DriverTable(DriverOptionTable):
    """``[driver]``: Thiele-Small data in any sufficient combination, and the sizes of the part."""

    count: Annotated[int, Field(ge=1, le=8)] = 1
    wiring: Literal["parallel", "series"] = "parallel"


class EnvelopeTable(Table):
    """``[envelope]``: outer sizes and wall thickness."""

    width_mm: LengthMm
    height_mm: LengthMm
    depth_mm: LengthMm
    wall_mm: LengthMm


class LimitsTable(Table):
    """``[limits]``: largest permitted values."""

    power_w: Annotated[float, Field(gt=0.0, le=1e6)]
    power_kind: Literal["real", "apparent", "nominal"] = "real"
    excursion_mm: Annotated[float, Field(gt=0.0, le=1000.0)]
    air_speed_m_s: Annotated[float, Field(gt=0.0, le=300.0)] | None = None
    amplifier_v: Annotated[float, Field(gt=0.0, le=1e5)] | None = None
    amplifier_a: Annotated[float, Field(gt=0.0, le=1e5)] | None = None
    drive: Literal["per_tone", "per_space", "common"] = "per_tone"


class ToneTable(Table):
    """``[[tones]]``: one test tone."""

    hz: ToneHz
    weight: NotNegative = 1.0


class OpeningTable(Table):
    """``[[spaces.openings]]``: a square aperture in a cabin's wall."""

    at_mm: Point
    area_cm2: Annotated[float, Field(gt=0.0, le=1e8)]
    thickness_mm: Annotated[float, Field(ge=0.0, le=1e5)] = 0.0


class CabinTable(Table):
    """``[[spaces]]`` with ``kind = "cabin"``."""

    name: Text
    kind: Literal["cabin"]
    weight: NotNegative = 1.0
    size_mm: Annotated[list[LengthMm], Field(min_length=3, max_length=3)]
    enclosure_at_mm: Point
    microphone_at_mm: Point
    damping: Annotated[float, Field(gt=0.0, le=1.0)]
    leak_corner_hz: Annotated[float, Field(ge=0.0, le=5000.0)] = 0.0
    obstacle: bool = True
    openings: list[OpeningTable] = Field(default_factory=list)


class HalfSpaceTable(Table):
    """``[[spaces]]`` with ``kind = "half_space"``."""

    name: Text
    kind: Literal["half_space"]
    weight: NotNegative = 1.0
    distance_m: Annotated[float, Field(gt=0.0, le=1e4)] = 1.0


SpaceTable = Annotated[CabinTable | HalfSpaceTable, Field(discriminator="kind")]


class AirTable(Table):
    """``[air]``: state of the gas; the ranges are those of :func:`models.air.humid_air`."""

    temperature_c: Annotated[float, Field(ge=-10.0, le=50.0)] = 20.0
    pressure_kpa: Annotated[float, Field(ge=50.0, le=120.0)] = 101.325
    humidity_percent: Annotated[float, Field(ge=0.0, le=100.0)] = 50.0


class PhysicsTable(Table):
    """``[physics]``: switches of the model."""

    chambers: Literal["room", "line", "lump"] = "room"
    wall_losses: bool = True
    duct_end_loss: bool = True
    radiation: bool = True
    leak_corner_hz: Annotated[float, Field(ge=0.0, le=5000.0)] = 0.0


class ScoreTable(Table):
    """``[score]``: how the tones of a space are averaged."""

    mean: Literal["level", "energy", "worst"] = "level"


class SearchTable(Table):
    """``[search]``: what is searched, for which objectives, and how hard."""

    topologies: Topologies = "all"
    max_chambers: Annotated[int, Field(ge=1, le=6)] = 3
    max_ducts: Annotated[int, Field(ge=0, le=10)] = 4
    max_diaphragms: Annotated[int, Field(ge=0, le=2)] = 0
    objectives: list[str] = Field(min_length=1, default_factory=lambda: list(DEFAULT_OBJECTIVES))
    candidates: Annotated[int, Field(ge=1, le=1000)] = 8
    seed: Annotated[int, Field(ge=0, le=2**63 - 1)] = 1
    effort: Literal["quick", "normal", "thorough"] = "normal"
    duct_shape: Literal["round", "slot"] = "round"
    duct_profile: Literal["uniform", "conical", "exponential"] = "uniform"
    plans: bool = True


class PrinterTable(Table):
    """``[printer]``: the printer that entries are made on."""

    bed_mm: Annotated[list[LengthMm], Field(min_length=3, max_length=3)] = Field(
        default_factory=lambda: [256.0, 256.0, 256.0]
    )
    nozzle_mm: Annotated[float, Field(gt=0.0, le=5.0)] = 0.4
    bridge_mm: Annotated[float, Field(ge=0.0, le=1000.0)] = 50.0
    density_g_cm3: Annotated[float, Field(gt=0.0, le=25.0)] = 1.24


class TolerancesTable(Table):
    """``[tolerances]``: standard deviations of print, driver, leakage and temperature."""

    duct_section_mm: Annotated[float, Field(ge=0.0, le=5.0)] = 0.2
    duct_length_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 0.5
    chamber_side_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 0.3
    compliance_percent: Percent = 10.0
    moving_mass_percent: Percent = 3.0
    force_factor_percent: Percent = 3.0
    coil_resistance_percent: Percent = 3.0
    leak_corner_hz: Annotated[float, Field(ge=0.0, le=500.0)] = 5.0
    temperature_c: Annotated[float, Field(ge=0.0, le=15.0)] = 3.0


class SeasonFile(Table):
    """The whole file."""

    season: SeasonTable
    driver: DriverTable
    envelope: EnvelopeTable
    limits: LimitsTable
    tones: Annotated[list[ToneTable], Field(min_length=1)]
    spaces: Annotated[list[SpaceTable], Field(min_length=1)]
    air: AirTable = AirTable()
    physics: PhysicsTable = PhysicsTable()
    score: ScoreTable = ScoreTable()
    search: SearchTable = SearchTable()
    printer: PrinterTable | None = None
    tolerances: TolerancesTable | None = None
    driver_options: list[DriverOptionTable] | None = None
