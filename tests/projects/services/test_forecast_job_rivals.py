"""Jobs of forecasts side by side, dead in the middle, without a broker: each ends once, with one forecast each."""

import signal
from datetime import timedelta

import pytest
from django.utils import timezone

from modelling.contracts import Plan
from modelling.models import ModelRun
from projects import tasks
from projects.contracts.meadows import PlanNew, ProjectNew, StageNew
from projects.models import AuditEntry, Forecast, Job, MeadowProject
from projects.rules.access import SERVER
from projects.selectors.jobs import job_get
from projects.services import meadows
from projects.services.jobs import jobs_run_due
from tests.children import child
from tests.projects.county import NOW, all_permissions, saltmere
from tests.projects.jobs import Clock
from tests.projects.services.test_job_rivals import side_by_side, wait_until

pytestmark = pytest.mark.django_db(transaction=True)
LATER = NOW + timedelta(days=1)
MAKERS, VERGES = "Gullhaven Meadow Makers", "Brackwater Verges"


def all_of_network(county, now=LATER):
    return meadows.network_forecast_all(
        actor=county.as_(county.coordinator), network_id=county.network.public_id, now=now
    )


def all_of_group(county, user, group, now=LATER):
    return meadows.group_forecast_all(actor=county.as_(user), group_id=county.groups[group].public_id, now=now)


def more_projects(county, count):
    """Begin so many more, each with a plan of its own."""
    return [
        meadows.project_create(
            actor=county.as_(county.lead),
            asked=ProjectNew(
                site_id=county.sites["Churchyard of Gullhaven"].public_id,
                name=f"Strip {number}",
                plan=Plan.model_validate({"crew": {"volunteers": number + 1}}),
            ),
            now=NOW,
        )
        for number in range(count)
    ]


def test_killed_in_the_middle_and_taken_over_it_ends_with_one_forecast_each():
    county = saltmere()
    more_projects(county, 8)
    today = timezone.now()
    job = all_of_network(county, now=today)
    with child("manage.py", "work_jobs", "--once") as process:
        wait_until(lambda: Forecast.objects.count() >= 3, process)
        process.send_signal(signal.SIGKILL)
        process.wait()
    before = set(Forecast.objects.values_list("pk", flat=True))
    assert 3 <= len(before) < 13
    left = job_get(SERVER, job.public_id)
    assert (left.state, left.attempts) == ("running", 1)
    # while the lease lasts nobody touches it; afterwards it is done once
    assert jobs_run_due(clock=timezone.now) == 0
    clock = Clock(left.lease_until)
    assert sorted(side_by_side(2, lambda: jobs_run_due(clock=clock))) == [0, 1]
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.attempts, done.progress_done) == ("done", 2, 12)
    assert done.result == {"made": 12, "refused": []}
    made = Forecast.objects.filter(created_at=today)
    assert made.count() == len(set(made.values_list("project", flat=True))) == 12
    assert AuditEntry.objects.filter(act="forecast_create", via="task").count() == 12
    assert before <= set(Forecast.objects.values_list("pk", flat=True))
    assert jobs_run_due(clock=clock) == 0


def test_of_two_workers_each_job_is_ended_by_one_and_each_project_has_one_forecast():
    county = saltmere()
    wanted = [
        all_of_network(county),
        all_of_group(county, county.lead, MAKERS),
        all_of_group(county, county.neighbour, VERGES),
    ]
    assert sum(side_by_side(2, lambda: jobs_run_due(clock=Clock(LATER)))) == 3
    assert [job_get(SERVER, job.public_id).result["made"] for job in wanted] == [4, 3, 1]
    assert set(Job.objects.values_list("state", "attempts")) == {("done", 1)}
    made = Forecast.objects.filter(created_at=LATER)
    assert made.count() == len(set(made.values_list("project", flat=True))) == 4
    assert ModelRun.objects.count() == 5


def test_a_message_that_comes_twice_does_it_once():
    county = saltmere()
    job = all_of_group(county, county.lead, MAKERS, now=timezone.now())
    side_by_side(2, lambda: tasks.run_job(str(job.public_id)))
    tasks.run_job(str(job.public_id))
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.attempts, done.result) == ("done", 1, {"made": 3, "refused": []})
    assert Forecast.objects.filter(created_at=job.created_at).count() == 3


ASK = """
import django; django.setup()
from django.utils import timezone
from projects.models import Network, User
from projects.selectors.actors import actor_of
from projects.services.meadows import network_forecast_all
network_forecast_all(
    actor=actor_of(User.objects.get(name="Tamsin Oake")), network_id=Network.objects.get().public_id,
    now=timezone.now(),
)
"""


def test_with_the_broker_away_it_is_asked_for_all_the_same_and_the_sweep_does_it():
    saltmere()
    with child("-c", ASK, REDIS_URL="redis://127.0.0.1:1/0") as process:
        _, log = process.communicate(timeout=60)
    assert process.returncode == 0, log
    job = Job.objects.get()
    assert f"Job {job.public_id} waits for the next sweep, since the broker is out of reach" in log
    assert "Traceback" not in log
    tasks.sweep_jobs("interactive")
    assert job_get(SERVER, job.public_id).state == "waiting"
    tasks.sweep_jobs("model")
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.result) == ("done", {"made": 4, "refused": []})


def test_a_sowing_and_a_forecast_of_all_at_once_share_one_forecast():
    county = saltmere()
    under = MeadowProject.objects.get(name="Under the yews")
    # the plan says the day on which it is sown, so that sowing needs no version of its own
    meadows.plan_create(
        actor=county.as_(county.lead),
        project_id=under.public_id,
        asked=PlanNew(plan=Plan.model_validate({"sow_on": LATER.date().isoformat()})),
        if_version=None,
        now=NOW,
    )
    MeadowProject.objects.filter(pk=under.pk).update(stage="ready")
    all_permissions(county.sites["Churchyard of Gullhaven"])
    all_of_network(county)
    turns = [0, 1]

    def act():
        if turns.pop():
            return jobs_run_due(clock=Clock(LATER))
        meadows.project_step(
            actor=county.as_(county.lead),
            project_id=county.projects["Under the yews"].public_id,
            asked=StageNew(to="sown", on=LATER.date()),
            if_version=None,
            now=LATER,
        )
        return 0

    assert sum(side_by_side(2, act)) == 1
    project = MeadowProject.objects.get(name="Under the yews")
    assert project.baseline == Forecast.objects.get(project=project)
