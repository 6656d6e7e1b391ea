"""Lists and details ask the database as often for thirty rows as for three, and as often as the file says."""

import hashlib
import json
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from modelling.reading import read_as
from projects.contracts.handovers import HandoverNew
from projects.contracts.meadows import ProjectNew, WorkNew
from projects.contracts.returns import ReturnNew
from projects.contracts.sites import Place, SiteNew, SoilTestNew
from projects.models import (
    ApiToken,
    AuditEntry,
    Award,
    AwardVisit,
    Bid,
    BidAppraisal,
    BidLine,
    BidNote,
    BidProject,
    BidPromise,
    BidStage,
    BidSubmission,
    ChangeRequest,
    Decision,
    FlagAnswer,
    FlagsPut,
    GrantRound,
    Group,
    Interest,
    KitBooking,
    KitItem,
    MoneyReturned,
    NetworkMembership,
    OutcomeReturn,
    PaymentRequest,
    ReturnPhoto,
    Review,
    ReviewScore,
    RoundChoice,
)
from projects.services import diary, handovers, meadows, sites
from projects.services.jobs import job_create
from projects.services.returns import return_send
from tests.projects.api.caller import Caller
from tests.projects.county import NOW, join, person, saltmere
from tests.projects.grants import grants

pytestmark = pytest.mark.django_db

LEAST_YEAR = 2000
FILE = settings.BASE_DIR / "tests" / "snapshots" / "query_budgets.json"


#: a walk with a name to settle, out of season, which is asked about
WALK = [{"label": str(n), "records": [{"name": name} for name in ("cranesbill?", "cowslip", "dock")]} for n in range(3)]


def tell(county, project, year, *quadrats):
    """Send a return of a project's year, or its next version; a walk on a day before the county began."""
    asked = {"year": year, "visits": [{"on": f"{year}-04-10", "quadrats": [*WALK, *quadrats]}]}
    row, _ = return_send(
        actor=county.as_(county.lead), project_id=project.public_id, asked=read_as(ReturnNew, asked), now=NOW
    )
    return row


def grow(county, rows):
    """Give the first group so many more sites, with projects and what belongs to them."""
    lead = county.as_(county.lead)
    group = county.groups["Gullhaven Meadow Makers"]
    there = group.sites.count()
    for number in range(there, there + rows):
        now = NOW + timedelta(minutes=number)
        site = sites.site_create(
            actor=lead,
            asked=SiteNew(
                group_id=group.public_id, name=f"Strip {number}", kind="field", area_m2=100.0,
                place=Place(grid_reference="TA 9834 3512"), zones=({"name": "bank", "area_m2": 10.0},),
            ),
            now=now,
        )  # fmt: skip
        asked = ProjectNew(site_id=site.public_id, name=f"Meadow {number}")
        meadow = meadows.project_create(actor=lead, asked=asked, now=now)
        # more meadows with a return, more versions of one, more years of one, more names in one
        paddock = county.projects["Paddock to hay"]
        tell(county, meadow, NOW.year)
        tell(county, paddock, max(NOW.year - number, LEAST_YEAR))
        written = [{"name": f"thing {n}"} for n in range(number)]
        tell(county, paddock, NOW.year, {"label": "more", "records": written})
        year = OutcomeReturn.objects.get(project=paddock, year=max(NOW.year - number, LEAST_YEAR))
        told = {"agreed": True, "width_px": 1, "height_px": 1, "created_at": now, "taken_on": NOW.date()}
        for outcome in {year, OutcomeReturn.objects.get(project=paddock, year=NOW.year)}:
            ReturnPhoto.objects.create(
                outcome=outcome, point=f"point {number}", caption="Hay", checksum=f"{number:064}", **told
            )
        handovers.project_hand_over(
            actor=lead, project_id=paddock.public_id, asked=HandoverNew(things=f"Shed {number}."), now=now
        )
        sites.soil_test_add(
            actor=lead,
            site_id=county.sites["Long Paddock"].public_id,
            asked=SoilTestNew(taken_on=NOW.date(), soil_ph=6.0),
            now=now,
        )
        diary.work_add(
            actor=lead,
            project_id=county.projects["Paddock to hay"].public_id,
            asked=WorkNew(on=NOW.date(), what="cut", heads=1, person_hours=1.0),
            now=now,
        )
        item = KitItem.objects.create(
            network=county.network, name=f"Harrow {number}", kind="harrow", village=county.villages["Gullhaven"],
            created_at=now,
        )  # fmt: skip
        KitBooking.objects.create(
            item=item, network=county.network, group=group, project=paddock, first_on=now.date(), first_half=0,
            last_on=now.date(), last_half=1, created_at=now,
        )  # fmt: skip
        Group.objects.create(network=county.network, name=f"Group {number}", created_at=now)
        join(person(f"Person {number}"), group)
        job_create(
            kind="forecasts",
            payload={"projects": [str(site.public_id)]},
            actor_label="a test",
            network=county.network,
            now=now,
        )


