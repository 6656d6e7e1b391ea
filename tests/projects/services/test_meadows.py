"""Meadow projects: plans in versions, forecasts that stay, and the steps of a life."""

from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from uuid import UUID, uuid4

import orjson
import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from modelling import services
from modelling.arrays import canonical_text
from modelling.contracts import Plan
from modelling.errors import RequestRefused
from modelling.models import ModelRun, StoredForGood
from modelling.services import estimate_now, random_seed_of
from projects.choices import Cause, Stage
from projects.contracts.base import read_as
from projects.contracts.meadows import PlanNew, ProjectChange, ProjectNew, StageNew
from projects.contracts.sites import SiteChange
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import Forecast, MeadowProject, Network, Permission, PlanVersion, StageChange
from projects.rules.access import PUBLIC_ACTOR
from projects.rules.meadows import following
from projects.selectors.meadows import forecast_answer, forecast_text, life_of, plans_of
from projects.selectors.model_inputs import request_of
from projects.services import meadows, sites
from tests.projects.county import NOW, all_permissions
from tests.projects.proof import all_audit_text, audited, cast, refused, with_scopes

DAY = timedelta(days=1)
LATER = NOW + DAY
YARD, GARDEN = "Churchyard of Gullhaven", "Wenna’s garden"
YEWS, PADDOCK, HOUSE, ROAD = "Under the yews", "Paddock to hay", "Behind the house", "Verge of the sea road"
#: a small plan
SMALL = {"crew": {"volunteers": 4}}
#: reads well, and cannot be carried out
TOO_MUCH = {
    "steps": [
        {"on": "2026-09-20", "operation": "scarify_machine", "area_share": 0.7, "zone": zone} for zone in ("A", "B")
    ]
}


def create(county, actor=None, site=YARD, **more):
    asked = read_as(ProjectNew, {"site_id": str(county.sites[site].public_id), "name": "By the gate"} | more)
    return meadows.project_create(actor=actor or county.as_(county.lead), asked=asked, now=LATER)


def plan(county, actor=None, project=YEWS, if_version=None, note="", **more):
    return meadows.plan_create(
        actor=actor or county.as_(county.lead),
        project_id=county.projects[project].public_id,
        asked=PlanNew(plan=Plan.model_validate(more or SMALL), note=note),
        if_version=if_version,
        now=LATER,
    )


def forecast(county, actor=None, project=YEWS, now=LATER, plan_number=None):
    return meadows.forecast_create(
        actor=actor or county.as_(county.lead),
        project_id=county.projects[project].public_id,
        now=now,
        plan_number=plan_number,
    )


def step(county, to, actor=None, project=YEWS, if_version=None, now=LATER, **more):
    asked = read_as(StageNew, {"to": to, "on": timezone.localdate(now).isoformat()} | more)
    return meadows.project_step(
        actor=actor or county.as_(county.lead),
        project_id=county.projects[project].public_id,
        asked=asked,
        if_version=if_version,
        now=now,
    )


def at(county, project=YEWS):
    return MeadowProject.objects.get(pk=county.projects[project].pk)


# ------------------------------------------------------------------ projects and plans


def test_a_project_with_a_plan_is_planned_and_one_without_an_idea(county):
    lead = county.as_(county.lead)
    with audited("project_create", "project", lead) as seen:
        row = create(county, plan=SMALL)
    row.refresh_from_db()
    assert (row.name, row.stage, row.stage_since, row.site) == (
        "By the gate", "planned", date(2026, 9, 2), county.sites[YARD],
    )  # fmt: skip
    assert (row.group, row.network, row.version, row.baseline, row.sown_on) == (
        county.sites[YARD].group, county.network, 1, None, None,
    )  # fmt: skip
    (version,) = row.plans.all()
    assert (version.number, version.plan, version.created_by) == (1, '{"crew":{"volunteers":4}}', county.lead)
    assert (seen.entry.object_id, seen.entry.network, seen.entry.group) == (row.public_id, row.network, row.group)
    idea = create(county)
    assert (idea.stage, [v.plan for v in idea.plans.all()]) == ("idea", ["{}"])


