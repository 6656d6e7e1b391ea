"""Forms about plug plants and days of green hay."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from modelling.selectors import vocabularies
from projects.contracts.green_hay import GreenHayEnd, GreenHayNew
from projects.contracts.plugs import PlugBatchNew, PlugNoted, PlugPromiseNew
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import SQUARE_METRES, Amount, Day, Pick, Radios
from projects.models import DonorMeadow, Group, MeadowProject


class PlugBatchForm(ServiceForm):
    """A batch of plugs."""

    contract = PlugBatchNew
    pointers = {
        name: f"/{name}"
        for name in ("taxon", "sown_on", "sown_count", "seed_from", "group_id", "ready_on", "note")
    }  # fmt: skip
    taxon = Pick((), label="Which plant?", blank="Choose")
    sown_on = Day(label="Sown on")
    sown_count = Amount(whole=True, label="How many seeds, or cells?")
    seed_from = forms.CharField(
        required=False,
        max_length=200,
        label="Where did the seed come from?",
        help_text="A supplier, or the lot’s name.",
    )
    group_id = Pick((), label="Who looks after it?", blank="The network")
    ready_on = Day(label="Ready to plant by")
    note = forms.CharField(required=False, max_length=500, label="Anything else?")

    def __init__(self, *args: Any, groups: Iterable[Group], **kw: Any) -> None:
        super().__init__(*args, **kw)
        plants = [(row["key"], f"{row['label']} ({row['help']})") for row in vocabularies()["taxa"]]
        self.fields["taxon"].choices = [("", "Choose"), *plants]  # type: ignore[attr-defined]
        listed = [(str(row.public_id), row.name) for row in groups]
        self.fields["group_id"].choices = [("", "The network"), *listed]  # type: ignore[attr-defined]


class PlugNoteForm(ServiceForm):
    """Plants potted on, or lost."""

    contract = PlugNoted
    pointers = {name: f"/{name}" for name in ("what", "count", "on", "note")}
    what = forms.ChoiceField(
        choices=[("pricked_out", "Pricked out"), ("lost", "Lost")], widget=Radios, label="What happened?"
    )
    count = Amount(whole=True, label="How many?")
    on = Day(label="When?")
    note = forms.CharField(required=False, max_length=200, label="Why, if you know?")


class PlugPromiseForm(ServiceForm):
    """Plants for a project."""

    contract = PlugPromiseNew
    pointers = {"project_id": "/project_id", "count": "/count"}
    project_id = Pick((), label="To which meadow?", blank="Choose")
    count = Amount(whole=True, label="How many?")

    def __init__(self, *args: Any, projects: Iterable[MeadowProject], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["project_id"].choices = [("", "Choose"), *_projects(projects)]  # type: ignore[attr-defined]


def _projects(rows: Iterable[MeadowProject]) -> list[tuple[str, str]]:
    return [(str(row.public_id), f"{row.name}, {row.group.name}") for row in rows]


class GreenHayForm(ServiceForm):
    """A strip of a donor and the ground it goes on."""

    contract = GreenHayNew
    pointers = {
        name: f"/{name}"
        for name in (
            "donor_id", "project_id", "donor_area_m2", "receptor_area_m2", "cut_on", "spread_on", "hours_to_spread",
            "trailers", "people", "note",
        )
    }  # fmt: skip
    donor_id = Pick((), label="From which donor meadow?", blank="Choose")
    donor_area_m2 = Amount(SQUARE_METRES, label="How much of it is cut, in m²?")
    cut_on = Day(label="Cut on")
    project_id = Pick((), label="Onto which meadow to be?", blank="Choose")
    receptor_area_m2 = Amount(SQUARE_METRES, label="Spread on how much bare ground, in m²?")
    spread_on = Day(label="Spread on", help_text="Left empty, the same day.")
    hours_to_spread = Amount(label="Hours from the cut to the last forkful")
    trailers = Amount(whole=True, label="Trailers")
    people = Amount(whole=True, label="People")
    note = forms.CharField(required=False, max_length=500, label="Who brings what?")

    def __init__(self, *args: Any, donors: Iterable[DonorMeadow], projects: Iterable[MeadowProject], **kw: Any) -> None:
        super().__init__(*args, **kw)
        listed = [(str(row.public_id), row.name) for row in donors]
        self.fields["donor_id"].choices = [("", "Choose"), *listed]  # type: ignore[attr-defined]
        self.fields["project_id"].choices = [("", "Choose"), *_projects(projects)]  # type: ignore[attr-defined]


class GreenHayEndForm(ServiceForm):
    """Done, or called off."""

    contract = GreenHayEnd
    pointers = {name: f"/{name}" for name in ("to", "because", "hours_to_spread")}
    to = forms.ChoiceField(
        choices=[("done", "It is done"), ("called_off", "It is called off")], widget=Radios, label="What came of it?"
    )
    hours_to_spread = Amount(label="Hours from the cut to the last forkful, as it was")
    because = forms.CharField(required=False, max_length=200, label="If called off: why?")
