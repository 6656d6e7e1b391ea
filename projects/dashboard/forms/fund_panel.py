"""The form that asks what the pot could buy: the sum, limits, bids held in or out, and bids in part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from django.forms.boundfield import BoundField
from django.utils.html import format_html
from django.utils.safestring import SafeString

from projects.contracts.rounds import ChoiceNew
from projects.dashboard.forms.base import ServiceForm, put, sent
from projects.dashboard.forms.fields import POUNDS, Amount, Pick
from projects.models import Bid

SEEDS: Final = 2
KILOGRAMS: Final = {"kg": 1.0, "g": 0.001}
OBJECTIVES: Final = (
    ("expected_outcome", "Most hectares expected to be species-rich, as groups usually manage"),
    ("cautious", "Most hectares on average in the worst fifth of what may happen"),
    ("score", "Most points by the assessors’ mean scores as they were given"),
)
HOLDS: Final = (("in", "Held in"), ("out", "Held out"))


def _about(label: str, bid: Bid) -> SafeString:
    """A label below a bid's heading, whole for those who hear it alone."""
    return format_html('{}<span class="unseen">: bid {}, {}</span>', label, bid.number, bid.title)


class ChoiceForm(ServiceForm):
    """What is to be best, under which limits."""

    contract = ChoiceNew
    pointers = {
        "pot_gbp": "/pot_gbp", "group_limit_gbp": "/group_limit_gbp", "district_limit_gbp": "/district_limit_gbp",
        "objective": "/objective", "machine": "/machine/machine", "half_days": "/machine/half_days",
    }  # fmt: skip
    pot_gbp = Amount(POUNDS, label="The sum, in pounds", help_text="Empty: the whole pot.")
    group_limit_gbp = Amount(POUNDS, label="Most for one group", help_text="Empty: the round’s own limit, if any.")
    district_limit_gbp = Amount(POUNDS, label="Most for one district", help_text="Empty: likewise.")

    def __init__(
        self, *args: Any, bids: Iterable[Bid], seed: Mapping[str, str], machines: Mapping[str, str], **kw: Any
    ) -> None:
        super().__init__(*args, **kw)
        self.bids = list(bids)
        self.fields["objective"] = Pick(
            OBJECTIVES, blank="As usual: most hectares expected", label="What is to be best"
        )
        items = sorted(seed.items(), key=lambda item: item[1])
        for n in range(1, SEEDS + 1):
            self.fields[f"seed_{n}_item"] = Pick(
                items, blank="None", label=f"{n}. Seed that does not reach for everybody"
            )
            self.fields[f"seed_{n}_kg"] = Amount(KILOGRAMS, label="There are, in kg")
        lent = sorted(machines.items(), key=lambda item: item[1])
        self.fields["machine"] = Pick(lent, blank="None", label="A machine that is lent")
        self.fields["half_days"] = Amount(whole=True, label="Half-days it can be had")
        for bid in self.bids:
            self.fields[f"hold_{bid.pk}"] = Pick(HOLDS, blank="As it comes", label=_about("Hold it", bid))
            self.fields[f"part_{bid.pk}"] = Amount(POUNDS, label=_about("In part, pounds", bid))

    def asked(self) -> dict[str, Any]:
        data = super().asked()
        rows: dict[str, list[Any]] = {"pins": [], "exclusions": [], "seed": [], "parts": []}
        for n in range(1, SEEDS + 1):
            said = {name: sent(self.cleaned_data.get(f"seed_{n}_{name}")) for name in ("item", "kg")}
            if any(value is not None for value in said.values()):
                at = f"/seed/{len(rows['seed'])}"
                self.extra_pointers |= {f"{at}/{name}": f"seed_{n}_{name}" for name in said}
                rows["seed"].append({name: value for name, value in said.items() if value is not None})
        for bid in self.bids:
            held = self.cleaned_data.get(f"hold_{bid.pk}")
            part = sent(self.cleaned_data.get(f"part_{bid.pk}"))
            if held in {"in", "out"}:
                name = "pins" if held == "in" else "exclusions"
                self.extra_pointers[f"/{name}/{len(rows[name])}"] = f"hold_{bid.pk}"
                rows[name].append(str(bid.public_id))
            if part is not None:
                self.extra_pointers[f"/parts/{len(rows['parts'])}"] = f"part_{bid.pk}"
                rows["parts"].append({"bid_id": str(bid.public_id), "amount_gbp": part})
        for name, values in rows.items():
            put(data, f"/{name}", values)
        return data

    @property
    def first(self) -> list[BoundField]:
        return [self[name] for name in ("pot_gbp", "objective")]

    @property
    def limits(self) -> list[BoundField]:
        return [self[name] for name in ("group_limit_gbp", "district_limit_gbp")]

    @property
    def scarce(self) -> Sequence[list[BoundField]]:
        seeds = [[self[f"seed_{n}_item"], self[f"seed_{n}_kg"]] for n in range(1, SEEDS + 1)]
        return [*seeds, [self["machine"], self["half_days"]]]

    @property
    def scarce_open(self) -> bool:
        return self.filled(*(field.name for row in self.scarce for field in row))

    @property
    def of_bids(self) -> list[tuple[Bid, BoundField, BoundField]]:
        return [(bid, self[f"hold_{bid.pk}"], self[f"part_{bid.pk}"]) for bid in self.bids]
