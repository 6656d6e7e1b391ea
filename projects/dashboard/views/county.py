"""The county this year: its page, its map, its sites, and setting it up."""

from __future__ import annotations

from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.utils.functional import cached_property

from modelling.errors import RequestRefused
from projects.choices import NetworkRole, Stage
from projects.contracts.base import read_as
from projects.contracts.networks import RoleEnd
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Pick
from projects.dashboard.forms.groups import DistrictForm, GroupForm, NetworkChangeForm, NetworkForm, VillageForm
from projects.dashboard.forms.sites import choices_of
from projects.dashboard.pages.county import LEGEND, CountyPage, SiteLine, map_data
from projects.errors import NotAllowed, NotFound, Refused, RuleBroken, Stale
from projects.models import Network, NetworkMembership, Site
from projects.rules.access import Actor, demand, may
from projects.selectors import county
from projects.selectors.networks import districts_of, network_list, network_named, staff_listed, villages_of
from projects.selectors.places import places_of
from projects.services import meadows, networks

SITES_PER_PAGE = 50


def lines_of(actor: Actor, sites: list[Site]) -> list[SiteLine]:
    """Sites as lists and maps show them."""
    places, stages = places_of(actor, sites), county.stages_of(sites)
    return [SiteLine(site, places[site.pk], stages.get(site.pk)) for site in sites]


class CountiesView(Door):
    """The only network, or which there are."""

    template_name = "county/counties.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        found = list(network_list(self.actor))
        if len(found) == 1:
            return HttpResponseRedirect(f"/county/{found[0].slug}/")
        return self.show(request, {"networks": found, "may_create": may(self.actor, "network.create")})


class OfNetwork(Door):
    """A page of one network."""

    @cached_property
    def network(self) -> Network:
        return network_named(self.actor, self.kwargs["slug"])

    def may(self, act: str) -> bool:
        """Whether the actor may do an act in this network."""
        return may(self.actor, act, network_id=self.network.pk)


class CountyView(OfNetwork):
    """The county this year, as a short report."""

    template_name = "county/county.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        network, actor = self.network, self.actor
        inside = self.may("network.forecast_all")
        page = CountyPage(
            network,
            county.meadows_of(actor, network),
            county.meadows_exactly(actor, network),
            county.year_of(actor, network, self.today),
            county.districts_with_counts(actor, network),
            county.hours_exactly(actor, network, self.today.year) if inside else None,
        )
        groups = list(county.groups_in(actor, network))
        sites = county.sites_listed(actor, network, county.SiteFilter())
        context = {
            "network": network,
            "page": page,
            "groups": groups,
            "group_less": not groups,
            "site_count": sites.count(),
            "lines": lines_of(actor, list(sites[:12])),
            "legend": LEGEND,
            "sets_up": self.may("network.change"),
            "coordinates": self.may("group.create"),
            "forecasts_all": inside,
            "appoints": self.may("network.appoint"),
        }
        return self.show(request, context)


class MapView(OfNetwork):
    """What the map draws, as JSON."""

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        sites = list(county.sites_listed(self.actor, self.network, county.SiteFilter()))
        villages = list(villages_of(self.actor, self.network))
        data = map_data(
            self.network, list(districts_of(self.actor, self.network)), villages, lines_of(self.actor, sites)
        )
        response = JsonResponse(data)
        response.headers["X-Robots-Tag"] = "noindex"
        return response


class FilterForm(forms.Form):
    """Which sites to list."""

    def __init__(self, data: Any, districts: list[tuple[str, str]], groups: list[tuple[str, str]]) -> None:
        super().__init__(data)
        self.fields["district"] = Pick(districts, blank="All", label="District")
        self.fields["group"] = Pick(groups, blank="All", label="Group")
        self.fields["kind"] = Pick(choices_of("kind"), blank="All", label="Kind of place")
        self.fields["stage"] = Pick(Stage.choices, blank="Any", label="Stage")

    def asked(self) -> county.SiteFilter:
        """Return what is asked for, leaving out what could not be read."""
        self.is_valid()
        return county.SiteFilter(**{name: self.cleaned_data.get(name) or "" for name in self.fields})


class SitesView(OfNetwork):
    """The sites in a list."""

    template_name = "county/sites.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        districts = [(str(row.public_id), row.name) for row in districts_of(self.actor, self.network)]
        groups = [(str(row.public_id), row.name) for row in county.groups_in(self.actor, self.network)]
        form = FilterForm(request.GET, districts, groups)
        found = county.sites_listed(self.actor, self.network, form.asked())
        page = Paginator(found, SITES_PER_PAGE).get_page(request.GET.get("page"))
        query = request.GET.copy()
        query.pop("page", None)
        context = {
            "network": self.network,
            "form": form,
            "page": page,
            "lines": lines_of(self.actor, list(page.object_list)),
            "count": page.paginator.count,
            "filtered": any(request.GET.get(name) for name in form.fields),
            "query": query.urlencode(),
        }
        return self.show(request, context, status=422 if form.errors else 200)


