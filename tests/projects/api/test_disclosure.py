"""What the public may read does not change by one byte when a private site comes, changes or goes."""

import re
import uuid
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from modelling.reading import read_as
from projects.contracts.exports import SnapshotNew
from projects.contracts.meadows import ProjectNew, WorkNew
from projects.contracts.returns import ReturnNew
from projects.contracts.sites import Place, SiteChange, SiteNew, SoilTestNew
from projects.models import Award, Bid, BidProject, BidSubmission, Decision, GrantRound, Network
from projects.rules.aggregates import GROUPINGS
from projects.rules.exports import FORMS
from projects.services import diary, meadows, returns, sites, snapshots
from projects.services.jobs import jobs_run_due
from tests.projects import seed
from tests.projects.api.caller import Caller
from tests.projects.county import NOW, appoint, person, saltmere
from tests.projects.services.test_counts import donor

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=3)
#: per-visit secrets of a form, which differ between any two answers
_TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]*"')


def patterns(found=None):
    for entry in found if found is not None else get_resolver().url_patterns:
        if isinstance(entry, URLResolver):
            yield from patterns(entry.url_patterns)
        elif isinstance(entry, URLPattern) and entry.name:
            yield entry.name


def addresses(county):
    """Return every address that can be read without knowing of the private site."""
    open_site = county.sites["Churchyard of Gullhaven"]
    project = county.projects["Paddock to hay"]
    by_name = {
        "v1-site": open_site, "v1-project": project, "site": open_site, "project": project,
    }  # fmt: skip
    found = []
    for name in sorted(set(patterns())):
        things = [by_name[name]] if name in by_name else [county.network, *county.groups.values()]
        for kwargs in [
            {}, *({"public_id": thing.public_id} for thing in things), {"slug": county.network.slug},
            {"slug": county.network.slug, "year": NOW.year},
            {"table": "prices"}, {"name": "prices"}, {"code": "not_found"}, {"site_id": open_site.public_id},
            {"project_id": project.public_id},
            *({"round_id": row.public_id} for row in GrantRound.objects.all()),
            *({"group_id": group.public_id} for group in county.groups.values()),
        ]:  # fmt: skip
            try:
                path = reverse(name, kwargs=kwargs)
            except NoReverseMatch:
                continue
            found.append(path)
    figures = f"/api/v1/aggregates/?network={county.network.public_id}"
    return [*found, figures, *(f"{figures}&by={by}" for by in GROUPINGS if by != "group")]


def read_all(county, paths, clients):
    """Return what each reader is told at each address."""
    told = {}
    for who, client in clients.items():
        for path in paths:
            answer = client.get(path)
            body = b"".join(answer.streaming_content) if answer.streaming else answer.content
            told[who, path] = (answer.status_code, _TOKEN.sub(b"", body))
    # files of records, made anew each time
    for who, client in clients.items():
        for table, forms in FORMS.items():
            for form in forms if isinstance(client, Caller) else ():
                answer = client.post("exports/", {"table": table, "form": form})
                told[who, table, form] = (answer.status_code, answer.content)
    return told


def kept(county):
    """A snapshot of what is open."""
    coordinator = county.as_(county.coordinator)
    asked = SnapshotNew(name="Summer", network_id=county.network.public_id)
    row = snapshots.snapshot_ask(actor=coordinator, asked=asked, now=timezone.now())
    jobs_run_due(clock=timezone.now)
    row.refresh_from_db()
    assert row.made_at is not None
    return row


def agreed(county, project_id, now):
    """Agree to a return of this year of a project, with a plant that its place may not be told of."""
    plants = [{"name": "bee orchid"}, {"name": "cowslip"}]
    walk = {"on": f"{now.year}-06-20", "quadrats": [{"label": "1", "litter_percent": 9, "records": plants}]}
    row, _ = returns.return_send(
        actor=county.as_(county.lead), project_id=project_id,
        asked=read_as(ReturnNew, {"year": now.year, "visits": [walk]}), now=now,
    )  # fmt: skip
    coordinator = county.as_(county.coordinator)
    for question in row.current.questions.all():
        returns.question_accept(actor=coordinator, public_id=question.public_id, now=now)
    returns.return_agree(actor=coordinator, return_id=row.public_id, comment="", if_version=None, now=now)


def awarded(county):
    """A settled round with one award, and its bid."""
    group, times = county.groups["Gullhaven Meadow Makers"], {"created_at": NOW, "updated_at": NOW}
    row = GrantRound.objects.create(
        network=county.network, name="Spring", funder="Sands Trust", state="settled", pot_pence=50_000,
        committed_pence=10_000, opens_at=NOW - timedelta(days=9), closes_at=NOW - timedelta(days=1),
        starts_earliest_on=NOW.date(), longest_months=24, **times,
    )  # fmt: skip
    bid = Bid.objects.create(
        network=county.network, round=row, group=group, title="Hay", asked_pence=10_000, starts_on=NOW.date(),
        ends_on=NOW.date(), **times,
    )  # fmt: skip
    text = BidSubmission.objects.create(bid=bid, number=1, content="{}", checksum="0" * 64)
    Bid.objects.filter(pk=bid.pk).update(state="decided", number=1, current=text)
    decision = Decision.objects.create(
        bid=bid, number=1, kind="full", amount_pence=10_000, state="published", published_at=NOW, letter="Yes.", **times
    )
    Award.objects.create(
        round=row, group=group, bid=bid, decision=decision, amount_pence=10_000, committed_pence=10_000,
        accept_by=NOW.date(), starts_on=NOW.date(), ends_on=NOW.date(), report_due_on=NOW.date(), **times,
    )  # fmt: skip
    return bid


