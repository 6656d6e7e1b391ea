"""Seed that was bought or given."""

from __future__ import annotations

from typing import Any

from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.lots import LotForm
from projects.dashboard.views.county import OfNetwork
from projects.rules.access import demand
from projects.services import lots


class LotNewView(OfNetwork, FormDoor):
    """Take seed in."""

    template_name = "county/seed_lot_new.html"
    done = "It is in the store. Count what is in it before it is promised."

    def load(self) -> None:
        demand(self.actor, "lot.create", network_id=self.network.pk)

    def form(self, data: Any = None) -> Any:
        start = {"origin": "bought", "state": "dry", "sacks": 1}
        return LotForm(data, network_id=self.network.public_id, initial=start)

    def context(self) -> dict[str, Any]:
        return {"network": self.network}

    def act(self, form: Any) -> str:
        row = lots.lot_create(actor=self.actor, asked=form.read(), now=self.now)
        return f"/county/{self.network.slug}/seed/{row.public_id}/"
