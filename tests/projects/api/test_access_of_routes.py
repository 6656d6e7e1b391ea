"""Every address of the API x every role: who gets in, and that a denied call changes and tells nothing.

What is acted on belongs to a private garden of one group, so that whoever may not see it must be told that it is not
there. The table is written out by hand; a route that is not in it fails.
"""

import hashlib
import uuid
from datetime import timedelta

import orjson
import pytest
from django.apps import apps
from django.db import connection, transaction
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from modelling.contracts.portfolio import PortfolioAnswer
from modelling.reading import read_as
from projects.choices import GroupRole, NetworkRole
from projects.contracts.donors import AgreementNew, DonorNew
from projects.contracts.handovers import HandoverNew
from projects.contracts.photos import PhotoNew
from projects.contracts.returns import ReturnNew
from projects.contracts.uploads import UploadAsked
from projects.models import (
    Award,
    Bid,
    BidAppraisal,
    BidProject,
    BidProof,
    BidStage,
    BidSubmission,
    ChangeRequest,
    Criterion,
    Decision,
    DonorMeadow,
    Export,
    FlagsPut,
    GrantRound,
    GreenHayDay,
    Job,
    KitBooking,
    KitFault,
    KitHalfDay,
    KitItem,
    KitShowing,
    Membership,
    OtherFunding,
    PaymentRequest,
    Permission,
    PlugBatch,
    PlugPromise,
    Review,
    RoundAssessor,
    RoundChoice,
    ShieldedTaxon,
    Snapshot,
    SnapshotFile,
    SoilTest,
    WorkEntry,
)
from projects.selectors.exports import export_path, snapshot_folder
from projects.services import donors
from projects.services.handovers import project_hand_over
from projects.services.jobs import job_create
from projects.services.meadows import forecast_create
from projects.services.photos import photo_add
from projects.services.returns import return_send
from projects.services.uploads import upload_create
from tests.projects import seed
from tests.projects.api.caller import Caller, Form
from tests.projects.county import NOW, appoint, empty_network, join, person, saltmere
from tests.projects.photos import jpeg, named
from tests.projects.share_outs import sharing

pytestmark = pytest.mark.django_db

ROLES = (
    "public", "stranger", "member", "lead", "other_lead", "coordinator", "other_coordinator", "assessor",
    "fund_manager", "analyst", "operator",
)  # fmt: skip
#: who gets in, in the table's short hand
ALL = frozenset(ROLES)
OWN = frozenset({"member", "lead", "coordinator"})
LEADS = frozenset({"lead", "coordinator"})
COORDINATOR = frozenset({"coordinator"})
OPERATOR = frozenset({"operator"})
SIGNED_IN = ALL - {"public"}
#: whoever belongs to a group of the network, and its coordinators
IN_NETWORK = OWN | {"other_lead"}
LEAD = frozenset({"lead"})
FUND = frozenset({"fund_manager"})
ASSESSOR = frozenset({"assessor"})
ANALYST = frozenset({"analyst"})
STAFF = frozenset({"coordinator", "assessor", "fund_manager"})