def test_the_first_day_of_a_project_is_the_day_in_britain(county):
    asked = ProjectNew(site_id=county.sites[YARD].public_id, name="Late")
    row = meadows.project_create(
        actor=county.as_(county.lead), asked=asked, now=datetime(2026, 6, 30, 23, 30, tzinfo=UTC)
    )
    assert row.stage_since == date(2026, 7, 1)


def test_projects_are_begun_by_those_of_the_table_on_ground_they_may_see(county):
    for who, actor in cast(county).items():
        if who in {"lead", "coordinator"}:
            create(county, actor)
            create(county, actor, site=GARDEN)
        else:
            with refused(NotAllowed):
                create(county, actor)
            with refused(NotAllowed if who == "member" else NotFound):
                create(county, actor, site=GARDEN)
    with refused(NotAllowed, match="write"):
        create(county, with_scopes(county.as_(county.lead), "read"))
    with refused(NotFound, match="There is no site"):
        create(county, site_id=str(uuid4()))


def test_a_group_has_so_many_projects_and_no_more(county, monkeypatch):
    monkeypatch.setattr(meadows, "MOST_PROJECTS", 4)
    create(county)
    with refused(RuleBroken, ("", "too_many")):
        create(county)


def test_a_plan_that_names_what_nobody_knows_is_refused_with_the_project(county):
    faults = [("/plan/preparation/0", "unknown_operation"), ("/plan/kit_to_hand/0", "unknown_machine")]
    wrong = {"preparation": ["scarifie"], "kit_to_hand": ["spoon"]}
    with refused(RequestRefused, *faults):
        create(county, plan=wrong)
    with refused(RequestRefused, *faults):
        plan(county, **wrong)


def test_a_project_is_renamed_by_those_of_the_table(county):
    def rename(actor, project=YEWS, if_version=None):
        return meadows.project_change(
            actor=actor,
            public_id=county.projects[project].public_id,
            asked=ProjectChange(name="Under the limes"),
            if_version=if_version,
            now=LATER,
        )

    lead = county.as_(county.lead)
    with audited("project_change", "project", lead) as seen:
        rename(lead, if_version=1)
    assert (at(county).name, at(county).version, at(county).updated_at) == ("Under the limes", 2, LATER)
    assert (seen.entry.before, seen.entry.after) == ({"name": "Under the yews"}, {"name": "Under the limes"})
    with refused(Stale):
        rename(lead, if_version=1)
    for who, actor in cast(county).items():
        if who not in {"lead", "coordinator"}:
            with refused(NotAllowed):
                rename(actor)
            with refused(NotAllowed if who == "member" else NotFound):
                rename(actor, HOUSE)


def test_a_changed_plan_is_a_new_version_and_the_earlier_ones_stay(county):
    lead = county.as_(county.lead)
    first = plans_of(lead, at(county)).get()
    with audited("plan_create", "plan", lead) as seen:
        second = plan(county, if_version=1, note="Fewer came.")
    assert (second.number, second.note, second.plan) == (2, "Fewer came.", '{"crew":{"volunteers":4}}')
    assert (second.created_by, second.created_at) == (county.lead, LATER)
    assert (seen.entry.object_id, seen.entry.after) == (second.public_id, {"number": 2, "note": "Fewer came."})
    assert (at(county).stage, at(county).version) == ("planned", 2)
    assert [p.pk for p in plans_of(lead, at(county))] == [second.pk, first.pk]
    # the same plan again is a version again
    assert plan(county).number == 3
    with refused(Stale):
        plan(county, if_version=1)


