"""Yearly returns once sent: read, their names settled, questions answered, checked and agreed; a county's year."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.functional import cached_property

from modelling.outcomes import found_on_forecast
from modelling.selectors import taxon_row
from projects.api.files import darwin_core, records_csv
from projects.choices import ReturnState
from projects.dashboard import words
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.returns import AnswerForm, CheckForm, NamesForm, RereadForm, YearForm, plants_by_label
from projects.dashboard.pages.photos import PhotoLine
from projects.dashboard.pages.returns import (
    STATES,
    FoundPage,
    ReturnPage,
    SentLine,
    StepLine,
    SummerFound,
    YearPage,
    coming_year,
    summer_number,
)
from projects.dashboard.views.county import OfNetwork
from projects.errors import NotAllowed, NotFound
from projects.models import MeadowProject, OutcomeReturn, ReturnQuestion, ReturnVersion
from projects.rules.access import Actor, demand, may
from projects.rules.returns import may_follow
from projects.selectors import county
from projects.selectors import returns as reads
from projects.selectors.due import calendar_of_run
from projects.selectors.meadows import forecast_answer
from projects.selectors.networks import districts_of
from projects.selectors.photos import may_withdraw, photos_of_return
from projects.selectors.records import data_set_of_return
from projects.services import returns as acts

LINES_PER_PAGE = 50


def found_page(actor: Actor, project: MeadowProject, rows: list[OutcomeReturn]) -> FoundPage | None:
    """What was found on the forecast stored before; None where no summer was walked."""
    kept = reads.kept_results(rows)
    walked = sorted((row for row in rows if row.pk in kept), key=lambda row: row.year)
    if not walked:
        return None
    days = {row.pk: date.fromisoformat(kept[row.pk]["on"]) for row in walked}
    forecast = reads.forecast_held(actor, project, list(days.values()))
    answer = forecast_answer(actor, forecast.public_id) if forecast is not None else None
    summers = [
        SummerFound(
            row,
            days[row.pk],
            found_on_forecast(answer, kept[row.pk], row.year)
            if forecast is not None and answer is not None and reads.made_before(forecast, days[row.pk])
            else None,
            summer_number(answer, row.year) if answer is not None else None,
        )
        for row in walked
    ]
    return FoundPage(forecast, answer, summers, fixed=project.baseline_id is not None)


class OfReturn(Door):
    """A page of one return."""

    @cached_property
    def row(self) -> OutcomeReturn:
        return reads.return_get(self.actor, self.kwargs["return_id"])

    @property
    def address(self) -> str:
        return f"/returns/{self.row.public_id}/"

    @property
    def current(self) -> ReturnVersion:
        if self.row.current is None:
            raise NotFound("Nothing was sent in this return.")
        return self.row.current

    def may(self, act: str) -> bool:
        """Whether the actor may do an act in this return."""
        return may(self.actor, act, group_id=self.row.group_id, network_id=self.row.network_id)

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act in this return."""
        demand(self.actor, act, group_id=self.row.group_id, network_id=self.row.network_id)

    def names_form(self, data: Any = None) -> NamesForm:
        """The names that nobody has decided about."""
        return NamesForm(data, open_names=reads.names_to_settle(self.current), initial={"version": self.row.version})

    def check_form(self, data: Any = None) -> CheckForm:
        return CheckForm(data, initial={"version": self.row.version})

    def moves(self) -> list[ReturnState]:
        """What the actor may do with the return now."""
        if not self.may("return.check"):
            return []
        order = (ReturnState.AGREED, ReturnState.CHECKING, ReturnState.SENT_BACK)
        return [state for state in order if may_follow(self.row.state, state)]


