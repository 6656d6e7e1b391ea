"""Forms about meadow projects: beginning one, its plan, its next stage, its diary."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict

from modelling.contracts import Plan
from modelling.errors import FieldError, RequestRefused
from modelling.selectors import vocabularies
from projects.choices import Cause, Stage, Work
from projects.contracts.base import read_as
from projects.contracts.meadows import PlanNew, ProjectChange, ProjectNew, StageNew, WorkNew, WorkStrike
from projects.dashboard import words
from projects.dashboard.forms.base import ServiceForm, replaced
from projects.dashboard.forms.fields import POUNDS, Amount, Day, Pick, Radios
from projects.dashboard.forms.plan import MOST_ROWS, POINTERS, PlanForm
from projects.errors import Refused
from projects.models import Forecast, MeadowProject, Site
from projects.rules.meadows import NEEDS_CAUSE, following

DM2_PER_M2: Final = 100
#: what belongs to the site or to the recipe, and has no place in a plan
_ELSEWHERE: Final = tuple(name for name, pointer in POINTERS.items() if not pointer.startswith("/plan/"))


class ProjectForm(ServiceForm):
    """A meadow to be made on a site."""

    contract = ProjectNew
    pointers = {"name": "/name"}
    name = forms.CharField(
        max_length=120,
        label="What do you call it?",
        help_text="Unless the site is private, everybody sees this name.",
        error_messages={"required": "Give it a name, such as Under the yews."},
    )
    plan = forms.ChoiceField(
        choices=[
            ("later", "It is an idea so far; the plan comes later"),
            ("planned", "Take the usual plan for such ground; it can be changed afterwards"),
        ],
        widget=Radios,
        initial="later",
        label="Is there a plan?",
        required=False,
    )

    def __init__(self, *args: Any, site: Site, **kw: Any) -> None:
        self.site = site
        super().__init__(*args, **kw)

    def asked(self) -> dict[str, Any]:
        plan: dict[str, Any] = {"plan": {}} if self.cleaned_data.get("plan") == "planned" else {}
        return super().asked() | {"site_id": str(self.site.public_id)} | plan


class ProjectChangeForm(ServiceForm):
    """A project's name."""

    contract = ProjectChange
    pointers = {"name": "/name"}
    name = forms.CharField(
        max_length=120,
        label="Name",
        help_text="Unless the site is private, everybody sees it.",
        error_messages={"required": "Give it a name, such as Under the yews."},
    )


class PlanVersionForm(PlanForm):
    """The plan's part of the plan form: the ground itself is known from the site."""

    contract = PlanNew

    def __init__(self, data: QueryDict | None = None, *, initial: QueryDict | None = None, site: Site) -> None:
        self.site = site
        self.stale = ""
        self.others: list[tuple[str, str]] = []
        super().__init__(data, initial=initial)
        for name in _ELSEWHERE:
            self.fields.pop(name, None)
        self.fields["note"] = forms.CharField(
            required=False, max_length=300, label="What is different, and why?", help_text="For those who look later."
        )
        self.fields["version"] = forms.IntegerField(required=False, widget=forms.HiddenInput, min_value=0)
        self.unknown = []

    def clean(self) -> dict[str, Any]:
        # asked by the whole form; known here
        self.cleaned_data["area_m2"] = self.site.area_dm2 / DM2_PER_M2
        said = super().clean()
        said.pop("area_m2")
        return said

    def asked(self) -> dict[str, Any]:
        data: dict[str, Any] = {"plan": super().asked().get("plan", {})}
        if self.cleaned_data.get("note"):
            data["note"] = self.cleaned_data["note"]
        return data

    def add_refusals(self, refusals: Iterable[FieldError]) -> None:
        """Put each fault beside its field; of the ground, above them all."""
        here = []
        for refusal in refusals:
            if refusal.pointer.startswith("/plan"):
                here.append(refusal)
            elif refusal.pointer == "/note":
                self.add_error("note", refusal.detail)
            else:
                self.add_error(None, refusal.detail)
        super().add_refusals(here)

    def read(self) -> Any:
        """Return the request, read; raises RequestRefused."""
        return read_as(self.contract, self.asked())

    def add_contract_faults(self) -> None:
        """Add what the contract would refuse in what could be read, so that all faults are shown at once."""
        try:
            self.read()
        except RequestRefused as refusal:
            self.add_refusals(refusal.errors)

    def add_refused(self, refused: Refused) -> None:
        """Show the refusal of an act."""
        if refused.errors:
            self.add_refusals(refused.errors)
        else:
            self.add_error(None, refused.detail)

    @property
    def if_version(self) -> int | None:
        """The version of the project the form was filled in from."""
        found: int | None = self.cleaned_data.get("version")
        return found

    def aged(self, detail: str, now: PlanVersionForm) -> None:
        """Say that somebody changed the project in the meantime."""
        self.stale = detail
        self.data = replaced(self.data, "version", now["version"].value())


