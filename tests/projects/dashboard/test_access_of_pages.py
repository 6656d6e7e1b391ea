"""Every page x every role, for what belongs to a private garden: who gets in, and that the others change nothing.

A denied visitor is asked to sign in; what somebody may not see is not there (404); what they see and may not do is
refused (403). A page that is not in the table fails.
"""

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.projects.api.test_access_of_routes import (
    ALL,
    ASSESSOR,
    COORDINATOR,
    FUND,
    IN_NETWORK,
    LEADS,
    OPERATOR,
    OWN,
    SIGNED_IN,
    STAFF,
    Scene,
    everything,
)
from tests.projects.county import NOW

pytestmark = pytest.mark.django_db

#: who writes a group's bids
LEAD = frozenset({"lead"})
#: page: who may look at it, who may send its form, and what is told to others who are signed in
TABLE = {
    "front": (ALL, None, None),
    "plan": (ALL, None, None),
    "estimate": (ALL, None, None),
    "plan-sheet": (ALL, None, None),
    "sowing-day": (ALL, None, None),
    "how-we-know": (ALL, None, None),
    "sources": (ALL, None, None),
    "reference-table": (ALL, None, None),
    "health": (ALL, None, None),
    "health-live": (ALL, None, None),
    "health-ready": (ALL, None, None),
    # on this machine, as here; a stranger's tries stand in test_health
    "metrics": (ALL, None, None),
    "problem": (ALL, None, None),
    "home": (SIGNED_IN, None, None),
    "counties": (ALL, None, None),
    "network-new": (OPERATOR, OPERATOR, 403),
    "county": (ALL, None, None),
    "county-map": (ALL, None, None),
    "county-sites": (ALL, None, None),
    "county-year": (ALL, None, None),
    "county-year-map": (ALL, None, None),
    "county-set-up": (COORDINATOR | OPERATOR, COORDINATOR | OPERATOR, 403),
    "county-people": (COORDINATOR | OPERATOR, COORDINATOR | OPERATOR, 403),
    "county-forecast-all": (None, COORDINATOR, 403),
    "group": (ALL, None, None),
    "group-edit": (LEADS, LEADS, 403),
    "group-members": (OWN, OWN, 403),
    "group-forecast-all": (None, LEADS, 403),
    "group-invite": (LEADS, LEADS, 403),
    "network-invite": (COORDINATOR | OPERATOR, COORDINATOR | OPERATOR, 403),
    "site-new": (LEADS, LEADS, 403),
    "site": (OWN, None, 404),
    "site-edit": (LEADS, LEADS, 404),
    "site-remove": (LEADS, LEADS, 404),
    "site-permissions": (OWN, LEADS, 404),
    "site-soil-test": (OWN, LEADS, 404),
    "site-funding": (OWN, LEADS, 404),
    "project-new": (LEADS, LEADS, 404),
    "project": (OWN, None, 404),
    "project-edit": (LEADS, LEADS, 404),
    "project-plan": (LEADS, LEADS, 404),
    "project-forecast": (OWN, LEADS, 404),
    "project-forecast-one": (OWN, None, 404),
    "project-blend": (OWN, OWN, 404),
    "project-step": (LEADS, LEADS, 404),
    "project-diary": (OWN, None, 404),
    "project-diary-new": (OWN, OWN, 404),
    "project-diary-strike": (LEADS, LEADS, 404),
    "walk": (OWN, OWN, 404),
    "walk-sheet": (OWN, None, 404),
    "worker": (ALL, None, None),
    "project-sheet": (OWN, OWN, 404),
    "project-template": (OWN, None, 404),
    "project-template-csv": (OWN, None, 404),
    "group-sheet": (OWN, OWN, 403),
    "county-sheet": (COORDINATOR, COORDINATOR, 403),
    "upload": (OWN, OWN, 404),
    "upload-mended": (OWN, OWN, 404),
    "upload-refused": (OWN, None, 404),
    "county-returns": (SIGNED_IN, None, None),
    "return": (OWN, None, 404),
    "county-records": (ALL, None, None),
    "snapshot": (ALL, None, None),
    "return-records": (OWN, None, 404),
    "return-facts": (OWN, None, 404),
    "return-darwin-core": (OWN, None, 404),
    "return-names": (OWN, OWN, 404),
    "return-check": (COORDINATOR, COORDINATOR, 404),
    "return-question": (OWN, OWN, 404),
    "return-question-accept": (None, COORDINATOR, 404),
    "project-photos": (OWN, None, 404),
    "return-photo-new": (OWN, OWN, 404),
    "photo-withdraw": (LEADS, LEADS, 404),
    "photo-image": (OWN, None, 404),
    "group-hand-over": (LEADS, LEADS, 403),
    "group-handovers": (OWN, None, 403),
    "project-hand-over": (LEADS, LEADS, 404),
    "handover": (OWN, None, 404),
    "county-seed": (IN_NETWORK, None, 403),
    "seed-lot": (IN_NETWORK, None, 404),
    "seed-count": (IN_NETWORK, IN_NETWORK, 404),
    "seed-germination": (IN_NETWORK, IN_NETWORK, 404),
    "seed-promise": (COORDINATOR, COORDINATOR, 404),
    "seed-promise-move": (OWN, OWN, 404),
    "seed-weigh": (COORDINATOR, COORDINATOR, 404),
    "seed-gone": (COORDINATOR, COORDINATOR, 404),
    "seed-hold": (COORDINATOR, COORDINATOR, 404),
    "seed-new": (COORDINATOR, COORDINATOR, 403),
    "seed-donor": (IN_NETWORK, None, 404),
    "seed-agreement": (COORDINATOR, COORDINATOR, 404),
    "seed-harvest": (LEADS | {"other_lead"}, LEADS | {"other_lead"}, 404),
    "group-seed": (OWN, None, 403),
    "county-kit": (IN_NETWORK, None, 403),
    "county-kit-calendar": (IN_NETWORK, None, 403),
    "kit-new": (COORDINATOR, COORDINATOR, 403),
    "kit-item": (IN_NETWORK, None, 404),
    "kit-edit": (COORDINATOR, COORDINATOR, 404),
    "kit-book": (IN_NETWORK, IN_NETWORK, 404),
    "kit-fault": (IN_NETWORK, IN_NETWORK, 404),
    "kit-mend": (None, COORDINATOR, 404),
    "kit-shown": (COORDINATOR, COORDINATOR, 404),
    "county-plugs": (IN_NETWORK, None, 403),
    "plug-new": (COORDINATOR, COORDINATOR, 403),
    "plug-batch": (IN_NETWORK, None, 404),
    "plug-note": (OWN, OWN, 404),
    "plug-promise": (COORDINATOR, COORDINATOR, 404),
    "plug-promise-move": (None, COORDINATOR, 404),
    "county-green-hay": (IN_NETWORK, None, 403),
    "green-hay-new": (COORDINATOR, COORDINATOR, 403),
    "green-hay": (OWN, LEADS, 404),
    "group-kit": (OWN, None, 403),
    "share-outs": (COORDINATOR, COORDINATOR, 403),
    "share-out": (COORDINATOR, COORDINATOR, 404),
    "share-out-accept": (None, COORDINATOR, 404),
    "share-out-hold": (COORDINATOR, COORDINATOR, 404),
    "share-out-let-go": (None, COORDINATOR, 404),
    "share-out-harvest": (COORDINATOR, COORDINATOR, 404),
    "group-seed-wishes": (OWN, LEADS, 403),
    "kit-booking": (OWN, COORDINATOR, 404),
    "kit-cancel": (LEADS, LEADS, 404),
    "jobs": (SIGNED_IN, None, None),
    "job": (COORDINATOR | OPERATOR, COORDINATOR | OPERATOR, 404),
    "fund": (SIGNED_IN, None, None),
    "fund-round-new": (FUND, FUND, 403),
    "fund-money": (FUND | COORDINATOR, None, 403),
    "fund-round": (STAFF, None, 403),
    "fund-round-edit": (FUND, FUND, 403),
    "fund-round-move": (None, FUND, 403),
    "fund-assessors": (None, FUND, 403),
    "fund-interest": (STAFF, STAFF, 403),
    "fund-appraise": (None, FUND, 403),
    "fund-panel": (STAFF, None, 403),
    "fund-choose": (FUND, FUND, 403),
    "fund-choice": (STAFF, None, 404),
    "fund-bid": (STAFF, None, 404),
    "fund-score": (ASSESSOR, ASSESSOR, 404),
    "fund-note": (FUND | ASSESSOR, FUND | ASSESSOR, 404),
    "fund-seen": (FUND, FUND, 404),
    "fund-put": (FUND, FUND, 404),
    "fund-decide": (FUND, FUND, 404),
    "fund-decision": (STAFF, FUND, 404),
    "fund-publish": (FUND, FUND, 404),
    "fund-award": (STAFF, None, 404),
    "fund-award-move": (FUND, FUND, 404),
    "fund-visit": (FUND | ASSESSOR, FUND | ASSESSOR, 404),
    "fund-money-back": (FUND, FUND, 404),
    "fund-payment": (FUND, FUND, 404),
    "fund-change": (FUND, FUND, 404),
    "county-rounds": (ALL, None, None),
    "round": (ALL, None, None),
    "group-bids": (OWN, None, 403),
    "group-bid-new": (LEAD, LEAD, 403),
    "bid": (OWN, None, 404),
    "bid-edit": (LEAD, LEAD, 404),
    "bid-hand-in": (LEAD, LEAD, 404),
    "bid-receipt": (OWN, None, 404),
    "bid-handed-in": (OWN, None, 404),
    "bid-move": (None, LEAD, 404),
    "bid-withdraw": (LEAD, LEAD, 404),
    "bid-flag": (LEAD, LEAD, 404),
    "bid-letter": (OWN, None, 404),
    "award": (OWN, None, 404),
    "award-answer": (LEAD, LEAD, 404),
    "award-payment": (LEAD, LEAD, 404),
    "award-change": (LEAD, LEAD, 404),
    "award-report": (LEAD, LEAD, 404),
}
#: pages about what a network keeps for all its groups
OF_THE_POOL = {
    name for name in TABLE if name.startswith(("kit-", "plug-")) and name not in {"kit-booking", "kit-cancel"}
}
OF_THE_POOL |= {
    "seed-lot",
    "seed-count",
    "seed-promise",
    "seed-weigh",
    "seed-gone",
    "seed-hold",
    "seed-donor",
    "seed-agreement",
    "seed-harvest",
}
#: pages about whoever looks at them, or about a secret; they have tests of their own
OF_ONESELF = {
    "sign-in", "password-forgotten", "new-password", "sign-out", "account", "account-name", "account-email",
    "email-confirm", "account-password", "account-leave", "account-export", "account-erase", "token-new",
    "token-revoke", "invitation-withdraw", "invitation",
}  # fmt: skip