class ReturnView(OfReturn):
    """A return: what it comes to, what waits, what next, what was sent."""

    template_name = "county/return_one.html"

    def get(self, request: HttpRequest, return_id: UUID) -> HttpResponse:
        row, current = self.row, self.current
        self.demand("return.read")
        sent = reads.versions_sent(row)
        wanted = request.GET.get("version", "")
        shown = next((one.version for one in sent if str(one.version.number) == wanted), None)
        if wanted and shown is None:
            raise NotFound(f"The return has no version {wanted[:20]!r}.")
        version = shown or current
        questions = list(version.questions.all())
        names_form = self.names_form() if version.pk == current.pk else None
        asked = sum(question.accepted_at is None for question in questions)
        page = ReturnPage(
            row, version, reads.read_content(version), reads.result_of(version), questions=asked,
            names=len(names_form.items) if names_form else 0,
        )  # fmt: skip
        found = found_page(self.actor, row.project, [row]) if version.pk == (row.agreed_id or row.current_id) else None
        context = {
            "row": row,
            "page": page,
            "found": found,
            "questions": [
                (question, AnswerForm(initial={"answer": question.answer, "version": question.version}))
                for question in questions
            ],
            "form": names_form,
            "plants": plants_by_label() if names_form and names_form.items else [],
            "check_form": self.check_form(),
            "moves": self.moves() if page.is_current else [],
            "may_answer": self.may("return.answer"),
            "may_check": self.may("return.check"),
            "may_settle": self.may("return.settle") and page.is_current,
            "read_count": sum(count for _, _, count in reads.names_read(version)),
            "photos": [
                PhotoLine(photo, may_withdraw(self.actor, photo)) for photo in photos_of_return(self.actor, row)
            ],
            "may_photo": self.may("photo.send"),
            "sent": [SentLine(one, one.version.pk == row.agreed_id) for one in sent],
            "steps": [StepLine(step) for step in reads.steps_of(row)],
            "calendar": coming_year(self.calendar(found), row.year),
        }
        return self.show(request, context)

    @staticmethod
    def calendar(found: FoundPage | None) -> Any:
        """The calendar of the forecast that the meadow is held against, if there is one."""
        return calendar_of_run(found.forecast.run.public_id) if found and found.forecast else ()


class NamesView(OfReturn, FormDoor):
    """Names to settle, and how the others were read."""

    template_name = "county/return_names.html"

    @property
    def rereads(self) -> bool:
        return self.request.POST.get("part") == "reread"

    def load(self) -> None:
        self.demand("return.settle")

    def form(self, data: Any = None) -> Any:
        if self.rereads:
            return self.reread_form(data)
        return self.names_form(data)

    def reread_form(self, data: Any = None) -> RereadForm:
        read = [name for name, _, _ in reads.names_read(self.current)] + reads.names_left(self.current)
        return RereadForm(data, written=read, initial={"version": self.row.version})

    def context(self) -> dict[str, Any]:
        read = [
            (
                name,
                (taxon_row(taxon) or {}).get("english_name", taxon),
                (taxon_row(taxon) or {}).get("scientific_name"),
                n,
            )
            for name, taxon, n in reads.names_read(self.current)
        ]
        return {
            "row": self.row,
            "read": read,
            "left": reads.names_left(self.current),
            "plants": plants_by_label(),
            "names_form": None,
            "reread_form": None,
        }

    def show(self, request: HttpRequest, context: Any, status: int = 200, template: str = "") -> HttpResponse:
        form = context["form"]
        rereads = isinstance(form, RereadForm)
        context = {
            **context,
            "names_form": self.names_form() if rereads else form,
            "reread_form": form if rereads else self.reread_form(),
        }
        return super().show(request, context, status, template)

    def act(self, form: Any) -> str:
        asked = form.read()
        if isinstance(form, RereadForm):
            acts.names_settle(
                actor=self.actor, return_id=self.row.public_id, asked=form.settled(asked),
                if_version=form.if_version, now=self.now,
            )  # fmt: skip
            messages.success(self.request, f"“{asked.name}” is read anew.")
            return f"{self.address}names/"
        acts.names_settle(
            actor=self.actor, return_id=self.row.public_id, asked=asked, if_version=form.if_version, now=self.now
        )
        n = len(asked.names)
        text = f"{words.counted(n)} {words.plural(n, 'name is', 'names are')} settled, and the walk judged anew."
        messages.success(self.request, words.opened(text))
        return self.address


