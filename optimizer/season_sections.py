"""The parts of a season file that are valid by themselves, so that cross-checks run beside other faults."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter, ValidationError

from models.air import Air, humid_air
from optimizer.season_schema import (
    AirTable,
    CabinTable,
    DriverOptionTable,
    DriverTable,
    EnvelopeTable,
    HalfSpaceTable,
    SearchTable,
    SpaceTable,
    ToneTable,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sections:
    """Valid parts; None or left out where a part has faults of its own.

    Attributes
    ----------
    driver, envelope, air, search : table or None
        Tables of those names [record].
    tones, spaces, options : dict
        Valid elements by their index in the file [record].
    """

    driver: DriverTable | None
    envelope: EnvelopeTable | None
    air: AirTable | None
    search: SearchTable | None
    tones: dict[int, ToneTable]
    spaces: dict[int, CabinTable | HalfSpaceTable]
    options: dict[int, DriverOptionTable]

    @classmethod
    def of(cls, data: dict[str, Any]) -> Sections:
        """Valid parts of plain data."""
        return cls(
            driver=_valid(DriverTable, data.get("driver")),
            envelope=_valid(EnvelopeTable, data.get("envelope")),
            air=_valid(AirTable, data.get("air", {})),
            search=_valid(SearchTable, data.get("search", {})),
            tones=_valid_elements(ToneTable, data.get("tones")),
            spaces=_valid_elements(SpaceTable, data.get("spaces")),
            options=_valid_elements(DriverOptionTable, data.get("driver_options")),
        )

    def gas(self) -> Air:
        """Air of the season; the default where its table has faults."""
        return humid_air(**(self.air or AirTable()).model_dump())


def _valid(schema: Any, value: Any) -> Any:
    try:
        return TypeAdapter(schema).validate_python(value)
    except ValidationError:
        return None


def _valid_elements(schema: Any, values: Any) -> dict[int, Any]:
    found = {i: _valid(schema, v) for i, v in enumerate(values)} if isinstance(values, list) else {}
    return {i: table for i, table in found.items() if table is not None}