#: route and method: who gets in, and what the others are told: 404 where they may not see the thing, else 403
TABLE = {
    ("v1-index", "GET"): (ALL, None),
    ("v1-estimates", "POST"): (ALL, None),
    ("v1-comparisons", "POST"): (ALL, None),
    ("v1-vocabularies", "GET"): (ALL, None),
    ("v1-reference", "GET"): (ALL, None),
    ("v1-reference-sources", "GET"): (ALL, None),
    ("v1-reference-model-card", "GET"): (ALL, None),
    ("v1-reference-table", "GET"): (ALL, None),
    ("v1-schema", "GET"): (ALL, None),
    ("v1-schema-yaml", "GET"): (ALL, None),
    ("v1-docs", "GET"): (ALL, None),
    ("v1-networks", "GET"): (ALL, None),
    ("v1-networks", "POST"): (OPERATOR, 403),
    ("v1-network", "GET"): (ALL, None),
    ("v1-network", "PATCH"): (COORDINATOR | OPERATOR, 403),
    ("v1-districts", "GET"): (ALL, None),
    ("v1-districts", "POST"): (COORDINATOR, 403),
    ("v1-villages", "GET"): (ALL, None),
    ("v1-villages", "POST"): (COORDINATOR, 403),
    ("v1-network-forecasts", "POST"): (COORDINATOR, 403),
    ("v1-network-records", "GET"): (ALL, None),
    ("v1-network-facts", "GET"): (ALL, None),
    ("v1-network-darwin-core", "GET"): (ALL, None),
    ("v1-shielded-taxa", "GET"): (ALL, None),
    ("v1-shielded-taxa", "POST"): (COORDINATOR | OPERATOR, 403),
    ("v1-shielded-taxon", "GET"): (ALL, None),
    ("v1-shielded-taxon", "DELETE"): (COORDINATOR | OPERATOR, 403),
    ("v1-groups", "GET"): (ALL, None),
    ("v1-groups", "POST"): (COORDINATOR, 403),
    ("v1-group", "GET"): (ALL, None),
    ("v1-group", "PATCH"): (LEADS, 403),
    ("v1-members", "GET"): (OWN, 403),
    ("v1-group-forecasts", "POST"): (LEADS, 403),
    ("v1-membership", "PATCH"): (LEADS, 404),
    ("v1-membership", "DELETE"): (OWN, 404),
    ("v1-sites", "GET"): (ALL, None),
    ("v1-sites", "POST"): (LEADS, 403),
    ("v1-sites-geojson", "GET"): (ALL, None),
    ("v1-site", "GET"): (OWN, 404),
    ("v1-site", "PATCH"): (LEADS, 404),
    ("v1-site", "DELETE"): (LEADS, 404),
    ("v1-permissions", "GET"): (OWN, 404),
    ("v1-permissions", "POST"): (LEADS, 404),
    ("v1-permission", "GET"): (OWN, 404),
    ("v1-permission", "PATCH"): (LEADS, 404),
    ("v1-soil-tests", "GET"): (OWN, 404),
    ("v1-soil-tests", "POST"): (LEADS, 404),
    ("v1-soil-test", "DELETE"): (LEADS, 404),
    ("v1-other-funding", "GET"): (OWN, 404),
    ("v1-other-funding", "POST"): (LEADS, 404),
    ("v1-other-funding-entry", "DELETE"): (LEADS, 404),
    ("v1-projects", "GET"): (ALL, None),
    ("v1-projects", "POST"): (LEADS, 404),
    ("v1-project", "GET"): (OWN, 404),
    ("v1-project", "PATCH"): (LEADS, 404),
    ("v1-steps", "GET"): (OWN, 404),
    ("v1-steps", "POST"): (LEADS, 404),
    ("v1-plans", "GET"): (OWN, 404),
    ("v1-plans", "POST"): (LEADS, 404),
    ("v1-forecasts", "GET"): (OWN, 404),
    ("v1-forecasts", "POST"): (LEADS, 404),
    ("v1-forecast", "GET"): (OWN, 404),
    ("v1-forecast-answer", "GET"): (OWN, 404),
    ("v1-diary", "GET"): (OWN, 404),
    ("v1-diary", "POST"): (OWN, 404),
    ("v1-diary-strike", "POST"): (LEADS, 404),
    ("v1-returns", "GET"): (ALL, None),
    ("v1-project-returns", "POST"): (OWN, 404),
    ("v1-return", "GET"): (OWN, 404),
    ("v1-return-versions", "GET"): (OWN, 404),
    ("v1-return-result", "GET"): (OWN, 404),
    ("v1-return-records", "GET"): (OWN, 404),
    ("v1-return-facts", "GET"): (OWN, 404),
    ("v1-return-darwin-core", "GET"): (OWN, 404),
    ("v1-return-names", "POST"): (OWN, 404),
    ("v1-return-moves", "POST"): (COORDINATOR, 404),
    ("v1-question-answer", "POST"): (OWN, 404),
    ("v1-question-accept", "POST"): (COORDINATOR, 404),
    ("v1-returns-batch", "POST"): (SIGNED_IN, 401),
    ("v1-template", "GET"): (OWN, 404),
    ("v1-template-csv", "GET"): (OWN, 404),
    ("v1-project-uploads", "POST"): (OWN, 404),
    ("v1-group-uploads", "POST"): (OWN, 403),
    ("v1-network-uploads", "POST"): (COORDINATOR, 403),
    ("v1-uploads", "GET"): (ALL, None),
    ("v1-upload", "GET"): (OWN, 404),
    ("v1-upload", "DELETE"): (OWN, 404),
    ("v1-upload-rows", "GET"): (OWN, 404),
    ("v1-upload-refused", "GET"): (OWN, 404),
    ("v1-upload-refused-csv", "GET"): (OWN, 404),
    ("v1-upload-answers", "POST"): (OWN, 404),
    ("v1-upload-accept", "POST"): (OWN, 404),
    ("v1-rounds", "GET"): (ALL, None),
    ("v1-rounds", "POST"): (FUND, 403),
    ("v1-round", "GET"): (ALL, None),
    ("v1-round", "PATCH"): (FUND, 403),
    ("v1-round-moves", "POST"): (FUND, 403),
    ("v1-assessors", "GET"): (STAFF, 403),
    ("v1-assessors", "POST"): (FUND, 403),
    ("v1-interests", "GET"): (STAFF, 403),
    ("v1-interests", "POST"): (STAFF, 403),
    ("v1-round-money", "GET"): (COORDINATOR | FUND, 404),
    ("v1-panel", "GET"): (STAFF, 403),
    ("v1-round-appraisals", "POST"): (FUND, 404),
    ("v1-choices", "GET"): (STAFF, 403),
    ("v1-choices", "POST"): (FUND, 404),
    ("v1-choice", "GET"): (STAFF, 404),
    ("v1-bids", "GET"): (ALL, None),
    ("v1-bids", "POST"): (LEAD, 403),
    ("v1-bid", "GET"): (OWN, 404),
    ("v1-bid", "PATCH"): (LEAD, 404),
    ("v1-checklist", "GET"): (OWN, 404),
    ("v1-bid-moves", "POST"): (LEAD, 404),
    ("v1-submissions", "GET"): (OWN, 404),
    ("v1-proofs", "POST"): (FUND, 404),
    ("v1-appraisal", "GET"): (STAFF, 404),
    ("v1-flags", "GET"): (OWN | STAFF, 404),
    ("v1-flags", "POST"): (LEAD, 404),
    ("v1-flags-put", "POST"): (FUND, 404),
    ("v1-review", "GET"): (ASSESSOR, 404),
    ("v1-review", "POST"): (ASSESSOR, 404),
    ("v1-reviews", "GET"): (STAFF, 404),
    ("v1-notes", "GET"): (STAFF, 404),
    ("v1-notes", "POST"): (ASSESSOR | FUND, 404),
    ("v1-history", "GET"): (OWN | STAFF, 404),
    ("v1-decisions", "GET"): (OWN | STAFF, 404),
    ("v1-decisions", "POST"): (FUND, 404),
    ("v1-decision", "GET"): (STAFF, 404),
    ("v1-decision", "PATCH"): (FUND, 404),
    ("v1-decision-publish", "POST"): (FUND, 404),
    ("v1-awards", "GET"): (ALL, None),
    ("v1-award", "GET"): (OWN | STAFF, 404),
    ("v1-award-moves", "POST"): (LEAD, 404),
    ("v1-award-report", "POST"): (LEAD, 404),
    ("v1-visits", "GET"): (OWN | STAFF, 404),
    ("v1-visits", "POST"): (ASSESSOR | FUND, 404),
    ("v1-payments", "GET"): (OWN | STAFF, 404),
    ("v1-payments", "POST"): (LEAD, 404),
    ("v1-changes", "GET"): (OWN | STAFF, 404),
    ("v1-changes", "POST"): (LEAD, 404),
    ("v1-money-back", "GET"): (OWN | STAFF, 404),
    ("v1-money-back", "POST"): (FUND, 404),
    ("v1-payment-moves", "POST"): (FUND, 404),
    ("v1-change-moves", "POST"): (FUND, 404),
    ("v1-open-grants", "GET"): (ALL, None),
    ("v1-open-grants-csv", "GET"): (ALL, None),
    ("v1-return-photos", "GET"): (OWN, 404),
    ("v1-return-photos", "POST"): (OWN, 404),
    ("v1-project-photos", "GET"): (OWN, 404),
    ("v1-photo", "GET"): (OWN, 404),
    ("v1-photo", "DELETE"): (LEADS, 404),
    ("v1-photo-image", "GET"): (OWN, 404),
    ("v1-group-handovers", "GET"): (OWN, 403),
    ("v1-group-handovers", "POST"): (LEADS, 403),
    ("v1-project-handovers", "GET"): (OWN, 404),
    ("v1-project-handovers", "POST"): (LEADS, 404),
    ("v1-handover", "GET"): (OWN, 404),
    ("v1-network-kit", "GET"): (IN_NETWORK, 403),
    ("v1-network-kit", "POST"): (COORDINATOR, 403),
    ("v1-kit-item", "GET"): (IN_NETWORK, 404),
    ("v1-kit-item", "PATCH"): (COORDINATOR, 404),
    ("v1-kit-days", "GET"): (IN_NETWORK, 404),
    ("v1-kit-taken", "GET"): (IN_NETWORK, 404),
    ("v1-kit-showings", "GET"): (IN_NETWORK, 404),
    ("v1-kit-showings", "POST"): (COORDINATOR, 404),
    ("v1-kit-showing", "DELETE"): (COORDINATOR, 404),
    ("v1-kit-faults", "GET"): (IN_NETWORK, 404),
    ("v1-kit-faults", "POST"): (IN_NETWORK, 404),
    ("v1-kit-fault-mend", "POST"): (COORDINATOR, 404),
    ("v1-project-kit", "GET"): (OWN, 404),
    ("v1-project-kit", "POST"): (OWN, 404),
    ("v1-kit-booking", "GET"): (OWN, 404),
    ("v1-kit-booking-moves", "POST"): (COORDINATOR, 404),
    ("v1-network-plugs", "GET"): (IN_NETWORK, 403),
    ("v1-network-plugs", "POST"): (COORDINATOR, 403),
    ("v1-plug-batch", "GET"): (IN_NETWORK, 404),
    ("v1-plug-events", "GET"): (IN_NETWORK, 404),
    ("v1-plug-events", "POST"): (OWN, 404),
    ("v1-plug-promises", "GET"): (IN_NETWORK, 404),
    ("v1-plug-promises", "POST"): (COORDINATOR, 404),
    ("v1-plug-promise-moves", "POST"): (COORDINATOR, 404),
    ("v1-network-green-hay", "GET"): (IN_NETWORK, 403),
    ("v1-network-green-hay", "POST"): (COORDINATOR, 403),
    ("v1-green-hay", "GET"): (OWN, 404),
    ("v1-green-hay-moves", "POST"): (LEADS, 404),
    ("v1-project-calendar", "GET"): (OWN, 404),
    ("v1-aggregates", "GET"): (ALL, None),
    ("v1-private-years", "GET"): (ALL, None),
    ("v1-private-years", "POST"): (COORDINATOR, 403),
    ("v1-seed-blend", "POST"): (OWN, 404),
    ("v1-donors", "GET"): (ALL, None),
    ("v1-donors", "POST"): (COORDINATOR, 403),
    ("v1-donor", "GET"): (IN_NETWORK, 404),
    ("v1-donor", "PATCH"): (COORDINATOR, 404),
    ("v1-agreements", "POST"): (COORDINATOR, 404),
    ("v1-agreement-end", "POST"): (COORDINATOR, 404),
    ("v1-donor-harvests", "POST"): (LEADS | {"other_lead"}, 404),
    ("v1-harvests", "GET"): (ALL, None),
    ("v1-lots", "GET"): (ALL, None),
    ("v1-lots", "POST"): (COORDINATOR, 403),
    ("v1-lot", "GET"): (IN_NETWORK, 404),
    ("v1-lot", "PATCH"): (COORDINATOR, 404),
    ("v1-lot-moves", "POST"): (COORDINATOR, 404),
    ("v1-lot-split", "POST"): (COORDINATOR, 404),
    ("v1-lot-blends", "POST"): (COORDINATOR, 403),
    ("v1-lot-history", "GET"): (IN_NETWORK, 404),
    ("v1-lot-contents", "GET"): (IN_NETWORK, 404),
    ("v1-lot-counts", "GET"): (IN_NETWORK, 404),
    ("v1-lot-counts", "POST"): (IN_NETWORK, 404),
    ("v1-germination-tests", "GET"): (IN_NETWORK, 404),
    ("v1-germination-tests", "POST"): (IN_NETWORK, 404),
    ("v1-lot-promises", "POST"): (COORDINATOR, 404),
    ("v1-promises", "GET"): (ALL, None),
    ("v1-promise", "GET"): (OWN, 404),
    ("v1-promise-moves", "POST"): (COORDINATOR, 404),
    ("v1-exports", "GET"): (ALL, None),
    ("v1-exports", "POST"): (SIGNED_IN, 401),
    ("v1-exports-dictionary", "GET"): (ALL, None),
    ("v1-export", "GET"): (LEAD, 404),
    ("v1-export-file", "GET"): (LEAD, 404),
    ("v1-snapshots", "GET"): (ALL, None),
    ("v1-snapshots", "POST"): (COORDINATOR | ANALYST | OPERATOR, 403),
    ("v1-snapshot", "GET"): (ALL, None),
    ("v1-snapshot-file", "GET"): (ALL, None),
    ("v1-jobs", "GET"): (ALL, None),
    ("v1-job", "GET"): (COORDINATOR | OPERATOR, 404),
    ("v1-job-restart", "POST"): (COORDINATOR | OPERATOR, 404),
    ("v1-audit", "GET"): (SIGNED_IN, 401),
    ("v1-me", "GET"): (SIGNED_IN, 401),
}
#: those of the group who see a thing and may still not do this to it are told 403 instead of 404
MEMBERS_TOLD_403 = {"member", "lead"}
#: in grant rounds: who sees the thing and may not do this to it; those of the group do not see what is said of its bid
TOLD_403 = {
    **dict.fromkeys(
        [
            ("v1-donor", "PATCH"),
            ("v1-agreements", "POST"),
            ("v1-agreement-end", "POST"),
            ("v1-donor-harvests", "POST"),
            ("v1-lot", "PATCH"),
            ("v1-lot-moves", "POST"),
            ("v1-lot-split", "POST"),
            ("v1-lot-promises", "POST"),
        ],
        IN_NETWORK,
    ),
    ("v1-export", "GET"): frozenset(),
    ("v1-export-file", "GET"): frozenset(),
    ("v1-round-money", "GET"): ASSESSOR,
    ("v1-round-appraisals", "POST"): STAFF,
    ("v1-choices", "POST"): STAFF,
    ("v1-appraisal", "GET"): frozenset(),
    ("v1-choice", "GET"): frozenset(),
    ("v1-bid", "PATCH"): OWN,
    ("v1-bid-moves", "POST"): OWN,
    ("v1-proofs", "POST"): STAFF,
    ("v1-flags", "POST"): OWN | STAFF,
    ("v1-flags-put", "POST"): STAFF,
    ("v1-visits", "POST"): OWN | STAFF,
    ("v1-review", "GET"): frozenset(),
    ("v1-review", "POST"): STAFF,
    ("v1-reviews", "GET"): frozenset(),
    ("v1-notes", "GET"): frozenset(),
    ("v1-notes", "POST"): STAFF,
    ("v1-decisions", "POST"): STAFF,
    ("v1-decision", "GET"): frozenset(),
    ("v1-decision", "PATCH"): STAFF,
    ("v1-decision-publish", "POST"): STAFF,
    ("v1-award-moves", "POST"): OWN | STAFF,
    ("v1-award-report", "POST"): OWN | STAFF,
    ("v1-payments", "POST"): OWN | STAFF,
    ("v1-changes", "POST"): OWN | STAFF,
    ("v1-money-back", "POST"): OWN | STAFF,
    ("v1-payment-moves", "POST"): OWN | STAFF,
    ("v1-change-moves", "POST"): OWN | STAFF,
    **dict.fromkeys(
        [
            ("v1-kit-item", "PATCH"), ("v1-kit-showings", "POST"), ("v1-kit-showing", "DELETE"),
            ("v1-kit-fault-mend", "POST"), ("v1-plug-events", "POST"), ("v1-plug-promises", "POST"),
        ],
        IN_NETWORK,
    ),
}  # fmt: skip


