"""Handing over a group or a project, and reading what was handed over."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse

from projects.choices import GroupRole
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.handovers import HandoverForm
from projects.dashboard.pages.handovers import HandoverPage
from projects.dashboard.views.groups import OfGroup
from projects.dashboard.views.meadows import OfProject
from projects.models import Handover, User
from projects.selectors import handovers as reads
from projects.selectors import people
from projects.selectors.photos import points_of
from projects.services import handovers as acts

LINES_PER_PAGE = 50
_DONE = {
    True: "It is written down. Whoever comes next reads it here.",
    False: "This was written down already.",
}


def in_the_way(user: Any, group: Any) -> list[str]:
    """What keeps somebody from leaving a group, in sentences."""
    return people.handovers(user, group) if isinstance(user, User) else []


class GroupHandOverView(OfGroup, FormDoor):
    """Write down what whoever comes next has to know about a group."""

    template_name = "county/hand_over.html"

    def load(self) -> None:
        self.demand("handover.write")

    @property
    def before(self) -> Handover | None:
        return reads.handovers_of(self.actor, self.group).filter(project=None).first()

    def form(self, data: Any = None) -> Any:
        return HandoverForm(data, before=self.before)

    def context(self) -> dict[str, Any]:
        return {
            "group": self.group,
            "called": self.group.name,
            "back": f"/groups/{self.group.public_id}/",
            "before": self.before,
            "leading": self.actor.groups.get(self.group.pk) == GroupRole.LEAD,
            "obstacles": in_the_way(self.request.user, self.group),
        }

    def act(self, form: Any) -> str:
        row, new = acts.group_hand_over(
            actor=self.actor, group_id=self.group.public_id, asked=form.read(), now=self.now
        )
        messages.success(self.request, _DONE[new])
        return f"/handovers/{row.public_id}/"


class ProjectHandOverView(OfProject, FormDoor):
    """Write down what whoever comes next has to know about a project."""

    template_name = "county/hand_over.html"

    def load(self) -> None:
        self.demand("handover.write")

    @property
    def before(self) -> Handover | None:
        return reads.handovers_of_project(self.actor, self.project).first()

    def form(self, data: Any = None) -> Any:
        return HandoverForm(data, before=self.before)

    def context(self) -> dict[str, Any]:
        return {
            "group": self.project.group,
            "called": self.project.name,
            "back": self.address,
            "before": self.before,
            "points": points_of(self.actor, self.project.pk),
        }

    def act(self, form: Any) -> str:
        row, new = acts.project_hand_over(
            actor=self.actor, project_id=self.project.public_id, asked=form.read(), now=self.now
        )
        messages.success(self.request, _DONE[new])
        return f"/handovers/{row.public_id}/"


class HandoversView(OfGroup):
    """Everything that was handed over in a group, the latest first."""

    template_name = "county/handovers.html"

    def get(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        rows = reads.handovers_of(self.actor, self.group)
        page = Paginator(rows, LINES_PER_PAGE).get_page(request.GET.get("page"))
        context = {
            "group": self.group,
            "page": page,
            "lines": [HandoverPage(row) for row in page.object_list],
            "may_write": self.may("handover.write"),
        }
        return self.show(request, context)


class HandoverView(Door):
    """One handover, on one printed side."""

    template_name = "county/handover.html"

    def get(self, request: HttpRequest, handover_id: UUID) -> HttpResponse:
        row = reads.handover_get(self.actor, handover_id)
        return self.show(request, {"page": HandoverPage(row), "row": row})
