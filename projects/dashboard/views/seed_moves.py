"""What happens to a sack: promised, handed over, brought back, sown, weighed, gone, put on hold."""

from __future__ import annotations

from typing import Any, ClassVar

from django.utils.functional import cached_property

from projects.dashboard.doors import FormDoor
from projects.dashboard.forms import seed_moves as forms
from projects.dashboard.pages.seed import LotLine, promise_sentence, ways_of
from projects.dashboard.views.seed import OfLot
from projects.errors import NotFound
from projects.models import SeedPromise
from projects.rules.access import demand, may
from projects.selectors import lots as reads
from projects.selectors.networks import group_list
from projects.services import lots, seed_promises


class LotForm(OfLot, FormDoor):
    """A short form about one lot, with what there is of it above."""

    template_name = "county/seed_form.html"
    title: ClassVar[str]
    button: ClassVar[str] = "Note it"

    def context(self) -> dict[str, Any]:
        return {
            "title": self.title, "button": self.button, "back": self.address, "back_name": self.lot.name,
            "lead": LotLine(self.lot, self.today).sentence,
        }  # fmt: skip


class PromiseView(LotForm):
    """Seed for a group or one of its meadows."""

    title = "Promise seed"
    button = "Promise it"
    done = "It is promised."

    def load(self) -> None:
        demand(self.actor, "seed_promise.make", network_id=self.lot.network_id)

    def form(self, data: Any = None) -> Any:
        groups = group_list(self.actor).filter(network=self.network, closed_at__isnull=True).order_by("name")
        return forms.PromiseForm(data, groups=groups, projects=reads.projects_to_promise(self.actor, self.network))

    def act(self, form: Any) -> str:
        seed_promises.promise_make(actor=self.actor, lot_id=self.lot.public_id, asked=form.read(), now=self.now)
        return self.address


class PromiseMoveView(LotForm):
    """Handed over or taken back by a coordinator; sown or brought back as anybody of the group tells."""

    title = "What became of it?"
    done = "It is noted."

    @cached_property
    def promise(self) -> SeedPromise:
        row = reads.promise_get(self.actor, self.kwargs["promise_id"])
        if row.lot_id != self.lot.pk:
            raise NotFound("There is no such promise of this lot.")
        return row

    def load(self) -> None:
        row = self.promise
        demand(self.actor, "seed_promise.sow", group_id=row.group_id, network_id=row.network_id)

    def form(self, data: Any = None) -> Any:
        row = self.promise
        coordinates = may(self.actor, "seed_promise.make", group_id=row.group_id, network_id=row.network_id)
        ways = ways_of(row, coordinates)
        first = {"to": ways[0][0]} if len(ways) == 1 else {}
        start = {"on": self.today, "version": row.version, **first}
        return forms.PromiseMoveForm(data, ways=ways, initial=start)

    def context(self) -> dict[str, Any]:
        return super().context() | {"lead": promise_sentence(self.promise)}

    def act(self, form: Any) -> str:
        seed_promises.promise_move(
            actor=self.actor, public_id=self.promise.public_id, asked=form.read(), if_version=form.if_version,
            now=self.now,
        )  # fmt: skip
        return self.address


class LotMoveView(LotForm):
    """Something that happens to the whole lot; a coordinator says so."""

    done = "It is noted."
    asks: ClassVar[type[forms.LotMoveForm]]

    def load(self) -> None:
        demand(self.actor, "lot.move", network_id=self.lot.network_id)

    def form(self, data: Any = None) -> Any:
        return self.asks(data, initial={"on": self.today, "version": self.lot.version, **self.start})

    @property
    def start(self) -> dict[str, Any]:
        """What the form begins with."""
        return {}

    def act(self, form: Any) -> str:
        lots.lot_move(
            actor=self.actor, public_id=self.lot.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        return self.address


class WeighView(LotMoveView):
    """Dried or cleaned, and weighed."""

    title = "Dry, clean and weigh"
    asks = forms.WeighForm

    def context(self) -> dict[str, Any]:
        told = "Dust of seed and chaff hurts lungs: do it in the open or with a mask, and shake sieves out downwind."
        return super().context() | {"cautions": [told]}


class GoneView(LotMoveView):
    """Used, spilt, thrown away."""

    title = "Some of it is gone"
    asks = forms.GoneForm


class HoldView(LotMoveView):
    """On hold, or off it."""

    title = "Hold"
    asks = forms.HoldForm

    @property
    def held(self) -> bool:
        return self.lot.held_at is not None

    @property
    def start(self) -> dict[str, Any]:
        return {"act": "cleared" if self.held else "held"}

    def context(self) -> dict[str, Any]:
        title = "Take it off hold" if self.held else "Put it on hold"
        return super().context() | {"title": title, "button": title}
