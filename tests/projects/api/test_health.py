"""Probes and figures: what they say, what strangers hear, and what a log line holds."""

import json
import logging
import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from redis.exceptions import RedisError

from config import logs
from modelling.release import RELEASE
from projects.models import Job
from projects.selectors import running
from projects.services import jobs
from tests.projects.jobs import NOON, batch

ADDRESSES = ["/health/", "/health/ready"]
AWAY = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": "redis://127.0.0.1:1/0"},
}


@pytest.fixture(autouse=True)
def not_looked_yet(monkeypatch):
    monkeypatch.setattr(running, "_migrated", set())


@pytest.mark.django_db
@pytest.mark.parametrize("address", ADDRESSES)
def test_all_is_well(client, address):
    response = client.get(address)
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    assert response.json() == {"status": "well", "checks": {"database": "well", "migrations": "well", "cache": "well"}}


@pytest.mark.django_db
def test_a_cache_out_of_reach_is_503(client, settings):
    settings.CACHES = AWAY
    response = client.get("/health/ready")
    assert response.status_code == 503
    assert response.json()["checks"] == {"database": "well", "migrations": "well", "cache": "failing"}


def test_a_database_out_of_reach_is_503_and_the_process_lives(client, monkeypatch):
    def refuse():
        raise OperationalError("connection refused")

    monkeypatch.setattr(connection, "cursor", refuse)
    response = client.get("/health/ready")
    assert response.status_code == 503
    assert response.json()["checks"] == {"database": "failing", "migrations": "failing", "cache": "well"}
    assert client.get("/health/live").json() == {"status": "well"}
    figures = told(client.get("/metrics"))
    assert figures["forbcast_database_up"] == {(): 0}
    assert "forbcast_jobs" not in figures


@pytest.mark.django_db
def test_a_database_that_was_not_migrated_is_503_until_it_is(client):
    last = MigrationRecorder.Migration.objects.filter(app="projects").order_by("-name").first()
    last.delete()
    response = client.get("/health/ready")
    assert response.status_code == 503
    assert response.json()["checks"] == {"database": "well", "migrations": "failing", "cache": "well"}
    assert told(client.get("/metrics"))["forbcast_migrations_missing"] == {(): 1}
    MigrationRecorder(connection).record_applied("projects", last.name)
    assert client.get("/health/ready").status_code == 200


@pytest.mark.django_db
def test_probes_in_plain_http_and_by_number_are_answered_where_all_else_is_not(client, settings):
    settings.SECURE_SSL_REDIRECT = True
    settings.ALLOWED_HOSTS = ["meadows.example.org"]
    for address in [*ADDRESSES, "/health/live", "/metrics"]:
        assert client.get(address, headers={"host": "127.0.0.1:8000"}).status_code == 200
    assert client.get("/api/v1/", headers={"host": "meadows.example.org"}).status_code == 301
    assert client.get("/api/v1/", headers={"host": "127.0.0.1:8000"}, secure=True).status_code == 400


# ------------------------------------------------------------------ who is a stranger

ELSEWHERE = [
    {"REMOTE_ADDR": "203.0.113.9"},
    {"REMOTE_ADDR": ""},
    {"REMOTE_ADDR": "127.0.0.1", "HTTP_X_FORWARDED_FOR": "203.0.113.9"},
    {"REMOTE_ADDR": "127.0.0.1", "HTTP_X_FORWARDED_FOR": "127.0.0.1"},
    {"REMOTE_ADDR": "127.0.0.1", "HTTP_VIA": "1.1 proxy"},
]


@pytest.mark.django_db
@pytest.mark.parametrize("seen", ELSEWHERE)
def test_a_stranger_hears_no_more_than_whether_it_is_well(seen, settings):
    client = Client(**seen)
    assert client.get("/metrics").status_code == 404
    assert client.get("/health/ready").json() == {"status": "well"}
    settings.CACHES = AWAY
    failing = client.get("/health/ready")
    assert (failing.status_code, failing.json()) == (503, {"status": "failing"})


@pytest.mark.django_db
def test_with_a_token_set_only_the_token_counts(settings):
    settings.METRICS_TOKEN = "between us"
    here, there = Client(), Client(REMOTE_ADDR="203.0.113.9")
    assert here.get("/metrics").status_code == 404
    for client in (here, there):
        assert client.get("/metrics", headers={"authorization": "Bearer between us"}).status_code == 200
        assert client.get("/metrics", headers={"authorization": "Bearer between"}).status_code == 404
        assert client.get("/metrics", headers={"authorization": "Bearer ä"}).status_code == 404


@pytest.mark.django_db
def test_behind_a_proxy_that_is_told_of_nobody_is_from_this_machine(settings):
    settings.NUM_PROXIES = 1
    assert Client().get("/metrics").status_code == 404


# ------------------------------------------------------------------ figures


