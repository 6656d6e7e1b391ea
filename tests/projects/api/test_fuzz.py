"""Calls made up from the API's own description: none may end in an answer that it does not know, or a 500."""

import schemathesis
from hypothesis import HealthCheck, settings

from config.wsgi import application

schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", application)


# A small fixed sample; `schemathesis run` against a served demo goes as deep as time allows.
@schema.parametrize()
@settings(max_examples=25, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_made_up_call_breaks_the_description(case):
    case.call_and_validate()
