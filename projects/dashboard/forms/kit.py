"""Forms about kit: what is lent, asking for it, handing it out and back, faults, who was shown."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import date
from typing import Any, ClassVar, Final

from django import forms

from modelling.errors import FieldError
from projects.choices import KitKind
from projects.contracts.base import Strict
from projects.contracts.kit import (
    KitBookingMove,
    KitBookingNew,
    KitFaultNew,
    KitItemChange,
    KitItemNew,
    KitShowingNew,
)
from projects.dashboard.forms.base import ServiceForm, typed
from projects.dashboard.forms.fields import METRES, Amount, Day, Pick, Radios, Several
from projects.models import KitBooking, KitItem, MeadowProject, Membership, Village
from projects.rules.kit import AFTERNOON, HALVES, MORNING, Half, Span

_HALVES: Final = [("morning", "Morning"), ("afternoon", "Afternoon")]
CM_PER_M: Final = 100
MINUTES_PER_HOUR: Final = 60


def _half(label: str, initial: str) -> forms.ChoiceField:
    return forms.ChoiceField(choices=_HALVES, widget=Radios, initial=initial, label=label, required=False)


class QuestionForm(forms.Form):
    """Can I have it then."""

    on = Day(label="From which day?")
    first_half = forms.ChoiceField(choices=_HALVES, required=False, label="Beginning in the")
    until = Day(label="To which day?", help_text="Left empty, the same day.")
    last_half = forms.ChoiceField(choices=_HALVES, required=False, label="Ending in the", initial="afternoon")

    @property
    def span(self) -> Span | None:
        """What is asked for, None where it cannot be read."""
        if not self.is_valid() or self.cleaned_data["on"] is None:
            return None
        said = self.cleaned_data
        first: date = said["on"]
        last: date = said["until"] or first
        halves = (said["first_half"] or HALVES[MORNING], said["last_half"] or HALVES[AFTERNOON])
        return Span(Half(first, HALVES.index(halves[0])), Half(last, HALVES.index(halves[1])))


class KitItemForm(ServiceForm):
    """Something to lend."""

    contract: ClassVar[type[Strict]] = KitItemNew
    pointers = {
        name: f"/{name}"
        for name in (
            "name", "kind", "width_m", "shown_first", "village_id", "insured_by", "towed_by", "gap_half_days",
            "agreed_at_once", "service_due_on", "service_due_hours", "note",
        )
    }  # fmt: skip
    name = forms.CharField(max_length=120, label="What is it called?")
    kind = Pick(KitKind.choices, label="What is it?", blank="Choose")
    width_m = Amount(METRES, label="Width, in metres", help_text="Of its work, or its own where it must pass a gate.")
    shown_first = forms.CharField(
        required=False,
        max_length=200,
        label="What must somebody have been shown first?",
        help_text="Such as: starting, stopping, clearing the tines. Leave empty for a rake.",
    )
    village_id = Pick((), label="Kept in", blank="Not said")
    insured_by = forms.CharField(required=False, max_length=120, label="Who insures it?", help_text="An office.")
    towed_by = forms.CharField(required=False, max_length=120, label="Who tows it?", help_text="A role, no name.")
    gap_half_days = Amount(
        whole=True, label="Half-days kept free after a booking", help_text="To travel, to dry, to be looked over."
    )
    agreed_at_once = forms.BooleanField(
        required=False, label="A booking is agreed at once, unless somebody has to be shown first"
    )
    service_due_on = Day(label="Next service on")
    service_due_hours = Amount(label="Next service at so many hours on its meter")
    note = forms.CharField(required=False, max_length=500, label="Anything else?", widget=forms.Textarea({"rows": 3}))

    def __init__(self, *args: Any, villages: Iterable[Village], row: KitItem | None = None, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["village_id"].choices = [  # type: ignore[attr-defined]
            ("", "Not said"), *((str(village.public_id), village.name) for village in villages)
        ]  # fmt: skip
        if row is not None:
            self.initial.update(item_said(row))


class KitItemChangeForm(KitItemForm):
    """What is said of an item."""

    contract = KitItemChange
    only_changes = True
    pointers = KitItemForm.pointers | {"retired": "/retired"}
    retired = forms.BooleanField(required=False, label="It is no longer lent")


def item_said(row: KitItem) -> dict[str, Any]:
    """Return an item as its form says it."""
    plain = ("name", "kind", "shown_first", "insured_by", "towed_by", "agreed_at_once", "service_due_on", "note")
    due = row.service_due_minutes
    return {name: getattr(row, name) for name in plain} | {
        "width_m": typed(None if row.width_cm is None else row.width_cm / CM_PER_M),
        "gap_half_days": typed(row.gap_half_days),
        "village_id": str(row.village.public_id) if row.village else "",
        "service_due_hours": typed(None if due is None else due / MINUTES_PER_HOUR),
        "retired": row.retired_at is not None,
        "version": row.version,
    }


class KitBookForm(ServiceForm):
    """An item for a project."""

    contract = KitBookingNew
    pointers = {
        name: f"/{name}"
        for name in (
            "item_id", "first_on", "first_half", "last_on", "last_half", "to_be_shown", "note", "submission_id",
        )
    }  # fmt: skip
    project = forms.ChoiceField(label="For which meadow?", error_messages={"required": "Say for which meadow."})
    first_on = Day(label="From which day?", required=True)
    first_half = _half("Beginning in the", "morning")
    last_on = Day(label="To which day?", help_text="Left empty, the same day.")
    last_half = _half("Ending in the", "afternoon")
    to_be_shown = forms.BooleanField(required=False, label="We have not been shown it; please show us then")
    note = forms.CharField(required=False, max_length=300, label="What for, and who fetches it?")
    submission_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, item: KitItem, projects: Iterable[MeadowProject], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.item = item
        listed = [(str(row.public_id), f"{row.name}, {row.group.name}") for row in projects]
        self.fields["project"].choices = listed  # type: ignore[attr-defined]
        if not item.shown_first:
            del self.fields["to_be_shown"]
        if not self.is_bound:
            self.initial["submission_id"] = uuid.uuid4()

    def asked(self) -> dict[str, Any]:
        return super().asked() | {"item_id": str(self.item.public_id)}

    def said(self, refusal: FieldError, name: str | None) -> str:
        return (
            super().said(refusal, name).replace("Ask to be shown when it is handed out;", "Tick this to be shown it;")
        )


class DecideForm(ServiceForm):
    """Agree a booking or not."""

    contract = KitBookingMove
    pointers = {"to": "/to", "because": "/because"}
    to = forms.ChoiceField(
        choices=[("agreed", "Agreed"), ("refused", "Not agreed")], widget=Radios, initial="agreed", label="Can it go?"
    )
    because = forms.CharField(required=False, max_length=200, label="If not: why?", help_text="The group reads it.")


class CancelForm(ServiceForm):
    """Cancel a booking."""

    contract = KitBookingMove
    pointers = {"because": "/because"}
    because = forms.CharField(required=False, max_length=200, label="Why? Others may want it then.")

    def asked(self) -> dict[str, Any]:
        return super().asked() | {"to": "cancelled"}


class HandOutForm(ServiceForm):
    """An item goes out."""

    contract = KitBookingMove
    to: str = "out"
    pointers = {"condition": "/condition", "meter_hours": "/meter_hours", "shown_now": "/shown", "note": "/note"}
    condition = Pick(
        [("good", "In order"), ("worn", "Works, but worn")], radio=True, label="How is it?", blank="Not looked at"
    )
    meter_hours = Amount(label="Hours on its meter", help_text="Where it has one.")
    shown_now = Several(label="Who was shown how to use it just now?")
    note = forms.CharField(required=False, max_length=300, label="Anything else?")

    def __init__(self, *args: Any, members: Iterable[Membership] = (), **kw: Any) -> None:
        super().__init__(*args, **kw)
        listed = [(str(member.user.public_id), str(member.user)) for member in members]
        if listed:
            self.fields["shown_now"].choices = listed  # type: ignore[attr-defined]
        else:
            del self.fields["shown_now"]

    def asked(self) -> dict[str, Any]:
        return super().asked() | {"to": self.to}

    def said(self, refusal: FieldError, name: str | None) -> str:
        if refusal.code == "missing" and not refusal.pointer:
            return "Look it over and say how it is."
        return super().said(refusal, name)


class TakeBackForm(HandOutForm):
    """An item comes back."""

    to = "back"
    pointers = {
        name: f"/{name}" for name in ("condition", "meter_hours", "fault", "out_of_use_from", "note")
    }  # fmt: skip
    condition = Pick(
        [("good", "In order"), ("worn", "Works, but worn"), ("faulty", "Something is wrong with it")],
        radio=True, label="How is it?", blank="Not looked at",
    )  # fmt: skip
    fault = forms.CharField(required=False, max_length=300, label="What is wrong with it?")
    out_of_use_from = Day(label="Cannot be used from", help_text="Left empty, it can go on being used.")
    field_order = ("condition", "meter_hours", "fault", "out_of_use_from", "note")


class FaultForm(ServiceForm):
    """Something is wrong with an item."""

    contract = KitFaultNew
    pointers = {name: f"/{name}" for name in ("what", "found_on", "out_of_use_from")}
    what = forms.CharField(max_length=300, label="What is wrong?")
    found_on = Day(label="Seen on")
    out_of_use_from = Day(
        label="Cannot be used from", help_text="Nobody can book it from that day until a coordinator says it is mended."
    )


class ShownForm(ServiceForm):
    """Somebody was shown an item."""

    contract = KitShowingNew
    pointers = {name: f"/{name}" for name in ("user_id", "shown_on", "may_show")}
    user_id = Pick((), label="Who?", blank="Choose")
    shown_on = Day(label="When?")
    may_show = forms.BooleanField(required=False, label="Knows it well enough to show others")

    def __init__(self, *args: Any, members: Iterable[Membership], **kw: Any) -> None:
        super().__init__(*args, **kw)
        listed = {str(row.user.public_id): f"{row.user}, {row.group}" for row in members}
        self.fields["user_id"].choices = [("", "Choose"), *listed.items()]  # type: ignore[attr-defined]


def move_form(row: KitBooking) -> type[ServiceForm] | None:
    """Return the form of what comes next for a booking."""
    kinds: dict[str, type[ServiceForm]] = {"asked": DecideForm, "agreed": HandOutForm, "out": TakeBackForm}
    return kinds.get(row.state)
