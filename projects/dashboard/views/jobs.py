"""Pages of jobs: which there are, how far each is, what came of it, and starting it again."""

from __future__ import annotations

from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from projects.dashboard.doors import Door
from projects.dashboard.pages.jobs import JobLine, JobsPage
from projects.dashboard.pages.meadows import JobPage
from projects.errors import NotAllowed
from projects.models import Job
from projects.rules.access import may
from projects.selectors.jobs import job_get, jobs_by_need, jobs_open
from projects.selectors.meadows import project_list
from projects.services.jobs import job_restart

LINES_PER_PAGE = 50


class JobsView(Door):
    """Every piece of work that somebody asked for or answers for."""

    template_name = "county/jobs.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        if self.actor.user_id is None:
            raise NotAllowed("Sign in to see what work was asked for.")
        page = Paginator(jobs_by_need(self.actor), LINES_PER_PAGE).get_page(request.GET.get("page"))
        lines = [
            JobLine(
                job,
                may(self.actor, "job.restart", network_id=job.network_id, owner_id=job.actor_id),
                self.actor.is_operator,
            )
            for job in page
        ]
        failed, waiting = jobs_open(self.actor)
        return self.show(request, {"work": JobsPage(lines, failed, waiting), "page": page})


class JobView(Door):
    """How far a job is; POST starts a failed one again."""

    template_name = "county/job.html"

    def get(self, request: HttpRequest, job_id: UUID) -> HttpResponse:
        job = job_get(self.actor, job_id)
        rows = (job.result or {}).get("refused", []) if job.state == Job.State.DONE else []
        named = [row["project"] for row in rows if isinstance(row, dict) and is_id(row.get("project"))]
        names = {
            str(project.public_id): (project.name, f"/projects/{project.public_id}/")
            for project in project_list(self.actor).filter(public_id__in=named)
        }
        may_restart = may(self.actor, "job.restart", network_id=job.network_id, owner_id=job.actor_id)
        context = {"job": job, "page": JobPage(job, names), "may_restart": may_restart}
        return self.show(request, context)

    def post(self, request: HttpRequest, job_id: UUID) -> HttpResponse:
        job = job_restart(actor=self.actor, public_id=job_id, now=self.now)
        return HttpResponseRedirect(f"/jobs/{job.public_id}/")


def is_id(value: object) -> bool:
    """Whether a value can be an id."""
    try:
        UUID(str(value))
    except ValueError:
        return False
    return True
