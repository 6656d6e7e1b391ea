"""Two acts at the same moment on the same thing: threads with connections of their own, on committed rows."""

from datetime import date, timedelta
from threading import Barrier, Event
from uuid import uuid4

import pytest
from django.db import transaction

from modelling.models import ModelRun
from projects.contracts.base import read_as
from projects.contracts.meadows import PlanNew, ProjectChange, StageNew, WorkNew
from projects.contracts.networks import GroupNew
from projects.contracts.sites import SiteChange, SiteNew
from projects.errors import RuleBroken, Stale, WrongState
from projects.models import (
    AuditEntry,
    Forecast,
    Group,
    MeadowProject,
    Membership,
    PlanVersion,
    RememberedAnswer,
    Site,
    SitePlace,
    StageChange,
    WorkEntry,
)
from projects.services import diary, meadows, networks, remembered, sites
from projects.services.remembered import InProgress
from tests.projects.county import NOW, all_permissions, join, saltmere
from tests.projects.services.test_job_rivals import side_by_side

pytestmark = pytest.mark.django_db(transaction=True)
LATER = NOW + timedelta(days=1)
YARD, MAKERS, YEWS = "Churchyard of Gullhaven", "Gullhaven Meadow Makers", "Under the yews"
REPEATS = 5
REFUSALS = (RuleBroken, Stale, WrongState, InProgress)


@pytest.fixture
def county():
    return saltmere()


def rivals(count, act):
    """What each rival got: a row, or the refusal it met. Anything else that is raised fails the test."""
    turns = list(range(count))

    def one():
        try:
            return act(turns.pop())
        except REFUSALS as refusal:
            return refusal

    return side_by_side(count, one)


def split(found):
    """The rows and the refusals."""
    lost = [one for one in found if isinstance(one, Exception)]
    return [one for one in found if not isinstance(one, Exception)], lost


def acts(name):
    return AuditEntry.objects.filter(act=name).count()


def test_two_versions_of_a_plan_get_the_next_two_numbers(county):
    lead, project = county.as_(county.lead), county.projects[YEWS]
    for repeat in range(REPEATS):
        rows, lost = split(
            rivals(
                2,
                lambda turn: meadows.plan_create(
                    actor=lead,
                    project_id=project.public_id,
                    asked=read_as(PlanNew, {"plan": {"crew": {"volunteers": 4 + turn}}}),
                    if_version=None,
                    now=LATER,
                ),
            )
        )
        assert lost == []
        assert {row.number for row in rows} == {2 * repeat + 2, 2 * repeat + 3}
    numbers = PlanVersion.objects.filter(project=project).order_by("number").values_list("number", flat=True)
    assert list(numbers) == list(range(1, 2 * REPEATS + 2))
    assert MeadowProject.objects.get(pk=project.pk).version == 2 * REPEATS + 1
    assert acts("plan_create") == 2 * REPEATS


def test_two_sowings_fix_one_forecast(county):
    lead, project = county.as_(county.lead), county.projects[YEWS]
    all_permissions(county.sites[YARD])

    def step(to):
        asked = StageNew(to=to, on=date(2026, 9, 2))
        return meadows.project_step(actor=lead, project_id=project.public_id, asked=asked, if_version=None, now=LATER)

    step("ready")
    rows, lost = split(rivals(2, lambda _: step("sown")))
    assert (len(rows), [type(one) for one in lost]) == (1, [WrongState])
    stored = MeadowProject.objects.get(pk=project.pk)
    (forecast,) = Forecast.objects.filter(project=project)
    assert (stored.stage, stored.baseline_id, rows[0].baseline_id) == ("sown", forecast.pk, forecast.pk)
    assert StageChange.objects.filter(project=project, to_stage="sown").count() == 1
    # the paddock's own sowing is the other one
    assert acts("project_step") == 3 + 2
    assert acts("forecast_create") == 0


