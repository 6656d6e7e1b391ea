"""Every error under /api/ has one shape and a stable code."""

import pytest
from django.test import Client
from django.urls import reverse

from projects.api.errors import KINDS, FieldProblem, Problem, pointer

pytestmark = pytest.mark.urls("tests.projects.api.urls")


@pytest.fixture
def client():
    return Client(raise_request_exception=False)


def post(client, body, content_type="application/json", path="/api/echo/"):
    return client.post(path, data=body, content_type=content_type)


def assert_problem(response, status, code):
    assert response.headers["Content-Type"] == "application/problem+json"
    problem = response.json()
    assert (response.status_code, problem["status"], problem["code"]) == (status, status, code)
    assert set(problem) == {"type", "title", "status", "code", "detail", "errors"}
    assert problem["type"] == f"/problems/{code}/"
    assert problem["title"] == KINDS[code].title
    return problem


def test_a_good_object_comes_back_unchanged(client):
    response = post(client, '{"site": {"area_m2": 400.5, "name": "Köhler’s bank"}, "n": 0}')
    assert response.status_code == 200
    assert response.json() == {"site": {"area_m2": 400.5, "name": "Köhler’s bank"}, "n": 0}


@pytest.mark.parametrize(
    "body",
    [
        b'{"area_m2": ',
        b"[" * 60_000,
        b'{"a":' * 2_000 + b"1" + b"}" * 2_000,
        b'{"area_m2": NaN}',
        b'{"area_m2": Infinity}',
        b'{"area_m2": 1e400}',
        b'{"area_m2": -1e400}',
        b'{"name": "\\ud800"}',
        b'{"name": "\xff"}',
        '{"area_m2": 400}'.encode("utf-16"),
        b"{'area_m2': 400}",
        b'{"area_m2": 400} and more',
        b" ",
    ],
)
def test_what_is_not_json_is_400_and_says_where(client, body):
    problem = assert_problem(post(client, body), 400, "malformed_json")
    assert "line 1, column" in problem["detail"]


def test_json_100_000_deep_is_refused_for_its_size(client):
    assert_problem(post(client, b"[" * 100_000), 413, "body_too_large")


def test_nothing_sent_is_400(client):
    assert_problem(post(client, b""), 400, "empty_body")


@pytest.mark.parametrize(("size", "status"), [(65_536, 200), (65_537, 413), (66_560, 413)])
def test_a_body_may_have_64_kb_and_not_a_byte_more(client, size, status):
    body = b'{"name": "' + b"x" * (size - 12) + b'"}'
    assert len(body) == size
    response = post(client, body)
    assert response.status_code == status
    if status != 200:
        assert_problem(response, 413, "body_too_large")


@pytest.mark.parametrize(
    "content_type",
    ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "json", ""],
)
def test_another_content_type_is_415_and_names_the_right_one(client, content_type):
    response = post(client, b'{"area_m2": 400}', content_type=content_type)
    problem = assert_problem(response, 415, "unsupported_media_type")
    assert "application/json" in problem["detail"]


@pytest.mark.parametrize(
    ("body", "read"),
    [
        ("[]", "a list"),
        ("400", "a number"),
        ('"400"', "a text"),
        ("null", "null"),
        ("true", "true or false"),
    ],
)
def test_json_that_is_no_object_is_422_and_says_what_was_read(client, body, read):
    problem = assert_problem(post(client, body), 422, "invalid_request")
    assert problem["errors"] == [
        {
            "pointer": "",
            "code": "wrong_type",
            "detail": f"The body is {read}; it should be an object.",
            "expected": "object",
        }
    ]


def test_a_nul_character_is_422_and_pointed_at_in_values_and_names(client):
    problem = assert_problem(
        post(client, '{"site": {"na/me": ["ok", "a\\u0000b"]}, "x\\u0000": 1}'), 422, "invalid_request"
    )
    assert sorted((error["pointer"], error["code"]) for error in problem["errors"]) == [
        ("", "nul_character"),
        ("/site/na~1me/1", "nul_character"),
    ]


@pytest.mark.parametrize("path", ["/api/", "/api/v2/", "/api/v1/nothing/", "/api/v1/nothing", "/api/%00/"])
@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_an_unknown_address_is_404(client, path, method):
    assert_problem(getattr(client, method)(path), 404, "not_found")


def test_reading_without_the_last_slash_is_sent_on(client):
    response = client.get("/api/v1")
    assert (response.status_code, response.headers["Location"]) == (301, "/api/v1/")


def test_posting_without_the_last_slash_is_404_and_names_the_address_with_it(client):
    problem = assert_problem(post(client, b"{}", path="/api/echo"), 404, "not_found")
    assert problem["detail"] == "Nothing stands at '/api/echo'; addresses end with a slash: /api/echo/."


@pytest.mark.parametrize("method", ["get", "put", "delete", "options", "trace"])
def test_another_method_is_405_and_names_the_right_ones(client, method):
    response = getattr(client, method)("/api/echo/")
    assert response.headers["Allow"] == "POST"
    assert_problem(response, 405, "method_not_allowed")


def test_a_format_we_do_not_speak_is_406(client):
    assert_problem(client.get("/api/v1/", headers={"Accept": "application/xml"}), 406, "not_acceptable")


@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
def test_a_number_that_is_none_never_leaves_as_null(client, value):
    assert client.get("/api/number/?value=1.5").json() == {"seed_kg": 1.5}
    assert_problem(client.get(f"/api/number/?value={value}"), 500, "server_error")


def test_an_unforeseen_error_is_500_and_tells_nothing_of_its_inside(client):
    response = client.get("/api/number/?value=word")
    problem = assert_problem(response, 500, "server_error")
    assert "word" not in problem["detail"]


def test_a_host_we_do_not_answer_to_is_400(client):
    assert_problem(client.get("/api/v1/", headers={"Host": "elsewhere.example"}), 400, "bad_request")


def test_outside_the_api_errors_are_pages(client):
    response = client.get("/no-such-page/")
    assert response.status_code == 404
    assert response.headers["Content-Type"].startswith("text/html")


@pytest.mark.parametrize("code", KINDS)
def test_every_kind_is_explained_at_its_type(client, code):
    response = client.get(Problem(code, "x").as_dict()["type"])
    assert response.status_code == 200
    assert response.json() == {
        "code": code,
        "status": KINDS[code].status,
        "title": KINDS[code].title,
        "meaning": KINDS[code].meaning,
    }


def test_an_unknown_kind_is_404(client):
    assert client.get(reverse("problem", args=["no-such-kind"])).status_code == 404


def test_a_field_problem_leaves_out_what_was_not_given_but_keeps_null():
    assert FieldProblem("/a", "b", "c").as_dict() == {"pointer": "/a", "code": "b", "detail": "c"}
    assert FieldProblem("/a", "b", "c", value=None, expected=["x"], suggestions=("x",)).as_dict() == {
        "pointer": "/a",
        "code": "b",
        "detail": "c",
        "value": None,
        "expected": ["x"],
        "suggestions": ["x"],
    }


def test_pointers_escape_as_rfc_6901_shows():
    # RFC 6901, section 5: "/a~1b" names the key "a/b", "/m~0n" the key "m~n".
    assert pointer("a/b") == "/a~1b"
    assert pointer("m~n") == "/m~0n"
    assert pointer("foo", 0) == "/foo/0"
    assert pointer() == ""