def test_an_idea_becomes_planned_by_its_plan(county):
    plan(county, project=HOUSE)
    assert (at(county, HOUSE).stage, at(county, HOUSE).stage_since) == ("planned", date(2026, 9, 2))
    change = StageChange.objects.filter(project=at(county, HOUSE)).get()
    assert (change.from_stage, change.to_stage, change.on, change.created_by) == (
        "idea", "planned", date(2026, 9, 2), county.lead,
    )  # fmt: skip


def test_plans_are_made_by_those_of_the_table_until_it_is_handed_over(county):
    for who, actor in cast(county).items():
        if who in {"lead", "coordinator"}:
            plan(county, actor)
        else:
            with refused(NotAllowed):
                plan(county, actor)
            with refused(NotAllowed if who == "member" else NotFound):
                plan(county, actor, project=HOUSE)
    step(county, "handed_over", handed_to="Parish council")
    with refused(WrongState, match="its plan is closed"):
        plan(county)


def test_a_project_has_so_many_plans_and_no_more(county, monkeypatch):
    monkeypatch.setattr(meadows, "MOST_PLANS", 2)
    plan(county)
    with refused(RuleBroken, ("/plan", "too_many")):
        plan(county)


# ------------------------------------------------------------------ forecasts


def test_a_forecast_is_the_estimate_of_the_same_request_letter_for_letter(county):
    lead = county.as_(county.lead)
    with audited("forecast_create", "forecast", lead) as seen:
        row = forecast(county)
    project, version = at(county), row.plan
    request = request_of(project, version, date(2026, 9, 2))
    answer = estimate_now(request, today=date(2026, 9, 2))
    text = forecast_text(lead, row.public_id)
    assert text == canonical_text(answer)
    assert row.run.answer_checksum == sha256(text.encode()).hexdigest()
    assert (row.run.random_seed, row.run.world_seed) == (random_seed_of(project.public_id), 1)
    digest = sha256(b"random_seed\0" + project.public_id.bytes).digest()
    assert row.run.random_seed == int.from_bytes(digest[:8], "big") // 2
    assert (row.run.as_of, row.run.draws, row.created_by, row.created_at) == (
        date(2026, 9, 2), 4000, county.lead, LATER,
    )  # fmt: skip
    assert seen.entry.after == {"plan": 1, "checksum": row.run.answer_checksum}
    # what the answer says it was made of is what was asked
    recipe = forecast_answer(lead, row.public_id)["recipe"]
    assert recipe["inputs"]["site"]["area_m2"] == 180
    assert recipe["inputs"]["random_seed"] == row.run.random_seed


def test_the_world_is_that_of_the_network(county):
    Network.objects.filter(pk=county.network.pk).update(world_seed=77)
    assert forecast(county).run.world_seed == 77


def test_the_same_plan_on_the_same_day_is_the_same_forecast(county):
    first = forecast(county)
    before = all_audit_text()
    assert forecast(county, now=LATER + timedelta(hours=8)).pk == first.pk
    assert forecast(county, county.as_(county.coordinator)).pk == first.pk
    assert all_audit_text() == before
    # another day, another plan, other ground: another forecast, beside the first
    plan(county)
    others = [
        forecast(county, now=LATER + DAY, plan_number=1),
        forecast(county),
        forecast(county, plan_number=2, now=LATER + DAY),
    ]
    assert [row.plan.number for row in others] == [1, 2, 2]
    sites.site_change(
        actor=county.as_(county.lead),
        public_id=county.sites[YARD].public_id,
        asked=SiteChange(wetness="wet"),
        if_version=None,
        now=LATER,
    )
    others.append(forecast(county))
    assert len({first.pk, *(row.pk for row in others)}) == 5
    assert Forecast.objects.filter(project=at(county)).count() == 5


def test_a_plan_written_out_and_one_left_to_the_service_share_a_run_and_not_a_row(county):
    plan(county, crew={"volunteers": 8, "hours_per_session": 3.0})
    rows = [forecast(county, plan_number=number) for number in (1, 2)]
    assert rows[0].run_id == rows[1].run_id
    assert rows[0].pk != rows[1].pk


