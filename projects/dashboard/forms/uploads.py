"""Forms of sheets that are sent: the file, answers to what it leaves open, taking it in."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any, Final

from django import forms

from modelling import names
from modelling.errors import FieldError
from projects.contracts.uploads import UploadAccept, UploadAnswers, UploadAsked
from projects.dashboard import words
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Day, Pick
from projects.dashboard.forms.returns import PlantNamed, likeness
from projects.rules.uploads import MAY_STAY_OPEN
from projects.sheets import Question

#: questions on one page; the others follow once these are answered
MOST_SHOWN: Final = 40


class SheetForm(ServiceForm):
    """A file, and the year of rows that tell none."""

    contract = UploadAsked
    pointers = {"year": "/year", "file": "/file"}
    file = forms.FileField(
        label="The file",
        help_text="XLSX or CSV, up to 10 MB. The file itself is not kept; what was read in it is, for 30 days.",
        widget=forms.FileInput(attrs={"accept": ".xlsx,.xlsm,.csv,.txt,text/csv"}),
        error_messages={"required": "Choose a file.", "empty": "The file is empty."},
        max_length=1000,
    )

    def __init__(self, *args: Any, years: Sequence[int], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["year"] = forms.TypedChoiceField(
            label="Summer", coerce=int, choices=[(year, str(year)) for year in years],
            error_messages={"invalid_choice": "“%(value)s” is not in the list; choose a year that is."},
        )  # fmt: skip
        self.order_fields(["year", "file"])

    def asked(self) -> dict[str, Any]:
        file = self.cleaned_data.get("file")
        name = "".join(letter for letter in (file.name if file else "") if letter.isprintable())
        return {"year": self.cleaned_data.get("year"), "filename": name[:80]}

    def add_contract_faults(self) -> None:
        """What is wrong is found by the fields already."""

    def said(self, refusal: FieldError, name: str | None) -> str:
        """A file that cannot be read, with what would be right."""
        text = super().said(refusal, name)
        return f"{text} Right would be: {refusal.expected}." if name == "file" and refusal.expected else text


def field_name(key: str) -> str:
    """A name for the field of a question."""
    return "q" + hashlib.sha256(key.encode()).hexdigest()[:16]


class AnswersForm(ServiceForm):
    """What only a person can say about a sheet. Nothing is chosen beforehand."""

    contract = UploadAnswers

    def __init__(self, *args: Any, questions: Sequence[Question], **kw: Any) -> None:
        super().__init__(*args, **kw)
        # what must be answered stands first
        ordered = sorted(questions, key=lambda question: question.code in MAY_STAY_OPEN)
        self.asked_of = ordered[:MOST_SHOWN]
        self.more = len(ordered) - len(self.asked_of)
        for question in self.asked_of:
            name = field_name(question.key)
            self.extra_pointers[f"/answers/{question.key.replace('~', '~0').replace('/', '~1')}"] = name
            blank = "Leave it open for now" if question.code in MAY_STAY_OPEN else "Not answered yet"
            if question.choices:
                self.fields[name] = Pick(self._labelled(question), blank=blank, radio=True, label=question.text)
            if question.free == "day":
                label = "Another day" if question.choices else question.text
                self.fields[f"{name}-day"] = Day(label=label)
            if question.free == "taxon":
                self.fields[f"{name}-plant"] = PlantNamed(label="Another plant")

    @staticmethod
    def _labelled(question: Question) -> list[tuple[str, str]]:
        scores = {}
        if question.code in MAY_STAY_OPEN:
            scores = {each.taxon: each.score for each in names.match(question.read).candidates}
        return [
            (
                choice.value,
                f"{words.opened(choice.label)}: {likeness(scores[choice.value])}"
                if choice.value in scores
                else words.opened(choice.label),
            )
            for choice in question.choices
        ]

    @property
    def items(self) -> list[dict[str, Any]]:
        """Each question with its fields, for the template."""
        return [
            {
                "question": question,
                "needed": question.code not in MAY_STAY_OPEN,
                "fields": [
                    self[name]
                    for name in (field_name(question.key) + tail for tail in ("", "-day", "-plant"))
                    if name in self.fields
                ],
            }
            for question in self.asked_of
        ]

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if not self.errors and not self._answers():
            raise forms.ValidationError("Nothing is answered yet; answer one question at least.")
        return said

    def _answers(self) -> dict[str, str]:
        found = {}
        for question in self.asked_of:
            name = field_name(question.key)
            day = self.cleaned_data.get(f"{name}-day")
            value = day.isoformat() if day else self.cleaned_data.get(f"{name}-plant") or self.cleaned_data.get(name)
            if value:
                found[question.key] = value
        return found

    def asked(self) -> dict[str, Any]:
        return {"answers": self._answers()}

    def add_contract_faults(self) -> None:
        """What is wrong is found by the fields already."""


class AcceptForm(ServiceForm):
    """Taking a sheet in as it was shown."""

    contract = UploadAccept
    pointers = {"preview": "/preview", "how": "/how"}
    preview = forms.CharField(widget=forms.HiddenInput, max_length=64)
    how = Pick(
        [
            ("add", "Put it to what was sent: nothing is lost, and what both tell stands once, as the sheet has it"),
            ("replace", "Put it in the place of what was sent, which stays as an earlier version"),
        ],
        radio=True,
        label="A return was sent before",
    )

    def __init__(self, *args: Any, beside: bool, **kw: Any) -> None:
        super().__init__(*args, **kw)
        if beside:
            self.fields["how"].choices = self.fields["how"].choices[1:]  # type: ignore[attr-defined]
            self.fields["how"].initial = "add"
        else:
            del self.fields["how"]