def addresses(county):
    """Return what is measured, by name: routes of the API and pages."""
    site, project = county.sites["Long Paddock"], county.projects["Paddock to hay"]
    group, network = county.groups["Gullhaven Meadow Makers"], county.network
    outcome = OutcomeReturn.objects.get(project=project, year=NOW.year)
    of_return = {"public_id": outcome.public_id}
    of_site = {"public_id": site.public_id}
    of_project = {"public_id": project.public_id}
    api = {
        "v1-networks": {}, "v1-network": {"public_id": network.public_id},
        "v1-districts": {"public_id": network.public_id}, "v1-villages": {"public_id": network.public_id},
        "v1-groups": {}, "v1-group": {"public_id": group.public_id}, "v1-members": {"public_id": group.public_id},
        "v1-sites": {}, "v1-sites-geojson": {}, "v1-site": of_site, "v1-permissions": of_site,
        "v1-soil-tests": of_site, "v1-other-funding": of_site, "v1-projects": {}, "v1-project": of_project,
        "v1-steps": of_project, "v1-plans": of_project, "v1-forecasts": of_project, "v1-diary": of_project,
        "v1-forecast": {"public_id": project.baseline.public_id},
        "v1-forecast-answer": {"public_id": project.baseline.public_id},
        "v1-jobs": {}, "v1-audit": {}, "v1-me": {},
        "v1-returns": {}, **dict.fromkeys(("v1-return", "v1-return-versions", "v1-return-result"), of_return),
        "v1-return-photos": of_return, "v1-project-photos": of_project, "v1-project-handovers": of_project,
        "v1-group-handovers": {"public_id": group.public_id},
        "v1-network-kit": {"public_id": network.public_id}, "v1-project-kit": of_project,
        "v1-project-calendar": of_project,
    }  # fmt: skip
    pages = {
        "project": {"project_id": project.public_id}, "county-returns": {"slug": network.slug},
        "county-year": {"slug": network.slug, "year": NOW.year},
        "county-year-map": {"slug": network.slug, "year": NOW.year},
        "return": {"return_id": outcome.public_id}, "return-names": {"return_id": outcome.public_id},
        "project-photos": {"project_id": project.public_id}, "group-handovers": {"group_id": group.public_id},
        "county-kit": {"slug": network.slug}, "county-kit-calendar": {"slug": network.slug},
        "group-kit": {"group_id": group.public_id},
    }  # fmt: skip
    found = [{name: reverse(name, kwargs=kwargs) for name, kwargs in every.items()} for every in (api, pages)]
    found[0]["v1-aggregates"] = f"{reverse('v1-aggregates')}?network={network.public_id}&by=year,kind"
    return found


def counts(paths, caller):
    found = {}
    for name, path in paths.items():
        with CaptureQueriesContext(
            connection,
        ) as queries:
            answer = caller.get(path)
        assert answer.status_code == 200, (name, answer.content[:300])
        found[name] = len(queries)
    return found


def test_three_rows_and_thirty_ask_alike(client):
    county = saltmere()
    caller = Caller(county.lead)
    client.force_login(county.lead)
    grow(county, 3)
    # the first call of a day notes that the token was used
    caller.get("/api/v1/me/")
    assert ApiToken.objects.count() == 1
    api, pages = addresses(county)
    # calendars of stored answers are read once in a process
    counts(pages, client)
    few = {"api": counts(api, caller), "pages": counts(pages, client)}
    grow(county, 27)
    many = {"api": counts(api, caller), "pages": counts(pages, client)}
    assert many == few
    budgets = json.loads(FILE.read_text(encoding="utf-8"))
    assert few == {kind: budgets[kind] for kind in few}


MOST_FLAGS = 3
#: of an appraisal, all that is read here
FLAGGED = json.dumps(
    {
        "flags": [
            {
                "code": "tax", "pointer": f"/lines/{n}", "sentence": "No VAT is claimed.", "numbers": {},
                "source": "Tax", "confidence": "published", "can_answer": False, "question": "",
            }
            for n in range(MOST_FLAGS)
        ]
    }
)  # fmt: skip