def test_a_plan_that_cannot_be_carried_out_is_refused_and_nothing_is_kept(county):
    plan(county, **TOO_MUCH)
    with refused(RequestRefused, ("/plan/steps", "area_shares_exceed_whole")):
        forecast(county)


def test_forecasts_are_made_by_those_of_the_table_and_nothing_else_is_worked_out(county):
    runs = ModelRun.objects.count()
    for who, actor in cast(county).items():
        if who not in {"lead", "coordinator"}:
            with refused(NotAllowed):
                forecast(county, actor)
            with refused(NotAllowed if who == "member" else NotFound):
                forecast(county, actor, project=HOUSE)
    with refused(NotFound, match="no plan 9"):
        forecast(county, plan_number=9)
    assert ModelRun.objects.count() == runs


def test_permissions_never_keep_anybody_from_a_forecast(county):
    Permission.objects.filter(site=county.sites[YARD]).update(state="refused", answered_on=date(2026, 8, 1))
    assert forecast(county).plan.number == 1


# ------------------------------------------------------------------ stages


def brought_to(county, stage, *, sown):
    """Put the churchyard's project into a stage, past the services."""
    values = {
        "stage": stage,
        "stage_since": date(2026, 9, 1),
        "sown_on": date(2026, 9, 1) if sown else None,
        "cause": "weather" if stage in {"failed", "lapsed"} else "",
        "handed_to": "Parish council" if stage == "handed_over" else "",
    }
    MeadowProject.objects.filter(pk=county.projects[YEWS].pk).update(**values)


@pytest.mark.parametrize(
    ("stage", "sown"),
    [(stage, sown) for stage in Stage.values for sown in (False, True) if sown or stage not in
     {"sown", "aftercare", "resown"}],
)  # fmt: skip
def test_every_step_is_taken_or_refused_as_the_rules_say(county, stage, sown):
    brought_to(county, stage, sown=sown)
    all_permissions(county.sites[YARD])
    forecast(county)
    for to in Stage.values:
        more = {"cause": "weeds"} if to in {"failed", "lapsed"} else {}
        more |= {"handed_to": "Scouts"} if to == "handed_over" else {}
        if to in following(stage, sown=sown):
            point = transaction.savepoint()
            with audited("project_step", "project", county.as_(county.lead)):
                step(county, to, **more)
            row, change = at(county), StageChange.objects.first()
            assert (row.stage, row.stage_since, row.cause) == (to, date(2026, 9, 2), more.get("cause", ""))
            assert (row.handed_to == "Scouts") is (to == "handed_over")
            assert (change.from_stage, change.to_stage, change.on, change.cause) == (
                stage, to, date(2026, 9, 2), more.get("cause", ""),
            )  # fmt: skip
            transaction.savepoint_rollback(point)
        else:
            with refused(WrongState, match="may follow"):
                step(county, to, **more)


def test_what_may_not_follow_is_told_with_what_may(county):
    with refused(WrongState) as caught:
        step(county, "sown")
    assert caught.value.detail == (
        "After “planned” may follow: ready to start, an idea, lapsed, handed over. Read: “sown”."
    )
    assert caught.value.code == "wrong_state"
    step(county, "handed_over", handed_to="Scouts")
    with refused(WrongState, match="may follow: nothing"):
        step(county, "planned")


