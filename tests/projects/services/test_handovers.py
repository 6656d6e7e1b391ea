"""A lead leaves: what only they knew is written down, read by whoever comes next, and never changed."""

import uuid
from datetime import timedelta

import pytest

from modelling.errors import RequestRefused
from modelling.reading import read_as
from projects.choices import GroupRole
from projects.contracts.handovers import HandoverNew
from projects.errors import NotAllowed, NotFound
from projects.models import AuditEntry, Handover, Membership
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors.handovers import handover_get, handovers_of, handovers_of_project, unwritten_of
from projects.selectors.people import handovers
from projects.services.handovers import group_hand_over, project_hand_over
from tests.projects.county import NOW, join, person

pytestmark = pytest.mark.django_db

TOLD = {
    "things": "Seed in the vestry cupboard, the scarifier in the barn.",
    "way_in": "The churchwarden.",
    "promised": "Half a sack of rattle for the school, in August.",
    "dates": [{"on": "2027-07-20", "what": "First cut"}, {"what": "Ask the clerk about the hedge"}],
    "fixed_spots": "By the gate, looking north. Quadrats along the wall, three paces apart.",
    "went_wrong": "The cut of 2025 came in June and took the rattle.",
}


def makers(county):
    return county.groups["Gullhaven Meadow Makers"]


def write(county, who="lead", now=NOW, **values):
    return group_hand_over(
        actor=county.as_(getattr(county, who)), group_id=makers(county).public_id,
        asked=read_as(HandoverNew, values or TOLD), now=now,
    )  # fmt: skip


def faults(values):
    with pytest.raises(RequestRefused) as told:
        read_as(HandoverNew, values)
    return [(error.pointer, error.code) for error in told.value.errors]


def test_a_handover_is_a_dated_note_with_its_authors_role(county):
    row, new = write(county)
    assert new
    assert (row.group, row.project, row.by_role, row.written_on) == (makers(county), None, "lead", NOW.date())
    assert {name: getattr(row, name) for name in TOLD if name != "dates"} == {
        name: text for name, text in TOLD.items() if name != "dates"
    }
    assert row.dates == [
        {"what": "First cut", "on": "2027-07-20"},
        {"what": "Ask the clerk about the hedge", "on": None},
    ]
    entry = AuditEntry.objects.get(act="hand_over")
    assert entry.after == {"project": None, "by_role": "lead", "told": [
        "things", "way_in", "promised", "fixed_spots", "went_wrong", "dates",
    ]}  # fmt: skip
    assert "vestry" not in repr(entry.after)


def test_the_group_and_the_coordinator_read_it_and_nobody_else(county):
    row, _ = write(county)
    for who in ("member", "lead", "coordinator"):
        actor = county.as_(getattr(county, who))
        assert handover_get(actor, row.public_id) == row
        assert list(handovers_of(actor, makers(county))) == [row]
    for actor in (PUBLIC_ACTOR, *(county.as_(getattr(county, who)) for who in ("stranger", "neighbour", "operator"))):
        with pytest.raises(NotFound):
            handover_get(actor, row.public_id)
        with pytest.raises(NotAllowed):
            handovers_of(actor, makers(county))


def test_leads_write_and_coordinators_in_their_place(county):
    for who in ("member", "neighbour", "stranger"):
        with pytest.raises(NotAllowed):
            write(county, who=who)
    row, _ = write(county, who="coordinator")
    assert row.by_role == "coordinator"


def test_one_of_a_project_stands_with_its_groups(county):
    project = county.projects["Behind the house"]
    lead = county.as_(county.lead)
    row, _ = project_hand_over(
        actor=lead, project_id=project.public_id, asked=read_as(HandoverNew, {"way_in": "The owner."}), now=NOW
    )
    general, _ = write(county)
    assert list(handovers_of_project(lead, project)) == [row]
    assert set(handovers_of(lead, makers(county))) == {row, general}
    with pytest.raises(NotFound):
        project_hand_over(
            actor=county.as_(county.neighbour), project_id=project.public_id, asked=HandoverNew(things="x"), now=NOW
        )


def test_an_old_one_stays_readable_beside_the_new(county):
    old, _ = write(county, things="In the barn.")
    new, _ = write(county, now=NOW + timedelta(days=400), things="In the vestry.")
    found = list(handovers_of(county.as_(county.member), makers(county)))
    assert found == [new, old]
    assert found[1].things == "In the barn."


def test_sent_twice_it_is_there_once(county):
    key = str(uuid.uuid4())
    first, _ = write(county, things="In the barn.", submission_id=key)
    again, new = write(county, things="In the barn.", submission_id=key)
    assert (again, new, Handover.objects.count()) == (first, False, 1)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, [("", "missing")]),
        ({"things": "  "}, [("", "missing")]),
        # numbers that are set aside for drama and never connected
        ({"way_in": "Ring 01632 960 123."}, [("/way_in", "personal")]),
        ({"way_in": "The owner, +44 (0)7700 900456"}, [("/way_in", "personal")]),
        ({"promised": "Write to wenna@example.org"}, [("/promised", "personal")]),
        ({"dates": [{"what": "Call 07700900456", "on": "2027-05-01"}]}, [("/dates/0/what", "personal")]),
        ({"dates": [{"on": "2027-05-01"}]}, [("/dates/0/what", "missing")]),
        ({"dates": [{"what": "Cut", "on": "2027-02-30"}]}, [("/dates/0/on", "bad_date")]),
        ({"dates": [{"what": "Cut"}] * 7}, [("/dates", "too_many")]),
        ({"things": "x" * 601}, [("/things", "too_many")]),
        ({"things": "\n".join("abcdefg")}, [("/things", "too_many_lines")]),
        ({"things": "a\0b"}, [("/things", "control_character")]),
        ({"barn": "x"}, [("/barn", "unknown_key")]),
    ],
)
def test_what_is_wrong_is_told_at_its_field(values, expected):
    assert faults(values) == expected


@pytest.mark.parametrize(
    "text",
    ["Cut on 20.07.2027 or 2027-07-20.", "TA 09812 03507", "From 01.08. to 15.09.2027", "Padlock 0407", "£0.50 a bag"],
)
def test_dates_and_places_are_no_telephone_numbers(text):
    assert read_as(HandoverNew, {"things": text}).things == text


def test_a_lead_is_told_what_stands_in_the_way_and_what_is_not_written(county):
    lead, group = county.lead, makers(county)
    assert handovers(lead, group) == [
        "You are the only lead of Gullhaven Meadow Makers: make somebody else a lead first."
    ]
    assert handovers(lead, county.groups["Brackwater Verges"]) == []
    assert unwritten_of(lead) == [group]
    # somebody else's does not stand for one's own, nor one from an earlier time as a lead
    second = person("Isla Reed")
    join(second, group, GroupRole.LEAD)
    write(county, who="coordinator")
    Membership.objects.filter(user__in=[lead, second]).update(since=NOW)
    write(county, now=NOW - timedelta(days=1))
    assert handovers(lead, group) == []
    assert unwritten_of(lead) == [group]
    write(county, now=NOW + timedelta(hours=1))
    assert unwritten_of(lead) == []
    assert unwritten_of(second) == [group]
    assert unwritten_of(county.member) == []
