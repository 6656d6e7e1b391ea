"""Programs that call the API in somebody's name."""

import hashlib
import secrets
from datetime import timedelta

import orjson
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.utils import timezone

from projects.models import ApiToken

ALL = ("read", "write", "exact_places")


def token_for(user, scopes=ALL, **values):
    """Return the text of a new token."""
    text = f"forb_{secrets.token_urlsafe(32)}"
    ApiToken.objects.create(
        user=user,
        name="for tests",
        scopes=list(scopes),
        digest=hashlib.sha256(text.encode()).hexdigest(),
        begins=text[:10],
        expires_at=timezone.now() + timedelta(days=90),
        **values,
    )
    return text


class Form(dict):
    """What is sent as multipart/form-data; its files have a name."""


class Caller:
    """A client that speaks JSON, with a token or without."""

    def __init__(self, user=None, scopes=ALL):
        self.client = Client(raise_request_exception=True)
        self.headers = {"Authorization": f"Bearer {token_for(user, scopes)}"} if user is not None else {}

    def send(self, method, path, data=None, **headers):
        """Return the answer; header names may have _ for -. Bytes are sent as a CSV file, a Form as a form."""
        named = {name.replace("_", "-"): value for name, value in headers.items()} | self.headers
        if isinstance(data, Form):
            kind, body = MULTIPART_CONTENT, encode_multipart(BOUNDARY, data)
        else:
            kind = "text/csv" if isinstance(data, bytes) else "application/json"
            body = b"" if data is None else data if isinstance(data, bytes) else orjson.dumps(data)
        path = path if path.startswith(("/", "http")) else f"/api/v1/{path}"
        return self.client.generic(method, path, body, content_type=kind, headers=named)

    def get(self, path, **headers):
        return self.send("GET", path, **headers)

    def post(self, path, data=None, **headers):
        return self.send("POST", path, data, **headers)

    def patch(self, path, data, **headers):
        return self.send("PATCH", path, data, **headers)

    def delete(self, path, **headers):
        return self.send("DELETE", path, **headers)


def problem(answer, status, code):
    """Return the one problem an answer holds, of this status and code."""
    assert answer.status_code == status, (answer.status_code, answer.content[:500])
    assert answer.headers["Content-Type"] == "application/problem+json"
    found = answer.json()
    assert (found["status"], found["code"], found["type"]) == (status, code, f"/problems/{code}/")
    return found


def fault(answer, pointer, code):
    """Return the fault at a pointer of a 422."""
    found = problem(answer, 422, "invalid_request")["errors"]
    faults = {entry["pointer"]: entry for entry in found}
    assert pointer in faults, found
    assert faults[pointer]["code"] == code, faults[pointer]
    return faults[pointer]
