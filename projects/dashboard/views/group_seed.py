"""Seed promised to a group."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse

from projects.dashboard.pages.group_seed import GroupSeed
from projects.dashboard.views.groups import OfGroup
from projects.selectors.lots import promise_list


class GroupPromisesView(OfGroup):
    """What to fetch by when, what is out, and what became of the rest."""

    template_name = "county/group_seed.html"

    def get(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        self.demand("seed_promise.read")
        rows = list(promise_list(self.actor).filter(group=self.group))
        return self.show(request, {"group": self.group, "page": GroupSeed(rows, self.today)})
