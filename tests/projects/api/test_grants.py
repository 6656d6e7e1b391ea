"""A grant round through the API, from its announcement to the open data; and what careless callers send to it."""

import csv
import io
from datetime import timedelta

import pytest
import time_machine

from projects.models import AuditEntry, Bid, GrantRound
from projects.services import jobs
from tests.projects.api.caller import Caller, fault, problem
from tests.projects.grants import (
    AFTER,
    CLOSES,
    LATER,
    NOW,
    PANEL,
    VERGE,
    WRITING,
    YEWS,
    bid_asked,
    grants,
    round_asked,
)

pytestmark = pytest.mark.django_db(transaction=True)


class People:
    """Everybody with a token; time stands still at a moment of one's choice."""

    def __init__(self, scene):
        self.fund, self.assessor, self.second = (Caller(user) for user in (scene.manager, scene.assessor, scene.second))
        self.lead, self.neighbour = Caller(scene.county.lead), Caller(scene.county.neighbour)
        self.coordinator, self.public = Caller(scene.county.coordinator), Caller()


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as travel:
        yield travel


@pytest.fixture
def scene(clock):
    return grants()


@pytest.fixture
def people(scene):
    return People(scene)


def at(scene, name, pounds=600.0, **more):
    """The address of a bid that was handed in."""
    return f"bids/{scene.handed_in(name, pounds, **more).public_id}/"


