"""Forms about ground: registering and changing a site, soil tests, other money, permissions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, ClassVar, Final

import orjson
from django import forms
from django.forms.boundfield import BoundField

from modelling.errors import FieldError
from modelling.selectors import vocabularies
from projects.choices import Need, PermissionState, Publicity
from projects.contracts.base import Strict
from projects.contracts.sites import (
    MOST_RESIDENTS,
    MOST_ZONES,
    OtherFundingNew,
    PermissionChange,
    PermissionNew,
    SiteChange,
    SiteNew,
    SoilTestNew,
)
from projects.dashboard.forms.base import ServiceForm, put, sent, typed
from projects.dashboard.forms.fields import METRES, POUNDS, SQUARE_METRES, Amount, Day, Pick, Radios, Several
from projects.dashboard.words import day
from projects.models import District, Group, OtherFunding, Permission, Site, SiteZone, Village

DM2_PER_M2: Final = 100
CM_PER_M: Final = 100
SPARE_ZONES: Final = 2
LONGEST_OUTLINE: Final = 60_000
PLACE: Final = ("grid_reference", "latitude", "longitude", "outline", "village_id")
FACTS: Final = (
    "net_area_m2", "sward", "last_use", "wetness", "shade", "slope_degrees", "gate_width_m", "access_note",
    "resident_species_per_m2", "standing_crop_g_per_m2", "distance_to_flower_rich_m", "existing_interest",
    "resident_species",
)  # fmt: skip
_VALUES: Final = ("name", "kind", "area_m2", "district_id", "publicity", *FACTS)
#: what each word lets others see, in full
SEEN: Final = {
    Publicity.EXACT: "The place itself: everybody sees where it is, with its outline if you gave one",
    Publicity.SQUARE_100_M: "A square of 100 m: everybody sees which corner of the village",
    Publicity.SQUARE_1_KM: "A square of 1 km: everybody sees which village",
    Publicity.SQUARE_2_KM: "A square of 2 km",
    Publicity.SQUARE_10_KM: "A square of 10 km: everybody sees which part of the county",
    Publicity.PRIVATE: "Not at all: only your group and the network’s coordinators know that it exists",
}
USUAL: Final = "As usual: a square of 1 km, but a garden not at all"


def choices_of(name: str) -> list[tuple[str, str]]:
    """Words of one of the model's vocabularies."""
    return [(item["key"], item["label"]) for item in vocabularies()[name]]


def label_of(vocabulary: str, key: str) -> str:
    """What a word of a vocabulary is called."""
    return dict(choices_of(vocabulary)).get(key, key.replace("_", " "))


class Json(forms.CharField):
    """GeoJSON as text: a Polygon, or a Feature that holds one."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("max_length", LONGEST_OUTLINE)
        options.setdefault("widget", forms.Textarea(attrs={"rows": 3, "spellcheck": "false"}))
        super().__init__(**options)

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value) or ""
        if not text:
            return None
        try:
            found = orjson.loads(text)
        except orjson.JSONDecodeError as error:
            raise forms.ValidationError(
                f"This is not GeoJSON: {error.msg}. A polygon begins with {{“type”: “Polygon”, “coordinates”: …}}."
            ) from error
        if not isinstance(found, dict):
            raise forms.ValidationError("This is JSON, but no GeoJSON polygon.")
        return found

    def validate(self, value: Any) -> None:
        """Nothing beyond what was read."""

    def run_validators(self, value: Any) -> None:
        """The length was limited by the request."""


class Lines(forms.CharField):
    """A list, one to a line or set off by commas."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("widget", forms.Textarea(attrs={"rows": 4}))
        super().__init__(**options)

    def to_python(self, value: Any) -> Any:
        if isinstance(value, list):
            return value
        text = super().to_python(value) or ""
        return [word.strip() for line in text.splitlines() for word in line.split(",") if word.strip()]

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(value) if isinstance(value, list) else value

    def validate(self, value: Any) -> None:
        """Nothing beyond what was read."""

    def run_validators(self, value: Any) -> None:
        """The contract counts."""