def pages(patterns=None, prefix=""):
    for entry in patterns if patterns is not None else get_resolver().url_patterns:
        path = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from pages(entry.url_patterns, path)
        elif isinstance(entry, URLPattern) and not path.startswith("api/"):
            yield entry.name


def test_every_page_is_in_the_table():
    assert sorted(set(pages())) == sorted({*TABLE, *OF_ONESELF})


def addresses(scene):
    """Return the address of every page of the table, about the private garden."""
    ids = {
        "slug": scene.county.network.slug, "group_id": scene.group.public_id, "group": scene.group.public_id,
        "site_id": scene.site.public_id, "project_id": scene.project.public_id,
        "forecast_id": scene.forecast.public_id, "entry_id": scene.work.public_id, "job_id": scene.job.public_id,
        "return_id": scene.outcome.public_id, "question_id": scene.question.public_id,
        "upload_id": scene.upload.public_id, "photo_id": scene.photo.public_id, "size": "small",
        "handover_id": scene.handover.public_id, "item_id": scene.kit.public_id, "booking_id": scene.booking.public_id,
        "fault_id": scene.fault.public_id, "share_out_id": scene.share_out.public_id, "place": 0,
        "lot_id": scene.lot.public_id, "donor_id": scene.donor.public_id,
        "round_id": scene.grants.round.public_id, "bid_id": scene.grants.read.public_id,
        "choice_id": scene.grants.choice.public_id, "decision_id": scene.grants.decision.public_id,
        "award_id": scene.grants.award.public_id, "payment_id": scene.grants.payment.public_id,
        "change_id": scene.grants.change.public_id,
        "snapshot_id": scene.snapshot.public_id,
        "batch_id": scene.plugs.public_id, "promise_id": scene.promised.public_id,
        "day_id": scene.hay.public_id,
        "name": "prices", "code": "not_found", "year": NOW.year,
        "part": "budget", "flag": 1,
    }  # fmt: skip
    found = {}
    for name in TABLE:
        arguments = {
            argument for _, arguments in get_resolver().reverse_dict.getlist(name)[0][0] for argument in arguments
        }
        of_seed = {"promise_id": scene.promise.public_id} if name.startswith("seed-") else {}
        found[name] = reverse(name, kwargs={argument: (ids | of_seed)[argument] for argument in arguments})
    return found


