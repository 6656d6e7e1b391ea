"""Forms about a yearly return once it is sent: names to settle, questions to answer, checking it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any, Final

from django import forms

from modelling import names
from modelling.selectors import vocabularies
from projects.choices import ReturnState
from projects.contracts.returns import MOST_CHOSEN, NameSettled, NamesSettled, ReturnMove, ReturnQuestionAnswer
from projects.dashboard import words
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Pick
from projects.dashboard.forms.groups import Paragraphs

OTHER: Final = "another-plant"
AS_WRITTEN: Final = "as-written"
#: likeness in words, from 0 to 100
_LIKE: Final = ((95, "all but to the letter"), (85, "very like it"), (75, "like it"), (0, "somewhat like it"))


def likeness(score: int) -> str:
    """A score in words, with the score."""
    if score == 100:
        return "it goes by this name"
    return f"{next(text for least, text in _LIKE if score >= least)}, {score} of 100"


def plants_by_label() -> list[str]:
    """Plants to choose from while typing."""
    return [f"{plant['label']} ({plant['help']})" for plant in vocabularies()["taxa"]]


def plant_named(text: str) -> str:
    """The key of a plant as typed; raises ValidationError with the nearest ones where it is none to the letter."""
    match = names.match(text)
    if match.settled and match.taxon is not None:
        return match.taxon
    near = words.listed((candidate.name for candidate in match.candidates), "or")
    tail = f" The nearest: {near}." if near else " Leave the name as written if the plant is not in the list."
    raise forms.ValidationError(f"“{text}” is not to the letter a plant known here.{tail}")


class PlantNamed(forms.CharField):
    """A plant as typed, by any name that the tables know to the letter; read as its key."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        super().__init__(
            max_length=120,
            widget=forms.TextInput(attrs={"list": "plants", "autocomplete": "off"}),
            **options,
        )

    def clean(self, value: Any) -> str:
        text = super().clean(value) or ""
        return plant_named(text) if text else ""


class ActForm(ServiceForm):
    """A form that begins empty: there is nothing that stood in its fields before."""

    def aged(self, detail: str, now: ServiceForm) -> None:
        """Say that somebody changed the return in the meantime; what was typed stays."""
        super().aged(detail, now)
        self.others = []


class NamesForm(ActForm):
    """What each written name stands for. Nothing is chosen beforehand; what is left open stays open."""

    contract = NamesSettled

    def __init__(self, *args: Any, open_names: Sequence[tuple[str, int, names.Match]], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.items: list[dict[str, Any]] = []
        for name, count, match in open_names[:MOST_CHOSEN]:
            key = "n" + hashlib.sha256(match.folded.encode()).hexdigest()[:12]
            choices = [(each.taxon, f"{words.opened(each.name)}: {likeness(each.score)}") for each in match.candidates]
            choices += [(OTHER, "Another plant, typed below"), (AS_WRITTEN, "Leave it as written")]
            self.fields[f"{key}-is"] = Pick(choices, blank="Not decided yet", radio=True, label=f"“{name}” stands for")
            self.fields[f"{key}-plant"] = PlantNamed(label=f"Another plant for “{name}”")
            self.fields[f"{key}-keep"] = forms.BooleanField(
                required=False, label="Read it so in the group’s later returns"
            )
            self.items.append({"key": key, "name": name, "count": count, "match": match})

    @property
    def rows(self) -> list[dict[str, Any]]:
        """Each name with its fields, for the template."""
        return [item | {part: self[f"{item['key']}-{part}"] for part in ("is", "plant", "keep")} for item in self.items]

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        decided = False
        for item in self.items:
            chosen, typed = f"{item['key']}-is", f"{item['key']}-plant"
            if chosen in self.errors or typed in self.errors:
                decided = True
                continue
            if said[typed] and not said[chosen]:
                said[chosen] = OTHER
            decided = decided or bool(said[chosen])
            if said[chosen] == OTHER and not said[typed]:
                self.add_error(typed, "Say which plant, or choose otherwise.")
            elif said[typed] and said[chosen] != OTHER:
                self.add_error(typed, "A plant is typed here and another choice is made above; keep one of them.")
        if not decided:
            raise forms.ValidationError("No name is decided yet; choose for one at least.")
        return said

    def asked(self) -> dict[str, Any]:
        found: list[dict[str, Any]] = []
        for item in self.items:
            chosen = self.cleaned_data.get(f"{item['key']}-is")
            if not chosen:
                continue
            taxon = {OTHER: self.cleaned_data.get(f"{item['key']}-plant") or None, AS_WRITTEN: None}.get(chosen, chosen)
            at = f"/names/{len(found)}"
            self.extra_pointers |= {f"{at}/taxon": f"{item['key']}-is", f"{at}/name": f"{item['key']}-is"}
            found.append(
                {"name": item["name"], "taxon": taxon, "remember": bool(self.cleaned_data.get(f"{item['key']}-keep"))}
            )
        return {"names": found}

    def add_contract_faults(self) -> None:
        """What is wrong is found by the fields already."""


class RereadForm(ActForm):
    """Read a name otherwise than it was read."""

    contract = NameSettled
    pointers = {"name": "/name", "taxon": "/taxon", "remember": "/remember"}
    taxon = PlantNamed(label="It stands for", help_text="English or Latin. Left empty, the name stays as written.")
    remember = forms.BooleanField(required=False, label="Read it so in the group’s later returns")

    def __init__(self, *args: Any, written: Sequence[str], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["name"] = Pick(
            [(name, name) for name in written], blank="Choose", label="The name as it was written", required=True,
            error_messages={"required": "Choose the name that was read wrongly."},
        )  # fmt: skip
        self.order_fields(["name", "taxon", "remember"])

    def asked(self) -> dict[str, Any]:
        return {"taxon": None, **super().asked()}

    @staticmethod
    def settled(asked: NameSettled) -> NamesSettled:
        """The one name as the service takes several."""
        return NamesSettled(names=(asked,))


class AnswerForm(ServiceForm):
    """A group's answer to a question."""

    contract = ReturnQuestionAnswer
    pointers = {"answer": "/answer"}
    answer = Paragraphs(
        label="Your answer", required=True, error_messages={"required": "Write the answer; a few words are enough."}
    )

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["answer"].widget.attrs["rows"] = 3


class CheckForm(ActForm):
    """What the network does with a return: look it through, send it back, agree it."""

    contract = ReturnMove
    pointers = {"to": "/to", "comment": "/comment"}
    to = forms.ChoiceField(
        choices=[(state.value, state.label) for state in ReturnState if state != ReturnState.SENT],
        error_messages={"required": "Use one of the buttons.", "invalid_choice": "Use one of the buttons."},
    )
    comment = Paragraphs(label="A word to the group", help_text="Needed where the return is sent back.")

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["comment"].widget.attrs["rows"] = 3


class YearForm(forms.Form):
    """Which returns of a year to list."""

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        years: Sequence[int],
        states: Sequence[tuple[str, str]],
        groups: Sequence[tuple[str, str]],
        districts: Sequence[tuple[str, str]],
    ) -> None:
        super().__init__(data)
        self.fields["year"] = Pick([(str(year), str(year)) for year in years], blank="This year", label="Year")
        self.fields["state"] = Pick(states, blank="Any", label="How far it has come")
        self.fields["group"] = Pick(groups, blank="All", label="Group")
        self.fields["district"] = Pick(districts, blank="All", label="District")

    def said(self) -> dict[str, str]:
        """What is asked for, leaving out what could not be read."""
        self.is_valid()
        return {name: str(self.cleaned_data.get(name) or "") for name in self.fields}
