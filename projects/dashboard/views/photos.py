"""Photos from fixed points: looked at year after year, sent, withdrawn."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from projects.api.renderers import picture
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.photos import PhotoForm
from projects.dashboard.pages.photos import PhotoLine, PhotosPage
from projects.dashboard.views.meadows import OfProject
from projects.dashboard.views.returns import OfReturn
from projects.errors import NotAllowed
from projects.models import ReturnPhoto
from projects.selectors import photos as reads
from projects.selectors.returns import returns_of
from projects.services import photos as acts


class ProjectPhotosView(OfProject):
    """A project's photos, each fixed point with its years one below the other."""

    template_name = "county/photos.html"

    def get(self, request: HttpRequest, project_id: UUID) -> HttpResponse:
        rows = reads.photos_of_project(self.actor, self.project)
        lines = [PhotoLine(row, reads.may_withdraw(self.actor, row)) for row in rows]
        inside = self.may("photo.send")
        context = {
            "project": self.project,
            "page": PhotosPage(lines),
            "inside": inside,
            "outcomes": list(returns_of(self.actor, self.project)) if inside else [],
        }
        return self.show(request, context)


class PhotoNewView(OfReturn, FormDoor):
    """Send a photo; sent twice, it is there once."""

    template_name = "county/photo_new.html"

    def load(self) -> None:
        self.demand("photo.send")

    def form(self, data: Any = None) -> Any:
        files = self.request.FILES if data is not None else None
        return PhotoForm(data, files, today=self.today, year=self.row.year)

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "points": reads.points_of(self.actor, self.row.project_id)}

    def act(self, form: Any) -> str:
        content = form.cleaned_data["photo"].read()
        _, new = acts.photo_add(
            actor=self.actor, return_id=self.row.public_id, asked=form.read(), content=content, now=self.now
        )
        messages.success(self.request, "The photo is there." if new else "This photo was there already.")
        return f"{self.address}#photos"


class WithdrawView(Door):
    """Take a photo away for good, after being asked once more."""

    template_name = "county/photo_withdraw.html"

    @cached_property
    def photo(self) -> ReturnPhoto:
        return reads.photo_get(self.actor, self.kwargs["photo_id"])

    def get(self, request: HttpRequest, photo_id: UUID) -> HttpResponse:
        if not reads.may_withdraw(self.actor, self.photo):
            raise NotAllowed("Whoever sent a photo takes it away, or a lead of the group. Ask one of them.")
        return self.show(request, {"line": PhotoLine(self.photo), "project": self.photo.outcome.project})

    def post(self, request: HttpRequest, photo_id: UUID) -> HttpResponse:
        project = self.photo.outcome.project
        acts.photo_withdraw(actor=self.actor, public_id=photo_id, if_version=None, now=self.now)
        messages.success(request, "The photo is gone for good.")
        return HttpResponseRedirect(f"/projects/{project.public_id}/photos/")


class PictureView(Door):
    """The picture itself."""

    def get(self, request: HttpRequest, photo_id: UUID, size: str) -> HttpResponse:
        return picture(reads.photo_bytes(self.actor, photo_id, size), photo_id)
