"""Forms about donor meadows: what was agreed in writing, and one day of taking seed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from django import forms

from projects.choices import HarvestMethod
from projects.contracts.donors import AgreementNew, HarvestNew
from projects.dashboard.forms.fields import GRAMS, SQUARE_METRES, Amount, Day, Pick, Radios, Several
from projects.dashboard.forms.seed_moves import REASON, SentOnce
from projects.errors import Refused
from projects.models import Group

_SPOKEN_AGAINST: Final = "a reason, from a coordinator"


def _line(label: str, longest: int = REASON, help_text: str = "") -> forms.CharField:
    return forms.CharField(required=False, max_length=longest, label=label, help_text=help_text)


class AgreementForm(SentOnce):
    """What was agreed with whoever owns the ground."""

    contract = AgreementNew
    pointers = {
        name: f"/{name}"
        for name in (
            "signed_on", "starts_on", "ends_on", "window_opens", "window_closes", "area_m2", "methods", "part",
            "wants_back", "cut_by",
        )
    }  # fmt: skip
    signed_on = Day(label="Signed on")
    starts_on = Day(label="Holds from")
    ends_on = Day(label="Until")
    window_opens = _line("Each year from", 5, "Month and day, such as 07-01.")
    window_closes = _line("Each year until", 5, "Month and day, such as 09-15.")
    area_m2 = Amount(SQUARE_METRES, label="How much may be harvested in a year, in m²?")
    methods = Several(choices=HarvestMethod.choices, label="How may it be taken?")
    part = _line("Which part of the meadow?")
    wants_back = _line("What does the owner want back?")
    cut_by = _line("The hay has to be cut by", 5, "Month and day; empty for no such day.")
    consents = forms.CharField(
        required=False, widget=forms.Textarea(attrs={"rows": 3}), label="What else had to be agreed, and by whom?",
        help_text="One to a line. Protected ground needs the consent of its authority before seed is taken.",
    )  # fmt: skip
    name_told = forms.BooleanField(required=False, label="The network’s groups may know that the seed is from here")

    def asked(self) -> dict[str, Any]:
        lines = [line.strip() for line in (self.cleaned_data.get("consents") or "").splitlines() if line.strip()]
        self.extra_pointers["/consents"] = "consents"
        data = super().asked() | {"consents": lines, "name_told": bool(self.cleaned_data.get("name_told"))}
        return {name: value for name, value in data.items() if value != [] or name == "consents"}


class HarvestForm(SentOnce):
    """One day of taking seed. What speaks against it is told all at once; a coordinator may say why all the same."""

    contract = HarvestNew
    pointers = {
        name: f"/{name}"
        for name in (
            "on", "method", "area_m2", "fresh_g", "lot_name", "group_id", "person_hours", "machine_hours", "weather",
            "storage", "sacks", "provenance", "note", "reason", "submission_id",
        )
    }  # fmt: skip
    on = Day(label="When?")
    method = forms.ChoiceField(choices=HarvestMethod.choices, widget=Radios, label="How was it taken?")
    area_m2 = Amount(SQUARE_METRES, label="From how much ground, in m²?")
    fresh_g = Amount(GRAMS, label="What did it weigh, fresh?", help_text="In grams, or write kg after it.")
    lot_name = _line("What is the lot called?", 80, "As it stands on the sack, such as Ness meadow 2026, brushed.")
    group_id = Pick((), label="Who went out?", blank="The network itself")
    person_hours = Amount(label="Hours of all people together")
    machine_hours = Amount(label="Hours of the machine")
    sacks = Amount(whole=True, label="In how many sacks?")
    storage = _line("Where is it drying?", 200)
    weather = _line("Weather", 200)
    provenance = _line("What may be told of where the plants grew?")
    note = _line("Anything else?", 500)
    reason = _line("Done although something spoke against it: why?")

    def __init__(self, *args: Any, groups: Iterable[Group] = (), allows: bool = False, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.cautions: list[str] = []
        listed = [(str(row.public_id), row.name) for row in groups]
        self.fields["group_id"].choices = [("", "The network itself"), *listed]  # type: ignore[attr-defined]
        if not allows:
            del self.fields["reason"]

    def add_refused(self, refused: Refused) -> None:
        self.cautions = [one.detail for one in refused.errors if one.expected == _SPOKEN_AGAINST]
        super().add_refused(refused)