class SiteForm(ServiceForm):
    """A site to be registered."""

    contract: ClassVar[type[Strict]] = SiteNew
    pointers = {name: f"/{name}" for name in _VALUES} | {name: f"/place/{name}" for name in PLACE}

    def __init__(self, *args: Any, group: Group, districts: Iterable[District], villages: Iterable[Village], **kw: Any):
        self.group = group
        super().__init__(*args, **kw)
        self.zone_rows = self._rows()
        self.fields.update(_fields(districts, villages, new=not self.only_changes))
        for i in range(1, self.zone_rows + 1):
            self.fields[f"zone_{i}"] = forms.CharField(required=False, max_length=40, label=f"Zone {i}")
            self.fields[f"zone_{i}_m2"] = Amount(SQUARE_METRES, label=f"Area of zone {i}, m²")
            self.fields[f"zone_{i}_sward"] = Pick(choices_of("sward"), label=f"What grows in zone {i}")
            self.fields[f"zone_{i}_note"] = forms.CharField(required=False, max_length=300, label=f"Note on zone {i}")
        self.extra_pointers = {"/place": "grid_reference", "/zones": "zone_1"}

    def _rows(self) -> int:
        said = self.data if self.is_bound else self.initial
        used = [i for i in range(1, MOST_ZONES + 1) if said.get(f"zone_{i}") or said.get(f"zone_{i}_m2")]
        return min(max(used, default=0) + SPARE_ZONES, MOST_ZONES)

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = self.cleaned_data
        for i in range(1, self.zone_rows + 1):
            name, area = said.get(f"zone_{i}"), said.get(f"zone_{i}_m2")
            if name and area is None and f"zone_{i}_m2" not in self.errors:
                self.add_error(f"zone_{i}_m2", "Say how big it is.")
            if area is not None and not name and f"zone_{i}" not in self.errors:
                self.add_error(f"zone_{i}", "Give it a name, such as “by the gate”.")
        return said

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        if not self.only_changes:
            data["group_id"] = str(self.group.public_id)
            if "publicity" not in data:
                data["publicity"] = Publicity.PRIVATE if data.get("kind") == "garden" else Publicity.SQUARE_1_KM
        zones: list[dict[str, Any]] = []
        for i in range(1, self.zone_rows + 1):
            if self.cleaned_data.get(f"zone_{i}"):
                at = f"/zones/{len(zones)}"
                self.extra_pointers |= {
                    at: f"zone_{i}",
                    f"{at}/area_m2": f"zone_{i}_m2",
                    f"{at}/note": f"zone_{i}_note",
                }
                row = {
                    "name": self.cleaned_data[f"zone_{i}"],
                    "area_m2": self.cleaned_data.get(f"zone_{i}_m2"),
                    "sward": sent(self.cleaned_data.get(f"zone_{i}_sward")),
                    "note": self.cleaned_data.get(f"zone_{i}_note") or "",
                }
                zones.append({name: value for name, value in row.items() if value is not None})
        if not self.only_changes or self._zones_changed():
            put(data, "/zones", zones)
        return data

    def _zones_changed(self) -> bool:
        names = [name for name in self.fields if name.startswith("zone_")]
        return any(self.was_changed(name) for name in names)

    def add_refusals(self, refusals: Iterable[FieldError]) -> None:
        """Put half a latitude and longitude beside the latitude, and a place told twice or not at all first."""
        mended = [
            replace(refusal, pointer="/place/latitude")
            if refusal.pointer == "/place" and refusal.detail.startswith("Latitude")
            else refusal
            for refusal in refusals
        ]
        super().add_refusals(mended)

    def said(self, refusal: FieldError, name: str | None) -> str:
        if refusal.pointer != "/place":
            return super().said(refusal, name)
        told = sum(
            bool(self.cleaned_data.get(field)) for field in ("grid_reference", "latitude", "outline", "village_id")
        )
        if told > 1:
            return "The place is told in more than one way; keep one and empty the others."
        return "Say where it is, in one way: a grid reference, the village, latitude and longitude, or an outline."

    # ------------------------------------------------------------ what is shown

    @property
    def first(self) -> Iterator[BoundField]:
        return self.shown("name", "kind", "area_m2")

    @property
    def place(self) -> Iterator[BoundField]:
        return self.shown("grid_reference", "village_id", "latitude", "longitude", "outline")

    @property
    def facts(self) -> Iterator[BoundField]:
        return self.shown("district_id", *FACTS)

    @property
    def facts_open(self) -> bool:
        return self.filled(*FACTS)

    @property
    def zones(self) -> list[Sequence[BoundField]]:
        return [
            [self[f"zone_{i}"], self[f"zone_{i}_m2"], self[f"zone_{i}_sward"], self[f"zone_{i}_note"]]
            for i in range(1, self.zone_rows + 1)
        ]

    @property
    def zones_open(self) -> bool:
        return self.filled(*(name for name in self.fields if name.startswith("zone_")))


