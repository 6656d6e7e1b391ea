"""What is due and whose move it is, day by day."""

from datetime import date, timedelta

import pytest

from projects.choices import Stage
from projects.rules.due import (
    Due,
    Entry,
    PermissionFact,
    ProjectFact,
    ReturnFact,
    Whose,
    due_in_project,
    due_on_site,
    entries_of,
    in_order,
    move_words,
    next_step,
)

TODAY = date(2026, 9, 1)
OWNER = PermissionFact("Owner's agreement", "needed", "given", date(2026, 1, 5))
CALENDAR = (
    Entry(date(2026, 9, 20), "Rake to bare soil", "preparation"),
    Entry(date(2026, 10, 4), "Sow 180 g of seed", "sowing"),
    Entry(date(2027, 7, 31), "Mow high", "first_year"),
    Entry(date(2027, 9, 25), "Mow high", "first_year"),
    Entry(date(2028, 4, 15), "Shut up the meadow: no more cutting or grazing until the hay cut", "yearly_cut", True),
    Entry(date(2028, 6, 15), "Summer walk: count species in square metres", "survey", True),
    Entry(date(2028, 7, 20), "Cut, rake and carry", "yearly_cut", True),
)


def site(*permissions, test=True, under_way=True, today=TODAY):
    return due_on_site(permissions, has_soil_test=test, under_way=under_way, today=today)


def fact(stage, today=TODAY, **more):
    values = {"has_forecast": True, "has_baseline": True, "calendar": CALENDAR, "stage_since": date(2026, 8, 1)} | more
    return [(due.code, due.by, due.late) for due in due_in_project(ProjectFact(stage=stage, **values), today)]


def test_nothing_is_due_where_nothing_is_under_way():
    unknown = PermissionFact("Paths and access", "unknown", "not_asked")
    assert site(unknown, test=False, under_way=False) == []


def test_a_soil_test_is_advised_and_never_due():
    (due,) = site(OWNER, test=False)
    assert (due.code, due.advice, due.by, due.late) == ("soil_test", True, None, False)


def test_what_has_not_been_asked_is_told_together():
    found = site(
        PermissionFact("Owner's agreement", "needed", "not_asked"),
        PermissionFact("Paths and access", "unknown", "not_asked"),
        PermissionFact("Plans of cables and pipes", "unknown", "not_asked"),
        PermissionFact("Tree check", "not_needed", "not_asked"),
    )
    assert [due.text for due in found] == [
        "Ask for owner's agreement.",
        "Find out what is needed of these: Paths and access; Plans of cables and pipes.",
    ]
    assert {due.whose for due in found} == {Whose.GROUP}


def test_what_was_asked_is_the_authoritys_move_and_after_eight_weeks_the_groups_as_well():
    asked = PermissionFact("Highway authority's permission", "needed", "asked", TODAY - timedelta(days=56))
    assert [(due.code, due.whose) for due in site(asked)] == [("permission_waiting", Whose.AUTHORITY)]
    slow = PermissionFact("Highway authority's permission", "needed", "asked", TODAY - timedelta(days=57))
    assert [(due.code, due.whose) for due in site(slow)] == [
        ("permission_slow", Whose.GROUP),
        ("permission_waiting", Whose.AUTHORITY),
    ]
    undated = PermissionFact("Highway authority's permission", "needed", "asked")
    assert [due.text for due in site(undated)] == ["Highway authority's permission: asked, no answer yet."]


@pytest.mark.parametrize(
    ("ends", "code", "late"),
    [
        (TODAY - timedelta(days=1), "permission_ended", True),
        (TODAY, "permission_ends", False),
        (TODAY + timedelta(days=60), "permission_ends", False),
    ],
)
def test_a_permission_that_ends_is_told_sixty_days_before(ends, code, late):
    (due,) = site(PermissionFact("Owner's agreement", "needed", "given", expires_on=ends))
    assert (due.code, due.by, due.late) == (code, ends, late)


def test_a_permission_that_ends_later_or_never_or_is_not_needed_is_not_told():
    later = PermissionFact("Owner's agreement", "needed", "given", expires_on=TODAY + timedelta(days=61))
    ended = PermissionFact("Tree check", "not_needed", "given", expires_on=TODAY - timedelta(days=9))
    assert site(later, OWNER, ended) == []