def test_every_role_at_every_page():
    scene = Scene()
    clients = {}
    for role, person in scene.people.items():
        clients[role] = Client()
        if person is not None:
            clients[role].force_login(person)
    before = everything()
    secrets = [scene.site.name, scene.project.name, "35789", str(scene.forecast.public_id)]
    wrong = []
    for name, path in addresses(scene).items():
        readers, senders, denied = TABLE[name]
        for role, client in clients.items():
            looked = client.get(path) if readers is not None else None
            sent = client.post(path) if senders is not None and role not in senders else None
            for allowed, answer in ((readers, looked), (senders, sent)):
                if answer is None:
                    continue
                if role in allowed:
                    expected = {200, 302, 422}
                elif role == "public" and denied != 404:
                    expected = {302}
                elif name.startswith("fund-"):
                    # whoever reads the bids sees the thing and may not do this; a group sees it from its own side
                    expected = {403} if role in STAFF else {denied}
                elif name.startswith(("bid", "award")):
                    # whoever reads bids sees that it is there; its pages are the group's
                    expected = {403} if role in OWN | STAFF else {denied}
                else:
                    # somebody of the group sees the thing and may not do this
                    inside = OWN | IN_NETWORK if name in OF_THE_POOL else OWN
                    seen = name != "job" and not name.startswith("share-out-") and name != "share-out"
                    expected = {403} if role in inside and seen else {denied or 302}
                if answer.status_code not in expected:
                    wrong.append((name, role, answer.status_code, expected))
                if role not in OWN and any(word in answer.text and word not in path for word in secrets):
                    wrong.append((name, role, "tells"))
    assert wrong == []
    after = everything()
    changed = {label for label in before if before[label] != after[label]}
    # looking at pages may begin a session
    assert changed <= {"sessions.Session"}
