"""Requests about sites."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from modelling.contracts.requests import (
    LEAST_AREA_M2,
    MAX_AREA_M2,
    Interest,
    Kind,
    LastUse,
    Shade,
    Sward,
    Wetness,
    read_tuple,
)
from projects.contracts.base import Day, Identifier, LongNote, Name, Note, Phrase, Pounds, Strict, refused

Publicity = Literal["exact", "square_100_m", "square_1_km", "square_2_km", "square_10_km", "private"]
AreaM2 = Annotated[float, Field(ge=LEAST_AREA_M2, le=MAX_AREA_M2)]
MOST_RESIDENTS = 300
MOST_ZONES = 40
Residents = Annotated[tuple[Name, ...], Field(max_length=MOST_RESIDENTS, strict=False)]
Interests = Annotated[
    tuple[Interest, ...], BeforeValidator(read_tuple, json_schema_input_type=Interest | tuple[Interest, ...])
]


class Place(Strict):
    """Where a site lies, told in one of four ways."""

    grid_reference: Annotated[str, Field(max_length=200)] | None = None
    """Of the British National Grid, such as TG 514 131."""
    latitude: float | None = None
    """Degrees north, WGS84."""
    longitude: float | None = None
    """Degrees east, WGS84; west is negative."""
    outline: dict[str, Any] | None = None
    """GeoJSON Polygon (RFC 7946), longitude before latitude."""
    village_id: Identifier | None = None
    """Only the village: the place is then known to the kilometre."""

    @model_validator(mode="after")
    def _one(self) -> Place:
        if (self.latitude is None) != (self.longitude is None):
            raise refused("contradiction", "Latitude and longitude go together.", "both, or neither")
        ways = [self.grid_reference, self.latitude, self.outline, self.village_id]
        if sum(way is not None for way in ways) != 1:
            raise refused(
                "contradiction",
                "Tell the place in one way: grid_reference, or latitude and longitude, or outline, or village_id.",
                "one of the four",
            )
        return self


class Zone(Strict):
    """A part of the site that is treated as one."""

    name: Annotated[Name, Field(max_length=40)]
    area_m2: AreaM2
    sward: Sward | None = None
    note: Note = ""


class SiteFacts(Strict):
    """What may be said about a site and left out."""

    net_area_m2: AreaM2 | None = None
    """Area to become meadow, m2."""
    gate_width_m: Annotated[float, Field(ge=0.01, le=30)] | None = None
    """Narrowest point on the way in, m."""
    access_note: Note = ""
    slope_degrees: Annotated[float, Field(ge=0, le=60)] | None = None
    wetness: Wetness | None = None
    shade: Shade | None = None
    sward: Sward | None = None
    """What grows there now."""
    last_use: LastUse | None = None
    """What the ground was used for last."""
    resident_species_per_m2: Annotated[float, Field(ge=0, le=60)] | None = None
    standing_crop_g_per_m2: Annotated[float, Field(ge=10, le=2000)] | None = None
    existing_interest: Interests = ()
    resident_species: Residents = ()
    """Plants already there, by any name."""
    distance_to_flower_rich_m: Annotated[float, Field(ge=0, le=100_000)] | None = None
    """Distance to the nearest flower-rich grassland, m; left out, the network's own meadows are looked at."""
    zones: Annotated[tuple[Zone, ...], Field(max_length=MOST_ZONES, strict=False)] = ()


class SiteNew(SiteFacts):
    """A site to be registered."""

    group_id: Identifier
    name: Name
    kind: Kind
    place: Place
    area_m2: AreaM2 | None = None
    """Whole area, m2; may be left out where an outline is given."""
    district_id: Identifier | None = None
    publicity: Publicity = "square_1_km"
    """How precisely everybody may see where it is."""


class SiteChange(SiteFacts):
    """What is to be changed of a site; what is left out stays as it is."""

    name: Name = ""
    kind: Kind = "field"
    place: Place | None = None
    area_m2: AreaM2 = 1.0
    district_id: Identifier | None = None
    publicity: Publicity = "square_1_km"


class SoilTestNew(Strict):
    """What was found in the soil."""

    taken_on: Day
    olsen_p_mg_per_l: Annotated[float, Field(ge=0, le=1000)] | None = None
    """Olsen P, mg/l."""
    soil_p_index: Annotated[int, Field(ge=0, le=9)] | None = None
    soil_ph: Annotated[float, Field(ge=3, le=10)] | None = None
    laboratory: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _something(self) -> SoilTestNew:
        if self.olsen_p_mg_per_l is None and self.soil_p_index is None and self.soil_ph is None:
            raise refused(
                "missing", "Say what was found: the phosphorus, its index or the pH.", "at least one of the three"
            )
        return self


class OtherFundingNew(Strict):
    """Money from elsewhere for the same ground."""

    funder: Name
    what_for: Phrase
    amount_gbp: Pounds | None = None
    starts_on: Day | None = None
    ends_on: Day | None = None

    @model_validator(mode="after")
    def _in_order(self) -> OtherFundingNew:
        if self.starts_on and self.ends_on and self.ends_on < self.starts_on:
            raise refused("contradiction", "It ends before it starts.", "ends_on on or after starts_on")
        return self


class PermissionChange(Strict):
    """What has come of a permission; what is left out stays as it is."""

    need: Literal["unknown", "needed", "not_needed"] = "unknown"
    state: Literal["not_asked", "asked", "given", "refused"] = "not_asked"
    asked_on: Day | None = None
    answered_on: Day | None = None
    expires_on: Day | None = None
    signed_by: Annotated[Note, Field(max_length=120)] = ""
    """The office, such as churchwarden or estate office."""
    reference: Annotated[Note, Field(max_length=120)] = ""
    note: LongNote = ""


class PermissionNew(PermissionChange):
    """A permission that the kind of place does not call for by itself."""

    label: Phrase
