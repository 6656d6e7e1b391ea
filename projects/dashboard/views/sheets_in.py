"""Sheets that are sent: templates, the file, what was understood in it, taking it in, rows to mend."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from modelling.errors import RequestRefused
from projects import sheets
from projects.dashboard import words
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.returns import plants_by_label
from projects.dashboard.forms.uploads import AcceptForm, AnswersForm, SheetForm
from projects.dashboard.pages.uploads import UploadPage, many, years_to_send
from projects.dashboard.views.county import OfNetwork
from projects.dashboard.views.groups import OfGroup
from projects.dashboard.views.meadows import OfProject
from projects.errors import NotAllowed, NotFound, Refused, Stale
from projects.models import SheetUpload
from projects.rules.access import demand, may
from projects.selectors import uploads as reads
from projects.services import uploads as acts

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ROWS_PER_PAGE = 100


def download(content: bytes | str, kind: str, name: str) -> HttpResponse:
    """A file to be kept, not shown."""
    return HttpResponse(content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


class SheetDoor(FormDoor):
    """A page that takes a file."""

    template_name = "county/sheet_send.html"

    @property
    def aim(self) -> acts.Aim:
        """What the file is of."""
        raise NotImplementedError

    def load(self) -> None:
        aim = self.aim
        group = getattr(aim, "group_id", None) if hasattr(aim, "group_id") else None
        if group is None and isinstance(self, OfGroup):
            group = self.group.pk
        network = aim.pk if isinstance(self, OfNetwork) else getattr(aim, "network_id", None)
        demand(self.actor, "upload.send", group_id=group, network_id=network)

    def form(self, data: Any = None) -> Any:
        initial = {"year": self.year}
        files = self.request.FILES if data is not None else None
        return SheetForm(data, files, years=years_to_send(self.today), initial=initial)

    @property
    def year(self) -> int:
        said = self.request.GET.get("year", "")
        return int(said) if said.isdecimal() and said.isascii() and len(said) == 4 else self.today.year

    def act(self, form: Any) -> str:
        file = form.cleaned_data["file"]
        row, _ = acts.upload_create(
            actor=self.actor, aim=self.aim, asked=self.asked(form), data=file.read(), now=self.now
        )
        return f"/sheets/{row.public_id}/"

    def asked(self, form: Any) -> Any:
        """What the file is sent for."""
        return form.read()


class ProjectSheetView(OfProject, SheetDoor):
    """Send a sheet of one project; templates to fill in."""

    @property
    def aim(self) -> acts.Aim:
        return self.project

    def context(self) -> dict[str, Any]:
        year = min(self.year, self.today.year)
        return {
            "project": self.project,
            "back": self.address,
            "called": self.project.name,
            "year": year,
            "earlier": reads.uploads_of(self.actor, self.now, aim=self.project),
        }


class GroupSheetView(OfGroup, SheetDoor):
    """Send a sheet whose rows name the group's meadows."""

    @property
    def aim(self) -> acts.Aim:
        return self.group

    def context(self) -> dict[str, Any]:
        return {
            "back": f"/groups/{self.group.public_id}/",
            "called": self.group.name,
            "earlier": reads.uploads_of(self.actor, self.now, aim=self.group),
        }


class CountySheetView(OfNetwork, SheetDoor):
    """Send a sheet whose rows name the network's meadows."""

    @property
    def aim(self) -> acts.Aim:
        return self.network

    def context(self) -> dict[str, Any]:
        return {
            "back": f"/county/{self.network.slug}/",
            "called": self.network.name,
            "earlier": reads.uploads_of(self.actor, self.now, aim=self.network),
        }


class TemplateView(OfProject):
    """The workbook, or the table as CSV, for one summer of a project."""

    kind = "xlsx"

    def get(self, request: HttpRequest, project_id: UUID) -> HttpResponse:
        said = request.GET.get("year", "")
        year = int(said) if said.isdecimal() and said.isascii() and len(said) == 4 else self.today.year
        asked = reads.template_for(self.actor, self.project, year)
        name = f"summer-walk-{year}.{self.kind}"
        if self.kind == "csv":
            return download(sheets.template_csv(asked), "text/csv; charset=utf-8", name)
        return download(sheets.template(asked), XLSX, name)


class OfUpload(Door):
    """A page of one sheet."""

    @cached_property
    def row(self) -> SheetUpload:
        return reads.upload_get(self.actor, self.kwargs["upload_id"], self.now)

    @property
    def address(self) -> str:
        return f"/sheets/{self.row.public_id}/"

    def may(self, act: str) -> bool:
        """Whether the actor may do an act with this sheet."""
        return may(self.actor, act, group_id=self.row.group_id, network_id=self.row.network_id)

    def back(self) -> tuple[str, str]:
        """Where the sheet was sent from, and what that is called."""
        row = self.row
        if row.project is not None:
            return f"/projects/{row.project.public_id}/", row.project.name
        if row.group is not None:
            return f"/groups/{row.group.public_id}/", row.group.name
        return f"/county/{row.network.slug}/", row.network.name


