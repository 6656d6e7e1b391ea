"""Groups: one's own with what is due, one group's home, and what strangers see of it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.choices import GroupRole, NetworkRole
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.groups import GroupChangeForm, group_initial
from projects.dashboard.pages.groups import GroupHome, network_sentence
from projects.dashboard.pages.returns import YearPage
from projects.dashboard.views.county import as_uuid, coordinated, lines_of
from projects.errors import NotAllowed, NotFound, RuleBroken
from projects.models import Group, Membership
from projects.rules.access import demand, may
from projects.selectors.due import due_of_group, due_of_network
from projects.selectors.handovers import handovers_of
from projects.selectors.lots import promises_open
from projects.selectors.meadows import project_list
from projects.selectors.networks import districts_of, group_get, groups_of, members_of, membership_get, network_list
from projects.selectors.returns import returns_of_year
from projects.selectors.sites import site_list
from projects.services import meadows, networks


class HomeView(Door):
    """One's groups with what is due, and the network's for its coordinators."""

    template_name = "county/home.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        if self.actor.user_id is None:
            raise NotAllowed("Your groups are shown once you are signed in.")
        groups = list(groups_of(self.actor))
        promises = promises_open(self.actor, groups)
        homes = [
            GroupHome(
                group,
                due_of_group(self.actor, group, self.today),
                self.today,
                may(self.actor, "group.change", group_id=group.pk, network_id=group.network_id),
                promises.get(group.pk, []),
            )
            for group in groups
        ]
        held = []
        for network in coordinated(self.actor):
            due = due_of_network(self.actor, network)
            lines = returns_of_year(self.actor, network, self.today.year, self.today)
            told = YearPage(self.today.year, lines, self.today).sentence if lines else ""
            held.append((network, due, network_sentence(due), told))
        context = {
            "homes": homes,
            "held": held,
            "networks": network_list(self.actor),
            "may_create": may(self.actor, "network.create"),
            "reads_bids": any(
                {NetworkRole.ASSESSOR, NetworkRole.FUND_MANAGER} & roles for roles in self.actor.networks.values()
            ),
        }
        return self.show(request, context)


class OfGroup(Door):
    """A page of one group."""

    @cached_property
    def group(self) -> Group:
        return group_get(self.actor, self.kwargs["group_id"])

    def may(self, act: str) -> bool:
        """Whether the actor may do an act in this group."""
        return may(self.actor, act, group_id=self.group.pk, network_id=self.group.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act in this group."""
        demand(self.actor, act, group_id=self.group.pk, network_id=self.group.network_id)


class GroupView(OfGroup):
    """A group's home; a short page for strangers."""

    template_name = "county/group.html"

    def get(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        group = self.group
        sites = list(site_list(self.actor).filter(group=group).order_by("name", "pk"))
        projects = list(project_list(self.actor).filter(group=group).order_by("name", "pk"))
        context: dict[str, Any] = {"group": group, "lines": lines_of(self.actor, sites), "projects": projects}
        if not self.may("group.home"):
            return self.show(request, context, template="county/group_public.html")
        leads = self.may("group.change")
        promises = promises_open(self.actor, [group]).get(group.pk, [])
        context |= {
            "home": GroupHome(group, due_of_group(self.actor, group, self.today), self.today, leads, promises),
            "members": members_of(self.actor, group),
            "leads": leads,
            "leading": self.actor.groups.get(group.pk) == GroupRole.LEAD,
            "handover": handovers_of(self.actor, group).first(),
            "may_site": self.may("site.create"),
            "may_forecast": self.may("group.forecast_all") and bool(projects),
        }
        return self.show(request, context)


class GroupEditView(OfGroup, FormDoor):
    """What a group says of itself."""

    template_name = "county/group_edit.html"
    done = "Saved."

    def load(self) -> None:
        self.demand("group.change")

    def form(self, data: Any = None) -> ServiceForm:
        network = self.group.network
        districts = districts_of(self.actor, network)
        return GroupChangeForm(data, initial=group_initial(self.group), network=network, districts=districts)

    def context(self) -> dict[str, Any]:
        return {"group": self.group}

    def act(self, form: Any) -> str:
        networks.group_change(
            actor=self.actor,
            public_id=self.group.public_id,
            asked=form.read(),
            if_version=form.if_version,
            now=self.now,
        )
        return f"/groups/{self.group.public_id}/"


class MembersView(OfGroup):
    """Who belongs to a group; leads change roles and end memberships, everybody their own."""

    template_name = "county/members.html"

    def get(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        return self.page(request)

    def page(
        self, request: HttpRequest, refused: str = "", status: int = 200, asked: Membership | None = None
    ) -> HttpResponse:
        context = {
            "group": self.group,
            "asked": asked,
            "members": members_of(self.actor, self.group),
            "leads": self.may("membership.change"),
            "own": self.actor.user_id,
            "refused": refused,
        }
        return self.show(request, context, status=status)

    def post(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        self.demand("membership.read")
        public_id, act = as_uuid(request.POST.get("membership")), request.POST.get("act")
        version = request.POST.get("version", "")
        try:
            if act == "end" and not request.POST.get("sure"):
                return self.page(request, asked=self.of_this_group(public_id))
            if act == "end":
                row = networks.membership_end(actor=self.actor, public_id=public_id, now=self.now)
                if row.user_id == self.actor.user_id and not may(
                    self.actor, "network.change", network_id=self.group.network_id
                ):
                    messages.success(request, f"You have left {self.group.name}.")
                    return HttpResponseRedirect("/home/")
                messages.success(request, "The membership has ended.")
            elif act in GroupRole.values:
                networks.membership_change(
                    actor=self.actor,
                    public_id=public_id,
                    role=act,
                    if_version=int(version) if version.isdecimal() and len(version) < 10 else None,
                    now=self.now,
                )
                messages.success(request, "Saved.")
            else:
                raise NotFound("This button does not do anything; look at the page again.")
        except RuleBroken as refusal:
            return self.page(request, refusal.detail, status=422)
        return HttpResponseRedirect(f"/groups/{self.group.public_id}/members/")

    def of_this_group(self, public_id: UUID) -> Membership:
        """Return the membership that is to be ended, once sure."""
        row = membership_get(self.actor, public_id)
        if row.group_id != self.group.pk:
            raise NotFound("This membership is of another group.")
        if row.user_id != self.actor.user_id:
            self.demand("membership.change")
        return row


class GroupForecastAllView(OfGroup):
    """Ask for a forecast of every meadow of a group that is under way."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        job = meadows.group_forecast_all(actor=self.actor, group_id=self.group.public_id, now=self.now)
        return HttpResponseRedirect(f"/jobs/{job.public_id}/")