@pytest.mark.parametrize("cause", Cause.values)
def test_every_cause_is_taken_for_an_end_and_forgotten_when_it_goes_on(county, cause):
    step(county, "lapsed", cause=cause, note="It happens.")
    assert (at(county).cause, StageChange.objects.first().note) == (cause, "It happens.")
    step(county, "planned")
    assert at(county).cause == ""
    assert [(c.to_stage, c.cause) for c in life_of(county.as_(county.lead), at(county))] == [
        ("planned", ""), ("lapsed", cause),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("to", "more", "faults"),
    [
        ("lapsed", {}, [("/cause", "missing")]),
        ("idea", {"cause": "weather"}, [("/cause", "not_wanted")]),
        ("handed_over", {}, [("/handed_to", "missing")]),
        ("idea", {"handed_to": "Scouts"}, [("/handed_to", "not_wanted")]),
        ("idea", {"forecast_id": str(uuid4())}, [("/forecast_id", "not_wanted")]),
        ("idea", {"on": "2026-09-03"}, [("/on", "in_future")]),
        ("idea", {"on": "2026-08-31"}, [("/on", "contradiction")]),
        (
            "handed_over",
            {"on": "2026-09-03", "cause": "money", "forecast_id": str(uuid4())},
            [("/on", "in_future"), ("/cause", "not_wanted"), ("/handed_to", "missing"), ("/forecast_id", "not_wanted")],
        ),
    ],
)
def test_a_step_is_refused_with_every_fault_in_it(county, to, more, faults):
    with refused(RuleBroken, *faults):
        step(county, to, **more)


def test_a_step_may_be_noted_for_the_day_the_stage_began_and_for_today(county):
    step(county, "idea", on="2026-09-01")
    step(county, "planned", on="2026-09-02")
    assert at(county).stage_since == date(2026, 9, 2)
    # half an hour before midnight by the world's clock is the next day here in summer
    step(county, "idea", now=datetime(2027, 6, 30, 23, 30, tzinfo=UTC), on="2027-07-01")
    assert at(county).stage_since == date(2027, 7, 1)


def test_steps_are_taken_by_those_of_the_table_on_what_they_saw(county):
    for who, actor in cast(county).items():
        if who not in {"lead", "coordinator"}:
            with refused(NotAllowed):
                step(county, "idea", actor)
            with refused(NotAllowed if who == "member" else NotFound):
                step(county, "planned", actor, project=HOUSE)
            with refused(NotAllowed if who == "member" else NotFound):
                step(county, "sown", actor, project=HOUSE)
    step(county, "idea", if_version=1)
    with refused(Stale):
        step(county, "planned", if_version=1)
    step(county, "planned", county.as_(county.coordinator), if_version=2)
    with refused(NotAllowed, match="write"):
        step(county, "idea", with_scopes(county.as_(county.lead), "read"))
    with refused(NotFound):
        step(county, "idea", PUBLIC_ACTOR, project=HOUSE)


@pytest.mark.parametrize(
    ("stage", "to", "sown"),
    [
        ("planned", "ready", False), ("ready", "prepared", False), ("ready", "sown", False),
        ("prepared", "sown", False),
        ("aftercare", "resown", True), ("failed", "resown", True), ("lapsed", "resown", True),
    ],
)  # fmt: skip
def test_work_on_the_ground_waits_for_every_permission(county, stage, to, sown):
    brought_to(county, stage, sown=sown)
    missing = [("/to", "permissions_missing")] * 6
    with refused(RuleBroken, *missing, match="Agreement of the churchyard's keepers: find out whether it is needed"):
        step(county, to)
    all_permissions(county.sites[YARD])
    last = Permission.objects.filter(site=county.sites[YARD]).last()
    for state, said in (
        ({"state": "asked"}, "asked, no answer yet"),
        ({"state": "refused"}, "refused"),
        ({"state": "not_asked"}, "needed, not asked yet"),
        ({"expires_on": date(2026, 9, 1)}, "ran out on 1 September 2026"),
    ):
        Permission.objects.filter(pk=last.pk).update(**state)
        with refused(RuleBroken, ("/to", "permissions_missing"), match=f"Paths and access: {said}"):
            step(county, to)
        Permission.objects.filter(pk=last.pk).update(state="given", expires_on=None)
    # it holds through its last day, and one that is not needed keeps nobody
    Permission.objects.filter(pk=last.pk).update(expires_on=date(2026, 9, 2))
    other = Permission.objects.filter(site=county.sites[YARD]).first()
    Permission.objects.filter(pk=other.pk).update(need="not_needed", state="not_asked")
    step(county, to)
    assert at(county).stage == to


