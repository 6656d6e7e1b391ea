"""The description of the API is valid, complete, and the one that was reviewed."""

from pathlib import Path

import orjson
import pytest
import yaml
from django.core.management import call_command
from django.urls import reverse
from openapi_spec_validator import OpenAPIV31SpecValidator

from projects.api.errors import KINDS

SNAPSHOT = Path(__file__).parents[2] / "snapshots" / "openapi-v1.yaml"
REWRITE = f"python manage.py spectacular --validate --fail-on-warn --file tests/snapshots/{SNAPSHOT.name}"


@pytest.fixture(scope="module")
def generated(tmp_path_factory):
    path = tmp_path_factory.mktemp("schema") / "openapi.yaml"
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(path))
    return path.read_text(encoding="utf-8")


def test_it_is_the_reviewed_one(generated):
    assert generated == SNAPSHOT.read_text(encoding="utf-8"), (
        f"The API's description has changed. If that is meant: {REWRITE}, then look at the difference."
    )


def test_it_is_valid_openapi_3_1(generated):
    schema = yaml.safe_load(generated)
    assert schema["openapi"].startswith("3.1.")
    assert list(OpenAPIV31SpecValidator(schema).iter_errors()) == []


def test_every_operation_tells_of_errors(generated):
    schema = yaml.safe_load(generated)
    operations = [operation for path in schema["paths"].values() for operation in path.values()]
    assert operations
    for operation in operations:
        content = operation["responses"]["default"]["content"]
        assert content == {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    assert schema["components"]["schemas"]["Problem"]["properties"]["code"]["enum"] == sorted(KINDS)


def test_it_is_served_in_json_and_yaml(client, generated):
    expected = yaml.safe_load(generated)
    in_json = client.get(reverse("v1-schema"))
    assert in_json.headers["Content-Type"].startswith("application/json")
    assert orjson.loads(in_json.content) == expected
    for response in (
        client.get(reverse("v1-schema"), headers={"Accept": "application/yaml"}),
        client.get(reverse("v1-schema-yaml")),
    ):
        assert response.headers["Content-Type"].startswith("application/yaml")
        assert yaml.safe_load(response.content) == expected


def test_the_index_names_addresses_that_answer(client):
    index = client.get("/api/v1/").json()
    assert {"schema", "docs"} <= set(index)
    for address in index.values():
        # 405: an address that only takes POST is there all the same.
        assert client.get(address).status_code in {200, 405}
