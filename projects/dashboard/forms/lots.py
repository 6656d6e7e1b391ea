"""A form for seed that was bought or given."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.forms.boundfield import BoundField

from modelling.selectors import vocabularies
from projects.contracts.lots import LotNew
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import GRAMS, POUNDS, Amount, Day, Pick, Radios

#: kinds of a supplier's label that the form has room for
ROWS: Final = 8


class LotForm(ServiceForm):
    """Seed that came in."""

    contract = LotNew
    pointers = {
        name: f"/{name}"
        for name in (
            "name", "origin", "grams", "state", "supplier", "provenance", "harvested_on", "storage", "sacks",
            "gbp_per_kg", "note",
        )
    }  # fmt: skip
    name = forms.CharField(required=False, max_length=80, label="What stands on the sack?")
    origin = forms.ChoiceField(
        choices=[("bought", "Bought"), ("given", "Given")], widget=Radios, label="How did it come?"
    )
    supplier = forms.CharField(required=False, max_length=120, label="From whom?")
    grams = Amount(GRAMS, label="How much?", help_text="In grams, or write kg after it.")
    state = forms.ChoiceField(
        choices=[("dry", "Dry"), ("drying", "Drying"), ("fresh", "Fresh")], widget=Radios, label="Is it dry?"
    )
    sacks = Amount(whole=True, label="In how many sacks?")
    gbp_per_kg = Amount(POUNDS, label="Price of a kilogram, in pounds", help_text="Left empty, nobody knows.")
    harvested_on = Day(label="Harvested on", help_text="Seed loses life with age; left empty, nobody knows.")
    provenance = forms.CharField(
        required=False, max_length=300, label="Where did the plants grow?", help_text="Whoever gets the seed is told."
    )
    storage = forms.CharField(required=False, max_length=200, label="Where is it kept?")
    chaffy = forms.BooleanField(required=False, label="The seed sticks together and does not flow")
    note = forms.CharField(required=False, max_length=500, label="Anything else?")

    def __init__(self, *args: Any, network_id: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.network_id = str(network_id)
        taxa = sorted(((row["key"], row["label"]) for row in vocabularies()["taxa"]), key=lambda pair: pair[1])
        for number in range(1, ROWS + 1):
            self.fields[f"taxon_{number}"] = Pick(taxa, blank="Nothing more", label="Kind on the label")
            self.fields[f"percent_{number}"] = Amount({"%": 1.0}, label="Per cent of the weight")

    def asked(self) -> dict[str, Any]:
        declared: list[dict[str, Any]] = []
        for number in range(1, ROWS + 1):
            taxon, percent = (self.cleaned_data.get(f"{name}_{number}") for name in ("taxon", "percent"))
            if not taxon and percent is None:
                continue
            for name, field in (("taxon", "taxon"), ("percent", "percent")):
                self.extra_pointers[f"/declared/{len(declared)}/{name}"] = f"{field}_{number}"
            entry = {"taxon": taxon or None, "percent": percent}
            declared.append({name: value for name, value in entry.items() if value is not None})
        said = {"network_id": self.network_id, "declared": declared, "chaffy": bool(self.cleaned_data.get("chaffy"))}
        return super().asked() | said

    @property
    def plain(self) -> list[BoundField]:
        """All but the label."""
        return [field for field in self.visible_fields() if not field.name.startswith(("taxon_", "percent_"))]

    @property
    def rows(self) -> list[tuple[BoundField, BoundField]]:
        """The kinds of the label, each with its share."""
        return [(self[f"taxon_{n}"], self[f"percent_{n}"]) for n in range(1, ROWS + 1)]