def test_from_the_announcement_to_the_open_data(clock, scene, people):
    # a round is written and announced
    made = people.fund.post("rounds/", round_asked(scene.county, name="Spring meadows", group_limit_gbp=900.0))
    assert made.status_code == 201
    address = made.headers["Location"]
    assert made.json()["phase"] == "draft"
    assert people.public.get(address).status_code == 404
    changed = people.fund.patch(address, {"about": "For churchyards too."}, If_Match=made.headers["ETag"])
    assert (changed.status_code, changed.json()["about"]) == (200, "For churchyards too.")
    assert people.fund.post(f"{address}moves/", {"to": "announced"}).json()["phase"] == "coming"
    told = people.public.get(address).json()
    assert (told["pot_gbp"], told["group_limit_gbp"], told["criteria"][0]["weight"]) == (1000.0, 900.0, 3)
    assert "committed_gbp" not in told
    for user in (scene.assessor, scene.second):
        appointed = people.fund.post(f"{address}assessors/", {"user_id": str(user.public_id)})
    assert [row["appointed"] for row in appointed.json()["results"]] == [True, True]

    # a bid is written, checked and handed in
    clock.move_to(WRITING)
    assert people.public.get(address).json()["phase"] == "open"
    body = bid_asked(scene.round, scene.county.projects[YEWS], round_id=told["id"], stages=[])
    bid = people.lead.post("bids/", body)
    assert (bid.status_code, bid.json()["state"], bid.json()["asked_gbp"]) == (201, "draft", 600.0)
    here = bid.headers["Location"]
    checks = people.lead.get(f"{here}checklist/").json()
    assert (checks["ready"], checks["results"][0]["pointer"]) == (False, "/stages")
    fault(people.lead.post(f"{here}moves/", {"to": "submitted"}), "/stages", "stages")
    stages = bid_asked(scene.round, scene.county.projects[YEWS])["stages"]
    people.lead.patch(here, {"stages": stages}, If_Match=bid.headers["ETag"])
    assert people.lead.get(f"{here}checklist/").json()["ready"] is True
    handed_in = people.lead.post(f"{here}moves/", {"to": "submitted"}, Idempotency_Key="once")
    assert handed_in.status_code == 200, handed_in.content
    receipt = handed_in.json()["receipt"]
    assert (handed_in.json()["number"], receipt["number"]) == (1, 1)
    assert handed_in.json()["projects"][0]["plan_number"] == 1
    assert people.lead.post(f"{here}moves/", {"to": "submitted"}, Idempotency_Key="once").json() == handed_in.json()
    assert people.lead.get(f"{here}submissions/").json()["results"][0]["checksum"] == receipt["checksum"]

    # it is read, blind
    clock.move_to(AFTER)
    review = {"scores": [{"criterion": 1, "score": 4}, {"criterion": 2, "score": 4}], "send": True}
    assert people.assessor.post(f"{here}review/", review).json()["total"] == 85.0
    assert people.second.get(f"{here}reviews/").json()["results"] == []
    assert people.lead.get(f"{here}reviews/").status_code == 404
    seen = people.fund.post(f"{here}proofs/", {"what": "constitution", "seen_on": AFTER.date().isoformat()})
    assert seen.json()["proofs"] == [{"what": "constitution", "has_it": True, "seen_on": AFTER.date().isoformat()}]

    # what the pot could buy
    accepted = people.fund.post(f"{address}choices/", {})
    assert accepted.status_code == 202
    jobs.jobs_run_due(clock=lambda: AFTER)
    job = people.fund.get(accepted.headers["Location"]).json()
    assert job["state"] == "done", job
    choice = people.fund.get(f"choices/{job['result']['choice']}/").json()
    assert choice["best"]["ids"] == [bid.json()["id"]]
    assert people.assessor.get(f"{here}appraisal/").json()["cost"]["grant_gbp"] == 600.0
    assert people.lead.get(f"{here}appraisal/").status_code == 404

    # decided, offered, accepted, paid
    clock.move_to(PANEL)
    people.fund.post(f"{address}moves/", {"to": "panel"})
    panel = people.assessor.get(f"{address}panel/").json()
    assert panel["bids"][0]["raw_mean"] == 85.0
    assert panel["bids"][0]["appraised"] is True
    draft = people.fund.post(f"{here}decisions/", {"kind": "part", "amount_gbp": 500.0, "reason": "A good plan."})
    assert "£500 of the £600" in draft.json()["letter"]
    assert people.lead.get(draft.headers["Location"]).status_code == 404
    problem(people.fund.post(f"{draft.headers['Location']}publish/"), 428, "precondition_required")
    problem(people.fund.post(f"{draft.headers['Location']}publish/", If_Match='"old.1"'), 412, "stale")
    published = people.fund.post(f"{draft.headers['Location']}publish/", If_Match=draft.headers["ETag"])
    assert published.json()["state"] == "published"
    assert people.lead.get(f"{here}decisions/").json()["results"][0]["amount_gbp"] == 500.0
    assert people.fund.get(f"{address}money/").json() == {
        "pot_gbp": 1000.0, "committed_gbp": 500.0, "free_gbp": 500.0, "paid_gbp": 0.0, "returned_gbp": 0.0,
        "adds_up": True,
    }  # fmt: skip
    (award,) = people.lead.get("awards/").json()["results"]
    assert [due["code"] for due in award["due"]] == ["accept"]
    there = f"awards/{award['id']}/"
    assert people.lead.post(f"{there}moves/", {"to": "accepted", "accounting_year": "2026-27"}).status_code == 200
    clock.move_to(LATER)
    payment = people.lead.post(f"{there}payments/", {"stage": 1, "amount_gbp": 300.0, "evidence": "Eleven came."})
    assert payment.status_code == 201
    paid = people.fund.post(f"payments/{payment.json()['id']}/moves/", {"to": "paid"}, If_Match=payment.headers["ETag"])
    assert paid.json()["paid_on"] == LATER.date().isoformat()
    change = people.lead.post(f"{there}changes/", {"kind": "budget", "stages": [310.0, 290.0], "why": "Dear seed."})
    settled = people.fund.post(f"changes/{change.json()['id']}/moves/", {"to": "agreed"})
    assert (settled.json()["before"], settled.json()["after"]) == (
        {"stages_gbp": [300.0, 300.0]}, {"stages_gbp": [310.0, 290.0]},
    )  # fmt: skip
    back = people.fund.post(f"{there}money-back/", {"amount_gbp": 50.0, "on": LATER.date().isoformat()})
    assert back.status_code == 201
    reported = people.lead.post(f"{there}report/", {"report": "It flowers."})
    assert reported.json()["report"] == "It flowers."
    assert people.fund.post(f"{there}moves/", {"to": "finished"}).json()["state"] == "finished"
    assert people.fund.get(f"{address}money/").json()["committed_gbp"] == 250.0
    history = people.lead.get(f"{here}history/?order=newest").json()["results"]
    assert history[0]["act"] == "award_finished"

    # and everybody may know
    (grant,) = people.public.get("open-grants/").json()["grants"]
    assert (grant["amountAwarded"], grant["amountDisbursed"]) == (500.0, 250.0)
    table = people.public.get("open-grants/csv/")
    assert table.headers["Content-Type"] == "text/csv; charset=utf-8"
    (line,) = csv.DictReader(io.StringIO(table.text))
    assert (line["Identifier"], line["Amount Awarded"], line["Currency"]) == (grant["id"], "500.00", "GBP")
    assert line["Recipient Org:Name"] == "Gullhaven Meadow Makers"
    assert people.public.get("open-grants/?awarded_since=2030-01-01T00:00:00Z").json() == {"grants": []}


