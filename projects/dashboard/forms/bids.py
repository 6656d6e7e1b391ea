"""The forms of a bid, one for each part of it, so that each fits a telephone and is saved by itself."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, Final

from django import forms
from django.forms.boundfield import BoundField

from modelling.appraisal import ORCHIDS
from modelling.errors import FieldError
from modelling.selectors import taxon_row
from projects.choices import LineCategory, PaidBy, PromiseKind, Proof, Skill
from projects.contracts.bids import (
    MOST_LINES,
    MOST_PROMISES,
    MOST_STAGES,
    BidChange,
    BidMove,
    BidNew,
)
from projects.dashboard.forms.base import ServiceForm, sent, typed
from projects.dashboard.forms.fields import POUNDS, Amount, Day, Pick, Several
from projects.dashboard.forms.returns import plant_named
from projects.models import Bid, GrantRound, MeadowProject

#: empty rows offered below those that are filled in
SPARE: Final = 3
ANY_ORCHID: Final = "Orchids, of any kind"
_ROW: Final = re.compile(r"_(\d{1,3})$")


def _text(label: str, most: int, help_text: str = "", rows: int = 4) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(required=False, max_length=most, label=label, help_text=help_text, widget=widget)


def _line(label: str, most: int, help_text: str = "") -> forms.CharField:
    return forms.CharField(required=False, max_length=most, label=label, help_text=help_text)


def _projects(rows: Iterable[MeadowProject]) -> list[tuple[str, str]]:
    return [(str(row.public_id), row.name) for row in rows]


class Promised(forms.CharField):
    """A plant by its name, or orchids of any kind; read as the key."""

    def __init__(self, **options: Any) -> None:
        widget = forms.TextInput(attrs={"list": "plants", "autocomplete": "off"})
        super().__init__(required=False, max_length=120, widget=widget, **options)

    def to_python(self, value: Any) -> str:
        text = str(super().to_python(value))
        if not text:
            return ""
        return ORCHIDS if text.lower() in {ORCHIDS, ANY_ORCHID.lower()} else plant_named(text)


def plant_label(key: str) -> str:
    """Return what a form shows for a promised plant."""
    if key == ORCHIDS:
        return ANY_ORCHID
    return str((taxon_row(key) or {}).get("english_name", key)) if key else ""


class ConfirmForm(ServiceForm):
    """Nothing to type: the version that was read, and a button."""

    contract = BidMove


class BidNewForm(ServiceForm):
    """What a bid is called and which meadows it is for."""

    contract = BidNew
    pointers: ClassVar[Mapping[str, str]] = {"title": "/title", "project_ids": "/project_ids"}
    title = forms.CharField(
        required=False,
        max_length=139,
        label="What shall it be called?",
        help_text="A few words. Published if it is awarded money; name no place that is not to be known.",
    )
    project_ids = Several(label="Which meadows is it for?")

    def __init__(self, *args: Any, projects: Iterable[MeadowProject], round: GrantRound, group: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["project_ids"].choices = _projects(projects)  # type: ignore[attr-defined]
        self.ids = {"round_id": str(round.public_id), "group_id": str(group.public_id)}
        self.extra_pointers |= {"/group_id": "", "/round_id": ""}

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        return {"title": "", **data, **self.ids}


class AboutForm(ServiceForm):
    """What a bid is for, when, and what else pays for the ground."""

    contract = BidChange
    TEXTS: ClassVar = ("title", "summary", "narrative", "other_funding_note")
    pointers: ClassVar[Mapping[str, str]] = {
        name: f"/{name}" for name in (*TEXTS, "project_ids", "starts_on", "ends_on", "aftercare_years", "vat_recovered")
    }
    title = _line("What is it called?", 139, "Published if it is awarded money; name no place that is not to be known.")
    project_ids = Several(label="Which meadows is it for?")
    summary = _text("What will be done, in a few sentences?", 2000, "Published if it is awarded money. Needed.")
    narrative = _text(
        "What else should the assessors know?", 4000, "Who comes, who has agreed, what went wrong before.", 6
    )
    starts_on = Day(label="First day of the work")
    ends_on = Day(label="Last day of the work")
    aftercare_years = Amount(
        whole=True, label="For how many years will it be looked after?", help_text="Who cuts it, and for how long."
    )
    vat_recovered = Several(
        choices=[("yes", "Our group gets VAT back")],
        label="VAT",
        help_text="Most groups do not. If yours does, only the sums without VAT are asked for.",
    )
    other_funding_note = _text(
        "Does anybody else pay for this ground?", 2000, "Who, for what, until when, and what this bid pays for beside."
    )

    def __init__(self, *args: Any, bid: Bid, projects: Iterable[MeadowProject], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["project_ids"].choices = _projects(projects)  # type: ignore[attr-defined]
        self.initial.update({name: getattr(bid, name) for name in (*self.TEXTS, "starts_on", "ends_on")})
        self.initial.update(
            {
                "version": bid.version,
                "aftercare_years": typed(bid.aftercare_years),
                "vat_recovered": ["yes"] if bid.vat_recovered else [],
                "project_ids": [str(row.project.public_id) for row in bid.projects.all()],
            }
        )

    def asked(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        data: dict[str, Any] = {name: cleaned.get(name) or "" for name in self.TEXTS if name in cleaned}
        if not data.get("title"):
            # an empty title would be no title: said beside the field, the rest stays
            data["title"] = ""
        data |= {name: sent(cleaned.get(name)) for name in ("starts_on", "ends_on")}
        data["aftercare_years"] = cleaned.get("aftercare_years") or 0
        data["vat_recovered"] = bool(cleaned.get("vat_recovered"))
        if "project_ids" in cleaned:
            data["project_ids"] = cleaned["project_ids"]
        return data

    def clean_title(self) -> str:
        title = str(self.cleaned_data["title"])
        if not title:
            raise forms.ValidationError("A bid has a title; write a few words.")
        return title


class RowsForm(ServiceForm):
    """A list of alike rows, sent whole. A row whose words and figures are all empty is left out."""

    contract = BidChange
    #: where the list stands in the request
    where: ClassVar[str] = ""
    most: ClassVar[int] = 0
    #: fields that say something by themselves
    SAYS: ClassVar[tuple[str, ...]] = ()

    def __init__(self, *args: Any, bid: Bid, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.bid = bid
        filled = self.filled_rows()
        self.initial["version"] = bid.version
        count = len(filled) + SPARE
        if self.is_bound:
            there = [int(found[1]) for key in self.data if (found := _ROW.search(key))]
            count = max(there, default=0)
        self.count = min(max(count, 1), self.most)
        for row in range(1, self.count + 1):
            for name, field in self.row_fields().items():
                self.fields[f"{name}_{row}"] = field
        for row, values in enumerate(filled, 1):
            self.initial.update({f"{name}_{row}": value for name, value in values.items()})

    def row_fields(self) -> dict[str, forms.Field]:
        """The fields of one row."""
        raise NotImplementedError

    def filled_rows(self) -> list[dict[str, Any]]:
        """What stands there now."""
        raise NotImplementedError

    def entry(self, said: dict[str, Any]) -> dict[str, Any]:
        """Return a row as the request has it."""
        return {name: value for name, value in said.items() if value is not None}

    def asked(self) -> dict[str, Any]:
        found: list[dict[str, Any]] = []
        names = list(self.row_fields())
        for row in range(1, self.count + 1):
            said = {name: sent(self.cleaned_data.get(f"{name}_{row}")) for name in names}
            if all(said[name] in (None, [], False) for name in self.SAYS) and not any(
                self.errors.get(f"{name}_{row}") for name in names
            ):
                continue
            at = f"/{self.where}/{len(found)}"
            self.extra_pointers |= {f"{at}/{self.called(name)}": f"{name}_{row}" for name in names}
            self.extra_pointers[at] = f"{names[0]}_{row}"
            found.append(self.entry(said))
        return {self.where: found}

    def called(self, name: str) -> str:
        """What the request calls a field."""
        return name

    def said(self, refusal: FieldError, name: str | None) -> str:
        if name is not None and refusal.code == "missing" and refusal.detail.endswith(" is needed."):
            return "This line lacks it. Fill it in, or empty the whole line to leave it out."
        return super().said(refusal, name)

    @property
    def rows(self) -> list[tuple[int, list[BoundField]]]:
        """Rows with their fields."""
        names = list(self.row_fields())
        return [(row, [self[f"{name}_{row}"] for name in names]) for row in range(1, self.count + 1)]


class BudgetForm(RowsForm):
    """Lines of the budget."""

    where, most = "lines", MOST_LINES
    SAYS = ("what", "quantity", "unit_price_gbp", "vat_gbp")

    def row_fields(self) -> dict[str, forms.Field]:
        return {
            "what": _line("What", 200),
            "quantity": Amount(label="How many"),
            "unit": _line("Of what", 40, "kg, day, h for hours"),
            "unit_price_gbp": Amount(POUNDS, label="Price of one, £ without VAT"),
            "vat_gbp": Amount(POUNDS, label="VAT on the line, £"),
            "category": Pick(LineCategory.choices, blank="Choose", label="Kind"),
            "paid_by": Pick(PaidBy.choices, blank="Choose", label="Who pays"),
            "source": _line("Who, if not this round", 120),
            "skill": Pick(Skill.choices, blank="Not volunteers’ time", label="Skill of the hours given"),
        }

    def filled_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "what": line.what, "quantity": typed(line.quantity_milli / 1000), "unit": line.unit,
                "unit_price_gbp": typed(line.unit_price_pence / 100),
                "vat_gbp": typed(line.vat_pence / 100) if line.vat_pence else "",
                "category": line.category, "paid_by": line.paid_by, "source": line.source, "skill": line.skill,
            }
            for line in self.bid.lines.all()
        ]  # fmt: skip

    def said(self, refusal: FieldError, name: str | None) -> str:
        if name is not None and name.startswith(("category_", "paid_by_")) and refusal.code != "twice":
            return "Choose one."
        return super().said(refusal, name)


class StagesForm(RowsForm):
    """After which parts of the work money is asked for."""

    where, most = "stages", MOST_STAGES
    SAYS = ("name", "due_on", "amount_gbp", "evidence")

    def row_fields(self) -> dict[str, forms.Field]:
        return {
            "name": _line("What is done by then", 120),
            "due_on": Day(label="By when"),
            "amount_gbp": Amount(POUNDS, label="How much is asked for then, £"),
            "evidence": _line("What will show that it was done", 300),
        }

    def filled_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "name": row.name, "due_on": row.due_on, "amount_gbp": typed(row.amount_pence / 100),
                "evidence": row.evidence,
            }
            for row in self.bid.stages.all()
        ]  # fmt: skip


class PromisesForm(RowsForm):
    """What will be there by when."""

    where, most = "promises", MOST_PROMISES
    SAYS = ("amount", "plant", "by_year")

    def row_fields(self) -> dict[str, forms.Field]:
        named = [(str(row.project.public_id), row.project.name) for row in self.bid.projects.all()]
        return {
            "kind": Pick(PromiseKind.choices, blank="Choose", label="What"),
            "amount": Amount(whole=True, label="How many"),
            "by_year": Amount(whole=True, label="By the end of which year"),
            "project_id": Pick(named, blank="The whole bid", label="On which meadow"),
            "plant": Promised(label="Which plant, if one is promised"),
        }

    def filled_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "kind": row.kind, "amount": row.amount, "by_year": row.by_year,
                "project_id": str(row.project.public_id) if row.project else "",
                "plant": plant_label(row.plant),
            }
            for row in self.bid.promises.all()
        ]  # fmt: skip

    def entry(self, said: dict[str, Any]) -> dict[str, Any]:
        found = super().entry(said)
        if "project_id" not in found and found.get("kind") in {PromiseKind.SPECIES_PER_M2, PromiseKind.PLANT}:
            # of one meadow only it can but be that one
            named = list(self.bid.projects.all())
            if len(named) == 1:
                found["project_id"] = str(named[0].project.public_id)
        return found

    def said(self, refusal: FieldError, name: str | None) -> str:
        if name is not None and name.startswith("kind_") and refusal.code not in {"missing", "out_of_range"}:
            return "Choose one."
        return super().said(refusal, name)


class PapersForm(ServiceForm):
    """What a group can show."""

    contract = BidChange
    children_come = Several(choices=[("yes", "Children take part")], label="Children")
    paper = forms.FileField(
        required=False,
        allow_empty_file=True,
        max_length=1000,
        label="Add a paper",
        help_text="Of the file its name, size and checksum are kept, and nothing else: send the paper itself to the "
        "funder. By the checksum they can tell that it is the same. Up to 10 MB.",
    )
    paper_name = _line("What is it called?", 120, "Empty: the name of the file.")

    def __init__(self, *args: Any, bid: Bid, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.bid = bid
        self.initial.update({"version": bid.version, "children_come": ["yes"] if bid.children_come else []})
        has = {proof.what: proof for proof in bid.proofs.all()}
        self.asked_for = list(dict.fromkeys([*bid.round.must_show, *has]))
        self.papers = list(bid.attachments.all())
        self.fields["without"] = Several(
            choices=[(paper.name, paper.name) for paper in self.papers], label="Papers to leave out again"
        )
        if not self.papers:
            del self.fields["without"]
        self.order_fields(["children_come", "without", "paper", "paper_name"])
        for what in self.asked_for:
            proof = has.get(what)
            seen = f"Seen on {proof.seen_on:%-d %B %Y}." if proof is not None and proof.seen_on else ""
            self.fields[f"proof_{what}"] = Pick(
                [("yes", "Yes, we can show it"), ("no", "No")],
                radio=True,
                label=str(Proof(what).label),
                help_text=seen or ("Asked for by this round." if what in bid.round.must_show else ""),
            )
            if proof is not None:
                self.initial[f"proof_{what}"] = "yes" if proof.has_it else "no"

    def asked(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        answers = {what: cleaned.get(f"proof_{what}") for what in self.asked_for}
        proofs = [{"what": what, "has_it": answer == "yes"} for what, answer in answers.items() if answer]
        for index, proof in enumerate(proofs):
            self.extra_pointers[f"/proofs/{index}"] = f"proof_{proof['what']}"
        return {
            "children_come": bool(cleaned.get("children_come")), "proofs": proofs, "attachments": self._attachments(),
        }  # fmt: skip

    def _attachments(self) -> list[dict[str, Any]]:
        """The papers there are without those left out, and the one that is added, instead of one of the same name."""
        file, called = self.cleaned_data.get("paper"), self.cleaned_data.get("paper_name", "").strip()
        name = called or (file.name if file is not None else "")
        without = {*(self.cleaned_data.get("without") or ()), *([name] if file is not None else ())}
        kept = [
            {"name": paper.name, "size_bytes": paper.size_bytes, "checksum": paper.checksum}
            for paper in self.papers
            if paper.name not in without
        ]
        if file is None:
            return kept
        self.extra_pointers |= {f"/attachments/{len(kept)}": "paper", "/attachments": "paper"}
        self.extra_pointers[f"/attachments/{len(kept)}/name"] = "paper_name"
        digest = hashlib.sha256()
        for chunk in file.chunks():
            digest.update(chunk)
        return [*kept, {"name": name, "size_bytes": file.size, "checksum": digest.hexdigest()}]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or self.cleaned_data
        if found.get("paper_name") and found.get("paper") is None and "paper" not in self.errors:
            self.add_error("paper", "Choose the file once more: a browser does not keep it. Or empty its name below.")
        return found

    @property
    def proofs(self) -> list[BoundField]:
        return [self[f"proof_{what}"] for what in self.asked_for]
