"""Green hay: days planned, looked at, done or called off."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property

from projects.choices import GreenHayState
from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.plugs import GreenHayEndForm, GreenHayForm
from projects.dashboard.pages.plugs import HayLine
from projects.dashboard.views.county import OfNetwork
from projects.models import GreenHayDay
from projects.rules.access import demand, may
from projects.rules.kit import DEFERRING
from projects.selectors import green_hay as reads
from projects.selectors.kit import hay_cautions
from projects.selectors.plugs import projects_to_promise
from projects.services import green_hay as acts


class GreenHayDaysView(OfNetwork):
    """Days of a network."""

    template_name = "county/green_hay.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        rows = reads.days_of(self.actor, self.network).order_by("-cut_on", "-pk")
        context = {
            "network": self.network,
            "lines": [HayLine(self.actor, row) for row in rows],
            "may_plan": self.may("green_hay.plan"),
        }
        return self.show(request, context)


class GreenHayNewView(OfNetwork, FormDoor):
    """Plan a day."""

    template_name = "county/plug_form.html"
    done = "The day is planned. Look at what stands below it."

    def load(self) -> None:
        demand(self.actor, "green_hay.plan", network_id=self.network.pk)

    def form(self, data: Any = None) -> Any:
        return GreenHayForm(
            data,
            donors=reads.donors_to_cut(self.actor, self.network),
            projects=projects_to_promise(self.actor, self.network),
        )

    def context(self) -> dict[str, Any]:
        back = f"/county/{self.network.slug}/green-hay/"
        return {"title": "A day of green hay", "back": back, "back_name": "Green hay", "button": "Plan it"}

    def act(self, form: Any) -> str:
        row = acts.day_plan(actor=self.actor, network_id=self.network.public_id, asked=form.read(), now=self.now)
        return f"/green-hay/{row.public_id}/"


class GreenHayDayView(FormDoor):
    """One day, and what came of it."""

    template_name = "county/green_hay_day.html"
    done = "It is noted."

    @cached_property
    def day(self) -> GreenHayDay:
        return reads.day_get(self.actor, self.kwargs["day_id"])

    def load(self) -> None:
        if self.request.method == "POST":
            demand(self.actor, "green_hay.end", group_id=self.day.group_id, network_id=self.day.network_id)

    def form(self, data: Any = None) -> Any:
        row = self.day
        ends = may(self.actor, "green_hay.end", group_id=row.group_id, network_id=row.network_id)
        if data is None and (not ends or row.state != GreenHayState.PLANNED):
            return None
        return GreenHayEndForm(data, initial={"version": row.version})

    def context(self) -> dict[str, Any]:
        coordinates = may(self.actor, "green_hay.plan", network_id=self.day.network_id)
        return {
            "line": HayLine(self.actor, self.day),
            "day": self.day,
            "coordinates": coordinates,
            "cautions": hay_cautions(),
            "deferring": DEFERRING,
        }

    def act(self, form: Any) -> str:
        acts.day_end(
            actor=self.actor, public_id=self.day.public_id, asked=form.read(), if_version=form.if_version, now=self.now
        )
        return f"/green-hay/{self.day.public_id}/"
