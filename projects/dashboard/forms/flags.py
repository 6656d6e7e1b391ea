"""The form of an answer to a flag."""

from __future__ import annotations

from typing import Any

from modelling.errors import FieldError
from projects.contracts.bids import FlagAnswered
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.groups import Paragraphs


class FlagForm(ServiceForm):
    """What the group says about one flag."""

    contract = FlagAnswered
    pointers = {"text": "/text"}
    text = Paragraphs(
        max_length=2000,
        label="What does your group say to it?",
        help_text="A fact, a quote, a reason, or what you do about it. Those who read the bid see it; a later answer "
        "counts instead, and this one is kept.",
    )

    def __init__(self, *args: Any, flag: int, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.flag = flag

    def asked(self) -> dict[str, Any]:
        return {"flag": self.flag, "text": self.cleaned_data.get("text", "")}

    def said(self, refusal: FieldError, name: str | None) -> str:
        return "This has to be filled in." if refusal.code == "too_few" else super().said(refusal, name)
