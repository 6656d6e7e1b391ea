"""Forms about sharing seed out: a wish, a sharing, a harvest that may be made, a pairing held."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from projects.contracts.share_outs import Held, PlannedHarvest, ShareOutNew, WishNew
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import GRAMS, Amount, Day, Pick


class WishForm(ServiceForm):
    """A project hopes for seed."""

    contract = WishNew
    pointers = {
        "project": "/project_id", "year": "/year", "target": "/target_g", "least": "/least_g", "note": "/note",
    }  # fmt: skip
    project = Pick(label="For which meadow?", blank="Choose one")
    year = Amount(whole=True, label="For sowing in which year?")
    target = Amount(GRAMS, label="How much would you sow?", help_text="Grams, or say kg. 4 g for each m² is plenty.")
    least = Amount(
        GRAMS, label="Below which amount would you rather not sow?", help_text="Half a gram for each m² is thin."
    )
    note = forms.CharField(required=False, max_length=300, label="Anything to know?")

    def __init__(self, *args: Any, projects: Iterable[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["project"].choices = [*self.fields["project"].choices, *projects]  # type: ignore[attr-defined]


class ShareOutForm(ServiceForm):
    """A new sharing."""

    contract = ShareOutNew
    pointers = {
        "name": "/name", "year": "/year", "objective": "/settings/objective", "reach": "/settings/reach_km",
        "machines": "/settings/machines",
    }  # fmt: skip
    name = forms.CharField(max_length=120, label="What is it called?", help_text="Such as: July's harvest.")
    year = Amount(whole=True, label="Of which year's wishes?")
    objective = Pick(
        choices=[
            ("area", "The most species-rich ground in the county"),
            ("fair", "Each project its share, however small its ground"),
        ],
        blank="The most species-rich ground in the county",
        label="What is it to bring?",
    )
    reach = Amount(label="How far is seed taken, km?", help_text="Left empty: 25 km.")
    machines = Amount(whole=True, label="How many harvesters?", help_text="Left empty: one.")

    def __init__(self, *args: Any, network_id: str, **more: Any) -> None:
        super().__init__(*args, **more)
        self.network_id = network_id

    def asked(self) -> dict[str, Any]:
        return {"network_id": self.network_id} | super().asked()


class HarvestForm(ServiceForm):
    """A harvest that may be made."""

    contract = PlannedHarvest
    pointers = {
        "donor": "/donor_id", "first_day": "/first_day", "last_day": "/last_day", "half_day": "/half_day_g",
        "most": "/most_half_days", "whole": "/whole_g",
    }  # fmt: skip
    donor = Pick(label="Which donor meadow?", blank="Choose one")
    first_day = Day(label="Ripe from which day?")
    last_day = Day(label="Ripe until which day?")
    half_day = Amount(GRAMS, label="Dry seed that half a day brings, cautiously", help_text="Grams, or say kg.")
    most = Amount(whole=True, label="At most how many half-days?", help_text="Left empty: four.")
    whole = Amount(
        GRAMS, label="Dry seed in all of the meadow, cautiously",
        help_text="The part that may be taken is that of the agreement.",
    )  # fmt: skip

    def __init__(self, *args: Any, donors: Iterable[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["donor"].choices = [*self.fields["donor"].choices, *donors]  # type: ignore[attr-defined]


class HoldForm(ServiceForm):
    """A pairing held by hand."""

    contract = Held
    pointers = {"source": "/source_id", "project": "/project_id", "how": "/how", "grams": "/grams"}
    source = Pick(label="Which seed?", blank="Choose one")
    project = Pick(label="For which project?", blank="Choose one")
    how = Pick(
        choices=[("give", "It gets some of it, whatever else"), ("forbid", "It gets none of it")],
        label="What is held?", blank="Choose one",
    )  # fmt: skip
    grams = Amount(GRAMS, label="At least how much?", help_text="Grams, or say kg. Left empty: a small parcel.")

    def __init__(self, *args: Any, names: Mapping[str, Iterable[tuple[str, str]]], **more: Any) -> None:
        super().__init__(*args, **more)
        for field, choices in names.items():
            self.fields[field].choices = [*self.fields[field].choices, *choices]  # type: ignore[attr-defined]
