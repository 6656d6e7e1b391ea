"""The form of a handover."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.forms.boundfield import BoundField

from modelling.errors import FieldError
from projects.contracts.handovers import MOST_DATES, MOST_LETTERS, HandoverNew
from projects.dashboard.forms.base import ServiceForm, sent
from projects.dashboard.forms.fields import Day
from projects.models import Handover


def _text(label: str, help_text: str) -> forms.CharField:
    return forms.CharField(
        required=False,
        max_length=MOST_LETTERS,
        label=label,
        help_text=help_text,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class HandoverForm(ServiceForm):
    """Six questions; what nobody knows stays empty."""

    contract = HandoverNew
    TEXTS = ("things", "way_in", "promised", "fixed_spots", "went_wrong")
    pointers = {name: f"/{name}" for name in (*TEXTS, "submission_id")}
    things = _text("Where are seed, tools and papers?", "Which shed, which shelf, whose keys.")
    way_in = _text(
        "Who lets you in?", "The role or the office, such as the churchwarden or the school’s caretaker. No telephone."
    )
    promised = _text("What was promised, and to whom?", "Seed, cuttings, a report, a day with the school.")
    fixed_spots = _text(
        "Where are the fixed photo point and the quadrats?", "So that somebody who was never there can find them."
    )
    went_wrong = _text("What went wrong?", "So that it need not again. Nobody is blamed.")
    submission_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, before: Handover | None = None, **kw: Any) -> None:
        super().__init__(*args, **kw)
        for row in range(1, MOST_DATES + 1):
            self.fields[f"on_{row}"] = Day(label=f"{row}. By when")
            self.fields[f"what_{row}"] = forms.CharField(required=False, max_length=120, label=f"{row}. What")
        if not self.is_bound:
            self.initial["submission_id"] = uuid.uuid4()
        if before is not None:
            self.initial.update({name: getattr(before, name) for name in self.TEXTS})
            for row, entry in enumerate(before.dates, 1):
                self.initial.update({f"on_{row}": entry["on"], f"what_{row}": entry["what"]})

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        dates: list[dict[str, Any]] = []
        for row in range(1, MOST_DATES + 1):
            entry = {name: sent(self.cleaned_data.get(f"{name}_{row}")) for name in ("on", "what")}
            if any(entry.values()):
                self.extra_pointers |= {f"/dates/{len(dates)}/{name}": f"{name}_{row}" for name in entry}
                dates.append({name: value for name, value in entry.items() if value is not None})
        return data | {"dates": dates}

    def said(self, refusal: FieldError, name: str | None) -> str:
        if name is not None and name.startswith("what_") and refusal.code == "missing":
            return "Say what is due on that day."
        return super().said(refusal, name)

    @property
    def first(self) -> list[BoundField]:
        return [self[name] for name in ("things", "way_in", "promised")]

    @property
    def rows(self) -> list[tuple[BoundField, BoundField]]:
        return [(self[f"what_{row}"], self[f"on_{row}"]) for row in range(1, MOST_DATES + 1)]

    @property
    def last(self) -> list[BoundField]:
        return [self[name] for name in ("fixed_spots", "went_wrong")]