class UploadView(OfUpload):
    """What was understood in a sheet, row by row; questions; taking it in."""

    template_name = "county/sheet_read.html"

    def get(self, request: HttpRequest, upload_id: UUID) -> HttpResponse:
        return self.page(request)

    def page(
        self, request: HttpRequest, *, answers: Any = None, accept: Any = None, told: str = "", status: int = 200
    ) -> HttpResponse:
        page = UploadPage(reads.reading_of(self.actor, self.row, self.today))
        beside = any(part.part.number and not part.part.same for part in page.ready)
        if answers is None:
            answers = AnswersForm(questions=page.reading.questions, initial={"version": self.row.version})
        if accept is None or told:
            accept = AcceptForm(beside=beside, initial={"preview": page.reading.preview})
        where, called = self.back()
        shown = Paginator(page.lines(), ROWS_PER_PAGE).get_page(request.GET.get("page"))
        context = {
            "row": self.row,
            "page": page,
            "form": answers if answers.is_bound else accept,
            "answers": answers,
            "accept": accept,
            "told": told,
            "back": where,
            "called": called,
            "shown": shown,
            "left_out": page.lines(only="refused")[:ROWS_PER_PAGE],
            "plants": plants_by_label() if page.names else [],
            "mended": list(self.row.mended_by.all()),
        }
        return self.show(request, context, status=status)

    def post(self, request: HttpRequest, upload_id: UUID) -> HttpResponse:
        match request.POST.get("do"):
            case "answer":
                return self.answer(request)
            case "remove":
                return self.remove(request)
        return self.accept(request)

    def answer(self, request: HttpRequest) -> HttpResponse:
        questions = reads.reading_of(self.actor, self.row, self.today).questions
        form = AnswersForm(request.POST, questions=questions)
        if form.is_valid():
            try:
                acts.upload_answer(
                    actor=self.actor, public_id=self.row.public_id, asked=form.read(), if_version=form.if_version,
                    now=self.now,
                )  # fmt: skip
            except RequestRefused as refusal:
                form.add_refusals(refusal.errors)
            except Stale as refusal:
                return self.page(request, told=refusal.detail, status=409)
            except (NotFound, NotAllowed):
                raise
            except Refused as refusal:
                form.add_refused(refusal)
            else:
                messages.success(request, "The sheet is read anew with your answers.")
                return HttpResponseRedirect(self.address)
        return self.page(request, answers=form, status=422)

    def accept(self, request: HttpRequest) -> HttpResponse:
        form = AcceptForm(request.POST, beside="how" in request.POST)
        if not form.is_valid():
            return self.page(request, accept=form, status=422)
        try:
            asked = form.read()
        except RequestRefused:
            return self.page(request, told="Look at the sheet again, and take it in from here.", status=409)
        try:
            parts = acts.upload_accept(actor=self.actor, public_id=self.row.public_id, asked=asked, now=self.now)
        except RequestRefused as refusal:
            return self.page(request, told=refusal.errors[0].detail, status=422)
        except (NotFound, NotAllowed):
            raise
        except Refused as refusal:
            return self.page(request, told=refusal.detail, status=409)
        new = sum(part.added for part in parts)
        text = (
            f"{many(new, 'return')} {words.plural(new, 'was', 'were')} sent." if new else "Nothing new: all is there."
        )
        messages.success(request, words.opened(text))
        return HttpResponseRedirect(self.address)

    def remove(self, request: HttpRequest) -> HttpResponse:
        where, _ = self.back()
        acts.upload_remove(actor=self.actor, public_id=self.row.public_id, if_version=None, now=self.now)
        messages.success(request, "The sheet is thrown away. Returns that it came to stay.")
        return HttpResponseRedirect(where)


class MendedView(OfUpload, SheetDoor):
    """Send the rows that were left out, mended."""

    template_name = "county/sheet_mended.html"

    @property
    def aim(self) -> acts.Aim:
        row = self.row
        return row.project or row.group or row.network

    def load(self) -> None:
        demand(self.actor, "upload.send", group_id=self.row.group_id, network_id=self.row.network_id)

    @property
    def year(self) -> int:
        return self.row.year

    def asked(self, form: Any) -> Any:
        return form.read().model_copy(update={"mends": self.row.public_id})

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "rows": reads.refused_rows_of(self.row)[:ROWS_PER_PAGE]}


class RefusedView(OfUpload):
    """The rows that were left out, as CSV."""

    def get(self, request: HttpRequest, upload_id: UUID) -> HttpResponse:
        reading = reads.reading_of(self.actor, self.row, self.today)
        return download(sheets.refused_rows_csv(reading.as_one()), "text/csv; charset=utf-8", "rows-to-mend.csv")
