"""Meadow projects, their plans, forecasts and diaries, and the jobs that work on them."""

from uuid import UUID

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from modelling.contracts import EstimateAnswer
from projects import choices
from projects.api.lists import Filter, narrowed, page, page_model, parameters
from projects.api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_MATCH_MAYBE, NounView, once, tagged
from projects.api.tags import version_asked
from projects.api.v1.answers import meadows as answers
from projects.api.v1.views.networks import job_accepted
from projects.api.v1.views.sites import KINDS, PAGE
from projects.contracts.base import Strict
from projects.contracts.meadows import PlanNew, ProjectChange, ProjectNew, StageNew, WorkNew, WorkStrike
from projects.selectors import jobs as job_reads
from projects.selectors import meadows as reads
from projects.services import diary
from projects.services import meadows as acts
from projects.services.jobs import job_restart

FILTERS = {
    "network": Filter("network__public_id", "id", about="Id of a network."),
    "group": Filter("group__public_id", "id", about="Id of a group."),
    "site": Filter("site__public_id", "id", about="Id of a site."),
    "stage": Filter("stage", words=tuple(choices.Stage.values), about="Where it stands."),
    "kind": Filter("site__kind", words=KINDS, about="Kind of place."),
    "sown_from": Filter("sown_on__gte", "day", about="Sown on this day or later."),
    "sown_to": Filter("sown_on__lte", "day", about="Sown on this day or earlier."),
    "changed_since": Filter("updated_at__gte", "moment", about="Changed at this moment or later."),
}
WORK_FILTERS = {
    "what": Filter("what", words=tuple(choices.Work.values), about="What was done."),
    "on_from": Filter("on__gte", "day", about="Done on this day or later."),
    "on_to": Filter("on__lte", "day", about="Done on this day or earlier."),
}
JOB_FILTERS = {
    "state": Filter("state", words=("waiting", "running", "done", "failed"), about="Where it stands."),
}


class ForecastNew(Strict):
    """Which plan to forecast."""

    plan_number: int | None = None
    """Left out, the latest."""