def plan_said(plan: Plan) -> QueryDict:
    """Return a stored plan as the form's fields; what the form has no field for is left out, see `beyond_form`."""
    said = QueryDict(mutable=True)

    def put(name: str, value: Any) -> None:
        if value is None or value == "":
            return
        if isinstance(value, list | tuple):
            said.setlist(name, [str(item) for item in value])
        else:
            said[name] = written(value)

    if plan.preparation is not None:
        put("preparation", plan.preparation or ["none"])
    put("sow_on", plan.sow_on)
    mixes = [item for item in plan.seed or () if item.mix]
    taxa = [item for item in plan.seed or () if item.taxon]
    for i, item in enumerate(mixes, 1):
        put(f"mix_{i}", item.mix)
        put(f"mix_{i}_g", item.kg * 1000)
    for i, item in enumerate(taxa, 1):
        put(f"taxon_{i}", item.taxon)
        put(f"taxon_{i}_g", item.kg * 1000)
    for i, plug in enumerate(plan.plugs or (), 1):
        put(f"plug_{i}", plug.taxon)
        put(f"plug_{i}_count", plug.count)
    if plan.seed == () and not plan.plugs:
        put("sowing", "nothing")
    care = plan.aftercare
    put("first_year_cuts", care.first_year_cuts)
    put("shut_up_on", care.shut_up_on)
    put("arisings", care.arisings)
    put("disposal", care.disposal)
    months = care.cut_month if care.cut_month is not None else tuple(day.month for day in care.cut_on or ())
    if care.cut_month == () or care.cut_on == ():
        put("cut_month", "none")
    elif months:
        put("cut_month", months[0])
        put("cut_month_2", months[1] if len(months) > 1 else None)
    if care.aftermath_grazing is not None:
        grazing = care.aftermath_grazing
        put("grazing", grazing.by)
        put("graze_from", grazing.from_month)
        put("graze_to", grazing.to_month)
        for name in ("fence", "water", "grazier"):
            answer = getattr(grazing, name)
            put(name, None if answer is None else "yes" if answer else "no")
    if care.refuge_share:
        put("refuge_percent", care.refuge_share * 100)
    put("volunteers", plan.crew.volunteers)
    put("hours_per_session", plan.crew.hours_per_session)
    put("budget_gbp", plan.budget_gbp)
    put("kit_to_hand", plan.kit_to_hand or None)
    return said


def beyond_form(plan: Plan) -> list[str]:
    """Return what a plan says that the form has no field for, a sentence each."""
    found = []
    if plan.steps is not None:
        found.append(f"{len(plan.steps)} dated {words.plural(len(plan.steps), 'step')}, set by a program.")
    care = plan.aftercare
    if care.cut_on:
        days = words.listed(words.day_of_year(day) for day in care.cut_on)
        found.append(f"A yearly cut on {days}; below stands its month only.")
    if max(len(care.cut_month or ()), len(care.cut_on or ())) > 2:
        found.append("More than two cuts a year; below stand the first two.")
    if max(len(plan.seed or ()), len(plan.plugs or ())) > MOST_ROWS:
        found.append(f"More than {MOST_ROWS} kinds of seed or plugs; below stand the first.")
    return found


def written(value: Any) -> str:
    """Return a value as a form holds it."""
    if isinstance(value, date):
        return value.isoformat()
    return format(Decimal(f"{value:.12g}"), "f") if isinstance(value, float) else str(value)


