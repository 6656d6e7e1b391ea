"""Calls made up from the API's own description: none may end in an answer that it does not know, or a 500."""

import re

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from modelling.contracts import LEAST_DRAWS
from modelling.reading import read_as
from projects.choices import NetworkRole
from projects.contracts.returns import ReturnNew
from projects.models import Membership
from projects.services.returns import return_send
from tests.projects.api.caller import token_for
from tests.projects.api.test_access_of_routes import RoundsAndBids
from tests.projects.county import NOW, appoint, saltmere

# What is valid by its schema may still name a plant that is none, ask for too much, or be somebody else's.
CHECKS = {
    "positive_data_acceptance": {"expected-statuses": ["2xx", "401", "403", "404", "409", "412", "422", "428"]},
    "missing_required_header": {"expected-statuses": ["401", "428"]},
    # Whoever is not signed in is the public, which some addresses answer.
    "ignored_auth": {"enabled": False},
}
CONFIG = SchemathesisConfig.from_dict({"checks": CHECKS})
_application = get_wsgi_application()


def application(environ, start_response):
    """Serve as in earnest, but leave the connection that holds the test's transaction open, as Django's client does."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    try:
        response = _application(environ, start_response)
        body = list(response)
        response.close()
    finally:
        for signal in (request_started, request_finished):
            signal.connect(close_old_connections)
    return body


schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", application, config=CONFIG)
# Where a call is sent to things there are, what was made up to be wrong about its address becomes right.
known_things = schemathesis.openapi.from_wsgi(
    "/api/v1/schema/",
    application,
    config=SchemathesisConfig.from_dict({"checks": {**CHECKS, "negative_data_rejection": {"enabled": False}}}),
)
NOUNS = (
    r"/v1/(networks|groups|memberships|sites|permissions|soil-tests|other-funding|projects|forecasts|diary|jobs|audit"
    r"|returns|questions|rounds|choices|bids|decisions|awards|payments|changes)/"
)
#: acts of a group in grant rounds
BY_THE_GROUP = re.compile(
    r"^(POST|PATCH) .*/v1/(bids/({public_id}/(moves/)?)?$|awards/{public_id}/(moves|report|payments|changes)/)"
)
#: walked out of season, which is asked about
SEEN = {"label": "1", "records": [{"name": "cranesbill?"}]}
FEWER = settings(max_examples=3, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
FEW = settings(max_examples=12, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))


def small(case):
    """Make an estimate a small one where it says nothing of the size: a thousand of the usual size take a minute."""
    if isinstance(case.body, dict) and case.path in {"/api/v1/estimates/", "/api/v1/comparisons/"}:
        case.body.setdefault("draws", LEAST_DRAWS)
        case.body.setdefault("horizon_years", 2)
    return case


# Small fixed samples; `schemathesis run` against a served demo goes as deep as time allows.
# The database, since the bare application looks after its connection, if an earlier test has left one open.
@pytest.mark.django_db
@schema.exclude(path_regex=NOUNS).parametrize()
@FEW
def test_no_made_up_call_of_the_public_breaks_the_description(case):
    small(case).call_and_validate()


@pytest.fixture
def known(db):
    """Return a coordinator's token and a lead's, and ids of things there are for each.

    The coordinator is fund manager and assessor as well, and the lead acts in grant rounds for the group.
    """
    county = saltmere()
    site, project = county.sites["Long Paddock"], county.projects["Paddock to hay"]
    group = county.groups["Gullhaven Meadow Makers"]
    outcome, _ = return_send(
        actor=county.as_(county.lead),
        project_id=project.public_id,
        asked=read_as(ReturnNew, {"year": 2026, "visits": [{"on": "2026-04-10", "quadrats": [SEEN]}]}),
        now=NOW,
    )
    things = {
        "networks": county.network, "groups": group, "memberships": Membership.objects.filter(group=group).first(),
        "sites": site, "permissions": site.permissions.first(), "projects": project, "forecasts": project.baseline,
        "returns": outcome, "questions": outcome.current.questions.first(),
    }  # fmt: skip
    for role in (NetworkRole.FUND_MANAGER, NetworkRole.ASSESSOR):
        appoint(county.coordinator, county.network, role)
    grants = RoundsAndBids(county.network, group, project, county.coordinator)
    things |= {
        "rounds": grants.round, "bids": grants.deciding, "decisions": grants.decision, "awards": grants.award,
        "payments": grants.payment, "changes": grants.change,
    }  # fmt: skip
    ids = {name: str(thing.public_id) for name, thing in things.items()}
    drafts = {"bids": str(grants.draft.public_id)}
    return (token_for(county.coordinator), ids), (token_for(county.lead), ids | drafts)


@known_things.include(path_regex=NOUNS).parametrize()
@FEWER
def test_no_made_up_call_of_a_coordinator_breaks_the_description(case, known):
    token, ids = known[bool(BY_THE_GROUP.search(f"{case.method} {case.path}"))]
    noun = case.path.split("/")[3]
    if noun in ids and "public_id" in case.path_parameters:
        case.path_parameters["public_id"] = ids[noun]
    case.call_and_validate(headers={"Authorization": f"Bearer {token}", "If-Match": "*"})