def test_a_bid_that_comes_late_is_told_both_times_and_is_kept(clock, scene, people):
    bid = scene.bid()
    clock.move_to(CLOSES + timedelta(seconds=3))
    late = problem(people.lead.post(f"bids/{bid.public_id}/moves/", {"to": "submitted"}), 409, "wrong_state")
    assert late["detail"] == (
        "This round closed on 1 October 2026 at 10:00:00 BST; your bid came on 1 October 2026 at 10:00:03 BST. "
        "Your draft is kept."
    )
    assert people.lead.get(f"bids/{bid.public_id}/").json()["state"] == "draft"


def test_lists_are_narrowed_and_paged(clock, scene, people):
    clock.move_to(WRITING)
    first, second = scene.handed_in(YEWS, 300.0), scene.handed_in(VERGE, 300.0)
    both = {str(first.public_id), str(second.public_id)}

    def found(caller, query=""):
        return {row["id"] for row in caller.get(f"bids/{query}").json()["results"]}

    assert found(people.assessor) == found(people.coordinator) == found(people.fund) == both
    assert found(people.lead) == {str(first.public_id)}
    assert found(people.public) == set()
    assert found(people.fund, f"?group={first.group.public_id}") == {str(first.public_id)}
    assert found(people.fund, f"?project={scene.county.projects[VERGE].public_id}") == {str(second.public_id)}
    assert found(people.fund, "?state=draft") == set()
    page = people.fund.get("bids/?limit=1").json()
    assert len(page["results"]) == 1
    rest = people.fund.get(page["next"]).json()
    assert {page["results"][0]["id"], rest["results"][0]["id"]} == both
    assert rest["next"] is None
    unknown = problem(people.fund.get("bids/?state=lost"), 422, "invalid_request")
    assert unknown["errors"][0]["parameter"] == "state"
    assert [row["name"] for row in people.public.get("rounds/?state=announced").json()["results"]] == ["Autumn meadows"]


def test_a_change_says_which_version_it_is_made_to(scene, people):
    bid = scene.bid(now=NOW)
    here = f"bids/{bid.public_id}/"
    problem(people.lead.patch(here, {"title": "New"}), 428, "precondition_required")
    tag = people.lead.get(here).headers["ETag"]
    assert people.lead.patch(here, {"title": "New"}, If_Match=tag).json()["title"] == "New"
    problem(people.lead.patch(here, {"title": "Newer"}, If_Match=tag), 412, "stale")
    assert Bid.objects.get(pk=bid.pk).title == "New"


def test_declared_through_the_api_the_bid_is_gone(clock, scene, people):
    clock.move_to(WRITING)
    here = at(scene, YEWS, 300.0)
    assert people.assessor.get(here).status_code == 200
    group = str(scene.bids[YEWS].group.public_id)
    interests = f"rounds/{scene.round.public_id}/interests/"
    assert people.assessor.post(interests, {"group_id": group, "reason": "My sister."}).status_code == 201
    assert people.assessor.get(here).status_code == 404
    assert people.second.get(interests).json() == {"results": []}
    assert [row["reason"] for row in people.fund.get(interests).json()["results"]] == ["My sister."]


