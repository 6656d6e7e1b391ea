"""The summer walk: its form, kept by the phone while there is no signal, and the sheet to take along."""

from __future__ import annotations

from typing import Any, Final
from uuid import UUID

from django.contrib import messages
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.utils.functional import cached_property
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from modelling.errors import RequestRefused
from modelling.selectors import taxon_row
from projects.choices import CameBy
from projects.dashboard import words
from projects.dashboard.forms.base import replaced
from projects.dashboard.forms.walks import MORE, WalkForm
from projects.dashboard.views.meadows import OfProject
from projects.errors import NotAllowed, NotFound, Refused, Stale
from projects.models import OutcomeReturn, ReturnVersion
from projects.selectors.returns import expected_taxa, returns_of, settled_content
from projects.services.returns import return_send

FIRST_YEAR: Final = 2000
#: rows of the sheet to take along
BLANK_LINES: Final = 14
SHEET_QUADRATS: Final = 10
_JSON: Final = "application/json"


class OfWalk(OfProject):
    """A page of one meadow's summer."""

    @cached_property
    def year(self) -> int:
        year: int = self.kwargs["year"]
        if not FIRST_YEAR <= year <= self.today.year:
            raise NotFound(f"There is no summer of {year} to tell of; the latest is that of {self.today.year}.")
        return year

    @cached_property
    def row(self) -> OutcomeReturn | None:
        return returns_of(self.actor, self.project).filter(year=self.year).first()

    @property
    def current(self) -> ReturnVersion | None:
        """What was sent last for this year."""
        return self.row.current if self.row else None

    def expected(self) -> list[tuple[str, str]]:
        """Plants that were to be sown, in the order of their names: key and English name."""
        rows = [(key, taxon_row(key)) for key in expected_taxa(self.actor, self.project)]
        return sorted(((key, row["english_name"]) for key, row in rows if row), key=lambda pair: pair[1])


class WalkView(OfWalk):
    """Tell of a meadow's year."""

    template_name = "county/walk_form.html"

    def form(self, data: Any = None, quadrats: int = 0) -> WalkForm:
        current = self.current
        return WalkForm(
            data,
            year=self.year,
            expected=self.expected(),
            before=settled_content(current).model_dump(mode="json", exclude_unset=True) if current else None,
            beside=current.number if current else 0,
            quadrats=quadrats,
        )

    def page(self, request: HttpRequest, form: WalkForm, status: int = 200) -> HttpResponse:
        context = {
            "project": self.project,
            "year": self.year,
            "form": form,
            "row": self.row,
            "own": self.project.group_id in self.actor.groups,
        }
        return self.show(request, context, status=status)

    def get(self, request: HttpRequest, project_id: UUID, year: int) -> HttpResponse:
        self.demand("return.send")
        return self.page(request, self.form())

    def post(self, request: HttpRequest, project_id: UUID, year: int) -> HttpResponse:
        self.demand("return.send")
        if "more" in request.POST:
            data = request.POST.copy()
            shown = data.get("shown_quadrats", "")
            data["shown_quadrats"] = str((int(shown[:3]) if shown.isdecimal() else 0) + MORE)
            return self.page(request, self.form(data))
        form = self.form(request.POST)
        status = 422
        if form.is_valid():
            try:
                row, _ = return_send(
                    actor=self.actor,
                    project_id=self.project.public_id,
                    asked=form.read(),
                    now=self.now,
                    came_by=CameBy.FORM if self.project.group_id in self.actor.groups else CameBy.FIELD_SHEET,
                    beside=form.cleaned_data.get("beside"),
                )
            except RequestRefused as refusal:
                form.add_refusals(refusal.errors)
            except Stale as refusal:
                now = returns_of(self.actor, self.project).filter(year=self.year).first()
                form.stale = refusal.detail
                form.data = replaced(form.data, "beside", now.current.number if now and now.current else 0)
                status = 409
            except (NotFound, NotAllowed):
                raise
            except Refused as refusal:
                form.add_refused(refusal)
            else:
                return self.sent(request, row, form)
        else:
            form.add_contract_faults()
        return self.page(request, form, status)

    def sent(self, request: HttpRequest, row: OutcomeReturn, form: WalkForm) -> HttpResponse:
        """Name what was received: the phone lets go of it only then."""
        where = f"/returns/{row.public_id}/"
        if request.headers.get("Accept") == _JSON:
            return JsonResponse({"received": form.submission, "where": where}, status=201)
        messages.success(request, f"The summer of {self.year} is sent. It can be sent anew, and nothing is lost.")
        return HttpResponseRedirect(where)


class FieldSheetView(OfWalk):
    """The sheet to take along, for a pencil."""

    template_name = "county/walk_sheet.html"

    def get(self, request: HttpRequest, project_id: UUID, year: int) -> HttpResponse:
        self.demand("return.send")
        context = {
            "project": self.project,
            "year": self.year,
            "expected": [name for _, name in self.expected()],
            "blank": range(BLANK_LINES),
            "quadrats": range(1, SHEET_QUADRATS + 1),
            "page": {
                "recipe_line": f"Summer walk of {self.project.name}, {self.year}. Printed {words.day(self.today)}."
            },
        }
        return self.show(request, context)


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps the walk's form on the phone; it must stand at the root to see the form's address."""
    found = finders.find("dashboard/worker.js")
    if not isinstance(found, str):
        raise FileNotFoundError("dashboard/worker.js")
    with open(found, encoding="utf-8") as script:
        return HttpResponse(script.read(), content_type="text/javascript; charset=utf-8")
