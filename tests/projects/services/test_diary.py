"""The work diary: a line is added once, counts until it is struck out, and stays readable."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from projects.contracts.base import read_as
from projects.contracts.meadows import WorkNew, WorkStrike
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import WorkEntry
from projects.selectors.meadows import diary_of, diary_totals
from projects.services import diary
from tests.projects.county import NOW, join
from tests.projects.proof import all_audit_text, audited, cast, refused, with_scopes

LATER = NOW + timedelta(days=1)
OPEN, HIDDEN = "Under the yews", "Behind the house"
SENT = uuid4()


def add(county, actor=None, project=OPEN, now=LATER, **more):
    asked = read_as(WorkNew, {"on": "2026-09-01", "what": "cut", "note": "Scythes."} | more)
    return diary.work_add(
        actor=actor or county.as_(county.member),
        project_id=county.projects[project].public_id,
        asked=asked,
        now=now,
    )


def strike(county, row, actor=None, if_version=None):
    return diary.work_strike(
        actor=actor or county.as_(county.lead),
        public_id=row.public_id,
        asked=WorkStrike(because="Counted twice."),
        if_version=if_version,
        now=LATER,
    )


def test_a_line_is_kept_in_minutes_and_pence(county):
    member = county.as_(county.member)
    with audited("work_add", "work", member) as seen:
        row, is_new = add(
            county, heads=5, person_hours=12.5, machine="pedestrian_mower", machine_hours=1.25, cash_gbp=34.56,
            in_kind_gbp=10.0, submission_id=str(SENT),
        )  # fmt: skip
    row.refresh_from_db()
    assert is_new is True
    assert (row.project, row.on, row.what, row.heads) == (county.projects[OPEN], date(2026, 9, 1), "cut", 5)
    assert (row.person_minutes, row.machine, row.machine_minutes) == (750, "pedestrian_mower", 75)
    assert (row.cash_pence, row.in_kind_pence, row.note) == (3456, 1000, "Scythes.")
    assert (row.submission_id, row.created_by, row.created_at, row.version) == (SENT, county.member, LATER, 1)
    assert (row.struck_at, row.struck_because) == (None, "")
    assert (seen.entry.object_id, seen.entry.after["person_minutes"]) == (row.public_id, 750)
    assert (seen.entry.network, seen.entry.group) == (county.network, county.projects[OPEN].group)


def test_hours_of_each_are_those_of_all(county):
    row, _ = add(county, heads=7, hours_each=2.5)
    assert (row.heads, row.person_minutes) == (7, 1050)
    # people may have come and nobody wrote how long
    assert add(county, heads=3)[0].person_minutes == 0


def test_sent_again_a_line_is_the_line_there_is(county):
    row, is_new = add(county, heads=2, person_hours=4.0, submission_id=str(SENT))
    count = WorkEntry.objects.count()
    again, is_new_again = add(county, county.as_(county.lead), heads=2, hours_each=2.0, submission_id=str(SENT))
    assert (is_new, is_new_again) == (True, False)
    assert (again.pk, again.heads, WorkEntry.objects.count()) == (row.pk, 2, count)
    # even once it is struck out
    strike(county, row)
    assert add(county, heads=2, person_hours=4.0, submission_id=str(SENT))[0].pk == row.pk
    # without an id, and in another project, it is another line
    assert add(county, heads=2, person_hours=4.0)[0].pk != row.pk
    assert add(county, project="Paddock to hay", submission_id=str(SENT))[1] is True


def test_another_line_is_not_taken_for_one_that_was_sent_before(county):
    row, _ = add(county, heads=2, person_hours=4.0, submission_id=str(SENT))
    with pytest.raises(WrongState, match=r"something else in heads, person minutes\. Strike that line out"):
        add(county, heads=9, person_hours=1.0, submission_id=str(SENT))
    row.refresh_from_db()
    assert (row.heads, row.person_minutes, WorkEntry.objects.count()) == (2, 240, 1)


def test_a_line_sent_again_leaves_no_second_entry(county):
    add(county, submission_id=str(SENT))
    before = all_audit_text()
    add(county, submission_id=str(SENT))
    assert all_audit_text() == before


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"on": "2026-09-03"}, ("/on", "in_future")),
        ({"heads": 2, "person_hours": 48.1}, ("/person_hours", "out_of_range")),
        ({"machine": "no_such_machine", "machine_hours": 1.0}, ("/machine", "unknown_machine")),
        ({"note": ""}, ("", "missing")),
    ],
)
def test_a_line_that_cannot_be_is_refused_by_its_field(county, more, fault):
    with refused(RuleBroken, fault):
        add(county, **more)


def test_a_whole_day_each_is_the_most(county):
    assert add(county, heads=2, person_hours=48.0)[0].person_minutes == 2880


@pytest.mark.parametrize(
    "more",
    [{"heads": 1}, {"machine": "pedestrian_mower"}, {"cash_gbp": 0.01}, {"in_kind_gbp": 0.01}, {"note": "Looked."}],
)
def test_one_thing_is_enough_of_a_line(county, more):
    row, is_new = add(county, **{"note": ""} | more)
    assert is_new
    assert row.pk


def test_today_is_the_day_in_britain(county):
    now = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)
    assert add(county, now=now, on="2026-07-01")[0].on == date(2026, 7, 1)
    with refused(RuleBroken, ("/on", "in_future")):
        add(county, now=now, on="2026-07-02")


def test_the_diary_is_written_by_the_groups_own_people(county):
    for who, actor in cast(county).items():
        if who in {"coordinator", "lead", "member"}:
            assert add(county, actor)[0].created_by_id == actor.user_id
            assert add(county, actor, project=HIDDEN)[1] is True
        else:
            with refused(NotAllowed):
                add(county, actor)
            with refused(NotFound):
                add(county, actor, project=HIDDEN)
    member = county.as_(county.member)
    with refused(NotAllowed, match="write"):
        add(county, with_scopes(member, "read"))
    with refused(NotFound):
        add(county, with_scopes(member, "write"), project=HIDDEN)
    county.projects[OPEN].public_id = uuid4()
    with refused(NotFound, match="There is no project"):
        add(county)


def test_a_wrong_line_is_struck_out_and_stays_readable(county):
    row, _ = add(county, heads=2, person_hours=4.0, cash_gbp=5.0)
    lead = county.as_(county.lead)
    with audited("work_strike", "work", lead) as seen:
        strike(county, row, if_version=1)
    row.refresh_from_db()
    assert (row.struck_at, row.struck_because, row.version, row.updated_at) == (LATER, "Counted twice.", 2, LATER)
    assert (row.heads, row.person_minutes, row.cash_pence) == (2, 240, 500)
    assert seen.entry.before == {"struck_at": None, "struck_because": ""}
    assert seen.entry.after["struck_because"] == "Counted twice."
    with refused(WrongState, match="struck out already"):
        strike(county, row)
    with refused(Stale):
        strike(county, row, if_version=1)
    assert [line.pk for line in diary_of(lead, county.projects[OPEN])] == [row.pk]


def test_totals_are_over_the_lines_that_count(county):
    lead, project = county.as_(county.lead), county.projects[OPEN]
    assert diary_totals(lead, project) == {
        "person_minutes": 0, "machine_minutes": 0, "cash_pence": 0, "in_kind_pence": 0,
    }  # fmt: skip
    add(county, on="2026-07-01", heads=2, person_hours=4.0, cash_gbp=5.1)
    add(county, heads=1, person_hours=0.5, machine="pedestrian_mower", machine_hours=0.5, in_kind_gbp=0.2)
    wrong, _ = add(county, heads=10, person_hours=99.0, cash_gbp=99.0)
    strike(county, wrong)
    assert diary_totals(lead, project) == {
        "person_minutes": 270, "machine_minutes": 30, "cash_pence": 510, "in_kind_pence": 20,
    }  # fmt: skip
    assert diary_totals(lead, project, since=date(2026, 9, 1))["person_minutes"] == 30


def test_a_line_is_struck_by_a_lead_a_coordinator_or_whoever_wrote_it(county):
    by_member, by_lead = add(county)[0], add(county, county.as_(county.lead))[0]
    join(county.stranger, county.groups["Gullhaven Meadow Makers"])
    with refused(NotAllowed):
        strike(county, by_lead, county.as_(county.member))
    with refused(NotAllowed):
        strike(county, by_member, county.as_(county.stranger))
    for who in ("operator", "neighbour", "public"):
        with refused(NotFound, match="There is no line of the diary"):
            strike(county, by_member, cast(county)[who])
    member = county.as_(county.member)
    with refused(NotAllowed, match="write"):
        strike(county, by_member, with_scopes(member, "read"))
    with refused(NotFound):
        strike(county, by_member, with_scopes(member, "write"))
    strike(county, by_member, member)
    strike(county, by_lead, county.as_(county.coordinator))
    assert WorkEntry.objects.filter(struck_at__isnull=True).count() == 0


def test_a_line_somebody_has_left_behind_is_not_theirs_to_strike(county):
    row, _ = add(county)
    county.member.memberships.update(until=NOW)
    with refused(NotFound):
        strike(county, row, county.as_(county.member))


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("work_known", {"what": "juggle"}),
        ("work_hours_have_heads", {"heads": 0, "person_minutes": 1}),
        ("work_machine_named", {"machine": "", "machine_minutes": 1}),
        ("work_entry_sent_once|projects_workentry.project_id, projects_workentry.submission_id",
         {"submission_id": SENT}),
    ],
)  # fmt: skip
def test_the_database_refuses_what_cannot_be(county, name, fields):
    add(county, submission_id=str(SENT))
    row, _ = add(county)
    for field, value in fields.items():
        setattr(row, field, value)
    with refused(IntegrityError, match=name), transaction.atomic():
        WorkEntry.objects.bulk_update([row], list(fields))
    new = WorkEntry(project=row.project, on=date(2026, 9, 1), **{"what": "cut"} | fields)
    with refused(IntegrityError, match=name), transaction.atomic():
        WorkEntry.objects.bulk_create([new])