def routes(patterns=None, prefix=""):
    """Yield the name and the view of every address under /api/v1/."""
    for entry in patterns if patterns is not None else get_resolver().url_patterns:
        path = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from routes(entry.url_patterns, path)
        elif isinstance(entry, URLPattern) and path.startswith("api/v1/"):
            yield entry.name, entry.callback


def methods(view):
    """Return the methods an API view takes, apart from those that HTTP derives."""
    return {method.upper() for method in view.cls.http_method_names if hasattr(view.cls, method)} - {"HEAD", "OPTIONS"}


def test_every_route_and_method_is_in_the_table():
    there = {(name, method) for name, view in routes() for method in methods(view)}
    assert there == set(TABLE)


#: a walk in which one row cannot be read and one name is doubted
SHEET = b"Date,1 July 2026\nSpecies,Q1 %,Q2 %\nYarrow,10,5\ncranesbill?,3,2\nRed clover,-5,3\n"


class Scene:
    """A county with a private garden, something of every kind in it, and somebody in every role."""

    def __init__(self):
        self.county = county = saltmere()
        group = county.groups["Gullhaven Meadow Makers"]
        self.site, self.project = county.sites["Wenna’s garden"], county.projects["Behind the house"]
        elsewhere = empty_network(name="Marram", slug="marram")
        second_lead = person("Isla Reed")
        join(second_lead, group, GroupRole.LEAD)
        people = {
            "public": None,
            "stranger": county.stranger,
            "member": county.member,
            "lead": county.lead,
            "other_lead": county.neighbour,
            "coordinator": county.coordinator,
            "other_coordinator": person("Odo Sandling"),
            "operator": county.operator,
        }
        appoint(people["other_coordinator"], elsewhere)
        for role in (NetworkRole.ASSESSOR, NetworkRole.FUND_MANAGER, NetworkRole.ANALYST):
            people[role.value] = person(f"{role.label} of the sands")
            appoint(people[role.value], county.network, role)
        self.people = people
        self.callers = {role: Caller(user) for role, user in people.items()}
        lead = county.as_(county.lead)
        self.forecast = forecast_create(actor=lead, project_id=self.project.public_id, now=NOW)
        now = {"created_at": NOW, "updated_at": NOW}
        self.soil_test = SoilTest.objects.create(site=self.site, taken_on=NOW.date(), soil_ph=6.5, **now)
        self.money = OtherFunding.objects.create(site=self.site, funder="Sands Trust", what_for="seed", **now)
        self.work = WorkEntry.objects.create(
            project=self.project, on=NOW.date(), what="cut", heads=1, person_minutes=60, created_by=second_lead, **now
        )
        with transaction.atomic():
            self.job = job_create(
                kind="forecasts", payload={"projects": [str(self.project.public_id)]}, actor_label="a test",
                network=county.network, now=NOW,
            )  # fmt: skip
        Job.objects.filter(pk=self.job.pk).update(state="failed", finished_at=NOW)
        asked = {
            "year": NOW.year,
            "visits": [{"on": f"{NOW.year}-04-10", "quadrats": [{"label": "1", "records": [{"name": "cranesbill?"}]}]}],
        }
        self.outcome, _ = return_send(
            actor=lead, project_id=self.project.public_id, asked=read_as(ReturnNew, asked), now=NOW
        )
        self.question = self.outcome.current.questions.get()
        self.upload, self.reading = upload_create(
            actor=lead, aim=self.project, asked=UploadAsked(year=NOW.year, filename="walk.csv"), data=SHEET,
            now=timezone.now(),
        )  # fmt: skip
        # agreed to be shown, which a private garden is not
        said = PhotoNew(taken_on=NOW.date(), point="by the gate", caption="Under snow", agreed=True, shown=True)
        self.photo, _ = photo_add(
            actor=county.as_(second_lead), return_id=self.outcome.public_id, asked=said, content=jpeg(), now=NOW
        )
        self.handover, _ = project_hand_over(
            actor=lead, project_id=self.project.public_id, asked=HandoverNew(things="In the shed."), now=NOW
        )
        self.shielded = ShieldedTaxon.objects.create(
            network=county.network, taxon="orchis_mascula", side_m=10_000, **now
        )
        self.kit, self.booking, self.fault, self.showing = kit_of(county, self.project)
        self.donor, self.agreement, self.lot, self.other_lot, self.promise = seed_store(county)
        with transaction.atomic():
            making = job_create(
                kind="export", payload={"export": str(uuid.uuid4()), "total": 1}, actor_label="a test", now=NOW
            )
        Job.objects.filter(pk=making.pk).update(state="failed", finished_at=NOW)
        self.export = Export.objects.create(
            table="records", form="csv", created_by=county.lead, job=making, rows=0, size_bytes=4, sha256="0" * 64,
            made_at=NOW, expires_at=timezone.now() + timedelta(days=1), **now,
        )  # fmt: skip
        self.snapshot = Snapshot.objects.create(
            name="Of a day", created_by=county.coordinator, release="1", made_at=NOW, **now
        )
        told = {"media_type": "text/csv", "rows": 0, "size_bytes": 4, "sha256": "0" * 64}
        SnapshotFile.objects.create(snapshot=self.snapshot, name="records.csv", **told)
        for path in (export_path(self.export), snapshot_folder(self.snapshot) / "records.csv"):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(b"id\r\n")
        self.share_out = sharing(county)
        self.plugs, self.promised, self.hay = plugs_and_hay(county, self.project)
        self.permission = Permission.objects.filter(site=self.site).first()
        self.membership = Membership.objects.get(group=group, user=county.member)
        self.group, self.elsewhere = group, elsewhere
        self.grants = RoundsAndBids(county.network, group, self.project, people["assessor"])

    def ids(self, name):
        """Return what stands in a route's address."""
        things = {
            "v1-network": self.county.network, "v1-districts": self.county.network, "v1-villages": self.county.network,
            "v1-private-years": self.county.network, "v1-network-forecasts": self.county.network,
            "v1-group": self.group, "v1-members": self.group,
            "v1-group-forecasts": self.group, "v1-membership": self.membership, "v1-site": self.site,
            "v1-permissions": self.site, "v1-soil-tests": self.site, "v1-other-funding": self.site,
            "v1-permission": self.permission, "v1-soil-test": self.soil_test, "v1-other-funding-entry": self.money,
            "v1-project": self.project, "v1-steps": self.project, "v1-plans": self.project,
            "v1-forecasts": self.project, "v1-diary": self.project, "v1-forecast": self.forecast,
            "v1-forecast-answer": self.forecast, "v1-diary-strike": self.work, "v1-job": self.job,
            "v1-job-restart": self.job, "v1-project-returns": self.project, "v1-return": self.outcome,
            "v1-return-versions": self.outcome, "v1-return-result": self.outcome, "v1-return-names": self.outcome,
            "v1-return-moves": self.outcome, "v1-question-answer": self.question, "v1-question-accept": self.question,
            "v1-template": self.project, "v1-template-csv": self.project, "v1-project-uploads": self.project,
            "v1-group-uploads": self.group, "v1-network-uploads": self.county.network, "v1-upload": self.upload,
            "v1-upload-rows": self.upload, "v1-upload-refused": self.upload, "v1-upload-refused-csv": self.upload,
            "v1-upload-answers": self.upload, "v1-upload-accept": self.upload,
            "v1-return-photos": self.outcome, "v1-project-photos": self.project, "v1-photo": self.photo,
            "v1-photo-image": self.photo, "v1-group-handovers": self.group, "v1-project-handovers": self.project,
            "v1-handover": self.handover, "v1-seed-blend": self.project, "v1-donor": self.donor,
            "v1-agreements": self.donor, "v1-donor-harvests": self.donor, "v1-agreement-end": self.agreement,
            "v1-lot-blends": self.county.network,
            **dict.fromkeys(
                (
                    "v1-lot", "v1-lot-moves", "v1-lot-split", "v1-lot-history", "v1-lot-contents", "v1-lot-counts",
                    "v1-germination-tests", "v1-lot-promises",
                ),
                self.lot,
            ),
            "v1-promise": self.promise, "v1-promise-moves": self.promise,
            "v1-network-records": self.county.network, "v1-network-facts": self.county.network,
            "v1-network-darwin-core": self.county.network, "v1-shielded-taxa": self.county.network,
            "v1-shielded-taxon": self.shielded, "v1-return-records": self.outcome, "v1-return-facts": self.outcome,
            "v1-return-darwin-core": self.outcome,
            "v1-network-kit": self.county.network, "v1-kit-item": self.kit,
            "v1-kit-days": self.kit, "v1-kit-taken": self.kit, "v1-kit-showings": self.kit,
            "v1-kit-showing": self.showing, "v1-kit-faults": self.kit, "v1-kit-fault-mend": self.fault,
            "v1-project-kit": self.project, "v1-kit-booking": self.booking, "v1-kit-booking-moves": self.booking,
            "v1-export": self.export, "v1-export-file": self.export,
            "v1-snapshot": self.snapshot,
            "v1-project-calendar": self.project, "v1-network-plugs": self.county.network,
            "v1-plug-batch": self.plugs, "v1-plug-events": self.plugs, "v1-plug-promises": self.plugs,
            "v1-plug-promise-moves": self.promised, "v1-network-green-hay": self.county.network,
            "v1-green-hay": self.hay, "v1-green-hay-moves": self.hay,
            **self.grants.things(),
        }  # fmt: skip
        if name == "v1-snapshot-file":
            return {"public_id": self.snapshot.public_id, "name": "records.csv"}
        if name == "v1-reference-table":
            return {"table": "prices"}
        return {"public_id": things[name].public_id} if name in things else {}

    def body(self, name, method):
        """Return what is sent: something that would be taken from whoever may."""
        day = NOW.date().isoformat()
        bodies = {
            ("v1-estimates", "POST"): {"site": {"area_m2": 10}, "draws": 200},
            ("v1-comparisons", "POST"): {"site": {"area_m2": 10}, "draws": 200, "options": [{"name": "a"}]},
            ("v1-networks", "POST"): {"name": "Dunes", "slug": "dunes"},
            ("v1-network", "PATCH"): {"about": "changed"},
            ("v1-districts", "POST"): {"name": "New"},
            ("v1-villages", "POST"): {"name": "New", "grid_reference": "TA 98 35"},
            ("v1-exports", "POST"): {"table": "records"},
            ("v1-snapshots", "POST"): {"name": "New", "network_id": str(self.county.network.public_id)},
            ("v1-shielded-taxa", "POST"): {"taxon": "galium_verum", "side_m": 1000},
            ("v1-groups", "POST"): {"network_id": str(self.county.network.public_id), "name": "New"},
            ("v1-group", "PATCH"): {"about": "changed"},
            ("v1-membership", "PATCH"): {"role": "lead"},
            ("v1-sites", "POST"): {
                "group_id": str(self.group.public_id), "name": "New", "kind": "field", "area_m2": 9,
                "place": {"grid_reference": "TA 98 35"},
            },
            ("v1-site", "PATCH"): {"shade": "sun"},
            ("v1-permissions", "POST"): {"label": "New"},
            ("v1-permission", "PATCH"): {"need": "not_needed"},
            ("v1-soil-tests", "POST"): {"taken_on": day, "soil_ph": 6.1},
            ("v1-other-funding", "POST"): {"funder": "New", "what_for": "seed"},
            ("v1-projects", "POST"): {"site_id": str(self.site.public_id), "name": "New"},
            ("v1-project", "PATCH"): {"name": "New"},
            ("v1-steps", "POST"): {"to": "lapsed", "cause": "unknown", "on": day},
            ("v1-plans", "POST"): {"plan": {}},
            ("v1-forecasts", "POST"): {},
            ("v1-diary", "POST"): {"on": day, "what": "cut", "note": "seen"},
            ("v1-diary-strike", "POST"): {"because": "wrong"},
            ("v1-project-returns", "POST"): {"year": NOW.year, "answered": "nothing_done"},
            ("v1-return-names", "POST"): {"name": "cranesbill?", "taxon": "geranium_pratense"},
            ("v1-return-moves", "POST"): {"to": "checking"},
            ("v1-question-answer", "POST"): {"answer": "It was the right day."},
            ("v1-returns-batch", "POST"): {
                "returns": [{"project_id": str(self.project.public_id), "year": NOW.year, "answered": "failed"}],
            },
            ("v1-project-uploads", "POST"): SHEET,
            ("v1-group-uploads", "POST"): SHEET,
            ("v1-network-uploads", "POST"): SHEET,
            ("v1-upload-answers", "POST"): {"answers": {"name:cranesbill": "geranium_pratense"}},
            ("v1-upload-accept", "POST"): {"preview": self.reading.preview},
            ("v1-return-photos", "POST"): Form(
                photo=named(jpeg(colour="red")), taken_on=day, point="by the gate", caption="Red", agreed="true"
            ),
            ("v1-network-kit", "POST"): {"name": "Rake", "kind": "hand_tools"},
            ("v1-kit-item", "PATCH"): {"note": "Oiled."},
            ("v1-kit-showings", "POST"): {"user_id": str(self.county.lead.public_id), "shown_on": day},
            ("v1-kit-faults", "POST"): {"what": "A tine is bent.", "found_on": day},
            ("v1-kit-fault-mend", "POST"): {"mended_on": timezone.localdate().isoformat()},
            ("v1-project-kit", "POST"): {
                "item_id": str(self.kit.public_id),
                "first_on": (timezone.localdate() + timedelta(days=60)).isoformat(),
            },
            ("v1-network-plugs", "POST"): {
                "taxon": "primula_veris", "sown_on": day, "sown_count": 9, "seed_from": "Given",
            },
            ("v1-plug-events", "POST"): {"what": "lost", "count": 1, "on": day},
            ("v1-plug-promises", "POST"): {"project_id": str(self.project.public_id), "count": 1},
            ("v1-plug-promise-moves", "POST"): {"to": "withdrawn"},
            ("v1-network-green-hay", "POST"): {
                "donor_id": str(self.hay.donor.public_id), "project_id": str(self.project.public_id),
                "donor_area_m2": 5.0, "receptor_area_m2": 10.0, "hours_to_spread": 1.0,
                "cut_on": (timezone.localdate() + timedelta(days=60)).isoformat(),
            },
            ("v1-green-hay-moves", "POST"): {"to": "called_off", "because": "Rain."},
            ("v1-kit-booking-moves", "POST"): {"to": "agreed"},
            ("v1-private-years", "POST"): {"year": NOW.year - 2},
            ("v1-group-handovers", "POST"): {"things": "In the barn."},
            ("v1-project-handovers", "POST"): {"went_wrong": "The cut came late."},
            **self.seed_bodies(),
            **self.grants.bodies(self),
        }  # fmt: skip
        return bodies.get((name, method))

    def seed_bodies(self):
        """Return what is sent about seed."""
        network, day = str(self.county.network.public_id), NOW.date().isoformat()
        return {
            ("v1-seed-blend", "POST"): {"top_ups": ["rhinanthus_minor"]},
            ("v1-donors", "POST"): {"network_id": network, "name": "New", "habitat": "dry", "area_m2": 9.0},
            ("v1-donor", "PATCH"): {"note": "changed"},
            ("v1-agreements", "POST"): {
                "signed_on": day, "starts_on": day, "ends_on": "2090-01-01", "window_opens": "07-01",
                "window_closes": "08-31", "area_m2": 9.0, "methods": ["hand"],
            },
            ("v1-agreement-end", "POST"): {"ended_on": day},
            ("v1-donor-harvests", "POST"): {
                "on": day, "method": "brush", "area_m2": 9.0, "fresh_g": 9.0, "lot_name": "New",
            },
            ("v1-lots", "POST"): {"network_id": network, "name": "New", "origin": "given", "grams": 9.0},
            ("v1-lot", "PATCH"): {"note": "changed"},
            ("v1-lot-moves", "POST"): {"act": "used", "grams": 1.0},
            ("v1-lot-split", "POST"): {"name": "New", "grams": 1.0},
            ("v1-lot-blends", "POST"): {
                "name": "New",
                "parts": [{"lot_id": str(lot.public_id), "grams": 1.0} for lot in (self.lot, self.other_lot)],
            },
            ("v1-lot-counts", "POST"): {"samples": [{"grams": 1.0, "counts": {"rhinanthus_minor": 9}}]},
            ("v1-germination-tests", "POST"): {
                "taxon": "rhinanthus_minor", "germinated": 1, "tested": 2, "on": day,
            },
            ("v1-lot-promises", "POST"): {"group_id": str(self.group.public_id), "grams": 1.0},
            ("v1-promise-moves", "POST"): {"to": "handed_over"},
        }  # fmt: skip


