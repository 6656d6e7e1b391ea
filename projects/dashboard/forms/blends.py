"""Asking for a blend of seed: what is left open is filled in by the service, and it says so."""

from __future__ import annotations

from typing import Any, Final

from django import forms

from modelling.contracts.blends import BlendWanted
from modelling.selectors import vocabularies
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Amount, Pick, Radios

TARGETS: Final = ("rattle_live_per_m2", "forbs_live_per_m2", "grass_most_live_per_m2")
MIXES: Final = 2
TOP_UPS: Final = 3


class BlendForm(ServiceForm):
    """Targets of live seeds, and what may be bought."""

    contract = BlendWanted
    pointers = {
        name: f"/{name}"
        for name in (*TARGETS, "goal")
    }  # fmt: skip
    rattle_live_per_m2 = Amount(label="Yellow rattle: how many live seeds a square metre?")
    forbs_live_per_m2 = Amount(label="Other flowers: how many?")
    grass_most_live_per_m2 = Amount(label="Grass: how many at most?")
    goal = forms.ChoiceField(
        choices=[("cost", "Spend least"), ("scarce", "Use least of the network’s scarce seed")],
        widget=Radios,
        initial="cost",
        label="What matters more?",
    )

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        mixes = [(row["key"], row["label"]) for row in vocabularies()["mixes"]]
        taxa = sorted(
            ((row["key"], row["label"]) for row in vocabularies()["taxa"] if row["sowable"] == "yes"),
            key=lambda pair: pair[1],
        )
        for number in range(MIXES):
            self.fields[f"mix_{number}"] = Pick(mixes, blank="None", label=f"A mix that may be bought, {number + 1}")
        for number in range(TOP_UPS):
            self.fields[f"top_up_{number}"] = Pick(taxa, blank="None", label=f"A kind that may be bought, {number + 1}")

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        # a target left as it was filled in stays the tables', so that the answer can say so
        for name in TARGETS:
            if name in data and not self.was_changed(name):
                del data[name]
        return data | {"mixes": self._chosen("mix", "mixes"), "top_ups": self._chosen("top_up", "top_ups")}

    def _chosen(self, field: str, listed: str) -> list[str]:
        """What was picked in such fields, each once; a place in the list points at its field."""
        found: list[str] = []
        for name in (name for name in self.fields if name.startswith(f"{field}_")):
            value = self.cleaned_data.get(name)
            if value and value not in found:
                self.extra_pointers[f"/{listed}/{len(found)}"] = name
                found.append(value)
        return found