@pytest.mark.parametrize(
    ("stage", "to", "more"),
    [
        ("ready", "planned", {}), ("sown", "aftercare", {}), ("sown", "failed", {"cause": "weather"}),
        ("prepared", "lapsed", {"cause": "people"}), ("aftercare", "handed_over", {"handed_to": "Scouts"}),
    ],
)  # fmt: skip
def test_nothing_else_waits_for_permissions(county, stage, to, more):
    brought_to(county, stage, sown=stage in {"sown", "aftercare"})
    step(county, to, **more)
    assert at(county).stage == to


# ------------------------------------------------------------------ sowing and what it is held against


def ready(county):
    all_permissions(county.sites[YARD])
    step(county, "ready")


def test_sowing_makes_the_forecast_it_will_be_held_against(county):
    ready(county)
    step(county, "prepared")
    assert (at(county).prepared_on, at(county).sown_on, Forecast.objects.filter(project=at(county)).count()) == (
        date(2026, 9, 2), None, 0,
    )  # fmt: skip
    step(county, "sown")
    row = at(county)
    assert (row.stage, row.sown_on, row.prepared_on) == ("sown", date(2026, 9, 2), date(2026, 9, 2))
    assert (row.baseline.plan.number, row.baseline.run.as_of) == (2, date(2026, 9, 2))


def sown_on_of(row):
    """The day on which a stored forecast sows, by its answer."""
    plan = Plan.model_validate_json(row.plan.plan)
    return plan.sow_on if plan.steps is None else [step.on for step in plan.steps]


@pytest.mark.parametrize(
    ("said", "note"),
    [
        ({}, "Sown on 2 September 2026; the plan before said no day."),
        ({"sow_on": "2026-10-01"}, "Sown on 2 September 2026; the plan before said 1 October 2026."),
        ({"sow_on": "2026-09-17"}, "Sown on 2 September 2026; the plan before said 17 September 2026."),
    ],
)
def test_what_is_held_against_was_forecast_from_the_day_it_was_sown(county, said, note):
    plan(county, **SMALL, **said)
    ready(county)
    with audited("project_step", "project", county.as_(county.lead)) as seen:
        step(county, "sown")
    held = at(county).baseline
    assert (held.plan.number, held.plan.note, sown_on_of(held)) == (3, note, date(2026, 9, 2))
    assert Plan.model_validate_json(held.plan.plan).crew.volunteers == 4
    answer = forecast_answer(county.as_(county.lead), held.public_id)
    assert answer["recipe"]["inputs"]["plan"]["sow_on"] == "2026-09-02"
    assert "plan.sow_on" not in {row["field"] for row in answer["assumptions"]}
    assert (seen.entry.after["plan"], seen.entry.after["plan_note"]) == (3, note)


@pytest.mark.parametrize("day", ["2026-08-19", "2026-09-02", "2026-09-16"])
def test_a_plan_whose_day_is_within_a_fortnight_is_held_against_as_it_is(county, day):
    plan(county, **SMALL, sow_on=day)
    ready(county)
    step(county, "sown")
    assert (at(county).baseline.plan.number, at(county).plans.count()) == (2, 2)


def test_dated_steps_up_to_the_sowing_move_with_it(county):
    seed = [{"mix": "neutral_meadow", "kg": 0.5}]
    steps = [
        {"on": "2026-09-20", "operation": "scarify_machine"},
        {"on": "2026-10-01", "seed": seed},
        {"on": "2026-10-02", "operation": "roll_or_tread_hand"},
    ]
    plan(county, steps=steps)
    ready(county)
    step(county, "sown")
    assert sown_on_of(at(county).baseline) == [date(2026, 8, 22), date(2026, 9, 2), date(2026, 10, 2)]