class ProjectsView(NounView):
    """All projects that the caller may see."""

    @extend_schema(
        operation_id="projects_list", summary="Meadow projects", tags=["projects"],
        parameters=parameters(FILTERS), responses={200: page_model(answers.ProjectAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *FILTERS, *PAGE)
        rows = narrowed(reads.project_list(self.actor), said, FILTERS)
        return Response(
            page(request, rows, said, lambda found: [answers.project_answer(self.actor, row) for row in found])
        )

    @extend_schema(
        operation_id="projects_create", summary="Begin a project on a site", tags=["projects"],
        parameters=[IDEMPOTENCY_KEY], request=ProjectNew, responses={201: answers.ProjectAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request) -> Response:
        self.must_be_signed_in()
        made = acts.project_create(actor=self.actor, asked=self.read(request, ProjectNew), now=timezone.now())
        row = reads.project_get(self.actor, made.public_id)
        location = reverse("v1-project", kwargs={"public_id": row.public_id}, request=request)
        return tagged(row, answers.project_answer(self.actor, row), status=201, location=location)


class ProjectView(NounView):
    """One project."""

    @extend_schema(
        operation_id="projects_read", summary="One project", tags=["projects"], responses={200: answers.ProjectAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        row = reads.project_get(self.actor, public_id)
        return tagged(row, answers.project_answer(self.actor, row))

    @extend_schema(
        operation_id="projects_change", summary="Rename a project", tags=["projects"],
        parameters=[IF_MATCH], request=ProjectChange, responses={200: answers.ProjectAnswer},
    )  # fmt: skip
    def patch(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.project_get(self.actor, public_id))
        asked = self.read(request, ProjectChange)
        acts.project_change(actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.project_get(self.actor, public_id)
        return tagged(row, answers.project_answer(self.actor, row))


class StepsView(NounView):
    """The life of a project."""

    computes = True

    @extend_schema(
        operation_id="steps_list", summary="Steps in the life of a project, the latest first", tags=["projects"],
        responses={200: answers.Steps},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = reads.life_of(self.actor, reads.project_get(self.actor, public_id))
        return Response({"results": [answers.step_answer(row) for row in rows]})

    @extend_schema(
        operation_id="steps_take", summary="Take a project to its next stage", tags=["projects"],
        description="Sowing fixes the forecast that the project is held against; it is never replaced.",
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=StageNew, responses={201: answers.ProjectAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.project_get(self.actor, public_id), needed=False)
        asked = self.read(request, StageNew)
        acts.project_step(actor=self.actor, project_id=public_id, asked=asked, if_version=version, now=timezone.now())
        row = reads.project_get(self.actor, public_id)
        return tagged(row, answers.project_answer(self.actor, row), status=201)


class PlansView(NounView):
    """Versions of a project's plan."""

    @extend_schema(
        operation_id="plans_list", summary="Versions of a project's plan", tags=["projects"],
        parameters=parameters({}), responses={200: page_model(answers.StoredPlanAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.plans_of(self.actor, reads.project_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.plan_answer(row) for row in found]))

    @extend_schema(
        operation_id="plans_create", summary="Add the next version of a plan", tags=["projects"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=PlanNew, responses={201: answers.StoredPlanAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.project_get(self.actor, public_id), needed=False)
        asked = self.read(request, PlanNew)
        row = acts.plan_create(
            actor=self.actor, project_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return Response(answers.plan_answer(row), status=201)


class ForecastsView(NounView):
    """Stored forecasts of a project."""

    computes = True

    @extend_schema(
        operation_id="forecasts_list", summary="Stored forecasts of a project", tags=["forecasts"],
        parameters=parameters({}), responses={200: page_model(answers.ForecastAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *PAGE)
        rows = reads.forecasts_of(self.actor, reads.project_get(self.actor, public_id))
        return Response(page(request, rows, said, lambda found: [answers.forecast_answer(row) for row in found]))

    @extend_schema(
        operation_id="forecasts_create", summary="Work out and store the forecast of a plan", tags=["forecasts"],
        description="On the same day the same plan gives the forecast there is.",
        parameters=[IDEMPOTENCY_KEY], request=ForecastNew, responses={201: answers.ForecastAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, ForecastNew)
        made = acts.forecast_create(
            actor=self.actor, project_id=public_id, plan_number=asked.plan_number, now=timezone.now()
        )
        row = reads.forecast_get(self.actor, made.public_id)
        location = reverse("v1-forecast", kwargs={"public_id": row.public_id}, request=request)
        return Response(answers.forecast_answer(row), status=201, headers={"Location": location})


class ForecastView(NounView):
    """One stored forecast."""

    @extend_schema(
        operation_id="forecasts_read", summary="One stored forecast, without its answer", tags=["forecasts"],
        responses={200: answers.ForecastAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        return Response(answers.forecast_answer(reads.forecast_get(self.actor, public_id)))


class ForecastAnswerView(NounView):
    """The answer of a stored forecast."""

    @extend_schema(
        operation_id="forecasts_answer", summary="The answer of a stored forecast, letter for letter",
        description="Its SHA-256 is the forecast's checksum. It never changes.",
        tags=["forecasts"], responses={200: EstimateAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> HttpResponse:
        self.read_query(request)
        return HttpResponse(reads.forecast_text(self.actor, public_id), content_type="application/json")


class DiaryView(NounView):
    """The work diary of a project."""

    @extend_schema(
        operation_id="diary_list", summary="Lines of a project's work diary", tags=["diary"],
        parameters=parameters(WORK_FILTERS), responses={200: page_model(answers.WorkAnswer)},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        said = self.read_query(request, *WORK_FILTERS, *PAGE)
        rows = narrowed(reads.diary_of(self.actor, reads.project_get(self.actor, public_id)), said, WORK_FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.work_answer(row) for row in found]))

    @extend_schema(
        operation_id="diary_add", summary="Add a line to the work diary", tags=["diary"],
        description="With a submission_id the same line sent again is answered with 200 and the line there is.",
        parameters=[IDEMPOTENCY_KEY], request=WorkNew,
        responses={201: answers.WorkAnswer, 200: answers.WorkAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, WorkNew)
        row, new = diary.work_add(actor=self.actor, project_id=public_id, asked=asked, now=timezone.now())
        return tagged(row, answers.work_answer(row), status=201 if new else 200)


class WorkStrikeView(NounView):
    """Striking out a line of the diary."""

    @extend_schema(
        operation_id="diary_strike", summary="Strike out a wrong line", tags=["diary"],
        parameters=[IDEMPOTENCY_KEY, IF_MATCH_MAYBE], request=WorkStrike, responses={200: answers.WorkAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        version = version_asked(request, reads.work_get(self.actor, public_id), needed=False)
        asked = self.read(request, WorkStrike)
        row = diary.work_strike(
            actor=self.actor, public_id=public_id, asked=asked, if_version=version, now=timezone.now()
        )
        return tagged(row, answers.work_answer(row))


class JobsView(NounView):
    """Jobs of the caller."""

    @extend_schema(
        operation_id="jobs_list", summary="Jobs that the caller may see", tags=["jobs"],
        parameters=parameters(JOB_FILTERS), responses={200: page_model(answers.JobAnswer)},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, *JOB_FILTERS, *PAGE)
        rows = narrowed(job_reads.job_list(self.actor), said, JOB_FILTERS)
        return Response(page(request, rows, said, lambda found: [answers.job_answer(row) for row in found]))


class JobView(NounView):
    """One job."""

    @extend_schema(
        operation_id="jobs_read", summary="How far a job has come", tags=["jobs"], responses={200: answers.JobAnswer}
    )
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        return Response(answers.job_answer(job_reads.job_get(self.actor, public_id)))


class JobRestartView(NounView):
    """Starting a failed job again."""

    @extend_schema(
        operation_id="jobs_restart", summary="Start a failed job again", tags=["jobs"],
        parameters=[IDEMPOTENCY_KEY], request=None, responses={202: answers.JobAnswer},
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        return job_accepted(request, job_restart(actor=self.actor, public_id=public_id, now=timezone.now()))