def seed_paths(county):
    """Addresses of a lot, of a promise of it and of a donor meadow, each with what a stranger is told there."""
    row, meadow = seed.lot(county, "Barn"), donor(county)
    owed = seed.promise(county, row, 10.0)
    store = f"/county/{county.network.slug}"
    of_lot, of_donor = f"{store}/seed/{row.public_id}/", f"{store}/donors/{meadow.public_id}/"
    parts = ("", "count/", "germination/", "promise/", f"promises/{owed.public_id}/", "weigh/", "gone/", "hold/")
    api = ("", "history/", "counts/", "contents/", "germination-tests/")
    found = [*(of_lot + part for part in parts), *(of_donor + part for part in ("", "agree/", "harvest/"))]
    found += [f"/api/v1/lots/{row.public_id}/{part}" for part in api]
    return [(path, 404) for path in [*found, f"/api/v1/donors/{meadow.public_id}/"]]


def test_seed_and_its_donors_are_nothing_to_a_stranger():
    county = saltmere(sown=False)
    client, caller = Client(), Caller(county.stranger)
    client.force_login(county.stranger)
    for path, status in seed_paths(county):
        assert (caller if path.startswith("/api/") else client).get(path).status_code == status, path
        assert Client().get(path).status_code in {401, 404}, path


def test_to_whom_seed_was_promised_is_told_to_that_group_alone():
    county = saltmere(sown=False)
    lead, group = county.as_(county.lead), county.groups["Gullhaven Meadow Makers"]
    asked = SiteNew(
        group_id=group.public_id, name="Behind number nine", kind="garden", publicity="private", area_m2=30.0,
        place=Place(grid_reference="TA 98111 35222"),
    )  # fmt: skip
    site = sites.site_create(actor=lead, asked=asked, now=NOW)
    project = meadows.project_create(actor=lead, asked=ProjectNew(site_id=site.public_id, name="Yard of nine"), now=NOW)
    row = seed.lot(county, "Barn")
    seed.promise(county, row, 10.0, project_id=str(project.public_id), note="For Yard of nine.")
    told = {}
    for reader in (county.member, county.neighbour):
        client = Client()
        client.force_login(reader)
        shown = "".join(client.get(path).text for path in ("/county/saltmere/seed/", lot_page(row)))
        told[reader] = "Yard of nine" in shown
    assert told == {county.member: True, county.neighbour: False}


def lot_page(row):
    return f"/county/saltmere/seed/{row.public_id}/"


def test_a_private_site_comes_changes_and_goes_unseen():
    county = saltmere()
    bid = awarded(county)
    agreed(county, county.projects["Paddock to hay"].public_id, NOW)
    analyst = person("Una Teasel")
    appoint(analyst, county.network, "analyst")
    clients = {"public": Client(), "analyst": Caller(analyst), "stranger": Caller(county.stranger)}
    paths = addresses(county)
    found = kept(county)
    paths += [f"/api/v1/snapshots/{found.public_id}/", f"/snapshots/{found.public_id}/"]
    paths += [f"/api/v1/snapshots/{found.public_id}/files/{file.name}/" for file in found.files.all()]
    paths += [name for name, _ in seed_paths(county)]
    assert len(paths) > 50
    before = read_all(county, paths, clients)
    assert {status for status, _ in before.values()} <= {200, 302, 401, 403, 404, 405, 422}
    assert sum(status == 200 for status, _ in before.values()) > 30

    lead = county.as_(county.lead)
    group = county.groups["Gullhaven Meadow Makers"]
    site = sites.site_create(
        actor=lead,
        asked=SiteNew(
            group_id=group.public_id, name="Behind number nine", kind="garden", publicity="private", area_m2=30.0,
            place=Place(grid_reference="TA 98111 35222"), sward="flower_rich",
        ),
        now=LATER,
    )  # fmt: skip
    sites.soil_test_add(
        actor=lead, site_id=site.public_id, asked=SoilTestNew(taken_on=NOW.date(), soil_ph=6.0), now=LATER
    )
    project = meadows.project_create(actor=lead, asked=ProjectNew(site_id=site.public_id, name="Nine"), now=LATER)
    diary.work_add(
        actor=lead,
        project_id=project.public_id,
        asked=WorkNew(on=NOW.date(), what="cut", heads=2, person_hours=3.0, submission_id=uuid.uuid4()),
        now=LATER,
    )
    agreed(county, project.public_id, LATER)
    BidProject.objects.create(bid=bid, project=project)
    assert any(path.startswith("/rounds/") for path in paths)
    assert read_all(county, paths, clients) == before

    sites.site_change(
        actor=lead,
        public_id=site.public_id,
        asked=SiteChange(area_m2=3000.0, name="Elsewhere"),
        if_version=None,
        now=LATER,
    )
    assert read_all(county, paths, clients) == before

    other = sites.site_create(
        actor=lead,
        asked=SiteNew(
            group_id=group.public_id, name="Goes again", kind="garden", publicity="private", area_m2=30.0,
            place=Place(grid_reference="TA 98111 35222"),
        ),
        now=LATER,
    )  # fmt: skip
    sites.site_remove(actor=lead, public_id=other.public_id, if_version=None, now=LATER)
    assert read_all(county, paths, clients) == before
    # and the reading itself can tell: an open site is seen
    sites.site_change(
        actor=lead, public_id=site.public_id, asked=SiteChange(publicity="square_10_km"), if_version=None, now=LATER
    )
    assert read_all(county, paths, clients) != before
    assert Network.objects.count() == 1