def test_a_refusal_is_the_groups_to_deal_with():
    (due,) = site(PermissionFact("Playing field check", "needed", "refused"))
    assert (due.code, due.whose) == ("permission_refused", Whose.GROUP)


@pytest.mark.parametrize(("stage", "code"), [("idea", "plan"), ("planned", "forecast"), ("ready", "forecast")])
def test_first_a_plan_and_then_its_forecast(stage, code):
    assert fact(stage, has_forecast=False, calendar=()) == [(code, None, False)]


def test_a_prepared_meadow_without_forecast_waits_for_nothing():
    assert fact("prepared", has_forecast=False, calendar=()) == []


def test_what_ended_waits_for_a_decision_as_advice():
    (due,) = due_in_project(ProjectFact("failed", TODAY, True, True), TODAY)
    assert (due.code, due.advice) == ("again", True)
    assert due_in_project(ProjectFact("handed_over", TODAY, True, True), TODAY) == []


def test_a_meadow_sown_without_a_forecast_is_the_networks_move():
    (due,) = due_in_project(ProjectFact("sown", TODAY, True, False), TODAY)
    assert (due.code, due.whose) == ("baseline", Whose.NETWORK)


def test_work_is_told_sixty_days_before_its_day_and_after_it_has_gone_by():
    assert fact("ready", date(2026, 7, 21)) == []
    assert fact("ready", date(2026, 7, 22)) == [("prepare", date(2026, 9, 20), False)]
    assert fact("ready", date(2026, 9, 20)) == [
        ("prepare", date(2026, 9, 20), False),
        ("sow", date(2026, 10, 4), False),
    ]
    assert fact("ready", date(2026, 9, 21))[0] == ("prepare", date(2026, 9, 20), True)
    assert fact("prepared", date(2026, 10, 5)) == [("sow", date(2026, 10, 4), True)]


def test_first_year_cuts_are_ticked_off_by_the_diary():
    assert fact("sown", date(2027, 6, 1)) == [("first_year_cut", date(2027, 7, 31), False)]
    assert fact("sown", date(2027, 8, 1)) == [("first_year_cut", date(2027, 7, 31), True)]
    one = {"cut": [date(2027, 7, 30)]}
    assert fact("sown", date(2027, 8, 1), done=one) == [("first_year_cut", date(2027, 9, 25), False)]
    two = {"cut": [date(2027, 7, 30), date(2027, 9, 24)]}
    assert fact("sown", date(2027, 10, 1), done=two) == []


def test_the_yearly_cut_is_due_before_its_day_and_overdue_after_it():
    assert fact("aftercare", date(2029, 5, 1)) == [("summer_walk", date(2029, 6, 15), False)]
    assert fact("aftercare", date(2029, 6, 20)) == [("yearly_cut", date(2029, 7, 20), False)]
    assert fact("aftercare", date(2029, 7, 20)) == [("yearly_cut", date(2029, 7, 20), False)]
    assert fact("aftercare", date(2029, 7, 21)) == [("yearly_cut", date(2029, 7, 20), True)]
    assert fact("aftercare", date(2029, 12, 31)) == [("yearly_cut", date(2029, 7, 20), True)]


def test_a_cut_in_spring_is_not_the_yearly_one():
    spring = {"cut": [date(2029, 6, 4)]}  # 46 days before
    assert fact("aftercare", date(2029, 8, 1), done=spring) == [("yearly_cut", date(2029, 7, 20), True)]
    early = {"cut": [date(2029, 6, 5)]}  # 45 days before
    assert fact("aftercare", date(2029, 8, 1), done=early) == []


def test_shutting_up_is_told_before_its_day_only():
    assert ("shut_up", date(2029, 4, 15), False) in fact("aftercare", date(2029, 3, 1))
    assert fact("aftercare", date(2029, 4, 16)) == [("summer_walk", date(2029, 6, 15), False)]


def test_yearly_work_begins_in_the_year_the_calendar_says():
    assert [code for code, _, _ in fact("aftercare", date(2027, 7, 1))] == ["first_year_cut"]