def seed_store(county):
    """A donor whose owner agreed to be named, with its agreement, two lots, and a promise of the first."""
    coordinator = county.as_(county.coordinator)
    said = {"network_id": str(county.network.public_id), "name": "Ness", "habitat": "dry", "area_m2": 9_000.0}
    donor = donors.donor_create(actor=coordinator, asked=read_as(DonorNew, said), now=NOW)
    agreed = {
        "signed_on": "2026-01-05", "starts_on": "2026-01-05", "ends_on": "2030-12-31", "window_opens": "07-01",
        "window_closes": "09-30", "area_m2": 4_000.0, "methods": ["brush"], "name_told": True,
    }  # fmt: skip
    agreement = donors.agreement_add(
        actor=coordinator, donor_id=donor.public_id, asked=read_as(AgreementNew, agreed), now=NOW
    )
    first, second = seed.lot(county, "One"), seed.lot(county, "Two")
    return donor, agreement, first, second, seed.promise(county, first, 10.0)


#: what a pot of nothing could buy
CHOSEN = orjson.dumps(
    PortfolioAnswer(
        sentence="There is nothing to choose from.", objective="score", unit="points", feasible=True, infeasible=[],
        solved=None, best=None, runner_up=None, prices=[], frontier=[], pins=[], not_chosen=[], chances=[],
        worlds_tried=0, worlds_telling=0,
    ).model_dump()
).decode()  # fmt: skip