def told(response):
    """What the figures say, as Prometheus reads them: name -> labels -> value."""
    assert response.status_code == 200
    return {
        family.name: {tuple(sorted(sample.labels.items())): sample.value for sample in family.samples}
        for family in text_string_to_metric_families(response.content.decode())
    }


@pytest.mark.django_db
def test_the_figures_count_the_jobs_of_the_database(client):
    for number in range(3):
        batch(first=number + 1)
    taken = jobs.job_claim(now=NOON)
    Job.objects.filter(pk=taken.pk).update(lease_until=NOON)
    figures = told(client.get("/metrics"))
    counts = figures["forbcast_jobs"]
    # three queues times four states, each there though it is empty
    assert len(counts) == 12
    assert counts[("queue", "model"), ("state", "waiting")] == 2
    assert counts[("queue", "model"), ("state", "running")] == 1
    assert sum(counts.values()) == 3
    assert figures["forbcast_jobs_left_lying"] == {(): 1}
    waits = figures["forbcast_job_longest_wait_seconds"]
    assert waits[(("queue", "export"),)] == 0
    assert waits[(("queue", "model"),)] > timedelta(minutes=1).total_seconds()
    assert figures["forbcast_release_info"] == {(("release", RELEASE),): 1}
    assert (figures["forbcast_cache_up"], figures["forbcast_migrations_missing"]) == ({(): 1}, {(): 0})


# ------------------------------------------------------------------ the log


@pytest.fixture
def lines():
    """Lines of the log as a collecting machine reads them."""
    found = []

    class Keep(logging.Handler):
        def emit(self, record):
            found.append(self.format(record))

    handler = Keep()
    handler.setFormatter(logs.JsonLines())
    names = [logging.getLogger(name) for name in ("forbcast.request", "django.request", "forbcast.test")]
    levels = [logger.level for logger in names]
    for logger in names:
        logger.addHandler(handler)
        logger.setLevel(logging.INFO)
    yield found
    for logger, level in zip(names, levels, strict=True):
        logger.removeHandler(handler)
        logger.setLevel(level)


@pytest.mark.django_db
def test_a_request_is_one_line_that_tells_of_nobody(client, lines):
    secret = "9b2f7f3e-7d0e-4c7f-9d3a-2f1c0a5b6c7d"
    response = client.get(
        f"/api/v1/sites/{secret}/?near=SE+1234",
        headers={"x-request-id": "probe-2026-11", "user-agent": "A. Person's browser"},
        REMOTE_ADDR="203.0.113.9",
    )
    assert response.status_code == 422
    assert response.headers["X-Request-ID"] == "probe-2026-11"
    (line,) = [found for found in map(json.loads, lines) if found["logger"] == "forbcast.request"]
    assert line.pop("ms") >= 0
    assert line.pop("time").endswith("+00:00")
    assert line == {
        "level": "info", "logger": "forbcast.request", "text": "request", "request": "probe-2026-11", "method": "GET",
        "route": "api/v1/sites/<uuid:public_id>/", "status": 422,
    }  # fmt: skip
    for word in (secret, "SE+1234", "203.0.113.9", "browser"):
        assert word not in "".join(lines)


@pytest.mark.parametrize("given", ["short", "x" * 65, "me@example.org", "a b c d e f", "id\u00e4-12345678"])
def test_a_name_of_a_request_that_may_tell_something_is_replaced(client, lines, given):
    named = client.get("/health/live", headers={"x-request-id": given}).headers["X-Request-ID"]
    assert re.fullmatch(r"[0-9a-f]{32}", named)
    assert json.loads(lines[-1])["request"] == named


def test_two_requests_have_two_names(client):
    names = {client.get("/health/live").headers["X-Request-ID"] for _ in range(2)}
    assert len(names) == 2


def test_an_error_is_told_by_its_kind_and_places_and_not_by_what_it_quotes(lines):
    try:
        raise ValueError("Key (email)=(somebody@example.org) already exists")
    except ValueError:
        logging.getLogger("forbcast.test").exception("It went wrong")
    line = json.loads(lines[-1])
    assert (line["error"], line["text"], line["level"]) == ("ValueError", "It went wrong", "error")
    assert "test_an_error_is_told" in line["at"][0]
    assert "somebody" not in lines[-1]


def test_a_path_that_holds_a_secret_is_not_logged(lines):
    logging.getLogger("django.request").error("%s: %s", "Internal Server Error", "/invitation/s3cret/")
    assert "s3cret" not in lines[-1]


@pytest.mark.django_db
def test_a_lost_cache_does_not_take_reading_away(client, settings):
    settings.CACHES = AWAY
    with pytest.raises(RedisError):
        cache.set("a", 1)
    assert client.get("/api/v1/sites/").status_code == 200
    assert client.get("/county/").status_code == 200
