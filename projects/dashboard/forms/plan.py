"""The plan form: what people type about their ground, read into the request that every door sends."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict
from django.utils.functional import cached_property

from modelling.errors import FieldError
from modelling.selectors import vocabularies
from projects.dashboard.forms.fields import (
    GRAMS,
    METRES,
    POUNDS,
    SQUARE_METRES,
    Amount,
    Day,
    Pick,
    Plant,
    Several,
    folded,
)
from projects.dashboard.words import MONTHS, area, figure, listed

FIRST_ROWS = 4
MOST_ROWS = 20
_ROW = re.compile(r"(?:mix|taxon|plug)_(\d{1,2})(?:_g|_count)?")
_MONTHS = [(str(i), name) for i, name in enumerate(MONTHS, 1)]

# Fields whose value goes into the request as it was read.
POINTERS = {
    "area_m2": "/site/area_m2",
    "net_area_m2": "/site/net_area_m2",
    "kind": "/site/kind",
    "sward": "/site/sward",
    "last_use": "/site/last_use",
    "olsen_p_mg_per_l": "/site/olsen_p_mg_per_l",
    "soil_p_index": "/site/soil_p_index",
    "soil_ph": "/site/soil_ph",
    "wetness": "/site/wetness",
    "shade": "/site/shade",
    "slope_degrees": "/site/slope_degrees",
    "gate_width_m": "/site/gate_width_m",
    "distance_to_flower_rich_m": "/site/distance_to_flower_rich_m",
    "standing_crop_g_per_m2": "/site/standing_crop_g_per_m2",
    "resident_species_per_m2": "/site/resident_species_per_m2",
    "existing_interest": "/site/existing_interest",
    "preparation": "/plan/preparation",
    "sow_on": "/plan/sow_on",
    "first_year_cuts": "/plan/aftercare/first_year_cuts",
    "shut_up_on": "/plan/aftercare/shut_up_on",
    "arisings": "/plan/aftercare/arisings",
    "disposal": "/plan/aftercare/disposal",
    "cut_month": "/plan/aftercare/cut_month",
    "grazing": "/plan/aftercare/aftermath_grazing/by",
    "graze_from": "/plan/aftercare/aftermath_grazing/from_month",
    "graze_to": "/plan/aftercare/aftermath_grazing/to_month",
    "fence": "/plan/aftercare/aftermath_grazing/fence",
    "water": "/plan/aftercare/aftermath_grazing/water",
    "grazier": "/plan/aftercare/aftermath_grazing/grazier",
    "refuge_percent": "/plan/aftercare/refuge_share",
    "volunteers": "/plan/crew/volunteers",
    "hours_per_session": "/plan/crew/hours_per_session",
    "kit_to_hand": "/plan/kit_to_hand",
    "budget_gbp": "/plan/budget_gbp",
    "horizon_years": "/horizon_years",
    "draws": "/draws",
    "random_seed": "/random_seed",
    "world_seed": "/world_seed",
    "quadrat_area_m2": "/quadrat_area_m2",
    "as_of": "/as_of",
}
GRAZING = ("graze_from", "graze_to", "fence", "water", "grazier")
PREPARATION_SCALES = {
    "hand": "By hand",
    "pedestrian": "With a walk-behind machine",
    "tractor": "With a tractor or digger",
    "livestock": "With animals",
}


@dataclass(frozen=True)
class Group:
    """Fields that stand together on the page."""

    title: str
    hint: str
    intro: str
    fields: list[BoundField]

    @property
    def open(self) -> bool:
        """Whether something was typed here or is wrong here."""
        return any(field.errors or _is_filled(field) for field in self.fields)


def _is_filled(field: BoundField) -> bool:
    return field.value() not in (None, "", [])


class PlanForm(forms.Form):
    """Everything that can be said about a site and a plan; only the area must be."""

    def __init__(self, data: QueryDict | None = None, *, initial: QueryDict | None = None) -> None:
        said = data if data is not None else initial
        self.rows = rows_of(said or {})
        self.unknown: list[str] = []
        self.twice: list[str] = []
        super().__init__(data, initial=self._initial(initial) if initial is not None else None)
        self.fields.update(_fields(self.rows))
        if said is not None:
            several = {name for name, field in self.fields.items() if isinstance(field, Several)}
            self.unknown = [name for name in said if name not in self.fields]
            self.twice = [
                name
                for name in said
                if name in self.fields and name not in several and len(set(said.getlist(name))) > 1
            ]

    @staticmethod
    def _initial(said: QueryDict) -> dict[str, Any]:
        several = {"existing_interest", "preparation", "kit_to_hand"}
        return {name: said.getlist(name) if name in several else said.get(name) for name in said}

    def _all(self, name: str) -> list[str]:
        """Return everything the address says under a name."""
        return self.data.getlist(name) if isinstance(self.data, QueryDict) else []

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = self.cleaned_data
        for name in self.twice:
            self.add_error(name, f"The address says this twice: {' and '.join(self._all(name))}.")
        if said.get("area_m2") is None and "area_m2" not in self.errors:
            self.add_error("area_m2", "Say how big the ground is; nothing else has to be filled in.")
        if said.get("olsen_p_mg_per_l") is not None and said.get("soil_p_index") is not None:
            self.add_error("soil_p_index", "Give the phosphorus in mg/l or as an index, not both.")
        whole, net = said.get("area_m2"), said.get("net_area_m2")
        if whole and net and net > whole:
            self.add_error("net_area_m2", f"This is more than the whole area, {area(whole)}.")
        for i in range(1, self.rows + 1):
            for what, amount, noun in (
                (f"mix_{i}", f"mix_{i}_g", "mix"),
                (f"taxon_{i}", f"taxon_{i}_g", "plant"),
                (f"plug_{i}", f"plug_{i}_count", "plant"),
            ):
                if said.get(what) and said.get(amount) is None and amount not in self.errors:
                    self.add_error(amount, "Say how much.")
                if said.get(amount) is not None and not said.get(what) and what not in self.errors:
                    self.add_error(what, f"Say which {noun} this amount is of.")
        if "none" in said.get("preparation", []) and len(said["preparation"]) > 1:
            self.add_error("preparation", "“No preparation” is ticked beside other work; choose one or the other.")
        if said.get("sowing") == "nothing" and any(said.get(name) for name in self._row_names()):
            self.add_error("sowing", "This says to add nothing, but seed or plugs are named below.")
        if said.get("cut_month_2") and not (said.get("cut_month") or "").isdigit():
            self.add_error("cut_month_2", "Choose the month of the first cut as well.")
        if not said.get("grazing") or said["grazing"] == "none":
            for name in GRAZING:
                if said.get(name):
                    self.add_error("grazing", "Say by what the regrowth is grazed.")
                    break
        return said

    def _row_names(self) -> Iterator[str]:
        for i in range(1, self.rows + 1):
            yield from (f"mix_{i}", f"taxon_{i}", f"plug_{i}")

    # ------------------------------------------------------------ what is sent

    def query(self, **changes: str) -> str:
        """Return the address's query: what was said, in the form's order, without what was left empty."""
        pairs: list[tuple[str, str]] = []
        for name in self.fields:
            value = self.cleaned_data.get(name)
            if name in changes:
                pairs.append((name, changes[name]))
            elif isinstance(value, list):
                pairs += [(name, item) for item in value]
            elif value not in (None, ""):
                pairs.append((name, _written(value)))
        pairs += [(name, value) for name in self.unknown for value in self._all(name)]
        return urlencode(pairs)

    @cached_property
    def _asked(self) -> tuple[dict[str, Any], dict[str, str]]:
        said = self.cleaned_data
        data: dict[str, Any] = {}
        pointers: dict[str, str] = {}

        def put(pointer: str, value: Any, name: str) -> None:
            *parents, last = pointer.strip("/").split("/")
            at = data
            for key in parents:
                at = at.setdefault(key, {})
            at[last] = value
            pointers[pointer] = name

        for name, pointer in POINTERS.items():
            value = _sent(name, said.get(name))
            if value is not None and not (name in GRAZING and not said.get("grazing")):
                put(pointer, value, name)
        if said.get("cut_month_2") and "/plan/aftercare/cut_month" in pointers:
            data["plan"]["aftercare"]["cut_month"].append(int(said["cut_month_2"]))
            pointers["/plan/aftercare/cut_month/1"] = "cut_month_2"
        self._put_sowing(put, pointers)
        data.setdefault("site", {})
        return data, pointers

    def _put_sowing(self, put: Any, pointers: dict[str, str]) -> None:
        said = self.cleaned_data
        seed: list[dict[str, Any]] = []
        plugs: list[dict[str, Any]] = []
        for kind in ("mix", "taxon"):
            for i in range(1, self.rows + 1):
                if said.get(f"{kind}_{i}") and said.get(f"{kind}_{i}_g") is not None:
                    at = f"/plan/seed/{len(seed)}"
                    pointers |= {at: f"{kind}_{i}", f"{at}/{kind}": f"{kind}_{i}", f"{at}/kg": f"{kind}_{i}_g"}
                    seed.append({kind: said[f"{kind}_{i}"], "kg": said[f"{kind}_{i}_g"] / 1000})
        for i in range(1, self.rows + 1):
            if said.get(f"plug_{i}") and said.get(f"plug_{i}_count") is not None:
                at = f"/plan/plugs/{len(plugs)}"
                pointers |= {at: f"plug_{i}", f"{at}/taxon": f"plug_{i}", f"{at}/count": f"plug_{i}_count"}
                plugs.append({"taxon": said[f"plug_{i}"], "count": said[f"plug_{i}_count"]})
        nothing = said.get("sowing") == "nothing"
        if seed or nothing:
            put("/plan/seed", seed, "sowing")
        if plugs or nothing:
            put("/plan/plugs", plugs, "sowing")

    def asked(self) -> dict[str, Any]:
        """Return the request as the API would be sent it; of a form with faults, what could be read."""
        return self._asked[0]

    def add_refusals(self, refusals: Iterable[FieldError]) -> None:
        """Put what the service refused beside the fields it came from."""
        pointers = self._asked[1] | {pointer: name for name, pointer in POINTERS.items()}
        for refusal in refusals:
            pointer = refusal.pointer
            while pointer and pointer not in pointers:
                pointer = pointer.rpartition("/")[0]
            name = pointers.get(pointer)
            if name is None or name not in self.errors:
                self.add_error(name, _said(refusal))

    # ------------------------------------------------------------ what is shown

    def _group(self, title: str, hint: str, intro: str, *names: str) -> Group:
        return Group(title, hint, intro, [self[name] for name in names])

    @property
    def first(self) -> list[BoundField]:
        """The questions that matter most."""
        return [self[name] for name in ("area_m2", "kind", "sward", "last_use")]

    @property
    def ground(self) -> Group:
        return self._group(
            "Soil and ground",
            "phosphorus, pH, wetness, shade, slope, gate, what is there already",
            "What a soil test, a tape and a walk would tell. Give the phosphorus in mg/l if the laboratory did, "
            "else its index.",
            "olsen_p_mg_per_l",
            "soil_p_index",
            "soil_ph",
            "wetness",
            "shade",
            "slope_degrees",
            "gate_width_m",
            "net_area_m2",
            "standing_crop_g_per_m2",
            "resident_species_per_m2",
            "distance_to_flower_rich_m",
            "existing_interest",
        )

    @property
    def work(self) -> Group:
        return self._group(
            "Making the ground ready",
            "cutting, scarifying, stripping, or nothing",
            "Left open, the plan takes the cheapest way that fits the gate, the slope and the people.",
            "preparation",
        )

    @property
    def seeding(self) -> Group:
        return self._group(
            "Seed and plugs",
            "mixes, single plants, plugs",
            "Left open, the plan chooses a mix for the soil. Weights are of seed as it comes from the bag: "
            "grams, or kilograms with kg after the number. Plants go by their English or Latin names.",
            "sowing",
        )

    @property
    def seed_rows(self) -> list[tuple[BoundField, BoundField]]:
        return [
            (self[f"{kind}_{i}"], self[f"{kind}_{i}_g"]) for kind in ("mix", "taxon") for i in range(1, self.rows + 1)
        ]

    @property
    def plug_rows(self) -> list[tuple[BoundField, BoundField]]:
        return [(self[f"plug_{i}"], self[f"plug_{i}_count"]) for i in range(1, self.rows + 1)]

    @property
    def sowing_open(self) -> bool:
        rows = [field for pair in (*self.seed_rows, *self.plug_rows) for field in pair]
        return self.seeding.open or Group("", "", "", rows).open

    @property
    def dates(self) -> Group:
        return self._group(
            "Dates",
            "sowing, and shutting up in spring",
            "Left open, sowing is in the autumn that can still be reached.",
            "sow_on",
            "shut_up_on",
        )

    @property
    def aftercare(self) -> Group:
        return self._group(
            "Cutting and grazing in later years",
            "months, cuttings, animals, what stays uncut",
            "This decides more than the seed does. Left open, there is one late cut, raked up and taken off.",
            "first_year_cuts",
            "cut_month",
            "cut_month_2",
            "arisings",
            "disposal",
            "grazing",
            "graze_from",
            "graze_to",
            "fence",
            "water",
            "grazier",
            "refuge_percent",
        )

    @property
    def people(self) -> Group:
        return self._group(
            "People, kit and money",
            "who comes, what is to hand, the budget",
            "Who can come, what need not be hired, and what there is to spend.",
            "volunteers",
            "hours_per_session",
            "budget_gbp",
            "kit_to_hand",
        )

    @property
    def forecast(self) -> Group:
        return self._group(
            "How the forecast is made",
            "date, years, draws, seeds",
            "Nobody needs these. They are here so that an answer can be made again, number for number.",
            "as_of",
            "horizon_years",
            "draws",
            "quadrat_area_m2",
            "random_seed",
            "world_seed",
        )

    @property
    def wrong(self) -> list[tuple[BoundField | None, str]]:
        """Everything that is wrong, in the form's order, with its field."""
        found: list[tuple[BoundField | None, str]] = [(None, str(text)) for text in self.non_field_errors()]
        return found + [(self[name], str(text)) for name in self.fields for text in self.errors.get(name, [])]

    @cached_property
    def plants(self) -> list[str]:
        """Names to choose from while typing."""
        return [_label(taxon) for taxon in vocabularies()["taxa"] if taxon["sowable"] == "yes"]


