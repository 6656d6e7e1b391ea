"""Forms of those who read bids: the score sheet, a note for the panel, a paper that was seen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.forms.boundfield import BoundField

from projects.choices import Proof
from projects.contracts.bids import NoteNew, ProofSeen, ReviewWritten
from projects.dashboard.forms.base import ServiceForm, sent
from projects.dashboard.forms.fields import Amount, Day, Pick, Radios
from projects.dashboard.forms.groups import Paragraphs
from projects.models import BidProof, Criterion, Review

#: up to this best score, all scores are offered as buttons
MOST_BUTTONS: Final = 10


class ScoreForm(ServiceForm):
    """A score and a note on each criterion; kept as a draft with gaps, sent once it is whole."""

    contract = ReviewWritten
    pointers = {"comment": "/comment"}
    comment = Paragraphs(label="The bid as a whole", help_text="The panel reads it once it is sent.")

    def __init__(self, *args: Any, criteria: Iterable[Criterion], review: Review | None = None, **kw: Any) -> None:
        self.criteria = list(criteria)
        super().__init__(*args, initial=self._filled_in(review), **kw)
        for criterion in self.criteria:
            self.fields[f"score_{criterion.position}"] = self._score(criterion)
            self.fields[f"comment_{criterion.position}"] = forms.CharField(
                max_length=500,
                required=False,
                label=f"Why, for {criterion.name}",
                widget=forms.Textarea(attrs={"rows": 2}),
            )

    @staticmethod
    def _filled_in(review: Review | None) -> dict[str, Any]:
        if review is None:
            return {}
        said: dict[str, Any] = {"comment": review.comment}
        for row in review.scores.all():
            said |= {
                f"score_{row.criterion.position}": str(row.score),
                f"comment_{row.criterion.position}": row.comment,
            }
        return said

    @staticmethod
    def _score(criterion: Criterion) -> forms.Field:
        label = f"{criterion.name}: 0 to {criterion.most}"
        if criterion.most > MOST_BUTTONS:
            return Amount(whole=True, label=label, help_text=criterion.about)
        choices = [("", "Not yet"), *((str(n), str(n)) for n in range(criterion.most + 1))]
        return forms.ChoiceField(
            choices=choices,
            widget=Radios(attrs={"class": "scores"}),
            required=False,
            label=label,
            help_text=criterion.about,
            error_messages={"invalid_choice": f"“%(value)s” is no score here; choose 0 to {criterion.most}."},
        )

    def asked(self) -> dict[str, Any]:
        scores: list[dict[str, Any]] = []
        for criterion in self.criteria:
            score = sent(self.cleaned_data.get(f"score_{criterion.position}"))
            comment = sent(self.cleaned_data.get(f"comment_{criterion.position}"))
            if score is None:
                continue
            at = f"/scores/{len(scores)}"
            self.extra_pointers |= {
                f"{at}/score": f"score_{criterion.position}", f"{at}/comment": f"comment_{criterion.position}"
            }  # fmt: skip
            row = {"criterion": criterion.position, "score": int(score)}
            scores.append(row if comment is None else row | {"comment": comment})
        return super().asked() | {"scores": scores, "send": "send" in self.data}

    def clean(self) -> dict[str, Any]:
        """Refuse a note without a score, which would be lost."""
        said: dict[str, Any] = super().clean() or self.cleaned_data
        for criterion in self.criteria:
            name = f"score_{criterion.position}"
            noted = said.get(f"comment_{criterion.position}") or "send" in self.data
            if noted and name not in self.errors and said.get(name) in (None, ""):
                self.add_error(name, "Give a score too, from 0.")
        return said

    @property
    def rows(self) -> list[tuple[BoundField, BoundField]]:
        return [(self[f"score_{c.position}"], self[f"comment_{c.position}"]) for c in self.criteria]


class NoteForm(ServiceForm):
    """Something to be said about a bid."""

    contract = NoteNew
    pointers = {"text": "/text"}
    text = Paragraphs(
        label="What is to be said",
        help_text="Those who read the bid see it with your name; it stays. The group never sees it.",
    )

    def asked(self) -> dict[str, Any]:
        return {"text": self.cleaned_data.get("text", "")}


class SeenForm(ServiceForm):
    """A paper that the group says it has, and the day it was seen."""

    contract = ProofSeen
    pointers = {"what": "/what", "seen_on": "/seen_on"}
    seen_on = Day(label="Seen on")

    def __init__(self, *args: Any, proofs: Iterable[BidProof], **kw: Any) -> None:
        super().__init__(*args, **kw)
        choices = [(row.what, Proof(row.what).label) for row in proofs if row.has_it]
        self.fields["what"] = Pick(choices, blank="Choose", label="What was seen")
        self.order_fields(["what", "seen_on"])