def test_two_forecasts_at_once_are_one_row_and_one_entry(county):
    project = county.projects[YEWS]
    for day in range(REPEATS):
        now = LATER + timedelta(days=day)
        rows, lost = split(
            rivals(
                2,
                lambda turn, now=now: meadows.forecast_create(
                    actor=county.as_(county.lead if turn else county.coordinator), project_id=project.public_id, now=now
                ),
            )
        )
        assert (lost, len({row.pk for row in rows})) == ([], 1)
        assert Forecast.objects.filter(project=project).count() == day + 1
    assert ModelRun.objects.count() == REPEATS + 1
    assert acts("forecast_create") == REPEATS


def test_a_line_of_the_diary_sent_from_eight_phones_at_once_is_one_line(county):
    member, project = county.as_(county.member), county.projects[YEWS]
    for repeat in range(REPEATS):
        sent = str(uuid4())
        asked = read_as(
            WorkNew, {"on": "2026-09-01", "what": "cut", "heads": 3, "person_hours": 6.0, "submission_id": sent}
        )
        rows, lost = split(
            rivals(8, lambda _, asked=asked: diary.work_add(
                actor=member, project_id=project.public_id, asked=asked, now=LATER))
        )  # fmt: skip
        assert lost == []
        assert sorted(is_new for _, is_new in rows) == [False] * 7 + [True]
        assert len({row.pk for row, _ in rows}) == 1
        assert WorkEntry.objects.count() == acts("work_add") == repeat + 1


def test_two_leads_who_step_back_or_down_at_once_leave_one(county):
    group = county.groups[MAKERS]
    first = Membership.objects.get(user=county.lead)
    second = join(county.stranger, group, "lead")

    def demote(row, by):
        return networks.membership_change(actor=by, public_id=row.public_id, role="member", if_version=None, now=LATER)

    def end(row, by):
        return networks.membership_end(actor=by, public_id=row.public_id, now=LATER)

    leads = Membership.objects.filter(group=group, role="lead", until__isnull=True)
    for _ in range(REPEATS):
        for act in (demote, end):
            for whose in ("own", "other"):
                actors = [county.as_(county.lead), county.as_(county.stranger)]
                rows = [first, second] if whose == "own" else [second, first]
                won, lost = split(rivals(2, lambda turn, a=act, r=rows, b=actors: a(r[turn], b[turn])))
                assert (len(won), len(lost)) == (1, 1)
                assert [fault.code for fault in lost[0].errors] == ["last_lead"]
                assert leads.count() == 1
                Membership.objects.filter(pk__in=[first.pk, second.pk]).update(role="lead", until=None)


def test_two_sites_of_one_name_are_one(county):
    lead = county.as_(county.lead)
    for repeat in range(REPEATS):
        name = f"Glebe {repeat}"
        rows, lost = split(
            rivals(
                2,
                lambda turn, name=name: sites.site_create(
                    actor=lead,
                    asked=read_as(
                        SiteNew,
                        {
                            "group_id": str(county.groups[MAKERS].public_id),
                            "name": name.upper() if turn else name,
                            "kind": "field",
                            "area_m2": 100.0,
                            "place": {"grid_reference": "TA 98 35"},
                        },
                    ),
                    now=LATER,
                ),
            )
        )
        assert (len(rows), [(f.pointer, f.code) for f in lost[0].errors]) == (1, [("/name", "taken")])
        assert Site.objects.filter(name__iexact=name).count() == 1
    assert Site.objects.count() == SitePlace.objects.count() == acts("site_create") == 5 + REPEATS


def test_two_groups_of_one_name_are_one(county):
    """Nothing is held here but the name itself: the database says who was first."""
    coordinator = county.as_(county.coordinator)
    for repeat in range(REPEATS):
        asked = GroupNew(network_id=county.network.public_id, name=f"Rakes {repeat}")
        rows, lost = split(
            rivals(4, lambda _, asked=asked: networks.group_create(actor=coordinator, asked=asked, now=LATER))
        )
        assert len(rows) == 1
        assert [[(f.pointer, f.code) for f in one.errors] for one in lost] == [[("/name", "taken")]] * 3
    assert Group.objects.count() == acts("group_create") == 2 + REPEATS