class CheckView(OfReturn, FormDoor):
    """Look a return through, send it back, agree it."""

    template_name = "county/return_check.html"

    def load(self) -> None:
        self.demand("return.check")

    def form(self, data: Any = None) -> Any:
        return self.check_form(data)

    def context(self) -> dict[str, Any]:
        return {"row": self.row, "moves": self.moves()}

    def act(self, form: Any) -> str:
        asked = form.read()
        known: dict[str, Any] = {
            "actor": self.actor, "return_id": self.row.public_id, "if_version": form.if_version, "now": self.now
        }  # fmt: skip
        match asked.to:
            case "checking":
                acts.return_check(comment=asked.comment, **known)
                said = "The return is yours to look through; the group sees that it is being checked."
            case "sent_back":
                acts.return_send_back(comment=asked.comment, **known)
                said = "The return is sent back; the group sees what you wrote."
            case _:
                acts.return_agree(comment=asked.comment, **known)
                said = "The return is agreed; this version counts now."
        messages.success(self.request, said)
        return self.address


class OfQuestion(Door):
    """A page of one question about a return."""

    @cached_property
    def question(self) -> ReturnQuestion:
        return reads.question_get(self.actor, self.kwargs["question_id"])

    @property
    def row(self) -> OutcomeReturn:
        return self.question.version_of.outcome

    @property
    def address(self) -> str:
        return f"/returns/{self.row.public_id}/#questions"

    def demand(self, act: str) -> None:
        """Raise NotAllowed unless the actor may do an act about this question."""
        demand(self.actor, act, group_id=self.row.group_id, network_id=self.row.network_id)


class AnswerView(OfQuestion, FormDoor):
    """Answer a question about a return."""

    template_name = "county/return_question.html"
    done = "The answer is kept."

    def load(self) -> None:
        self.demand("return.answer")

    def form(self, data: Any = None) -> Any:
        return AnswerForm(data, initial={"answer": self.question.answer, "version": self.question.version})

    def context(self) -> dict[str, Any]:
        return {"question": self.question, "row": self.row}

    def act(self, form: Any) -> str:
        acts.question_answer(
            actor=self.actor,
            public_id=self.question.public_id,
            answer=form.read().answer,
            if_version=form.if_version,
            now=self.now,
        )
        return self.address


class AcceptView(OfQuestion):
    """Accept a question as answered."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, question_id: UUID) -> HttpResponse:
        version = request.POST.get("version", "")
        acts.question_accept(
            actor=self.actor,
            public_id=question_id,
            if_version=int(version) if version.isdecimal() and len(version) < 10 else None,
            now=self.now,
        )
        messages.success(request, "Accepted.")
        return HttpResponseRedirect(self.address)


class YearView(OfNetwork):
    """The returns of a year: all of them for coordinators, a group's own for its people."""

    template_name = "county/return_year.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        if self.actor.user_id is None:
            raise NotAllowed("Returns are shown once you are signed in.")
        network = self.network
        first = reads.first_year(self.actor, network) or self.today.year
        groups = [(str(row.public_id), row.name) for row in county.groups_in(self.actor, network)]
        form = YearForm(
            request.GET,
            years=range(self.today.year, min(first, self.today.year) - 1, -1),
            states=STATES,
            groups=groups,
            districts=[(str(row.public_id), row.name) for row in districts_of(self.actor, network)],
        )
        said = form.said()
        year = int(said.pop("year") or self.today.year)
        page = YearPage(year, reads.returns_of_year(self.actor, network, year, self.today), self.today)
        shown = Paginator(page.fitting(**said), LINES_PER_PAGE).get_page(request.GET.get("page"))
        query = request.GET.copy()
        query.pop("page", None)
        context = {
            "network": network,
            "may_send": self.may("upload.send"),
            "form": form,
            "page": page,
            "shown": shown,
            "count": shown.paginator.count,
            "filtered": any(said.values()),
            "query": query.urlencode(),
        }
        return self.show(request, context, status=422 if form.errors else 200)


class FileView(OfReturn):
    """What a return holds, in an open format, to take along."""

    kind: ClassVar[str] = ""

    def get(self, request: HttpRequest, return_id: UUID) -> HttpResponse | FileResponse:
        self.demand("return.read")
        row = self.row
        key = row.agreed_id or row.current_id
        keys = [key] if key is not None else []
        if self.kind == "darwin-core":
            return darwin_core(keys, data_set_of_return(row, self.today), f"darwin-core-{row.year}", inside=True)
        return records_csv(keys, self.kind, f"{self.kind}-{row.year}", row.network.licence, inside=True)