class StageForm(ServiceForm):
    """The next step in the life of a project."""

    contract = StageNew
    pointers = {
        "to": "/to", "on": "/on", "cause": "/cause", "handed_to": "/handed_to", "note": "/note",
        "forecast_id": "/forecast_id",
    }  # fmt: skip
    on = Day(label="Since which day?", help_text="Today or earlier.")
    note = forms.CharField(required=False, max_length=500, label="Note")

    def __init__(
        self, *args: Any, project: MeadowProject, forecasts: Iterable[Forecast] = (), today: date, **kw: Any
    ) -> None:
        super().__init__(*args, **kw)
        self.initial.setdefault("on", today)
        self.initial.setdefault("version", project.version)
        steps = following(project.stage, sown=project.sown_on is not None)
        self.ends = any(step in NEEDS_CAUSE for step in steps)
        self.fields["to"] = forms.ChoiceField(
            choices=[(step.value, step.label) for step in steps],
            widget=Radios,
            label="What is it now?",
            error_messages={
                "required": "Choose what the meadow is now.",
                "invalid_choice": "“%(value)s” cannot follow; choose one of the list.",
            },
        )
        if self.ends:
            self.fields["cause"] = Pick(
                Cause.choices,
                blank="–",
                label="If it did not take or lapsed: what was the cause?",
                help_text="So that others learn from it. Nobody is blamed, and “nobody knows” is an answer.",
            )
        if Stage.HANDED_OVER in steps:
            self.fields["handed_to"] = forms.CharField(
                required=False,
                max_length=120,
                label="If it was handed over: who looks after it now?",
                help_text="A group or an office; no person’s name.",
            )
        known = list(forecasts)
        if Stage.SOWN in steps and known:
            self.fields["forecast_id"] = Pick(
                [
                    (str(row.public_id), f"of {words.day(row.created_at.date())}, plan {row.plan.number}")
                    for row in known
                ],
                blank="The latest of the present plan",
                label="If it was sown: which forecast is it held against?",
                help_text="It is fixed from then on. Where there is none, one is made.",
            )
        self.order_fields(["to", "on", "cause", "handed_to", "forecast_id", "note", "version"])

    @property
    def rows(self) -> Iterable[BoundField]:
        return self.shown("to", "on", "cause", "handed_to", "forecast_id", "note")


class WorkForm(ServiceForm):
    """One line of the diary: few questions first, the rest folded away."""

    contract = WorkNew
    pointers = {
        name: f"/{name}"
        for name in (
            "on", "what", "heads", "hours_each", "person_hours", "machine", "machine_hours", "cash_gbp", "in_kind_gbp",
            "note", "submission_id",
        )
    }  # fmt: skip
    FIRST = ("on", "what", "heads", "hours_each")
    REST = ("person_hours", "machine", "machine_hours", "cash_gbp", "in_kind_gbp", "note")
    on = Day(label="Day", required=True)
    what = forms.ChoiceField(choices=Work.choices, label="What was done?")
    heads = Amount(whole=True, label="How many people came?")
    hours_each = Amount(label="Hours each", help_text="Half an hour is 0.5.")
    person_hours = Amount(
        label="or hours of all together",
        help_text="Where some stayed longer than others; then leave “hours each” empty.",
    )
    machine_hours = Amount(label="Hours it ran")
    cash_gbp = Amount(POUNDS, label="Money spent, £", help_text="With VAT.")
    in_kind_gbp = Amount(
        POUNDS,
        label="Worth of what was given, £",
        help_text="Kit, material, a contractor’s time. Volunteers’ hours are valued apart.",
    )
    note = forms.CharField(
        required=False,
        max_length=500,
        label="Note",
        help_text="No names: volunteers are counted, not listed.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    submission_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, today: date, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["machine"] = Pick(
            [(item["key"], item["label"]) for item in vocabularies()["machines"]], blank="None", label="Machine"
        )
        self.initial.setdefault("on", today)
        if not self.is_bound:
            self.initial["submission_id"] = uuid.uuid4()

    def said(self, refusal: FieldError, name: str | None) -> str:
        if refusal.code == "contradiction" and "person_hours" in refusal.detail:
            return "Give the hours each, or those of all together, not both."
        return super().said(refusal, name)

    def clean_note(self) -> str:
        # one line in the diary
        return " ".join(str(self.cleaned_data["note"]).split())

    @property
    def first(self) -> Iterable[BoundField]:
        return self.shown(*self.FIRST)

    @property
    def rest(self) -> Iterable[BoundField]:
        return self.shown(*self.REST)

    @property
    def rest_open(self) -> bool:
        return self.filled(*self.REST)


class StrikeForm(ServiceForm):
    """Why a line of the diary is struck out."""

    contract = WorkStrike
    pointers = {"because": "/because"}
    because = forms.CharField(
        max_length=200,
        label="What is wrong with it?",
        error_messages={"required": "Say why, such as “entered twice”."},
    )