@pytest.mark.parametrize("noun", ["site", "project"])
def test_of_two_changes_to_what_both_saw_one_wins_and_one_is_stale(county, noun):
    lead = county.as_(county.lead)
    model, thing = (Site, county.sites[YARD]) if noun == "site" else (MeadowProject, county.projects[YEWS])

    def change(turn, version):
        if noun == "site":
            return sites.site_change(
                actor=lead, public_id=thing.public_id, asked=SiteChange(name=f"Name {turn}"), if_version=version,
                now=LATER,
            )  # fmt: skip
        return meadows.project_change(
            actor=lead, public_id=thing.public_id, asked=ProjectChange(name=f"Name {turn}"), if_version=version,
            now=LATER,
        )  # fmt: skip

    for repeat in range(REPEATS):
        seen = model.objects.get(pk=thing.pk).version
        assert seen == repeat + 1
        rows, lost = split(rivals(2, lambda turn, seen=seen: change(turn, seen)))
        assert (len(rows), [type(one) for one in lost]) == (1, [Stale])
        stored = model.objects.get(pk=thing.pk)
        assert (stored.name, stored.version) == (rows[0].name, seen + 1)
    assert acts(f"{noun}_change") == REPEATS


def test_one_act_for_one_key_however_many_send_it(county):
    user_id, done = county.member.pk, []
    for repeat in range(REPEATS):
        key = f"key-{repeat}"
        all_came = Barrier(8)

        def act(turn, key=key, all_came=all_came):
            try:
                row, held = remembered.remember_begin(user_id=user_id, key=key, digest="d", now=LATER)
                if not held:
                    # the others come while it is being dealt with
                    all_came.wait(30)
                    with transaction.atomic():
                        done.append(key)
                        remembered.remember_end(row, status=201, headers={}, body=str(turn))
                    return row
            except InProgress:
                all_came.wait(30)
                raise
            raise AssertionError("nobody has answered yet")

        rows, lost = split(rivals(8, act))
        assert (len(rows), [type(one) for one in lost]) == (1, [InProgress] * 7)
        assert done == [f"key-{n}" for n in range(repeat + 1)]
        # and whoever comes afterwards gets the answer
        again, held = remembered.remember_begin(user_id=user_id, key=key, digest="d", now=LATER)
        assert (held, again.status) == (True, 201)
    assert RememberedAnswer.objects.count() == REPEATS


def test_a_key_that_came_free_is_taken_by_one(county):
    user_id = county.member.pk
    remembered.remember_begin(user_id=user_id, key="k", digest="d", now=NOW)
    later = NOW + remembered.CUT_OFF + timedelta(seconds=1)
    rows, lost = split(rivals(8, lambda _: remembered.remember_begin(user_id=user_id, key="k", digest="d", now=later)))
    assert ([held for _, held in rows], len(lost)) == ([False], 7)
    assert RememberedAnswer.objects.get().created_at == later


def test_a_plan_waits_for_the_sowing_that_goes_before_it(county):
    """What one act holds, the other does not see half of."""
    lead, project = county.as_(county.lead), county.projects[YEWS]
    held, let_go = Event(), Event()

    def act(turn):
        if turn:
            with transaction.atomic():
                meadows.project_change(
                    actor=lead, public_id=project.public_id, asked=ProjectChange(name="First"), if_version=None,
                    now=LATER,
                )  # fmt: skip
                held.set()
                # the other has begun to wait, or will find the row changed: either way it comes second
                let_go.wait(0.3)
            return "first"
        held.wait(30)
        meadows.plan_create(
            actor=lead, project_id=project.public_id, asked=PlanNew(plan=read_as(PlanNew, {"plan": {}}).plan),
            if_version=1, now=LATER,
        )  # fmt: skip
        return "second"

    rows, lost = split(rivals(2, act))
    assert (rows, [type(one) for one in lost]) == (["first"], [Stale])
    assert PlanVersion.objects.filter(project=project).count() == 1
