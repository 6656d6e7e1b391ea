"""Counting a sack on a phone: one sub-sample at a time, kept before the next is asked for."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any, Final

from django import forms
from django.forms.boundfield import BoundField

from modelling.selectors import vocabularies
from projects.contracts.counts import CountNew
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import GRAMS, Amount, Day, Pick

#: kinds that one count can begin with
ROWS: Final = 5
RATTLE: Final = "rhinanthus_minor"
DRAWN: Final = [
    ("divided", "From a mixed heap, divided"),
    ("spread", "From all depths"),
    ("top", "From the top"),
    ("not_said", "Not said"),
]


class CountForm(ServiceForm):
    """One sub-sample. The first one says which kinds are counted; the next ones count the same."""

    contract = CountNew
    pointers = {
        "grams": "/samples/0/grams", "drawn": "/drawn", "counted_on": "/counted_on", "submission_id": "/submission_id",
    }  # fmt: skip
    grams = Amount(GRAMS, label="How many grams is this sub-sample?", initial="1")
    drawn = forms.ChoiceField(choices=DRAWN, required=False, label="How was it taken?")
    counted_on = Day(label="Counted on", help_text="Left empty, today.")
    submission_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, going_on: Sequence[str] = (), **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.going_on = list(going_on)
        labels = {row["key"]: row["label"] for row in vocabularies()["taxa"]}
        for number in range(1, (len(self.going_on) or ROWS) + 1):
            name = labels.get(self.going_on[number - 1], "") if self.going_on else "Seeds of it"
            if not self.going_on:
                choices = sorted(labels.items(), key=lambda pair: pair[1])
                self.fields[f"taxon_{number}"] = Pick(choices, blank="Nothing more", label="Which kind?")
            self.fields[f"count_{number}"] = Amount(whole=True, label=name.capitalize())
        if not self.is_bound:
            self.initial.update({"submission_id": uuid.uuid4(), "taxon_1": RATTLE})

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        counts: dict[str, Any] = {}
        for number in range(1, (len(self.going_on) or ROWS) + 1):
            taxon = self.going_on[number - 1] if self.going_on else self.cleaned_data.get(f"taxon_{number}")
            count = self.cleaned_data.get(f"count_{number}")
            if taxon and count is not None:
                counts[taxon] = count
                self.extra_pointers[f"/samples/0/counts/{taxon}"] = f"count_{number}"
        sample = {"grams": self.cleaned_data.get("grams"), "counts": counts}
        return data | {"samples": [sample], "adds_to_last": bool(self.going_on)}

    @property
    def rows(self) -> list[tuple[BoundField | None, BoundField]]:
        """The kinds, each with its number."""
        numbers = range(1, (len(self.going_on) or ROWS) + 1)
        return [(None if self.going_on else self[f"taxon_{n}"], self[f"count_{n}"]) for n in numbers]
