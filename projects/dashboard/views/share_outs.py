"""Sharing seed out: the coordinator's review, what is held by hand, accepting, and what a group is told."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.choices import ShareOutState
from projects.contracts.base import read_as
from projects.contracts.share_outs import ShareOutChange
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms import share_outs as forms
from projects.dashboard.pages.share_outs import ShareOutPage, listed, told
from projects.dashboard.views.county import OfNetwork
from projects.dashboard.views.groups import OfGroup
from projects.errors import NotFound
from projects.models import ShareOut
from projects.rules.access import demand
from projects.rules.lots import weight
from projects.selectors import share_outs as reads
from projects.services import share_outs as acts


class ShareOutsView(OfNetwork, FormDoor):
    """Sharings of a network, and beginning one."""

    template_name = "county/share_outs.html"

    def load(self) -> None:
        demand(self.actor, "share_out.read", network_id=self.network.pk)

    def form(self, data: Any = None) -> Any:
        initial = {"year": self.today.year}
        return forms.ShareOutForm(data, network_id=str(self.network.public_id), initial=initial)

    def context(self) -> dict[str, Any]:
        rows = reads.share_outs_of(self.actor).filter(network=self.network)
        return {"network": self.network, "lines": [(row, listed(row)) for row in rows]}

    def act(self, form: Any) -> str:
        row = acts.share_out_create(actor=self.actor, asked=form.read(), now=self.now)
        return f"/share-outs/{row.public_id}/"


class OfShareOut(Door):
    """A page of one sharing."""

    @cached_property
    def row(self) -> ShareOut:
        return reads.share_out_get(self.actor, self.kwargs["share_out_id"])

    @property
    def address(self) -> str:
        return f"/share-outs/{self.row.public_id}/"

    def changed(self, version: int | None, **settings: Any) -> str:
        """Put some of the settings anew."""
        asked = read_as(ShareOutChange, {"settings": {**self.row.settings, **settings}})
        acts.share_out_change(
            actor=self.actor, public_id=self.row.public_id, asked=asked, if_version=version, now=self.now
        )
        return self.address


class ShareOutView(OfShareOut):
    """Who gets what, who goes without and why; POST works it out."""

    template_name = "county/share_out.html"

    def get(self, request: HttpRequest, share_out_id: UUID) -> HttpResponse:
        row = self.row
        result = row.accepted or reads.latest_result(row)
        answer = None if result is None else reads.result_answer(result)
        wishes = reads.wishes_for(row)
        context = {
            "row": row,
            "page": ShareOutPage(row, result, answer, reads.names_of(row)),
            "open": row.state == ShareOutState.OPEN,
            "running": reads.being_worked_out(row),
            "aged": result is not None and row.state == ShareOutState.OPEN and row.updated_at > result.created_at,
            "wishes": [(wish.project.name, wish.group.name, weight(wish.target_mg)) for wish in wishes],
        }
        return self.show(request, context)

    def post(self, request: HttpRequest, share_out_id: UUID) -> HttpResponse:
        acts.share_out_ask(actor=self.actor, public_id=self.row.public_id, now=self.now)
        return HttpResponseRedirect(self.address)


class AcceptView(OfShareOut):
    """Promise what is in store as it was shared out."""

    def post(self, request: HttpRequest, share_out_id: UUID) -> HttpResponse:
        try:
            result_id = UUID(request.POST.get("result", ""))
        except ValueError as error:
            raise NotFound("There is no such result.") from error
        acts.share_out_accept(actor=self.actor, public_id=self.row.public_id, result_id=result_id, now=self.now)
        messages.success(request, "It is accepted, and the seed in store is promised.")
        return HttpResponseRedirect(self.address)


class HoldView(OfShareOut, FormDoor):
    """Hold a pairing, or forbid it."""

    template_name = "county/share_out_form.html"
    done = "It is held. Work the sharing out again to see what it changes."

    def load(self) -> None:
        demand(self.actor, "share_out.write", network_id=self.row.network_id)

    def form(self, data: Any = None) -> Any:
        wishes = reads.wishes_for(self.row)
        names = {
            "source": reads.sources_of(self.row),
            "project": [(str(wish.project.public_id), wish.project.name) for wish in wishes],
        }
        return forms.HoldForm(data, names=names, initial={"version": self.row.version})

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "title": "Hold a pairing by hand", "button": "Hold it"}

    def act(self, form: Any) -> str:
        held = form.read().model_dump(mode="json")
        pair = (held["source_id"], held["project_id"])
        rest = [one for one in self.row.settings.get("held", ()) if (one["source_id"], one["project_id"]) != pair]
        return self.changed(form.if_version, held=[*rest, held])


class LetGoView(OfShareOut):
    """Let a pairing go that was held."""

    def post(self, request: HttpRequest, share_out_id: UUID, place: int) -> HttpResponse:
        held = list(self.row.settings.get("held", ()))
        if place >= len(held):
            raise NotFound("That is not held any more.")
        del held[place]
        version = request.POST.get("version", "")
        return HttpResponseRedirect(self.changed(int(version) if version.isdecimal() else None, held=held))


class HarvestView(OfShareOut, FormDoor):
    """Add a harvest that may be made, or put one of the same meadow anew."""

    template_name = "county/share_out_form.html"

    def load(self) -> None:
        demand(self.actor, "share_out.write", network_id=self.row.network_id)

    def form(self, data: Any = None) -> Any:
        return forms.HarvestForm(data, donors=reads.donors_of(self.row), initial={"version": self.row.version})

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "title": "A harvest that may be made", "button": "Add it"}

    def act(self, form: Any) -> str:
        new = form.read().model_dump(mode="json")
        rest = [one for one in self.row.settings.get("harvests", ()) if one["donor_id"] != new["donor_id"]]
        return self.changed(form.if_version, harvests=[*rest, new])


class GroupSeedView(OfGroup, FormDoor):
    """What a group hopes for, and what came of it: what it gets, or why not and what would change that."""

    template_name = "county/seed_wishes.html"
    done = "It is noted."

    def load(self) -> None:
        self.demand("seed_wish.read")
        if self.request.method == "POST":
            self.demand("seed_wish.make")

    def form(self, data: Any = None) -> Any:
        projects = reads.projects_that_may_hope(self.actor, self.group)
        return forms.WishForm(data, projects=projects, initial={"year": self.today.year})

    def context(self) -> dict[str, Any]:
        wishes = reads.wishes_of(self.actor).filter(group=self.group)
        return {
            "group": self.group,
            "may_wish": self.may("seed_wish.make"),
            "wishes": [(wish.project.name, wish.year, weight(wish.target_mg)) for wish in wishes],
            "told": [
                (share_out.name, *told(wish, entry))
                for share_out, wish, entry in reads.told_to_group(self.actor, self.group)
            ],
        }

    def act(self, form: Any) -> str:
        acts.wish_make(actor=self.actor, asked=form.read(), now=self.now)
        return f"/groups/{self.group.public_id}/seed-wishes/"
