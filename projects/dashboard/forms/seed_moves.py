"""Short forms about a sack: promised, handed over, brought back, sown, weighed, gone, put on hold."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import Any, Final

from django import forms

from projects.contracts.lots import LotMove, PromiseMove, PromiseNew
from projects.dashboard.forms.base import ServiceForm, sent
from projects.dashboard.forms.fields import GRAMS, Amount, Day, Pick, Radios
from projects.models import Group, MeadowProject

#: longest text of a reason, in letters, as the contracts have it
REASON: Final = 300


class SentOnce(ServiceForm):
    """A form that carries an id of its own, so that sending it twice does it once."""

    submission_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        if not self.is_bound:
            self.initial["submission_id"] = uuid.uuid4()


class PromiseForm(SentOnce):
    """Seed for a group, or for one of its meadows."""

    contract = PromiseNew
    pointers = {name: f"/{name}" for name in ("grams", "by", "note", "submission_id")}
    whom = Pick((), label="For whom?", blank="Choose")
    grams = Amount(GRAMS, label="How much?", help_text="In grams, or write kg after it.")
    by = Day(label="To be fetched by")
    handed_over = forms.BooleanField(required=False, label="It goes out today")
    note = forms.CharField(required=False, max_length=REASON, label="What should they know?")

    def __init__(
        self, *args: Any, groups: Iterable[Group] = (), projects: Iterable[MeadowProject] = (), **kw: Any
    ) -> None:
        super().__init__(*args, **kw)
        listed = list(projects)
        self.of = {str(row.public_id): str(row.group.public_id) for row in listed}
        choices = [("", "Choose"), *((str(row.public_id), row.name) for row in groups)]
        choices += [(str(row.public_id), f"{row.name}, {row.group.name}") for row in listed]
        self.fields["whom"].choices = choices  # type: ignore[attr-defined]
        self.extra_pointers = {"/group_id": "whom", "/project_id": "whom"}

    def asked(self) -> dict[str, Any]:
        data = super().asked() | {"handed_over": bool(self.cleaned_data.get("handed_over"))}
        whom = sent(self.cleaned_data.get("whom"))
        if whom in self.of:
            return data | {"group_id": self.of[whom], "project_id": whom}
        return data | ({"group_id": whom} if whom else {})


class PromiseMoveForm(SentOnce):
    """What became of promised seed."""

    contract = PromiseMove
    pointers = {name: f"/{name}" for name in ("to", "grams", "on", "reason", "submission_id")}
    to = forms.ChoiceField(choices=(), widget=Radios, label="What happened?")
    grams = Amount(GRAMS, label="How much?", help_text="Left empty, all of it.")
    on = Day(label="When?")
    reason = forms.CharField(required=False, max_length=REASON, label="Anything else?")

    def __init__(self, *args: Any, ways: Sequence[tuple[str, str]] = (), **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["to"].choices = ways  # type: ignore[attr-defined]


class LotMoveForm(SentOnce):
    """Something that happens to a lot as a whole. What is missing is told beside the field that lacks it."""

    contract = LotMove
    pointers = {
        name: f"/{name}" for name in ("act", "grams", "grams_before", "on", "reason", "submission_id")
    }  # fmt: skip

    def asked(self) -> dict[str, Any]:
        lacks = "grams" in self.fields and self.cleaned_data.get("grams") is None
        self.extra_pointers[""] = "grams" if lacks else "reason"
        return super().asked()


class WeighForm(LotMoveForm):
    """Weighed again, dried or cleaned."""

    act = forms.ChoiceField(
        choices=[("drying", "It is spread out to dry"), ("dried", "It is dry"), ("cleaned", "It is sieved or cleaned")],
        widget=Radios,
        label="What was done?",
    )
    grams = Amount(GRAMS, label="What does it weigh now?", help_text="Needed once it is dry, or cleaned.")
    grams_before = Amount(GRAMS, label="What did it weigh before?", help_text="If you weighed it.")
    on = Day(label="When?")
    reason = forms.CharField(required=False, max_length=REASON, label="Anything else?")

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        if data.get("act") == "drying":
            self.extra_pointers[""] = "grams"
        return data


class GoneForm(LotMoveForm):
    """Used, spilt or thrown away."""

    act = forms.ChoiceField(
        choices=[("used", "Used, by the network itself"), ("spilt", "Spilt"), ("discarded", "Thrown away")],
        widget=Radios,
        label="What happened?",
    )
    grams = Amount(GRAMS, label="How much?")
    on = Day(label="When?")
    reason = forms.CharField(
        required=False, max_length=REASON, label="Why?", help_text="Needed for what was spilt or thrown away."
    )


class HoldForm(LotMoveForm):
    """Put on hold, or taken off it; which of the two is told by the page."""

    act = forms.CharField(widget=forms.HiddenInput)
    on = Day(label="When?")
    reason = forms.CharField(required=False, max_length=REASON, label="Why?")