#: of an appraisal, all that is read here
FLAGGED = orjson.dumps(
    {
        "flags": [
            {
                "code": "tax", "pointer": "/lines", "sentence": "No VAT is claimed.", "numbers": {"p10_gbp": 3.0},
                "source": "Tax", "confidence": "published", "can_answer": True, "question": "Why not?",
            }
        ]
    }
).decode()  # fmt: skip


class RoundsAndBids:
    """A round that is open with a draft, and one before its panel with bids in every state, all of one group."""

    def __init__(self, network, group, project, assessor):
        times = {"created_at": NOW, "updated_at": NOW}
        told = {
            "network": network, "funder": "Sands Trust", "pot_pence": 1_000_000, "starts_earliest_on": NOW.date(),
            "longest_months": 24, "opens_at": NOW - timedelta(days=9), **times,
        }  # fmt: skip
        self.open = GrantRound.objects.create(
            name="Open", state="announced", closes_at=NOW + timedelta(days=3650), **told
        )
        self.round = GrantRound.objects.create(
            name="Closed", state="panel", closes_at=NOW - timedelta(days=1), committed_pence=20_000, **told
        )
        self.criterion = Criterion.objects.create(round=self.round, position=1, name="Flowers", weight=1, most=5)
        RoundAssessor.objects.create(round=self.round, user=assessor)
        self.choice = RoundChoice.objects.create(
            round=self.round, release="1", request="{}", inputs_checksum="0" * 64, answer=CHOSEN,
            answer_checksum=hashlib.sha256(CHOSEN.encode()).hexdigest(),
        )  # fmt: skip
        self.draft = Bid.objects.create(network=network, round=self.open, group=group, title="Draft", **times)
        self.read, self.deciding, self.offered, self.running = (
            self.handed_in(network, group, number, times) for number in range(1, 5)
        )
        BidProof.objects.create(bid=self.read, what="accounts", has_it=True)
        BidProject.objects.create(bid=self.read, project=project)
        BidAppraisal.objects.create(
            submission=self.read.current, release="1", request="{}", inputs_checksum="0" * 64, answer=FLAGGED,
            answer_checksum=hashlib.sha256(FLAGGED.encode()).hexdigest(),
        )  # fmt: skip
        FlagsPut.objects.create(bid=self.read, appraisal=self.read.current.appraisals.get())
        BidAppraisal.objects.create(
            submission=self.deciding.current, release="1", request="{}", inputs_checksum="0" * 64, answer=FLAGGED,
            answer_checksum=hashlib.sha256(FLAGGED.encode()).hexdigest(),
        )  # fmt: skip
        self.review = Review.objects.create(bid=self.read, assessor=assessor, **times)
        self.decision = Decision.objects.create(
            bid=self.deciding, number=1, kind="refused", reason="Too few could be met.", letter="No.", **times
        )
        self.offer, self.award = (self.awarded(bid, times) for bid in (self.offered, self.running))
        Award.objects.filter(pk=self.award.pk).update(
            state="accepted", accepted_at=NOW, claimed_pence=6_000, paid_pence=3_000
        )
        stages = [
            BidStage.objects.create(bid=self.running, number=n, name=f"Stage {n}", due_on=NOW.date(), amount_pence=3000)
            for n in (1, 2, 3)
        ]
        asked = {"award": self.award, "amount_pence": 3_000, "evidence": "Seen.", **times}
        PaymentRequest.objects.create(stage=stages[0], state="paid", paid_on=NOW.date(), **asked)
        self.payment = PaymentRequest.objects.create(stage=stages[1], **asked)
        self.change = ChangeRequest.objects.create(
            award=self.award, kind="seed", before={"words": "a"}, after={"words": "b"}, why="None left.", **times
        )

    def handed_in(self, network, group, number, times):
        bid = Bid.objects.create(
            network=network, round=self.round, group=group, title=f"Bid {number}", asked_pence=10_000,
            starts_on=NOW.date(), ends_on=NOW.date(), **times,
        )  # fmt: skip
        text = BidSubmission.objects.create(bid=bid, number=1, content="{}", checksum="0" * 64)
        Bid.objects.filter(pk=bid.pk).update(state="submitted", number=number, current=text)
        bid.refresh_from_db()
        return bid

    def awarded(self, bid, times):
        decision = Decision.objects.create(
            bid=bid, number=1, kind="full", amount_pence=10_000, state="published", published_at=NOW, letter="Yes.",
            **times,
        )  # fmt: skip
        Bid.objects.filter(pk=bid.pk).update(state="decided")
        return Award.objects.create(
            round=self.round, group=bid.group, bid=bid, decision=decision, amount_pence=10_000, committed_pence=10_000,
            accept_by=NOW.date() + timedelta(days=3650), starts_on=NOW.date(), ends_on=NOW.date(),
            report_due_on=NOW.date(), **times,
        )  # fmt: skip

    def things(self):
        of = {
            self.round: "round round-moves assessors interests round-money panel choices round-appraisals",
            self.choice: "choice",
            self.draft: "bid checklist bid-moves submissions",
            self.deciding: "flags-put",
            self.read: "proofs appraisal flags review reviews notes history decisions",
            self.decision: "decision decision-publish",
            self.offer: "award-moves",
            self.award: "award award-report payments visits changes money-back",
            self.payment: "payment-moves",
            self.change: "change-moves",
        }
        return {f"v1-{name}": thing for thing, names in of.items() for name in names.split()}

    def bodies(self, scene):
        day = NOW.date().isoformat()
        times = {"opens_at": f"{day}T10:00:00Z", "closes_at": "2090-01-01T10:00:00Z", "starts_earliest_on": day}
        assessor, other = scene.people["assessor"], scene.county.groups["Brackwater Verges"]
        return {
            ("v1-rounds", "POST"): {
                "network_id": str(scene.county.network.public_id), "name": "New", "funder": "New", "pot_gbp": 1.0,
                **times,
            },
            ("v1-round", "PATCH"): {"about": "changed"},
            ("v1-round-moves", "POST"): {"to": "settled"},
            ("v1-assessors", "POST"): {"user_id": str(assessor.public_id), "appointed": False},
            ("v1-interests", "POST"): {"group_id": str(other.public_id)},
            ("v1-choices", "POST"): {},
            ("v1-bids", "POST"): {
                "round_id": str(self.open.public_id), "group_id": str(scene.group.public_id), "title": "New",
            },
            ("v1-bid", "PATCH"): {"title": "New"},
            ("v1-bid-moves", "POST"): {"to": "withdrawn"},
            ("v1-proofs", "POST"): {"what": "accounts", "seen_on": day},
            ("v1-review", "POST"): {"scores": [{"criterion": 1, "score": 3}]},
            ("v1-notes", "POST"): {"text": "Ask them."},
            ("v1-decisions", "POST"): {"kind": "full"},
            ("v1-decision", "PATCH"): {"reason": "Too few."},
            ("v1-award-moves", "POST"): {"to": "declined"},
            ("v1-award-report", "POST"): {"report": "It flowers."},
            ("v1-flags", "POST"): {"flag": 1, "text": "We buy from a farm."},
            ("v1-visits", "POST"): {"on": day, "seen": "Rattle."},
            ("v1-payments", "POST"): {"stage": 3, "amount_gbp": 30.0, "evidence": "Seen."},
            ("v1-changes", "POST"): {"kind": "site", "why": "Flooded.", "before": "bank", "after": "top"},
            ("v1-money-back", "POST"): {"amount_gbp": 1.0, "on": day},
            ("v1-payment-moves", "POST"): {"to": "refused", "comment": "Not yet."},
            ("v1-change-moves", "POST"): {"to": "refused", "comment": "Not yet."},
        }  # fmt: skip