def grow_round(scene, rows):
    """Give the round so many more bids, each decided, reviewed twice, appraised and talked about, and its award."""
    group, network, round = scene.county.groups["Gullhaven Meadow Makers"], scene.county.network, scene.round
    project = scene.county.projects["Under the yews"]
    there = round.bids.count()
    for number in range(there + 1, there + rows + 1):
        now = NOW + timedelta(minutes=number)
        times = {"created_at": now, "updated_at": now}
        bid = Bid.objects.create(
            network=network, round=round, group=group, title=f"Bid {number}", asked_pence=100, starts_on=now.date(),
            ends_on=now.date(), **times,
        )  # fmt: skip
        text = BidSubmission.objects.create(bid=bid, number=1, content="{}", checksum="0" * 64, created_at=now)
        Bid.objects.filter(pk=bid.pk).update(state="decided", number=number, current=text)
        appraisal = BidAppraisal.objects.create(
            submission=text, release="1", request="{}", inputs_checksum="0" * 64, answer=FLAGGED,
            answer_checksum=hashlib.sha256(FLAGGED.encode()).hexdigest(),
        )  # fmt: skip
        put = FlagsPut.objects.create(bid=bid, appraisal=appraisal)
        for flag in range(1, MOST_FLAGS + 1):
            FlagAnswer.objects.create(put=put, flag=flag, number=1, text="Yes.")
        decision = Decision.objects.create(
            bid=bid,
            number=1,
            kind="full",
            amount_pence=100,
            state="published",
            published_at=now,
            letter="Yes.",
            **times,
        )
        Award.objects.create(
            round=round, group=group, bid=bid, decision=decision, amount_pence=100, committed_pence=100,
            accept_by=now.date(), starts_on=now.date(), ends_on=now.date(), report_due_on=now.date(), **times,
        )  # fmt: skip
        BidStage.objects.create(bid=bid, number=1, name="Sown", due_on=now.date(), amount_pence=100)
        for user in (scene.assessor, scene.second):
            review = Review.objects.create(bid=bid, assessor=user, sent_at=now, **times)
            for criterion in round.criteria.all():
                ReviewScore.objects.create(review=review, criterion=criterion, score=number % 4)
        RoundChoice.objects.create(
            round=round, release="1", request="{}", inputs_checksum=f"{number:064}", answer="{}", created_at=now,
            answer_checksum=hashlib.sha256(b"{}").hexdigest(),
        )  # fmt: skip
        GrantRound.objects.create(
            network=network, name=f"Round {number}", funder="Sands Trust", pot_pence=1, opens_at=NOW, state="announced",
            closes_at=now, starts_earliest_on=NOW.date(), longest_months=1, **times,
        )  # fmt: skip
        # and all that belongs to the first of the bids
        first = Award.objects.select_related("bid").order_by("pk")[0]
        asker = person(f"Reader {number}")
        kept = Review.objects.create(bid=first.bid, assessor=asker, sent_at=now, **times)
        ReviewScore.objects.create(review=kept, criterion=round.criteria.all()[0], score=1)
        BidNote.objects.create(bid=first.bid, author=asker, text="Ask them.")
        Interest.objects.create(round=round, user=asker, group=scene.county.groups["Brackwater Verges"])
        NetworkMembership.objects.create(network=network, user=asker, role="assessor")
        stage = BidStage.objects.create(
            bid=first.bid, number=number + 100, name=f"Stage {number}", due_on=now.date(), amount_pence=1
        )
        PaymentRequest.objects.create(award=first, stage=stage, amount_pence=1, evidence="Seen.", **times)
        ChangeRequest.objects.create(award=first, kind="seed", why="None left.", **times)
        AwardVisit.objects.create(award=first, on=now.date(), by_role="assessor", seen="Rattle.")
        MoneyReturned.objects.create(award=first, amount_pence=1, on=now.date())
        BidLine.objects.create(
            bid=first.bid, number=number, what="Seed", category="seed", paid_by="grant", quantity_milli=1000,
            unit_price_pence=1, net_pence=1, gross_pence=1,
        )  # fmt: skip
        BidPromise.objects.create(bid=first.bid, kind="plant", project=project, plant="orchids", amount=1, by_year=2030)
        BidProject.objects.create(bid=first.bid, project=_one_more(scene, number, now))
        BidSubmission.objects.create(bid=first.bid, number=number + 100, content="{}", checksum="0" * 64)
        Decision.objects.create(
            bid=first.bid,
            number=number + 100,
            kind="refused",
            state="superseded",
            reason="No.",
            published_at=now,
            **times,
        )
        AuditEntry(at=now, actor=asker, via="page", act="bid_change", noun="bid", object_id=first.bid.public_id).save()
    GrantRound.objects.filter(pk=round.pk).update(committed_pence=round.bids.count() * 100)


