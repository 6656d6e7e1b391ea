"""Sites: registering and changing one, its page, and what is noted about it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from modelling.errors import RequestRefused
from projects.choices import Stage
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.sites import (
    FundingForm,
    PermissionForm,
    PermissionNewForm,
    SiteChangeForm,
    SiteForm,
    SoilTestForm,
    funding_words,
    permission_initial,
    site_initial,
)
from projects.dashboard.pages.sites import (
    PermissionLine,
    SitePage,
    estimate_address,
    outside_words,
    permissions_finding,
)
from projects.dashboard.views.county import as_uuid
from projects.dashboard.views.groups import OfGroup
from projects.errors import NotAllowed, NotFound, Refused, Stale
from projects.models import Permission, Site
from projects.rules.access import demand, may
from projects.selectors.due import due_of_site
from projects.selectors.meadows import project_list
from projects.selectors.model_inputs import site_facts
from projects.selectors.networks import districts_of, villages_of
from projects.selectors.places import lies_outside, place_of
from projects.selectors.sites import site_get
from projects.services import sites

#: what strangers may carry over into an estimate
_OPEN_FACTS = ("area_m2", "net_area_m2", "kind")


class OfSite(Door):
    """A page of one site."""

    @cached_property
    def site(self) -> Site:
        return site_get(self.actor, self.kwargs["site_id"])

    def may(self, act: str) -> bool:
        """Whether the actor may do an act on this site."""
        return may(self.actor, act, group_id=self.site.group_id, network_id=self.site.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act on this site."""
        demand(self.actor, act, group_id=self.site.group_id, network_id=self.site.network_id)

    @property
    def address(self) -> str:
        return f"/sites/{self.site.public_id}/"


class SiteNewView(OfGroup, FormDoor):
    """Register a site."""

    template_name = "county/site_form.html"

    def load(self) -> None:
        self.demand("site.create")

    def form(self, data: Any = None) -> ServiceForm:
        network = self.group.network
        return SiteForm(
            data,
            group=self.group,
            districts=districts_of(self.actor, network),
            villages=villages_of(self.actor, network),
            initial={"district_id": str(self.group.district.public_id) if self.group.district else ""},
        )

    def context(self) -> dict[str, Any]:
        return {"group": self.group, "network": self.group.network}

    def act(self, form: Any) -> str:
        site = sites.site_create(actor=self.actor, asked=form.read(), now=self.now)
        messages.success(self.request, f"{site.name} is registered.")
        return f"/sites/{site.public_id}/"


class SiteView(OfSite):
    """A site's page."""

    template_name = "county/site.html"

    def get(self, request: HttpRequest, site_id: UUID) -> HttpResponse:
        site, inside = self.site, self.may("site.read_detail")
        facts = site_facts(site, self.today) if inside else {}
        known = facts if inside else {name: value for name, value in _open_facts(site).items() if value is not None}
        context: dict[str, Any] = {
            "site": site,
            "page": SitePage(site, place_of(self.actor, site), inside),
            "inside": inside,
            "projects": [(project, Stage(project.stage).label) for project in self.projects()],
            "estimate": estimate_address(known),
            "may_change": self.may("site.change"),
            "may_begin": self.may("project.create"),
        }
        if inside:
            lines = [PermissionLine(row, self.today) for row in site.permissions.all()]
            context |= {
                "outside": outside_words(lies_outside(self.actor, site)),
                "permissions": lines,
                "permissions_finding": permissions_finding(lines),
                "soil_tests": list(site.soil_tests.all()),
                "zones": list(site.zones.all()),
                "funding": [(row, funding_words(row)) for row in site.other_funding.all()],
                "dues": due_of_site(self.actor, site, self.today),
            }
        return self.show(request, context)

    def projects(self) -> Any:
        return project_list(self.actor).filter(site=self.site).order_by("created_at", "pk")


def _open_facts(site: Site) -> dict[str, Any]:
    net = None if site.net_area_dm2 is None else site.net_area_dm2 / 100
    return dict(zip(_OPEN_FACTS, (site.area_dm2 / 100, net, site.kind), strict=True))


