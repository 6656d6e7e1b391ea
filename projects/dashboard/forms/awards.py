"""What a group sends about an offer: its answer, a payment request, a change, the report at the end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Final

from django import forms
from django.forms.boundfield import BoundField

from modelling.errors import FieldError
from projects.choices import ChangeKind
from projects.contracts.decisions import AwardMove, ChangeNew, EndReport, PaymentNew
from projects.dashboard.forms.base import ServiceForm, sent, typed
from projects.dashboard.forms.fields import POUNDS, Amount, Day, Pick
from projects.dashboard.pages.awards import AwardPage
from projects.models import Award
from projects.rules.bids import pounds

_SUMS: Final = ("out_of_range", "over_award")


def _text(label: str, most: int, help_text: str = "", rows: int = 4) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(required=False, max_length=most, label=label, help_text=help_text, widget=widget)


class AnswerForm(ServiceForm):
    """Yes or no to an offer."""

    contract = AwardMove
    pointers: ClassVar[Mapping[str, str]] = {"to": "/to", "accounting_year": "/accounting_year"}
    to = Pick(
        [
            ("accepted", "We accept it, on the terms above"),
            ("declined", "We decline it; the money goes back to the pot"),
        ],
        radio=True,
        blank="Not decided yet",
        label="Your answer",
    )
    accounting_year = forms.CharField(
        required=False,
        max_length=20,
        label="In which accounting year do your accounts first show the money?",
        help_text="For accepting; such as 2026-27. Show it as restricted: for this work and nothing else.",
    )

    def said(self, refusal: FieldError, name: str | None) -> str:
        return "Choose one of the two." if name == "to" else super().said(refusal, name)


class PaymentForm(ServiceForm):
    """Money for a stage that is done."""

    contract = PaymentNew
    pointers: ClassVar[Mapping[str, str]] = {"stage": "/stage", "amount_gbp": "/amount_gbp", "evidence": "/evidence"}
    stage = Pick(label="Which stage is done?", blank="Choose")
    amount_gbp = Amount(POUNDS, label="How much do you ask for, £")
    evidence = _text(
        "What shows that it was done?", 4000, "Days, people, labels of the seed, invoices; where photos are."
    )

    def __init__(self, *args: Any, page: AwardPage, **kw: Any) -> None:
        super().__init__(*args, **kw)
        rows = [row for row in page.stages if row.open]
        self.fields["stage"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *((str(row.stage.number), f"{row.stage.name}: up to {pounds(row.stage.amount_pence)}") for row in rows),
        ]
        if rows:
            most = min(rows[0].stage.amount_pence, page.left_pence)
            self.initial.update({"stage": str(rows[0].stage.number), "amount_gbp": typed(most / 100)})

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        if "stage" in data:
            data["stage"] = int(data["stage"])
        return data

    def said(self, refusal: FieldError, name: str | None) -> str:
        # how much there is stands in the refusal
        return refusal.detail if refusal.code in _SUMS else super().said(refusal, name)


class ChangeForm(ServiceForm):
    """Something to be done otherwise than the bid said."""

    contract = ChangeNew
    pointers: ClassVar[Mapping[str, str]] = {
        name: f"/{name}" for name in ("kind", "why", "starts_on", "ends_on", "before", "after")
    }
    kind = Pick(ChangeKind.choices, radio=True, blank="Not chosen yet", label="What is to be different?")
    why = _text("Why?", 4000)
    starts_on = Day(label="Dates: new first day")
    ends_on = Day(label="Dates: new last day")
    before = forms.CharField(required=False, max_length=300, label="Seed or ground: what did the bid say?")
    after = forms.CharField(required=False, max_length=300, label="Seed or ground: what shall be done instead?")

    def __init__(self, *args: Any, award: Award, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.stages = list(award.bid.stages.all())
        for stage in self.stages:
            self.fields[f"stage_{stage.number}"] = Amount(
                POUNDS,
                label=f"Budget: {stage.name}, £",
                help_text=f"Now {pounds(stage.amount_pence)}. Fill in all stages; their sum stays.",
            )

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        amounts = [self.cleaned_data.get(f"stage_{stage.number}") for stage in self.stages]
        if any(amount is not None for amount in amounts):
            for index, stage in enumerate(self.stages):
                self.extra_pointers[f"/stages/{index}"] = f"stage_{stage.number}"
            data["stages"] = [sent(amount) or 0.0 for amount in amounts]
        if self.stages:
            self.extra_pointers["/stages"] = f"stage_{self.stages[0].number}"
        return data

    def said(self, refusal: FieldError, name: str | None) -> str:
        if refusal.code in _SUMS:
            return refusal.detail
        return "Choose one." if name == "kind" else super().said(refusal, name)

    @property
    def budget(self) -> list[BoundField]:
        return [self[f"stage_{stage.number}"] for stage in self.stages]


class ReportForm(ServiceForm):
    """What became of the award."""

    contract = EndReport
    pointers: ClassVar[Mapping[str, str]] = {"report": "/report"}
    report = _text(
        "What became of it?",
        8000,
        "What was sown, by whom, what came up, what went otherwise, and what was not spent.",
        8,
    )

    def __init__(self, *args: Any, award: Award, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.initial.update({"report": award.report, "version": award.version})
