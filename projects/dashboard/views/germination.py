"""Testing how much of a lot germinates."""

from __future__ import annotations

from typing import Any

from projects.dashboard.forms.germination import GerminationForm
from projects.dashboard.views.seed_moves import LotForm
from projects.rules.access import demand, group_in
from projects.services import counts


class GerminationView(LotForm):
    """So many of so many seeds of a kind."""

    title = "How much of it germinates"
    done = "It is noted: the next plans and blends reckon with it."

    def load(self) -> None:
        network = self.lot.network_id
        demand(self.actor, "lot.count", group_id=group_in(self.actor, network), network_id=network)

    def form(self, data: Any = None) -> Any:
        return GerminationForm(data, initial={"on": self.today})

    def context(self) -> dict[str, Any]:
        told = (
            "Yellow rattle sleeps until it has been cold: keep it on damp paper at about 4 °C from autumn to spring "
            "before you count."
        )
        return super().context() | {"cautions": [told]}

    def act(self, form: Any) -> str:
        counts.germination_add(actor=self.actor, lot_id=self.lot.public_id, asked=form.read(), now=self.now)
        return self.address