def kit_of(county, project):
    """Something that is lent, with a booking for the private garden, a fault and somebody who was shown it."""
    times = {"created_at": NOW, "updated_at": NOW}
    kit = KitItem.objects.create(network=county.network, name="Scarifier", kind="scarifier", **times)
    on = timezone.localdate() + timedelta(days=30)
    booking = KitBooking.objects.create(
        item=kit, network=county.network, group=project.group, project=project, first_on=on, first_half=0, last_on=on,
        last_half=1, **times,
    )  # fmt: skip
    KitHalfDay.objects.create(item=kit, booking=booking, on=on, half=0)
    KitHalfDay.objects.create(item=kit, booking=booking, on=on, half=1)
    fault = KitFault.objects.create(item=kit, what="A belt slips.", found_on=NOW.date(), **times)
    showing = KitShowing.objects.create(item=kit, user=county.member, shown_on=NOW.date(), **times)
    return kit, booking, fault, showing


def plugs_and_hay(county, project):
    """A batch of plugs that the group looks after, promised in part to the private garden, and green hay for it."""
    times = {"created_at": NOW, "updated_at": NOW}
    of = {"network": county.network, "group": project.group, **times}
    batch = PlugBatch.objects.create(
        taxon="primula_veris", sown_on=NOW.date(), sown_count=50, pricked_out=40, alive=40, promised=10, **of
    )
    promise = PlugPromise.objects.create(batch=batch, project=project, count=10, **of)
    donor = DonorMeadow.objects.create(
        network=county.network, name="Wet Holm", habitat="damp", area_dm2=100_000, **times
    )
    on = timezone.localdate() + timedelta(days=30)
    hay = GreenHayDay.objects.create(
        donor=donor, project=project, donor_dm2=1_000, receptor_dm2=2_000, cut_on=on, spread_on=on,
        minutes_to_spread=60, **of,
    )  # fmt: skip
    return batch, promise, hay


