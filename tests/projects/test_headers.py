"""What every answer tells a browser to refuse."""

import pytest

POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data:",
    "font-src": "'self'",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


@pytest.mark.parametrize("path", ["/api/v1/", "/api/v1/docs/", "/api/nothing/", "/no-such-page/"])
def test_the_strict_policy_stands_on_every_answer(client, path):
    headers = client.get(path).headers
    directives = dict(part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))
    assert directives == POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"


def test_no_cookie_is_set(client):
    client.get("/api/v1/")
    client.get("/api/v1/docs/")
    assert not client.cookies
