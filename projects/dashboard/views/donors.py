"""Donor meadows: one of them, what was agreed, and a harvest."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property

from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.donors import AgreementForm, HarvestForm
from projects.dashboard.pages.donors import CAUTIONS, AgreementLine, DonorPage
from projects.dashboard.views.county import OfNetwork
from projects.errors import NotFound
from projects.models import DonorMeadow, Group
from projects.rules.access import demand, group_in, may
from projects.selectors import donors as reads
from projects.selectors.networks import group_list
from projects.services import donors as acts
from projects.services import harvests


class OfDonor(OfNetwork):
    """A page of one donor meadow."""

    @cached_property
    def donor(self) -> DonorMeadow:
        row = reads.donor_get(self.actor, self.kwargs["donor_id"])
        if row.network_id != self.network.pk:
            raise NotFound("There is no such donor meadow in this network.")
        return row

    @property
    def address(self) -> str:
        return f"/county/{self.network.slug}/donors/{self.donor.public_id}/"

    @cached_property
    def page(self) -> DonorPage:
        rows = reads.harvest_list(self.actor).filter(donor=self.donor).order_by("-on", "-pk")
        return DonorPage(self.donor, list(rows), self.today)

    @property
    def own(self) -> int | None:
        """Key of a group of the network that the actor belongs to."""
        return group_in(self.actor, self.donor.network_id)


class DonorView(OfDonor):
    """One donor meadow; its owner and what was agreed are told to those who may know."""

    template_name = "county/donor.html"

    def get(self, request: HttpRequest, slug: str, donor_id: UUID) -> HttpResponse:
        owners = self.may("owner.read")
        context = {
            "network": self.network,
            "donor": self.donor,
            "page": self.page,
            "owners": owners,
            "agreements": [AgreementLine(row, self.today) for row in self.donor.agreements.all()] if owners else [],
            "address": self.address,
            "may_change": self.may("donor.change"),
            "may_harvest": may(self.actor, "harvest.add", group_id=self.own, network_id=self.network.pk),
        }
        return self.show(request, context)


class AgreementView(OfDonor, FormDoor):
    """Note what was agreed in writing."""

    template_name = "county/seed_form.html"
    done = "It is noted."

    def load(self) -> None:
        demand(self.actor, "donor.change", network_id=self.donor.network_id)

    def form(self, data: Any = None) -> Any:
        return AgreementForm(data, initial={"signed_on": self.today, "starts_on": self.today})

    def context(self) -> dict[str, Any]:
        return {
            "title": "What was agreed", "button": "Note it", "back": self.address, "back_name": self.donor.name,
            "lead": "Only what is signed counts. Owners are told to coordinators alone.",
        }  # fmt: skip

    def act(self, form: Any) -> str:
        acts.agreement_add(actor=self.actor, donor_id=self.donor.public_id, asked=form.read(), now=self.now)
        return self.address


class HarvestView(OfDonor, FormDoor):
    """Note a harvest, which makes a lot of fresh seed."""

    template_name = "county/harvest.html"
    done = "It is noted. Spread the seed thin, turn it daily, and weigh it once it is dry."

    def load(self) -> None:
        demand(self.actor, "harvest.add", group_id=self.own, network_id=self.donor.network_id)

    def form(self, data: Any = None) -> Any:
        allows = self.may("harvest.allow")
        groups = [row for row in self.groups if self.may_for(row)]
        start = {"on": self.today, "sacks": 1} | ({} if allows or not groups else {"group_id": groups[0].public_id})
        return HarvestForm(data, groups=groups, allows=allows, initial=start)

    @property
    def groups(self) -> list[Group]:
        return list(group_list(self.actor).filter(network=self.network, closed_at__isnull=True).order_by("name"))

    def may_for(self, group: Group) -> bool:
        """Whether the actor may note a harvest of this group."""
        return may(self.actor, "harvest.add", group_id=group.pk, network_id=group.network_id)

    def context(self) -> dict[str, Any]:
        return {"donor": self.donor, "page": self.page, "back": self.address, "cautions": CAUTIONS}

    def act(self, form: Any) -> str:
        row, _ = harvests.harvest_add(actor=self.actor, donor_id=self.donor.public_id, asked=form.read(), now=self.now)
        return f"/county/{self.network.slug}/seed/{row.lot.public_id}/"