def everything():
    """Return all rows there are, apart from when a token was last used."""
    found = {}
    with connection.cursor() as cursor:
        for model in apps.get_models():
            fields = [f.column for f in model._meta.concrete_fields if f.column != "last_used_on"]
            quoted = ", ".join(connection.ops.quote_name(column) for column in fields)
            cursor.execute(f"SELECT {quoted} FROM {connection.ops.quote_name(model._meta.db_table)}")  # noqa: S608
            found[model._meta.label] = sorted(map(repr, cursor.fetchall()))
    return found


class Undone(Exception):
    """Takes back what an allowed call did."""


def expected(role, name, method):
    """Return the status a denied role is told."""
    told = TABLE[name, method][1]
    if role == "public" and (method != "GET" or told == 401):
        return 401
    if (name, method) in TOLD_403:
        return 403 if role in TOLD_403[name, method] else told
    seen = role in MEMBERS_TOLD_403 and not name.startswith("v1-job")
    return 403 if told == 404 and seen else told


def test_every_role_at_every_route():
    scene = Scene()
    before = everything()
    secret = orjson.dumps(
        [scene.site.name, scene.project.name, "35789", str(scene.work.public_id), str(scene.forecast.public_id)]
    )
    wrong = []
    for (name, method), (allowed, _) in TABLE.items():
        path = reverse(name, kwargs=scene.ids(name))
        if name == "v1-aggregates":
            path += f"?network={scene.county.network.public_id}"
        body = scene.body(name, method)
        for role, caller in scene.callers.items():
            needs_tag = method in {"PATCH", "DELETE"} or name == "v1-decision-publish"
            headers = {"If_Match": "*"} if needs_tag else {}
            if name == "v1-site" and method == "DELETE" and role in allowed:
                continue  # a site with projects stays; the last test removes one without
            if name == "v1-membership" and method == "DELETE" and role == "member":
                continue  # ends the very membership that the others need; likewise
            try:
                with transaction.atomic():
                    computes = name in {"v1-forecasts", "v1-steps"} and method == "POST"
                    answer = caller.send(method, path, body, **headers) if not (computes and role in allowed) else None
                    if role in allowed:
                        raise Undone
            except Undone:
                pass
            if answer is None:
                continue
            if role in allowed:
                if not 200 <= answer.status_code < 300:
                    wrong.append((name, method, role, answer.status_code, answer.content[:200]))
                continue
            if answer.status_code != expected(role, name, method):
                wrong.append((name, method, role, answer.status_code, expected(role, name, method)))
            wrong += [
                (name, method, role, "tells", word)
                for word in orjson.loads(secret)
                if role not in OWN and word in answer.text and word not in path
            ]
    assert wrong == []
    after = everything()
    assert {label for label in before if before[label] != after[label]} == set()