def rows_of(said: Mapping[str, Any]) -> int:
    """Return how many rows of seed to show: one more than are used."""
    used = [int(found[1]) for name in said if (found := _ROW.fullmatch(name)) and said.get(name)]
    return min(max(FIRST_ROWS, max(used, default=0) + 1), MOST_ROWS)


def _written(value: Any) -> str:
    match value:
        case date():
            return value.isoformat()
        case float():
            # Never 1e-05: the form reads no exponents.
            return format(Decimal(f"{value:.12g}"), "f")
    return str(value)


def _sent(name: str, value: Any) -> Any:
    """Return a field's value as the request has it; None where nothing was said."""
    if value in (None, "", []):
        return None
    match name:
        case "preparation":
            return [] if value == ["none"] else value
        case "cut_month":
            return [] if value == "none" else [int(value)]
        case "graze_from" | "graze_to":
            return int(value)
        case "fence" | "water" | "grazier":
            return value == "yes"
        case "refuge_percent":
            return value / 100
    return value.isoformat() if isinstance(value, date) else value


def _choices(items: Iterable[Mapping[str, str]]) -> list[tuple[str, str]]:
    return [(item["key"], item["label"]) for item in items]


def _with_help(items: Iterable[Mapping[str, str]]) -> list[tuple[str, str]]:
    return [(item["key"], f"{item['label']} ({item['help']})" if item["help"] else item["label"]) for item in items]