def test_a_meadow_sown_again_is_spared_the_yearly_cut_in_its_first_summer_anew():
    again = {"stage_since": date(2028, 9, 20)}
    assert fact("resown", date(2029, 8, 1), **again) == []
    assert fact("resown", date(2030, 8, 1), **again) == [("yearly_cut", date(2030, 7, 20), True)]


def test_the_last_day_of_february_comes_every_year():
    leap = (Entry(date(2028, 2, 29), "Cut", "yearly_cut", True),)
    assert fact("aftercare", date(2029, 2, 1), calendar=leap) == [("yearly_cut", date(2029, 2, 28), False)]


def test_late_things_come_first_and_advice_last():
    late = Due("a", "Late.", by=date(2026, 8, 1), late=True)
    dated = Due("b", "Dated.", by=date(2026, 9, 9))
    open_ = Due("c", "Some day.")
    advice = Due("d", "Advice.", advice=True)
    assert in_order([advice, open_, dated, late]) == [late, dated, open_, advice]


def test_a_calendar_is_read_from_an_answer():
    rows = [{"on": "2027-07-31", "until": None, "label": "Mow", "kind": "first_year", "every_year": False, "note": ""}]
    assert entries_of(rows) == [Entry(date(2027, 7, 31), "Mow", "first_year", False)]


def test_whose_move_it_is():
    waiting = [Due("permission_waiting", "Asked.", Whose.AUTHORITY)]
    both = [*waiting, Due("permission_not_asked", "Ask.")]
    assert next_step("planned", ["Owner: asked."], waiting) == ("the permissions come to hand", Whose.AUTHORITY)
    assert next_step("planned", ["Owner: asked."], both) == ("the permissions come to hand", Whose.GROUP)
    assert next_step("planned", [], []) == ("everything is made ready to start", Whose.GROUP)
    assert next_step("idea", ["Owner: asked."], waiting) == ("the plan is written", Whose.GROUP)
    assert next_step("handed_over", [], []) == ("", None)
    assert move_words(Whose.AUTHORITY) == "that waits for others’ answers"


# ------------------------------------------------------------------ yearly returns


def growing(*told, **more):
    return ProjectFact(
        stage=Stage.AFTERCARE, stage_since=date(2027, 9, 10), has_forecast=True, has_baseline=True,
        sown_on=date(2027, 9, 10), returns=told, **more,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("today", "told", "expected"),
    [
        (date(2028, 8, 31), (), []),
        (date(2028, 9, 1), (), [("The return of 2028 is due on 31 October 2028.", False)]),
        (date(2028, 10, 31), (), [("The return of 2028 is due on 31 October 2028.", False)]),
        (date(2028, 11, 1), (), [("The return of 2028 was due on 31 October 2028.", True)]),
        (date(2028, 11, 1), (ReturnFact(2028, "sent"),), []),
        (date(2028, 11, 1), (ReturnFact(2027, "agreed"),), [("The return of 2028 was due on 31 October 2028.", True)]),
        (date(2027, 11, 1), (), []),
    ],
)
def test_a_return_is_due_by_the_end_of_october_from_the_first_summer(today, told, expected):
    found = [(due.text, due.late) for due in due_in_project(growing(*told), today) if due.code == "return"]
    assert found == expected


def test_an_agreed_return_waits_for_nobody():
    told = ReturnFact(2027, "agreed", unanswered=1, names=1), ReturnFact(2028, "agreed", names=2)
    assert due_in_project(growing(*told), date(2028, 9, 1)) == []


def test_what_waits_in_a_return_is_the_groups_move():
    told = ReturnFact(2027, "sent_back", unanswered=2, names=1), ReturnFact(2028, "sent", unanswered=1, names=3)
    found = {due.text for due in due_in_project(growing(*told), date(2028, 9, 1))}
    assert found == {
        "The return of 2027 was sent back; look at what was written to you.",
        "2 questions wait for your answer in the return of 2027.",
        "A name is to settle in the return of 2027.",
        "A question waits for your answer in the return of 2028.",
        "3 names are to settle in the return of 2028.",
    }
    assert [due.code for due in due_in_project(ProjectFact(
        stage=Stage.HANDED_OVER, stage_since=date(2027, 9, 10), has_forecast=True, has_baseline=True,
        sown_on=date(2026, 9, 10),
    ), date(2028, 11, 1))] == []  # fmt: skip
