"""The health address: 200 if all that is needed can be reached, 503 if not."""

import pytest
from django.db import OperationalError, connection


@pytest.mark.django_db
def test_all_is_well(client):
    response = client.get("/health/")
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    assert response.json() == {"status": "well", "checks": {"database": "reached", "cache": "reached"}}


@pytest.mark.django_db
def test_a_cache_out_of_reach_is_503(client, settings):
    settings.CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1/0",
        }
    }
    response = client.get("/health/")
    assert response.status_code == 503
    assert response.json()["checks"] == {"database": "reached", "cache": "out of reach"}


def test_a_database_out_of_reach_is_503(client, monkeypatch):
    def refuse():
        raise OperationalError("connection refused")

    monkeypatch.setattr(connection, "cursor", refuse)
    response = client.get("/health/")
    assert response.status_code == 503
    assert response.json()["checks"] == {"database": "out of reach", "cache": "reached"}


@pytest.mark.django_db
def test_a_probe_in_plain_http_is_answered_where_everything_else_is_redirected(client, settings):
    settings.SECURE_SSL_REDIRECT = True
    assert client.get("/health/").status_code == 200
    assert client.get("/api/v1/").status_code == 301
