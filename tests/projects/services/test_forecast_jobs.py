"""Forecasts of a whole group or network by a job: each project once, whatever becomes of the worker."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from modelling.contracts import Plan
from projects.contracts.meadows import PlanNew
from projects.errors import NotAllowed, NotFound, WrongState
from projects.models import AuditEntry, Forecast, Group, MeadowProject
from projects.rules import jobs as rules
from projects.rules.access import SERVER
from projects.rules.jobs import JobRefused
from projects.selectors.jobs import job_get, job_list
from projects.services import jobs, meadows
from projects.services.jobs import job_create, jobs_run_due
from tests.projects.county import NOW
from tests.projects.jobs import Clock
from tests.projects.proof import audited, cast, refused, with_scopes
from tests.projects.services.test_meadows import TOO_MUCH

LATER = NOW + timedelta(days=1)
MAKERS, VERGES = "Gullhaven Meadow Makers", "Brackwater Verges"
NAMES = ["Under the yews", "Paddock to hay", "Behind the house", "Verge of the sea road"]


def all_of_network(county, actor=None, now=LATER):
    return meadows.network_forecast_all(
        actor=actor or county.as_(county.coordinator), network_id=county.network.public_id, now=now
    )


def all_of_group(county, actor=None, group=MAKERS, now=LATER):
    return meadows.group_forecast_all(
        actor=actor or county.as_(county.lead), group_id=county.groups[group].public_id, now=now
    )


def ids(county, *names):
    """The payload of these; those begun at one moment go by their ids."""
    return {"projects": sorted(str(county.projects[name].public_id) for name in names)}


# ------------------------------------------------------------------ asking for them


def test_a_network_asks_for_all_that_are_under_way(county):
    coordinator = county.as_(county.coordinator)
    with audited("forecast_all", "job", coordinator) as seen:
        job = all_of_network(county)
    assert job.payload == ids(county, *NAMES)
    assert (job.kind, job.queue, job.state, job.progress_total) == ("forecasts", "model", "waiting", 4)
    assert (job.actor, job.network, job.actor_label) == (
        county.coordinator, county.network, "a forecast of all projects",
    )  # fmt: skip
    assert (seen.entry.object_id, seen.entry.network, seen.entry.group, seen.entry.after) == (
        job.public_id, county.network, None, {"projects": 4},
    )  # fmt: skip


def test_a_group_asks_for_its_own(county):
    job = all_of_group(county)
    assert job.payload == ids(county, *NAMES[:3])
    assert (job.actor, job.network) == (county.lead, county.network)
    assert AuditEntry.objects.first().group == county.groups[MAKERS]
    assert all_of_group(county, county.as_(county.neighbour), VERGES).payload == ids(county, NAMES[3])


def test_what_has_ended_is_left_out_and_nothing_is_no_job(county):
    MeadowProject.objects.filter(name=NAMES[0]).update(stage="lapsed", cause="people")
    MeadowProject.objects.filter(name=NAMES[1]).update(stage="failed", cause="weather")
    assert all_of_group(county).payload == ids(county, NAMES[2])
    MeadowProject.objects.filter(name=NAMES[2]).update(stage="handed_over", handed_to="Scouts")
    with refused(WrongState, match="no project under way"):
        all_of_group(county)


def test_they_are_asked_for_by_those_of_the_table(county):
    for who, actor in cast(county).items():
        if who != "coordinator":
            with refused(NotAllowed):
                all_of_network(county, actor)
        if who not in {"coordinator", "lead"}:
            with refused(NotAllowed):
                all_of_group(county, actor)
    with refused(NotAllowed, match="write"):
        all_of_network(county, with_scopes(county.as_(county.coordinator), "read"))
    county.network.public_id = uuid4()
    with refused(NotFound, match="There is no network"):
        all_of_network(county)
    Group.objects.filter(pk=county.groups[MAKERS].pk).update(closed_at=NOW)
    with refused(NotFound, match="There is no group"):
        all_of_group(county, county.as_(county.coordinator))


def test_the_job_is_there_for_whoever_asked_and_the_coordinators(county):
    job = all_of_group(county)
    for who, actor in cast(county).items():
        seen = who in {"lead", "coordinator", "operator"}
        assert job_list(actor).filter(pk=job.pk).exists() is seen
        if not seen:
            with pytest.raises(NotFound):
                job_get(actor, job.public_id)
        # a token that may not read sees no jobs, its owner's neither
        assert not job_list(with_scopes(actor, "write")).exists()


@pytest.mark.parametrize(
    "payload",
    [None, [], {}, {"projects": []}, {"projects": "abc"}, {"projects": [1]}, {"projects": [None]},
     {"projects": ["not an id"]}, {"projects": [str(uuid4()), ""]}, {"projects": [str(uuid4()).upper() + " "]}],
)  # fmt: skip
def test_a_list_that_is_none_makes_no_job(county, payload):
    with refused(JobRefused, match="a list of the projects' ids"):
        job_create(kind="forecasts", payload=payload, actor_label="a test", now=NOW)


# ------------------------------------------------------------------ doing it


def test_each_project_has_its_forecast_of_the_day_the_job_was_made(county):
    job = all_of_network(county, now=datetime(2026, 9, 30, 23, 30, tzinfo=UTC))
    entries = AuditEntry.objects.filter(act="forecast_create").count()
    assert jobs_run_due(clock=Clock(LATER + timedelta(days=60))) == 1
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.attempts, done.progress_done) == ("done", 1, 4)
    assert done.result == {"made": 4, "refused": []}
    made = Forecast.objects.filter(created_at=job.created_at)
    # half past eleven at night by the world's clock is the next day here in summer
    assert sorted(made.values_list("project__name", "plan__number", "run__as_of")) == sorted(
        # the paddock's latest plan is the one it was sown by
        (name, 2 if name == "Paddock to hay" else 1, datetime(2026, 10, 1, tzinfo=UTC).date())
        for name in NAMES
    )
    assert set(made.values_list("created_by", flat=True)) == {county.coordinator.pk}
    written = AuditEntry.objects.filter(act="forecast_create")
    assert written.count() == entries + 4
    assert written.first().via == "task"
    # again on the same day: the forecasts there are
    again = all_of_network(county, now=job.created_at)
    jobs_run_due(clock=Clock(LATER + timedelta(days=60)))
    assert job_get(SERVER, again.public_id).result == {"made": 4, "refused": []}
    assert (Forecast.objects.count(), written.count()) == (5, entries + 4)


def test_what_cannot_be_forecast_is_told_with_its_reason_and_the_others_are_made(county):
    meadows.plan_create(
        actor=county.as_(county.lead),
        project_id=county.projects[NAMES[0]].public_id,
        asked=PlanNew(plan=Plan.model_validate(TOO_MUCH)),
        if_version=None,
        now=LATER,
    )
    broken, gone, fine = (
        str(county.projects[NAMES[0]].public_id), str(uuid4()), str(county.projects[NAMES[2]].public_id),
    )  # fmt: skip
    job = job_create(
        kind="forecasts",
        payload={"projects": [broken, gone, fine]},
        actor_label="a test",
        network=county.network,
        now=LATER,
    )
    jobs_run_due(clock=Clock(LATER))
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.progress_done) == ("done", 3)
    assert done.result["made"] == 1
    assert [entry["project"] for entry in done.result["refused"]] == [broken, gone]
    assert "more than the whole" in done.result["refused"][0]["detail"]
    assert done.result["refused"][1]["detail"] == "The project is gone."
    assert Forecast.objects.filter(created_at=LATER).count() == 1


def test_what_it_is_held_against_is_left_alone(county):
    before = MeadowProject.objects.values().get(name=NAMES[1])
    all_of_network(county)
    jobs_run_due(clock=Clock(LATER))
    assert MeadowProject.objects.values().get(name=NAMES[1]) == before


class Slow(Clock):
    """Each look at it takes eight seconds, so that a slice is over after three projects, done before or not."""

    def __call__(self):
        self.pass_by(8)
        return self.now


def test_a_long_job_gets_further_with_each_slice_and_ends(county):
    job, clock, attempts = all_of_network(county), Slow(LATER), 0
    while job_get(SERVER, job.public_id).state != "done":
        before = Forecast.objects.count()
        claimed = jobs.job_claim(now=clock())
        jobs.job_run(claimed, clock=clock)
        attempts += 1
        assert Forecast.objects.count() > before
        assert attempts < 10
    done = job_get(SERVER, job.public_id)
    assert attempts > 1
    # a slice that was handed back counts as no attempt
    assert (done.attempts, done.result) == (1, {"made": 4, "refused": []})
    assert Forecast.objects.filter(created_at=LATER).count() == 4


def test_a_worker_that_lost_its_lease_stops_and_the_next_makes_the_rest(county):
    job, clock = all_of_network(county), Clock(LATER)
    claimed = jobs.job_claim(now=clock())

    class Gone(Clock):
        """The lease is over by the second look after the first project."""

        looks = 0

        def __call__(self):
            self.looks += 1
            return self.now + (rules.LEASE if self.looks > 3 else timedelta())

    jobs.job_run(claimed, clock=Gone(LATER))
    assert job_get(SERVER, job.public_id).state == "running"
    made = Forecast.objects.filter(created_at=LATER).count()
    assert 1 <= made < 4
    clock.pass_by(2 * rules.LEASE.total_seconds())
    assert jobs_run_due(clock=clock) == 1
    done = job_get(SERVER, job.public_id)
    assert (done.state, done.attempts, done.result) == ("done", 2, {"made": 4, "refused": []})
    assert Forecast.objects.filter(created_at=LATER).count() == 4