class SiteChangeForm(SiteForm):
    """What is to be changed of a site; an empty place stays the place it has."""

    contract = SiteChange
    only_changes = True

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        place = {name: value for name, value in data.pop("place", {}).items() if value is not None}
        if place:
            data["place"] = place
        # an emptied text is an empty text; of a number it means that it is not known
        for name in ("access_note", "name"):
            if name in data and data[name] is None:
                data[name] = ""
        for name in ("kind", "area_m2", "publicity"):
            if name in data and data[name] is None:
                del data[name]
        return data


def site_initial(site: Site, zones: Sequence[SiteZone]) -> dict[str, Any]:
    """What the form of a site is filled in with."""
    known: dict[str, Any] = {
        "version": site.version,
        "name": site.name,
        "kind": site.kind,
        "area_m2": typed(site.area_dm2 / DM2_PER_M2),
        "net_area_m2": typed(None if site.net_area_dm2 is None else site.net_area_dm2 / DM2_PER_M2),
        "district_id": str(site.district.public_id) if site.district else "",
        "publicity": site.publicity,
        "gate_width_m": typed(None if site.gate_width_cm is None else site.gate_width_cm / CM_PER_M),
        "existing_interest": list(site.existing_interest),
        "resident_species": list(site.resident_species),
    }
    for name in ("sward", "last_use", "wetness", "shade", "access_note"):
        known[name] = getattr(site, name)
    for name in ("slope_degrees", "resident_species_per_m2", "standing_crop_g_per_m2", "distance_to_flower_rich_m"):
        known[name] = typed(getattr(site, name))
    for i, zone in enumerate(zones, 1):
        known |= {
            f"zone_{i}": zone.name,
            f"zone_{i}_m2": typed(zone.area_dm2 / DM2_PER_M2),
            f"zone_{i}_sward": zone.sward,
            f"zone_{i}_note": zone.note,
        }
    return known


def _fields(districts: Iterable[District], villages: Iterable[Village], *, new: bool) -> dict[str, forms.Field]:
    seen = [(key.value, label) for key, label in SEEN.items()]
    publicity: forms.Field = (
        Pick(seen, blank=USUAL, radio=True, label="What may others see of where it is?")
        if new
        else forms.ChoiceField(choices=seen, widget=Radios, label="What may others see of where it is?")
    )
    return {
        "name": forms.CharField(
            label="What do you call it?",
            max_length=120,
            error_messages={"required": "Give it a name, such as Churchyard or Long Paddock."},
            help_text="Unless the site is private, everybody sees this name: no house numbers, no people’s names.",
        ),
        "kind": forms.ChoiceField(
            choices=[("", "Choose"), *choices_of("kind")],
            label="What kind of place is it?",
            error_messages={"required": "Choose one; it decides whose permission to ask."},
        ),
        "area_m2": Amount(
            SQUARE_METRES,
            label="How big is it?",
            help_text="In square metres, such as 180, or with its unit, such as 2 ha. An outline tells it too.",
        ),
        "grid_reference": forms.CharField(
            required=False, max_length=200, label="Grid reference", help_text="Such as TA 9812 3507."
        ),
        "village_id": Pick([(str(v.public_id), v.name) for v in villages], blank="–", label="or only the village"),
        "latitude": Amount(label="or latitude", help_text="Degrees, such as 53.795."),
        "longitude": Amount(label="and longitude", help_text="Degrees; west of Greenwich with a minus before it."),
        "outline": Json(label="or its outline, as GeoJSON", help_text="A polygon, longitude before latitude."),
        "publicity": publicity,
        "district_id": Pick(
            [(str(d.public_id), d.name) for d in districts],
            label="District",
            help_text="Everybody sees the district of a site that is not private; leave it out if that tells too much.",
        ),
        "net_area_m2": Amount(
            SQUARE_METRES,
            label="Area to become meadow, m²",
            help_text="Where paths, graves or trees take some of the whole.",
        ),
        "sward": Pick(choices_of("sward"), label="What grows there now?"),
        "last_use": Pick(choices_of("last_use"), label="What was it used for until now?"),
        "wetness": Pick(choices_of("wetness"), label="How wet is it?"),
        "shade": Pick(choices_of("shade"), label="How much shade?"),
        "slope_degrees": Amount(label="Slope, degrees", help_text="A steep road is about 10."),
        "gate_width_m": Amount(METRES, label="Width of the gate, m", help_text="A tractor needs about 3."),
        "access_note": forms.CharField(required=False, max_length=300, label="How to get in"),
        "resident_species_per_m2": Amount(label="Kinds of plant in a square metre now"),
        "standing_crop_g_per_m2": Amount(label="Standing crop in June, g of dry matter per m²"),
        "distance_to_flower_rich_m": Amount(
            METRES,
            whole=False,
            label="Distance to the nearest flower-rich land, m",
            help_text="Left empty, the network’s own meadows are looked at.",
        ),
        "existing_interest": Several(choices=choices_of("existing_interest"), label="Is something good there already?"),
        "resident_species": Lines(
            label="Plants already there",
            help_text=f"By any name, one to a line; at most {MOST_RESIDENTS}.",
        ),
    }