def test_a_plan_that_came_while_the_sowing_was_worked_out_is_not_lost(county, monkeypatch):
    ready(county)
    worked_out = services.run_estimate_stored

    def and_a_rival(request, *, today):
        run = worked_out(request, today=today)
        plan(county, note="A rival's.")
        return run

    monkeypatch.setattr(services, "run_estimate_stored", and_a_rival)
    with pytest.raises(Stale, match="changed the plan in the meantime"):
        step(county, "sown")
    assert (at(county).stage, at(county).plans.first().note) == ("ready", "A rival's.")


def test_sowing_takes_the_latest_forecast_of_the_latest_plan_or_the_one_that_is_named(county):
    first = forecast(county)
    plan(county, **SMALL, sow_on="2026-09-05")
    second, third = forecast(county), forecast(county, now=LATER + DAY)
    ready(county)
    point = transaction.savepoint()
    step(county, "sown")
    assert at(county).baseline_id == third.pk
    transaction.savepoint_rollback(point)
    for row in (first, second):
        step(county, "sown", forecast_id=str(row.public_id))
        assert at(county).baseline_id == row.pk
        transaction.savepoint_rollback(point)
        point = transaction.savepoint()
    foreign = Forecast.objects.get(project=at(county, PADDOCK))
    with refused(RuleBroken, ("/forecast_id", "unknown")):
        step(county, "sown", forecast_id=str(foreign.public_id))


def test_what_it_is_held_against_stays_whatever_comes(county):
    baseline = at(county, PADDOCK).baseline_id
    text = forecast_text(county.as_(county.lead), Forecast.objects.get(pk=baseline).public_id)
    assert baseline is not None
    plan(county, project=PADDOCK)
    forecast(county, project=PADDOCK)
    for number, (to, more) in enumerate(
        [
            ("aftercare", {}), ("lapsed", {"cause": "people"}), ("aftercare", {}), ("resown", {}),
            ("failed", {"cause": "weather"}), ("resown", {}), ("aftercare", {}),
            ("handed_over", {"handed_to": "Scouts"}),
        ]
    ):  # fmt: skip
        now = LATER + number * DAY
        step(county, to, project=PADDOCK, now=now, **more)
        if to != "handed_over":
            forecast(county, project=PADDOCK, now=now, plan_number=1)
        row = at(county, PADDOCK)
        assert (row.baseline_id, row.sown_on, row.stage) == (baseline, date(2026, 9, 1), to)
    assert forecast_text(county.as_(county.lead), at(county, PADDOCK).baseline.public_id) == text


def test_a_sowing_that_is_refused_makes_no_forecast_either(county):
    def counted():
        return Forecast.objects.count(), ModelRun.objects.count()

    ready(county)
    before = counted()
    version = at(county).version
    with refused(Stale):
        step(county, "sown", if_version=version - 1)
    with refused(RuleBroken, ("/on", "in_future")):
        step(county, "sown", on="2026-09-03")
    Permission.objects.filter(site=county.sites[YARD]).update(state="asked")
    with refused(RuleBroken, *[("/to", "permissions_missing")] * 6):
        step(county, "sown")
    all_permissions(county.sites[YARD])
    plan(county, **TOO_MUCH)
    with refused(RequestRefused, ("/plan/steps", "area_shares_exceed_whole")):
        step(county, "sown")
    assert counted() == before


def test_a_project_is_sown_once(county):
    for to in ("sown", "planned", "ready", "prepared", "idea"):
        with refused(WrongState):
            step(county, to, project=PADDOCK)
    # even a forecast pushed in beside the services' back cannot be fixed a second time
    MeadowProject.objects.filter(pk=county.projects[PADDOCK].pk).update(stage="prepared")
    with refused(WrongState):
        step(county, "sown", project=PADDOCK)


# ------------------------------------------------------------------ the audit, and what no service could