class PeopleView(OfNetwork):
    """Who is what in a network, and ending it."""

    template_name = "county/people.html"

    def page(
        self, request: HttpRequest, refused: str = "", status: int = 200, asked: NetworkMembership | None = None
    ) -> HttpResponse:
        context = {
            "network": self.network,
            "roles": staff_listed(self.actor, self.network),
            "own": self.actor.user_id,
            "refused": refused,
            "asked": asked,
        }
        return self.show(request, context, status=status)

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        return self.page(request)

    def post(self, request: HttpRequest, slug: str) -> HttpResponse:
        rows = staff_listed(self.actor, self.network)
        row = rows.filter(user__public_id=as_uuid(request.POST.get("person")), role=request.POST.get("role")).first()
        if row is None:
            raise NotFound("Nobody here is that; look at the page again.")
        if not request.POST.get("sure"):
            return self.page(request, asked=row)
        asked = read_as(RoleEnd, {"person_id": str(row.user.public_id), "role": row.role})
        try:
            networks.role_end(actor=self.actor, network_id=self.network.public_id, asked=asked, now=self.now)
        except RuleBroken as refusal:
            return self.page(request, refusal.detail, status=422)
        messages.success(request, f"{row.user} is {row.get_role_display().lower()} no longer.")
        return HttpResponseRedirect(
            f"/county/{slug}/" if row.user_id == self.actor.user_id else f"/county/{slug}/people/"
        )


class NetworkNewView(FormDoor):
    """Set up a county's network."""

    template_name = "county/network_new.html"
    done = "The network is set up. Now it needs a coordinator."

    def load(self) -> None:
        demand(self.actor, "network.create")

    def form(self, data: Any = None) -> ServiceForm:
        return NetworkForm(data)

    def act(self, form: Any) -> str:
        network = networks.network_create(actor=self.actor, asked=form.read(), now=self.now)
        return f"/county/{network.slug}/"


class SetUpView(OfNetwork):
    """What the county consists of: its outline, districts, villages and groups."""

    template_name = "county/set_up.html"
    PARTS: ClassVar[tuple[str, ...]] = ("county", "district", "village", "group")

    def load(self) -> None:
        demand(self.actor, "network.change", network_id=self.network.pk)

    def part(self, name: str, data: Any = None) -> ServiceForm:
        """Return the form of one part."""
        network, districts = self.network, list(districts_of(self.actor, self.network))
        match name:
            case "county":
                initial = {
                    "name": network.name, "about": network.about, "licence": network.licence,
                    "version": network.version,
                }  # fmt: skip
                return NetworkChangeForm(data, prefix=name, initial=initial)
            case "district":
                return DistrictForm(data, prefix=name)
            case "village":
                return VillageForm(data, prefix=name, districts=districts)
        return GroupForm(data, prefix="group", network=network, districts=districts)

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        self.load()
        return self.page(request, {})

    def page(self, request: HttpRequest, sent: dict[str, ServiceForm], status: int = 200) -> HttpResponse:
        parts = {f"{name}_form": sent.get(name) or self.part(name) for name in self.PARTS}
        context = {
            "network": self.network,
            "wrong": next(iter(sent.values()), None),
            "districts": districts_of(self.actor, self.network),
            "villages": villages_of(self.actor, self.network),
            "groups": county.groups_in(self.actor, self.network),
            "may_group": self.may("group.create"),
            "may_district": self.may("district.change"),
            "may_village": self.may("village.change"),
            **parts,
        }
        return self.show(request, context, status=status)

    def post(self, request: HttpRequest, slug: str) -> HttpResponse:
        self.load()
        name = request.POST.get("part", "")
        if name not in self.PARTS:
            raise NotFound("There is no such part.")
        form = self.part(name, request.POST)
        if not form.is_valid():
            form.add_contract_faults()
            return self.page(request, {name: form}, status=422)
        try:
            said = self.act(name, form)
        except RequestRefused as refusal:
            form.add_refusals(refusal.errors)
        except Stale as refusal:
            form.aged(refusal.detail, self.part(name))
            return self.page(request, {name: form}, status=409)
        except (NotFound, NotAllowed):
            raise
        except Refused as refusal:
            form.add_refused(refusal)
        else:
            messages.success(request, said)
            return HttpResponseRedirect(f"/county/{self.network.slug}/set-up/#{name}")
        return self.page(request, {name: form}, status=422)

    def act(self, name: str, form: Any) -> str:
        """Do it and return what to say."""
        actor, now, network_id = self.actor, self.now, self.network.public_id
        asked = form.read()
        match name:
            case "county":
                networks.network_change(
                    actor=actor, public_id=network_id, asked=asked, if_version=form.if_version, now=now
                )
                return "Saved."
            case "district":
                networks.district_create(actor=actor, network_id=network_id, asked=asked, now=now)
            case "village":
                networks.village_create(actor=actor, network_id=network_id, asked=asked, now=now)
            case _:
                networks.group_create(actor=actor, asked=asked, now=now)
                return f"{asked.name} is added. Now invite somebody to lead it."
        return f"{asked.name} is added."


class ForecastAllView(OfNetwork):
    """Ask for a forecast of every meadow under way."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, slug: str) -> HttpResponse:
        job = meadows.network_forecast_all(actor=self.actor, network_id=self.network.public_id, now=self.now)
        return HttpResponseRedirect(f"/jobs/{job.public_id}/")


def coordinated(actor: Actor) -> list[Network]:
    """The networks the actor coordinates."""
    held = actor.networks_as(NetworkRole.COORDINATOR)
    return [network for network in network_list(actor) if network.pk in held]


def as_uuid(value: Any) -> UUID:
    """Return an id from a form; one that cannot be read is one that is not there."""
    try:
        return UUID(str(value))
    except ValueError as error:
        raise NotFound("There is no such thing.") from error
