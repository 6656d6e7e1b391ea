"""Forms about decisions and what follows: writing one, and settling payments, changes and awards."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from modelling.errors import FieldError
from projects.choices import DecisionKind, PaymentState
from projects.contracts.base import Strict
from projects.contracts.decisions import (
    AwardMove,
    ChangeMove,
    DecisionChange,
    DecisionNew,
    MoneyBack,
    PaymentMove,
    VisitNew,
)
from projects.dashboard.forms.base import ServiceForm, typed
from projects.dashboard.forms.fields import POUNDS, Amount, Day, Radios
from projects.dashboard.forms.groups import Paragraphs
from projects.models import Decision

PENCE = 100
_MOVES = {
    "conditions_met": "The conditions are met; payments can be asked for",
    "finished": "Finish it: the report is good; what is not spent returns to the pot",
    "withdrawn": "Withdraw it; what is not paid returns to the pot",
}


class DecisionForm(ServiceForm):
    """A decision being written."""

    contract: ClassVar[type[Strict]] = DecisionNew
    pointers = {name: f"/{name}" for name in ("kind", "amount_gbp", "conditions", "reason")}
    kind = forms.ChoiceField(
        choices=DecisionKind.choices,
        widget=Radios,
        label="What is decided",
        error_messages={"required": "Choose one.", "invalid_choice": "Choose one of these."},
    )
    amount_gbp = Amount(
        POUNDS,
        label="How much, in pounds",
        help_text="For a part. Empty: all that is asked, where anything is awarded.",
    )
    conditions = Paragraphs(label="Conditions", help_text="The group reads them in the letter and accepts them.")
    reason = Paragraphs(
        label="Reason", help_text="The group reads it. Needed before it is published where nothing is awarded."
    )


class DecisionChangeForm(DecisionForm):
    """A decision that is not published yet, with its letter."""

    contract = DecisionChange
    only_changes = True
    pointers = {name: f"/{name}" for name in ("kind", "amount_gbp", "conditions", "reason", "letter")}
    letter = forms.CharField(
        required=False,
        max_length=8000,
        label="The letter",
        help_text="It follows what is said above until you write in it.",
        widget=forms.Textarea(attrs={"rows": 18}),
    )

    def __init__(self, *args: Any, row: Decision, **kw: Any) -> None:
        initial = {
            "version": row.version, "kind": row.kind, "conditions": row.conditions, "reason": row.reason,
            "letter": row.letter, "amount_gbp": typed(row.amount_pence / PENCE) if row.amount_pence else "",
        }  # fmt: skip
        super().__init__(*args, initial=initial, **kw)

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        for name in ("conditions", "reason", "letter"):
            if name in data:
                data[name] = data[name] or ""
        if "kind" in data and data["kind"] in {"deferred", "refused"} and not self.was_changed("amount_gbp"):
            # the sum that was filled in belongs to what was decided before
            data.pop("amount_gbp", None)
        elif "kind" in data and data["kind"] == DecisionKind.FULL:
            data["amount_gbp"] = None
        elif "kind" in data:
            data["amount_gbp"] = self.cleaned_data.get("amount_gbp")
        return data


class PaymentForm(ServiceForm):
    """A payment made, or refused with a reason."""

    contract = PaymentMove
    pointers = {"to": "/to", "on": "/on", "comment": "/comment"}
    to = forms.ChoiceField(
        choices=[(PaymentState.PAID, "It was paid"), (PaymentState.REFUSED, "It is not paid; it may be asked again")],
        widget=Radios,
        label="What becomes of it",
        error_messages={"required": "Choose one.", "invalid_choice": "Choose one of these."},
    )
    on = Day(label="Paid on", help_text="Empty: today.")
    comment = Paragraphs(label="To the group", help_text="Needed where it is not paid.")


class ChangeForm(ServiceForm):
    """A change agreed, or refused with a reason."""

    contract = ChangeMove
    pointers = {"to": "/to", "comment": "/comment"}
    to = forms.ChoiceField(
        choices=[("agreed", "Agreed; it holds from now on"), ("refused", "Not agreed")],
        widget=Radios,
        label="What becomes of it",
        error_messages={"required": "Choose one.", "invalid_choice": "Choose one of these."},
    )
    comment = Paragraphs(label="To the group", help_text="Needed where it is not agreed.")


class AwardForm(ServiceForm):
    """What becomes of an award."""

    contract = AwardMove
    pointers = {"to": "/to", "comment": "/comment"}
    comment = Paragraphs(label="Why", help_text="Needed where the award is withdrawn.")

    def __init__(self, *args: Any, following: frozenset[str], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["to"] = forms.ChoiceField(
            choices=[(key, label) for key, label in _MOVES.items() if key in following],
            widget=Radios,
            label="What becomes of the award",
            error_messages={"required": "Choose one.", "invalid_choice": "Choose one of these."},
        )
        self.order_fields(["to", "comment"])


class VisitForm(ServiceForm):
    """A visit to what an award pays for."""

    contract = VisitNew
    pointers = {"on": "/on", "seen": "/seen", "next": "/next"}
    on = Day(label="Day of the visit")
    seen = Paragraphs(label="What was seen", help_text="The group reads it, with your role and no name. It stays.")
    next = Paragraphs(label="What is to be done next", help_text="By whom, and by when.", max_length=2000)

    def asked(self) -> dict[str, Any]:
        return super().asked() | {"seen": self.cleaned_data.get("seen", "")}

    def said(self, refusal: FieldError, name: str | None) -> str:
        return "This has to be filled in." if refusal.code == "too_few" else super().said(refusal, name)


class MoneyBackForm(ServiceForm):
    """Money that came back."""

    contract = MoneyBack
    pointers = {"amount_gbp": "/amount_gbp", "on": "/on", "why": "/why"}
    amount_gbp = Amount(POUNDS, label="How much came back, in pounds")
    on = Day(label="On")
    why = forms.CharField(required=False, max_length=300, label="Why")
