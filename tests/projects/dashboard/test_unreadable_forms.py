"""Forms that no browser sends: refused as malformed, not answered as a mistake of ours."""

import pytest
from django.test import Client

from tests.projects.county import saltmere


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content_type", "status"),
    [
        ("application/x-www-form-urlencoded; charset=utf-16", 400),
        ("application/x-www-form-urlencoded; charset=rot13", 400),
        ("multipart/form-data", 400),
        # read as a form without anything in it, and so without its token
        ("multipart/form-data; boundary=x", 403),
    ],
)
@pytest.mark.parametrize("path", ["/sign-in/", "/invitation/nothing/"])
def test_a_form_that_cannot_be_read_is_a_bad_request(path, content_type, status):
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    client.cookies["csrftoken"] = "a" * 32
    answer = client.generic("POST", path, b"csrfmiddlewaretoken=" + b"a" * 32, content_type=content_type)
    assert answer.status_code == status
    assert "text/html" in answer.headers["Content-Type"]


@pytest.mark.django_db
def test_bytes_that_are_no_text_are_asked_for_again_and_nothing_is_saved(client):
    county = saltmere()
    client.force_login(county.lead)
    group = county.groups["Gullhaven Meadow Makers"]
    path = f"/groups/{group.public_id}/edit/"
    # “Café” in Latin-1: the last byte is no UTF-8
    body = b"name=Gullhaven+Meadow+Makers&about=Caf%E9"
    answer = client.post(path, body, content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 422
    assert "did not arrive as text" in answer.text
    group.refresh_from_db()
    assert "Caf" not in group.about