# ------------------------------------------------------------------ what is noted about a site


class SoilTestForm(ServiceForm):
    """What was found in the soil."""

    contract = SoilTestNew
    pointers = {
        name: f"/{name}" for name in ("taken_on", "olsen_p_mg_per_l", "soil_p_index", "soil_ph", "laboratory", "note")
    }
    taken_on = Day(label="Day of the sample")
    olsen_p_mg_per_l = Amount(label="Phosphorus by the Olsen method, mg/l")
    soil_p_index = Amount(whole=True, label="Phosphorus index, 0 to 9", help_text="If the laboratory gave no mg/l.")
    soil_ph = Amount(label="Soil pH")
    laboratory = forms.CharField(required=False, max_length=120, label="Laboratory or kit")
    note = forms.CharField(required=False, max_length=300, label="Note")


class FundingForm(ServiceForm):
    """Money from elsewhere for the same ground."""

    contract = OtherFundingNew
    pointers = {name: f"/{name}" for name in ("funder", "what_for", "amount_gbp", "starts_on", "ends_on")}
    funder = forms.CharField(required=False, max_length=120, label="Who gives it")
    what_for = forms.CharField(required=False, max_length=300, label="What for")
    amount_gbp = Amount(POUNDS, label="How much, £")
    starts_on = Day(label="From")
    ends_on = Day(label="Until")


PERMISSION: Final = ("need", "state", "asked_on", "answered_on", "expires_on", "signed_by", "reference", "note")


class PermissionForm(ServiceForm):
    """What has come of a permission."""

    contract: ClassVar[type[Strict]] = PermissionChange
    only_changes = True
    pointers = {name: f"/{name}" for name in PERMISSION}
    need = forms.ChoiceField(choices=Need.choices, widget=Radios, label="Is it needed?")
    state = forms.ChoiceField(choices=PermissionState.choices, widget=Radios, label="How far has it come?")
    asked_on = Day(label="Asked on")
    answered_on = Day(label="Answered on")
    expires_on = Day(label="Ends on", help_text="Empty, if it does not end.")
    signed_by = forms.CharField(
        required=False, max_length=120, label="Who gave it", help_text="The office, such as estate office; no name."
    )
    reference = forms.CharField(required=False, max_length=120, label="Their reference")
    note = forms.CharField(required=False, max_length=500, label="Note")

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        for name in ("signed_by", "reference", "note"):
            if name in data and data[name] is None:
                data[name] = ""
        return data


class PermissionNewForm(PermissionForm):
    """A permission that the kind of place does not call for by itself."""

    contract = PermissionNew
    only_changes = False
    pointers = {"label": "/label"} | {name: f"/{name}" for name in PERMISSION}
    label = forms.CharField(required=False, max_length=200, label="What is it?")
    field_order = ["label"]


def permission_initial(row: Permission) -> dict[str, Any]:
    """What the form of a permission is filled in with."""
    return {"version": row.version} | {name: getattr(row, name) for name in PERMISSION}


def funding_words(row: OtherFunding) -> str:
    """When money from elsewhere runs."""
    start, end = row.starts_on, row.ends_on
    if start and end:
        return f"{day(start)} to {day(end)}"
    if start:
        return f"from {day(start)}"
    return f"until {day(end)}" if end else ""
