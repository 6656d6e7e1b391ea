"""The seed store: what is in it, one lot, and counting it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property

from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.seed import CountForm
from projects.dashboard.pages.seed import (
    CountPage,
    LotLine,
    history,
    kind_name,
    promise_sentence,
    store_sentence,
    ways_of,
)
from projects.dashboard.views.county import OfNetwork
from projects.errors import NotFound
from projects.models import SeedLot
from projects.rules.access import demand, group_in
from projects.selectors import contents
from projects.selectors import donors as donor_reads
from projects.selectors import lots as reads
from projects.services import counts


class SeedStoreView(OfNetwork):
    """All lots of a network, and the donor meadows the reader may know of."""

    template_name = "county/seed.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        lines = [LotLine(row, self.today) for row in reads.lots_of(self.actor, self.network)]
        lines.sort(key=lambda line: (-line.free_mg, line.row.name))
        donors = list(donor_reads.donor_list(self.actor).filter(network=self.network).order_by("name"))
        context = {
            "network": self.network,
            "lines": [line for line in lines if line.row.balance_mg],
            "empty": [line for line in lines if not line.row.balance_mg],
            "sentence": store_sentence(lines),
            "donors": donors,
            "owners": self.may("owner.read"),
            "may_create": self.may("lot.create"),
        }
        return self.show(request, context)


class OfLot(OfNetwork):
    """A page of one lot."""

    @cached_property
    def lot(self) -> SeedLot:
        row = reads.lot_get(self.actor, self.kwargs["lot_id"])
        if row.network_id != self.network.pk:
            raise NotFound("There is no such lot of seed in this network.")
        return row

    @property
    def address(self) -> str:
        """Where the lot's page is."""
        return f"/county/{self.network.slug}/seed/{self.lot.public_id}/"


class LotView(OfLot):
    """One lot: what is left, what was counted, what happened."""

    template_name = "county/seed_lot.html"

    def get(self, request: HttpRequest, slug: str, lot_id: UUID) -> HttpResponse:
        entries = list(reads.entries_of(self.lot))
        count = contents.count_now(self.lot)
        coordinates = self.may("seed_promise.make")
        promises = [
            (row, promise_sentence(row), bool(ways_of(row, coordinates)))
            for row in reads.promise_list(self.actor).filter(lot=self.lot)
            if row.owed_mg or row.out_mg
        ]
        context = {
            "network": self.network,
            "lot": self.lot,
            "line": LotLine(self.lot, self.today),
            "count": None if count is None else CountPage(count, self.lot.treatments),
            "parts": reads.parts_of([self.lot])[self.lot.pk],
            "tests": [(kind_name(test.taxon), test) for test in self.lot.germination_tests.all()],
            "promises": promises,
            "may_move": self.may("lot.move"),
            "may_promise": coordinates,
            "address": self.address,
            "history": history(entries, reads.groups_told(self.actor, entries)),
        }
        return self.show(request, context)


class CountView(OfLot, FormDoor):
    """Count one sub-sample after another."""

    template_name = "county/seed_count.html"

    def load(self) -> None:
        network = self.lot.network_id
        demand(self.actor, "lot.count", group_id=group_in(self.actor, network), network_id=network)

    @cached_property
    def before(self) -> CountPage | None:
        """The count that the next sub-sample goes on with; none where a new one is begun."""
        row = None if "new" in self.request.GET else contents.count_now(self.lot)
        return None if row is None else CountPage(row, self.lot.treatments)

    def form(self, data: Any = None) -> CountForm:
        before = self.before
        return CountForm(data, going_on=[kind["taxon"] for kind in before.kinds] if before is not None else ())

    def context(self) -> dict[str, Any]:
        return {"network": self.network, "lot": self.lot, "back": self.address, "before": self.before}

    def act(self, form: Any) -> str:
        row, _ = counts.count_add(actor=self.actor, lot_id=self.lot.public_id, asked=form.read(), now=self.now)
        page = CountPage(row, self.lot.treatments)
        messages.success(self.request, f"Kept: {page.samples} counted so far. {page.sentences[0]}")
        return f"{self.address}count/"
