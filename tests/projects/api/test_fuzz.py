"""Calls made up from the API's own description: none may end in an answer that it does not know, or a 500."""

import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from modelling.contracts import LEAST_DRAWS

# What is valid by its schema may still name a plant that is none, or ask for too much: JSON Schema cannot say so.
CONFIG = SchemathesisConfig.from_dict(
    {
        "checks": {
            "positive_data_acceptance": {"expected-statuses": ["2xx", "404", "422"]},
        }
    }
)
schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", get_wsgi_application(), config=CONFIG)


# A small fixed sample; `schemathesis run` against a served demo goes as deep as time allows.
# The database, since the bare application looks after its connection, if an earlier test has left one open.
@pytest.mark.django_db
@schema.parametrize()
@settings(max_examples=25, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_made_up_call_breaks_the_description(case):
    if isinstance(case.body, dict):
        # A small estimate, where it says nothing of the size: a thousand of the usual size take a minute.
        case.body.setdefault("draws", LEAST_DRAWS)
        case.body.setdefault("horizon_years", 2)
    case.call_and_validate()