def _fields(rows: int) -> dict[str, forms.Field]:
    words = vocabularies()
    yes_no = [("yes", "Yes"), ("no", "No")]
    preparation = [item for item in words["operations"] if item["stage"] == "preparation"]
    fields: dict[str, forms.Field] = {
        "area_m2": Amount(
            SQUARE_METRES,
            label="How big is the ground?",
            help_text="In square metres, such as 180; or with its unit, such as 2 ha.",
        ),
        "kind": Pick(_choices(words["kind"]), label="What kind of place is it?"),
        "sward": Pick(_with_help(words["sward"]), label="What grows there now?", blank="Not sure", radio=True),
        "last_use": Pick(_choices(words["last_use"]), label="What was it used for until now?"),
        "olsen_p_mg_per_l": Amount(label="Phosphorus by the Olsen method, mg/l"),
        "soil_p_index": Amount(whole=True, label="or phosphorus index, 0 to 9"),
        "soil_ph": Amount(label="Soil pH"),
        "wetness": Pick(_choices(words["wetness"]), label="How wet is it?"),
        "shade": Pick(_choices(words["shade"]), label="How much shade?"),
        "slope_degrees": Amount(label="Slope, degrees", help_text="A steep road is about 10."),
        "gate_width_m": Amount(METRES, label="Width of the gate, m", help_text="A tractor needs about 3."),
        "net_area_m2": Amount(
            SQUARE_METRES,
            label="Area to become meadow, m²",
            help_text="Where paths, graves or trees take some of the whole.",
        ),
        "standing_crop_g_per_m2": Amount(label="Standing crop in June, g of dry matter per m²"),
        "resident_species_per_m2": Amount(label="Kinds of plant in a square metre now"),
        "distance_to_flower_rich_m": Amount(METRES, label="Distance to the nearest flower-rich land, m"),
        "existing_interest": Several(
            choices=_choices(words["existing_interest"]), label="Is something good there already?"
        ),
        "preparation": Several(
            choices=[
                ("", [("none", "No preparation: sow into what is there")]),
                *(
                    (title, _choices(item for item in preparation if item["scale"] == scale))
                    for scale, title in PREPARATION_SCALES.items()
                    if any(item["scale"] == scale for item in preparation)
                ),
            ],
            label="Work before sowing",
        ),
        "sowing": Pick(
            [("nothing", "Add no seed and no plugs: change the cutting only")],
            blank="Plan the seed for me, or take what is named below",
            label="Seed",
            radio=True,
        ),
    }
    names, labels = _plant_names(words["taxa"])
    for i in range(1, rows + 1):
        fields[f"mix_{i}"] = Pick(_choices(words["mixes"]), blank="None", label=f"Mix {i}")
        fields[f"mix_{i}_g"] = Amount(GRAMS, label=f"g of mix {i}")
    for i in range(1, rows + 1):
        fields[f"taxon_{i}"] = Plant(names, labels, label=f"Plant {i}")
        fields[f"taxon_{i}_g"] = Amount(GRAMS, label=f"g of plant {i}")
    for i in range(1, rows + 1):
        fields[f"plug_{i}"] = Plant(names, labels, label=f"Plugs {i}")
        fields[f"plug_{i}_count"] = Amount(whole=True, label=f"how many {i}")
    return fields | {
        "sow_on": Day(label="Day of sowing"),
        "shut_up_on": Day(label="Last cut or grazing in spring, before it grows up"),
        "first_year_cuts": Amount(whole=True, label="Cuts in the first year"),
        "cut_month": Pick([("none", "No cut"), *_MONTHS], blank="Left to the plan", label="Month of the yearly cut"),
        "cut_month_2": Pick(_MONTHS, blank="None", label="Second cut"),
        "arisings": Pick(_choices(words["arisings"]), label="What happens to the cuttings?"),
        "disposal": Pick(_choices(words["disposal"]), label="Where do they go?"),
        "grazing": Pick(_choices(words["grazing"]), label="Is the regrowth grazed?"),
        "graze_from": Pick(_MONTHS, label="Grazed from"),
        "graze_to": Pick(_MONTHS, label="Grazed until"),
        "fence": Pick(yes_no, label="Is there a fence?"),
        "water": Pick(yes_no, label="Is there water for the animals?"),
        "grazier": Pick(yes_no, label="Is there somebody to graze it?"),
        "refuge_percent": Amount(
            label="Left uncut each year, in every 100 m²",
            help_text="Up to 50. A moving tenth helps insects and yellow rattle.",
        ),
        "volunteers": Amount(whole=True, label="People who come"),
        "hours_per_session": Amount(label="Hours they stay"),
        "budget_gbp": Amount(POUNDS, label="Money to spend, £"),
        "kit_to_hand": Several(choices=_choices(words["machines"]), label="Machines that need not be hired"),
        "as_of": Day(label="Date the estimate is made for", help_text="Today, if left empty."),
        "horizon_years": Amount(whole=True, label="Years ahead, 1 to 10"),
        "draws": Amount(whole=True, label="Draws, 200 to 10,000"),
        "quadrat_area_m2": Amount(label="Size of the survey square, m²"),
        "random_seed": Amount(whole=True, label="Seed of this site's draws"),
        "world_seed": Amount(whole=True, label="Seed of the draws that sites share"),
    }


