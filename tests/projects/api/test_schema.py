"""The description of the API is valid, complete, and the one that was reviewed."""

from pathlib import Path

import orjson
import pytest
import yaml
from django.core.management import call_command
from django.urls import reverse
from jsonschema import Draft202012Validator, FormatChecker
from openapi_spec_validator import OpenAPIV31SpecValidator

from projects.api.errors import KINDS

SNAPSHOT = Path(__file__).parents[2] / "snapshots" / "openapi-v1.yaml"
REWRITE = "python manage.py refresh_examples"


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
    problem = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    told = set()
    for path, operations in schema["paths"].items():
        for method, operation in operations.items():
            responses = operation["responses"]
            assert responses["default"]["content"] == problem
            by_status = {int(status) for status in responses if status.isdigit() and int(status) >= 400}
            assert {400, 401, 406, 422} <= by_status, path
            assert ({413, 415} <= by_status) == (method in {"post", "patch"}), path
            # what is published is what was read
            changes = method in {"patch", "delete"} or path.endswith("/publish/")
            assert ({412, 428} <= by_status) == changes, path
            assert 404 in by_status or "{" not in path, path
            told |= by_status
    for status in told:
        response = schema["components"]["responses"][f"Problem{status}"]
        assert response["content"] == problem
        for code, kind in KINDS.items():
            assert (f"`{code}`" in response["description"]) == (kind.status == status)
    assert schema["components"]["schemas"]["Problem"]["properties"]["code"]["enum"] == sorted(KINDS)


def test_every_example_fits_what_it_is_an_example_of(generated):
    schema = yaml.safe_load(generated)
    looked_at = 0
    for operations in schema["paths"].values():
        for operation in operations.values():
            media = [operation["requestBody"]] if "requestBody" in operation else []
            media += [response for status, response in operation["responses"].items() if status.startswith("2")]
            for content in (
                part["content"]["application/json"] for part in media if "application/json" in part.get("content", {})
            ):
                for example in content.get("examples", {}).values():
                    validator = Draft202012Validator(
                        {"components": schema["components"], **content["schema"]}, format_checker=FormatChecker()
                    )
                    assert list(validator.iter_errors(example["value"])) == []
                    looked_at += 1
    assert looked_at == 22


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


@pytest.mark.django_db
def test_the_index_names_addresses_that_answer(client):
    index = client.get("/api/v1/").json()
    assert {"schema", "docs"} <= set(index)
    for address in index.values():
        # 405: an address that only takes POST is there all the same; 401: one that needs a token; 422: one that needs
        # to be told of which county.
        assert client.get(address).status_code in {200, 401, 405, 422}