NASTY = [
    ("title", "a\0b", "nul_character"),
    ("title", "", "too_few"),
    ("title", "x" * 140, "too_many"),
    ("lines", [{"what": "s", "category": "seed", "paid_by": "grant", "quantity": 1e300, "unit_price_gbp": 1.0}], None),
    ("lines", [{"what": "s", "category": "beer", "paid_by": "grant", "quantity": 1.0, "unit_price_gbp": 1.0}], None),
    ("lines", [{"what": "s", "category": "seed", "paid_by": "grant", "quantity": 1.0, "unit_price_gbp": 0.001}], None),
    ("lines", [{"what": "s", "category": "seed", "paid_by": "grant", "quantity": 0.0001, "unit_price_gbp": 1.0}], None),
    ("lines", "many", "not_a_list"),
    ("stages", [{"name": "s", "due_on": "2027-02-30", "amount_gbp": 1.0}], None),
    ("promises", [{"kind": "species_per_m2", "amount": 5, "by_year": 2030}], None),
    ("promises", [{"kind": "plant", "plant": "dodo", "project_id": "PROJECT", "by_year": 2030}], None),
    ("attachments", [{"name": "a", "size_bytes": 10**12, "checksum": "0" * 64}], None),
    ("attachments", [{"name": "a", "size_bytes": 1, "checksum": "Z"}], None),
    ("attachments", [{"name": "a", "size_bytes": 1, "checksum": "0" * 64}] * 2, None),
    ("proofs", [{"what": "accounts", "has_it": True}] * 2, None),
    ("project_ids", ["PROJECT", "PROJECT"], None),
    ("project_ids", ["7d3c1a52-6c1e-4f0a-9b57-2a8f4c6d1e90"], None),
    ("ends_on", "1989-01-01", "out_of_range"),
    ("aftercare_years", 10**18, "out_of_range"),
    ("state", "decided", "unknown_key"),
]


@pytest.mark.parametrize(("key", "value", "code"), NASTY)
def test_what_careless_callers_send_is_refused_in_words_and_changes_nothing(scene, people, key, value, code):
    bid = scene.bid(now=NOW)
    before, entries = Bid.objects.values().get(pk=bid.pk), AuditEntry.objects.count()
    project = str(scene.county.projects[YEWS].public_id)
    if isinstance(value, list):
        value = [
            project if part == "PROJECT" else part | {"project_id": project} if "dodo" in str(part) else part
            for part in value
        ]
    answer = people.lead.patch(f"bids/{bid.public_id}/", {key: value}, If_Match="*")
    (first, *_) = problem(answer, 422, "invalid_request")["errors"]
    assert first["pointer"].startswith(f"/{key}")
    assert first["detail"]
    if code is not None:
        assert first["code"] == code
    assert Bid.objects.values().get(pk=bid.pk) == before
    assert AuditEntry.objects.count() == entries


@pytest.mark.parametrize(
    ("values", "pointer"),
    [
        ({"closes_at": "2026-09-01T10:00:00"}, "/closes_at"),
        ({"closes_at": "2026-08-01T10:00:00Z"}, "/closes_at"),
        ({"closes_at": "9999-12-31T23:59:59-14:00"}, "/closes_at"),
        ({"pot_gbp": 0.0}, "/pot_gbp"),
        ({"pot_gbp": 1e12}, "/pot_gbp"),
        ({"starts_earliest_on": "2026-08-01"}, "/starts_earliest_on"),
        ({"grant_prefix": "a/b"}, "/grant_prefix"),
        ({"rates": [{"skill": "unskilled", "gbp_per_hour": 1.0, "from_day": "2026-02-01", "until_day": "2026-01-01"}]},
         "/rates/0/until_day"),
        ({"district_id": "7d3c1a52-6c1e-4f0a-9b57-2a8f4c6d1e90"}, None),
    ],
)  # fmt: skip
def test_rounds_that_do_not_hold_together_are_refused(scene, people, values, pointer):
    before = GrantRound.objects.count()
    answer = people.fund.post("rounds/", round_asked(scene.county, name="Other", **values))
    if pointer is None:
        problem(answer, 404, "not_found")
    else:
        assert problem(answer, 422, "invalid_request")["errors"][0]["pointer"] == pointer
    assert GrantRound.objects.count() == before


def test_two_rounds_of_one_name_are_refused_at_the_name(scene, people):
    fault(people.fund.post("rounds/", round_asked(scene.county)), "/name", "taken")


def test_an_announced_round_takes_nothing_from_those_who_write(scene, people):
    here = f"rounds/{scene.round.public_id}/"
    told = problem(people.fund.patch(here, {"match_percent": 50}, If_Match="*"), 409, "wrong_state")
    assert "match_percent" in told["detail"]
    assert people.fund.patch(here, {"pot_gbp": 2000.0}, If_Match="*").json()["pot_gbp"] == 2000.0
    GrantRound.objects.filter(pk=scene.round.pk).update(committed_pence=150_000)
    fault(people.fund.patch(here, {"pot_gbp": 1499.99}, If_Match="*"), "/pot_gbp", "out_of_range")