def _said(refusal: FieldError) -> str:
    """Return a refusal for people: plants by their names instead of by keys."""
    if refusal.code == "out_of_range" and isinstance(refusal.value, float):
        return f"{figure(refusal.value, 6)} will not do; it must be {refusal.expected}."
    if refusal.code != "unknown_plant":
        return refusal.detail
    labels = {taxon["key"]: _label(taxon) for taxon in vocabularies()["taxa"]}
    near = listed((labels[key] for key in refusal.suggestions if key in labels), "or")
    hint = f" Did you mean {near}?" if near else " Its Latin name may help."
    return f"No plant in our list is called “{refusal.value}”.{hint}"


def _label(taxon: Mapping[str, str]) -> str:
    return f"{taxon['label']} ({taxon['help']})"


def _plant_names(taxa: Iterable[Mapping[str, str]]) -> tuple[dict[str, str], dict[str, str]]:
    """Return folded name to key, and key to label; a label reads "yellow rattle (Rhinanthus minor)"."""
    names: dict[str, str] = {}
    labels: dict[str, str] = {}
    for taxon in taxa:
        labels[taxon["key"]] = _label(taxon)
        for name in (taxon["key"], taxon["label"], taxon["help"], _label(taxon)):
            names.setdefault(folded(name), taxon["key"])
    return names, labels