class SiteEditView(OfSite, FormDoor):
    """Change a site."""

    template_name = "county/site_form.html"
    done = "Saved."

    def load(self) -> None:
        self.demand("site.change")

    def form(self, data: Any = None) -> ServiceForm:
        site = self.site
        return SiteChangeForm(
            data,
            group=site.group,
            districts=districts_of(self.actor, site.network),
            villages=villages_of(self.actor, site.network),
            initial=site_initial(site, list(site.zones.all())),
        )

    def context(self) -> dict[str, Any]:
        page = SitePage(self.site, place_of(self.actor, self.site), True)
        return {"site": self.site, "group": self.site.group, "network": self.site.network, "page": page}

    def act(self, form: Any) -> str:
        sites.site_change(
            actor=self.actor, public_id=self.site.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        return self.address


class SiteRemoveView(OfSite):
    """Take a site away on which nothing was built."""

    template_name = "county/site_remove.html"

    def get(self, request: HttpRequest, site_id: UUID) -> HttpResponse:
        self.demand("site.remove")
        return self.show(request, {"site": self.site})

    def post(self, request: HttpRequest, site_id: UUID) -> HttpResponse:
        group, name = self.site.group, self.site.name
        sites.site_remove(actor=self.actor, public_id=self.site.public_id, if_version=None, now=self.now)
        messages.success(request, f"{name} is removed.")
        return HttpResponseRedirect(f"/groups/{group.public_id}/")


class PermissionsView(OfSite):
    """What has come of each permission; each has a form of its own."""

    template_name = "county/permissions.html"

    def get(self, request: HttpRequest, site_id: UUID) -> HttpResponse:
        self.demand("permission.read")
        return self.page(request, {})

    def page(self, request: HttpRequest, sent: dict[str, ServiceForm], status: int = 200) -> HttpResponse:
        changes = self.may("permission.change")
        lines = []
        for row in self.site.permissions.all():
            form = sent.get(str(row.public_id)) or (self.row_form(row) if changes else None)
            lines.append(PermissionLine(row, self.today, form))
        context = {
            "site": self.site,
            "lines": lines,
            "finding": permissions_finding(lines),
            "changes": changes,
            "new_form": sent.get("new") or self.new_form(),
            "wrong": next(iter(sent.values()), None),
            "open": next(iter(sent), ""),
        }
        return self.show(request, context, status=status)

    @staticmethod
    def row_form(row: Permission, data: Any = None) -> ServiceForm:
        return PermissionForm(data, prefix=f"p{row.pk}", initial=permission_initial(row))

    @staticmethod
    def new_form(data: Any = None) -> ServiceForm:
        return PermissionNewForm(data, prefix="new", initial={"need": "needed", "state": "not_asked"})

    def post(self, request: HttpRequest, site_id: UUID) -> HttpResponse:
        self.demand("permission.change")
        asked = request.POST.get("permission", "")
        row = None if asked == "new" else self.row(asked)
        form = self.new_form(request.POST) if row is None else self.row_form(row, request.POST)
        status = 422
        if not form.is_valid():
            form.add_contract_faults()
        else:
            try:
                saved = self.act(row, form)
            except RequestRefused as refusal:
                form.add_refusals(refusal.errors)
            except Stale as refusal:
                form.aged(refusal.detail, self.row_form(row) if row else self.new_form())
                status = 409
            except (NotFound, NotAllowed):
                raise
            except Refused as refusal:
                form.add_refused(refusal)
            else:
                messages.success(request, "Saved.")
                return HttpResponseRedirect(f"{self.address}permissions/#p{saved.pk}")
        return self.page(request, {str(row.public_id) if row else "new": form}, status=status)

    def row(self, asked: str) -> Permission:
        """The permission of an id on this site."""
        row = self.site.permissions.filter(public_id=as_uuid(asked)).first()
        if row is None:
            raise NotFound("There is no such permission on this site.")
        return row

    def act(self, row: Permission | None, form: Any) -> Permission:
        if row is None:
            return sites.permission_add(actor=self.actor, site_id=self.site.public_id, asked=form.read(), now=self.now)
        return sites.permission_change(
            actor=self.actor, public_id=row.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )


class NotesView(OfSite, FormDoor):
    """Notes of one kind about a site: a list, a form to add one, a button to take one away."""

    noun = ""

    def load(self) -> None:
        self.demand(f"{self.noun}.read" if self.request.method == "GET" else f"{self.noun}.change")

    def context(self) -> dict[str, Any]:
        return {"site": self.site, "changes": self.may(f"{self.noun}.change")}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "remove" in request.POST:
            self.load()
            self.remove(as_uuid(request.POST["remove"]))
            messages.success(request, "Taken away.")
            return HttpResponseRedirect(request.path)
        return super().post(request, *args, **kwargs)

    def remove(self, public_id: UUID) -> None:
        """Take one away."""
        raise NotImplementedError


class SoilTestView(NotesView):
    """Soil tests of a site."""

    template_name = "county/soil_test.html"
    noun = "soil_test"
    done = "The soil test is noted."

    def form(self, data: Any = None) -> ServiceForm:
        return SoilTestForm(data)

    def context(self) -> dict[str, Any]:
        return super().context() | {"soil_tests": list(self.site.soil_tests.all())}

    def act(self, form: Any) -> str:
        sites.soil_test_add(actor=self.actor, site_id=self.site.public_id, asked=form.read(), now=self.now)
        return f"{self.address}soil-test/"

    def remove(self, public_id: UUID) -> None:
        sites.soil_test_remove(actor=self.actor, public_id=public_id, now=self.now)


class FundingView(NotesView):
    """Other money for a site's ground."""

    template_name = "county/funding.html"
    noun = "funding"
    done = "Noted."

    def form(self, data: Any = None) -> ServiceForm:
        return FundingForm(data)

    def context(self) -> dict[str, Any]:
        rows = [(row, funding_words(row)) for row in self.site.other_funding.all()]
        return super().context() | {"funding": rows}

    def act(self, form: Any) -> str:
        sites.other_funding_add(actor=self.actor, site_id=self.site.public_id, asked=form.read(), now=self.now)
        return f"{self.address}funding/"

    def remove(self, public_id: UUID) -> None:
        sites.other_funding_remove(actor=self.actor, public_id=public_id, now=self.now)
