"""Plug plants: batches, what happened to them, promises and hand-overs."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.choices import PlugState
from projects.contracts.base import read_as
from projects.contracts.plugs import PlugPromiseMove
from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.plugs import PlugBatchForm, PlugNoteForm, PlugPromiseForm
from projects.dashboard.pages.plugs import BatchLine
from projects.dashboard.views.county import OfNetwork
from projects.errors import NotFound
from projects.models import PlugBatch
from projects.rules.access import demand, may
from projects.selectors import plugs as reads
from projects.selectors.networks import group_list
from projects.services import plugs as acts


class PlugsView(OfNetwork):
    """Batches of a network."""

    template_name = "county/plugs.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        rows = reads.batches_of(self.actor, self.network).order_by("-sown_on", "-pk")
        context = {
            "network": self.network,
            "lines": [BatchLine(row) for row in rows],
            "may_create": self.may("plug.create"),
        }
        return self.show(request, context)


class PlugNewView(OfNetwork, FormDoor):
    """A batch of plugs."""

    template_name = "county/plug_form.html"
    done = "The batch is on the list."

    def load(self) -> None:
        demand(self.actor, "plug.create", network_id=self.network.pk)

    def form(self, data: Any = None) -> Any:
        groups = group_list(self.actor).filter(network=self.network)
        return PlugBatchForm(data, groups=groups, initial={"sown_on": self.today})

    def context(self) -> dict[str, Any]:
        back = f"/county/{self.network.slug}/plugs/"
        return {"title": "A batch of plugs", "back": back, "back_name": "Plug plants", "button": "Add it"}

    def act(self, form: Any) -> str:
        row = acts.batch_create(actor=self.actor, network_id=self.network.public_id, asked=form.read(), now=self.now)
        return f"/county/{self.network.slug}/plugs/{row.public_id}/"


class OfBatch(OfNetwork):
    """A page of one batch."""

    @cached_property
    def batch(self) -> PlugBatch:
        row = reads.batch_get(self.actor, self.kwargs["batch_id"])
        if row.network_id != self.network.pk:
            raise NotFound("There is no such batch in this network.")
        return row

    def may_here(self, act: str) -> bool:
        """Whether the actor may do an act to the batch."""
        return may(self.actor, act, group_id=self.batch.group_id, network_id=self.batch.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act to the batch."""
        demand(self.actor, act, group_id=self.batch.group_id, network_id=self.batch.network_id)

    @property
    def address(self) -> str:
        return f"/county/{self.network.slug}/plugs/{self.batch.public_id}/"


class PlugView(OfBatch):
    """One batch."""

    template_name = "county/plug.html"

    def get(self, request: HttpRequest, slug: str, batch_id: UUID) -> HttpResponse:
        context = {
            "network": self.network,
            "line": BatchLine(self.batch),
            "events": list(reads.events_of(self.actor, self.batch)),
            "promises": list(reads.promises_of(self.actor, self.batch)),
            "may_tell": self.may_here("plug.tell"),
            "may_promise": self.may_here("plug.promise"),
            "open": PlugState.PROMISED,
            "address": self.address,
        }
        return self.show(request, context)


class PlugNoteView(OfBatch, FormDoor):
    """Plants potted on, or lost."""

    template_name = "county/plug_form.html"
    done = "It is noted."

    def load(self) -> None:
        self.demand("plug.tell")

    def form(self, data: Any = None) -> Any:
        return PlugNoteForm(data, initial={"on": self.today})

    def context(self) -> dict[str, Any]:
        line = BatchLine(self.batch)
        return {
            "title": "What happened?", "back": self.address, "back_name": line.english or line.scientific,
            "button": "Note it", "lead": line.sentence,
        }  # fmt: skip

    def act(self, form: Any) -> str:
        acts.batch_note(actor=self.actor, batch_id=self.batch.public_id, asked=form.read(), now=self.now)
        return self.address


class PlugPromiseView(OfBatch, FormDoor):
    """Plants for a project."""

    template_name = "county/plug_form.html"
    done = "They are promised."

    def load(self) -> None:
        self.demand("plug.promise")

    def form(self, data: Any = None) -> Any:
        return PlugPromiseForm(data, projects=reads.projects_to_promise(self.actor, self.network))

    def context(self) -> dict[str, Any]:
        line = BatchLine(self.batch)
        return {
            "title": "Promise plants", "back": self.address, "back_name": line.english or line.scientific,
            "button": "Promise them", "lead": line.sentence,
        }  # fmt: skip

    def act(self, form: Any) -> str:
        acts.plugs_promise(actor=self.actor, batch_id=self.batch.public_id, asked=form.read(), now=self.now)
        return self.address


class PlugPromiseMoveView(OfBatch):
    """Promised plants go, or are taken back."""

    def post(self, request: HttpRequest, slug: str, batch_id: UUID, promise_id: UUID) -> HttpResponse:
        self.demand("plug.hand_over")
        promise = reads.promise_get(self.actor, promise_id)
        if promise.batch_id != self.batch.pk:
            raise NotFound("There is no such promise of this batch.")
        to = "handed_over" if request.POST.get("to") == "handed_over" else "withdrawn"
        acts.promise_move(
            actor=self.actor, public_id=promise_id, asked=read_as(PlugPromiseMove, {"to": to}), if_version=None,
            now=self.now,
        )  # fmt: skip
        messages.success(request, "They are handed over." if to == "handed_over" else "The promise is taken back.")
        return HttpResponseRedirect(self.address)