def _one_more(scene, number, now):
    lead = scene.county.as_(scene.county.lead)
    group = scene.county.groups["Gullhaven Meadow Makers"]
    site = sites.site_create(
        actor=lead,
        asked=SiteNew(
            group_id=group.public_id, name=f"Strip {number}", kind="field", area_m2=100.0,
            place=Place(grid_reference="TA 9834 3512"),
        ),
        now=now,
    )  # fmt: skip
    asked = ProjectNew(site_id=site.public_id, name=f"Meadow {number}")
    return meadows.project_create(actor=lead, asked=asked, now=now)


def addresses_of_round(scene):
    """Return what is measured of a round, by name; seen by its fund manager."""
    of_round = {"public_id": scene.round.public_id}
    award = Award.objects.select_related("bid", "decision").order_by("pk")[0]
    of_bid, of_award = {"public_id": award.bid.public_id}, {"public_id": award.public_id}
    api = {
        "v1-rounds": {}, "v1-round": of_round, "v1-assessors": of_round, "v1-interests": of_round,
        "v1-round-money": of_round, "v1-panel": of_round, "v1-choices": of_round,
        "v1-choice": {"public_id": RoundChoice.objects.order_by("pk")[0].public_id}, "v1-bids": {}, "v1-bid": of_bid,
        "v1-checklist": of_bid, "v1-submissions": of_bid, "v1-appraisal": of_bid, "v1-reviews": of_bid,
        "v1-notes": of_bid, "v1-history": of_bid, "v1-decisions": of_bid,
        "v1-decision": {"public_id": award.decision.public_id}, "v1-awards": {}, "v1-award": of_award,
        "v1-payments": of_award, "v1-changes": of_award, "v1-money-back": of_award, "v1-open-grants": {},
        "v1-flags": of_bid, "v1-visits": of_award,
        "v1-open-grants-csv": {},
    }  # fmt: skip
    return {name: reverse(name, kwargs=kwargs) for name, kwargs in api.items()}


def pages_of_round(scene):
    """Return the funder's pages that are measured, by name."""
    award = Award.objects.select_related("bid", "decision").order_by("pk")[0]
    of_round, of_bid = {"round_id": scene.round.public_id}, {"bid_id": award.bid.public_id}
    pages = {
        "fund-round": of_round, "fund-panel": of_round, "fund-choose": of_round, "fund-bid": of_bid,
        "fund-decision": {"decision_id": award.decision.public_id}, "fund-award": {"award_id": award.public_id},
        "fund-money": {"slug": scene.county.network.slug},
    }  # fmt: skip
    return {name: reverse(name, kwargs=kwargs) for name, kwargs in pages.items()}


def pages_of_bids(scene):
    """Return the pages of a round's group, and what everybody reads; seen by the group's lead."""
    award = Award.objects.select_related("bid", "group").order_by("pk")[0]
    pages = {
        "county-rounds": {"slug": scene.county.network.slug}, "round": {"round_id": scene.round.public_id},
        "group-bids": {"group_id": award.group.public_id}, "bid": {"bid_id": award.bid.public_id},
        "award": {"award_id": award.public_id},
    }  # fmt: skip
    return {name: reverse(name, kwargs=kwargs) for name, kwargs in pages.items()}


def test_pages_of_three_bids_and_of_thirty_ask_alike(client):
    scene = grants()
    client.force_login(scene.county.lead)
    grow_round(scene, 3)
    few = counts(pages_of_bids(scene), client)
    grow_round(scene, 27)
    assert counts(pages_of_bids(scene), client) == few
    assert few == json.loads(FILE.read_text(encoding="utf-8"))["bid_pages"]


def test_three_bids_and_thirty_ask_alike(client):
    scene = grants()
    caller = Caller(scene.manager)
    client.force_login(scene.manager)
    grow_round(scene, 3)
    caller.get("/api/v1/me/")
    client.get("/fund/")
    few = counts(addresses_of_round(scene), caller) | counts(pages_of_round(scene), client)
    grow_round(scene, 27)
    many = counts(addresses_of_round(scene), caller) | counts(pages_of_round(scene), client)
    assert many == few
    assert few == json.loads(FILE.read_text(encoding="utf-8"))["grants"]