@pytest.mark.parametrize("role", ["lead", "coordinator"])
def test_those_who_may_work_something_out(role):
    scene = Scene()
    caller = scene.callers[role]
    for name in ("v1-forecasts", "v1-steps"):
        answer = caller.post(reverse(name, kwargs=scene.ids(name)), scene.body(name, "POST"))
        assert answer.status_code == 201


def test_removing_what_nothing_rests_on():
    scene = Scene()
    lead = scene.callers["lead"]
    made = lead.post("sites/", scene.body("v1-sites", "POST"))
    assert lead.delete(f"sites/{made.json()['id']}/", If_Match="*").status_code == 204
    stays = lead.delete(f"sites/{scene.site.public_id}/", If_Match="*")
    assert (stays.status_code, stays.json()["code"]) == (409, "wrong_state")
    member = scene.callers["member"]
    assert member.delete(f"memberships/{scene.membership.public_id}/", If_Match="*").status_code == 204
    assert member.get(f"sites/{scene.site.public_id}/").status_code == 404


def test_what_is_not_there_reads_like_what_may_not_be_seen():
    scene = Scene()
    for name in ("v1-site", "v1-project", "v1-forecast", "v1-permission", "v1-job"):
        hidden = scene.callers["stranger"].get(reverse(name, kwargs=scene.ids(name)))
        public_id = scene.ids(name)["public_id"]
        other = uuid.uuid4()
        missing = scene.callers["stranger"].get(reverse(name, kwargs={"public_id": other}))
        assert hidden.text.replace(str(public_id), "") == missing.text.replace(str(other), "")