def test_the_audit_holds_no_place_and_no_person(county):
    ready(county)
    step(county, "sown")
    step(county, "handed_over", handed_to="Scouts")
    plan(county, project=HOUSE)
    text = all_audit_text()
    for word in ("98456", "35789", "598456", "9812", "598125", "435075", "@"):
        assert word not in text
    for user in (county.lead, county.member, county.coordinator):
        assert user.name not in text


def test_an_act_that_fails_after_its_entry_leaves_neither(county):
    def act():
        with transaction.atomic():
            plan(county)
            raise ZeroDivisionError

    with refused(ZeroDivisionError):
        act()


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("project_stage_known", {"stage": "dreamt"}),
        ("project_cause_known", {"cause": "the_vicar"}),
        ("project_end_has_a_cause", {"stage": "failed"}),
        ("project_end_has_a_cause", {"stage": "lapsed"}),
        ("project_handed_to_somebody", {"stage": "handed_over"}),
        ("project_sown_on_a_day", {"stage": "sown"}),
        ("project_sown_on_a_day", {"stage": "aftercare"}),
        ("project_sown_on_a_day", {"stage": "resown"}),
    ],
)
def test_the_database_refuses_what_cannot_be(county, name, fields):
    row = at(county)
    for field, value in fields.items():
        setattr(row, field, value)
    with refused(IntegrityError, match=name), transaction.atomic():
        MeadowProject.objects.bulk_update([row], list(fields))
    new = MeadowProject(
        network=row.network, group=row.group, site=row.site, stage_since=row.stage_since, name="A", **fields
    )
    with refused(IntegrityError, match=name), transaction.atomic():
        MeadowProject.objects.bulk_create([new])


def test_the_database_refuses_a_baseline_before_sowing_and_one_for_two(county):
    row = at(county)
    row.baseline = forecast(county)
    with refused(IntegrityError, match="project_baseline_once_sown"), transaction.atomic():
        MeadowProject.objects.bulk_update([row], ["baseline"])
    row.baseline, row.sown_on, row.stage = at(county, PADDOCK).baseline, date(2026, 9, 1), "sown"
    with refused(IntegrityError, match="baseline_id"), transaction.atomic():
        MeadowProject.objects.bulk_update([row], ["baseline", "sown_on", "stage"])


def test_the_database_refuses_a_number_twice_and_a_forecast_twice(county):
    (first,) = at(county).plans.all()
    row = forecast(county)
    for name, new in (
        ("plan_number_once_per_project|projects_planversion.project_id, projects_planversion.number",
         PlanVersion(project=first.project, number=1, plan="{}")),
        ("plan_numbers_from_one", PlanVersion(project=first.project, number=0, plan="{}")),
        ("forecast_once_per_run|projects_forecast.project_id, projects_forecast.plan_id",
         Forecast(project=row.project, plan=row.plan, run=row.run)),
    ):  # fmt: skip
        with refused(IntegrityError, match=name), transaction.atomic():
            type(new).objects.bulk_create([new])


def test_plans_forecasts_and_steps_are_written_once(county):
    forecast(county)
    step(county, "idea")
    for model, field in ((PlanVersion, "plan"), (Forecast, "created_by_id"), (StageChange, "note")):
        row = model.objects.first()
        for act in (
            row.save,
            row.delete,
            lambda rows=model.objects, field=field: rows.update(**{field: None}),
            lambda rows=model.objects: rows.all().delete(),
            lambda rows=model.objects, row=row, field=field: rows.bulk_update([row], [field]),
        ):
            with refused(StoredForGood), transaction.atomic():
                act()


def test_an_answer_is_canonical_json_and_its_ids_are_ids(county):
    row = forecast(county)
    text = forecast_text(county.as_(county.lead), row.public_id)
    assert orjson.dumps(orjson.loads(text), option=orjson.OPT_SORT_KEYS).decode() == text
    assert isinstance(row.public_id, UUID)
