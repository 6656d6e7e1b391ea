"""Seeds of one kind set to germinate, told on a phone."""

from __future__ import annotations

from typing import Any

from modelling.selectors import vocabularies
from projects.contracts.counts import GerminationNew
from projects.dashboard.forms.fields import Amount, Day, Pick
from projects.dashboard.forms.seed_moves import SentOnce


class GerminationForm(SentOnce):
    """So many of so many seeds of a kind."""

    contract = GerminationNew
    pointers = {name: f"/{name}" for name in ("taxon", "tested", "germinated", "on", "submission_id")}
    taxon = Pick((), label="Which kind?", blank="Choose")
    tested = Amount(whole=True, label="How many seeds were set?")
    germinated = Amount(whole=True, label="How many germinated?")
    on = Day(label="Looked at last on")

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        taxa = sorted(((row["key"], row["label"]) for row in vocabularies()["taxa"]), key=lambda pair: pair[1])
        self.fields["taxon"].choices = [("", "Choose"), *taxa]  # type: ignore[attr-defined]
        # more germinated than were set is refused as a whole
        self.extra_pointers[""] = "germinated"
