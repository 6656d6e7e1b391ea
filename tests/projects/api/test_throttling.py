"""The limit on anonymous estimates: 60 of the default size a minute and address, charged by cost."""

import itertools
from datetime import UTC, datetime

import pytest
import time_machine
from django.test import Client

from projects.api.throttling import CELLS_PER_WINDOW, DEFAULT_ESTIMATE_CELLS, cells

pytestmark = pytest.mark.urls("tests.projects.api.urls")
NOON = datetime(2026, 3, 21, 12, 0, 13, tzinfo=UTC)
_addresses = itertools.count(1)


@pytest.fixture
def minute(settings):
    settings.THROTTLE = True
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock


@pytest.fixture
def address():
    """An address that no other test has used, since a shared cache is never emptied."""
    number = next(_addresses)
    return f"10.0.{number // 250}.{number % 250}"


def ask(address, cells=DEFAULT_ESTIMATE_CELLS, **headers):
    return Client().get(f"/api/charged/?cells={cells}", REMOTE_ADDR=address, headers=headers)


def test_a_default_estimate_costs_3_200_000_cells():
    assert cells(draws=4_000, taxa=40, years=10) == DEFAULT_ESTIMATE_CELLS == 3_200_000
    assert cells(draws=500, taxa=40, years=10, options=12) == 4_800_000


def test_60_default_estimates_a_minute_pass_and_the_61st_waits_for_the_next(minute, address):
    assert [ask(address).status_code for _ in range(60)] == [200] * 60
    refused = ask(address)
    assert refused.status_code == 429
    assert refused.json()["code"] == "too_many_requests"
    # 13 s into the minute, 47 are left; one more for the fraction.
    assert refused.headers["Retry-After"] == "48"
    minute.shift(48)
    assert ask(address).status_code == 200


def test_a_refused_calculation_is_not_charged(minute, address):
    assert ask(address, CELLS_PER_WINDOW - 10).status_code == 200
    assert ask(address, 11).status_code == 429
    assert ask(address, 10).status_code == 200
    assert ask(address, 1).status_code == 429


def test_addresses_are_counted_apart(minute, address):
    assert ask(address, CELLS_PER_WINDOW).status_code == 200
    assert ask(address, 1).status_code == 429
    assert ask("203.0.113.9", 1).status_code == 200


def test_an_ipv6_network_of_one_household_counts_as_one(minute):
    assert ask("2001:db8:1:2::1", CELLS_PER_WINDOW).status_code == 200
    assert ask("2001:db8:1:2:ffff::9", 1).status_code == 429
    assert ask("2001:db8:1:3::1", 1).status_code == 200


def test_a_forwarded_address_is_not_believed_without_proxies(minute, address):
    assert ask(address, CELLS_PER_WINDOW).status_code == 200
    assert ask(address, 1, **{"X-Forwarded-For": "198.51.100.7"}).status_code == 429


def test_the_switch_turns_the_limit_off(minute, address, settings):
    settings.THROTTLE = False
    assert ask(address, CELLS_PER_WINDOW).status_code == 200
    assert ask(address, CELLS_PER_WINDOW).status_code == 200


def test_with_the_cache_away_estimates_go_on_and_the_log_says_so(minute, address, settings, caplog):
    settings.CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1/0",
        }
    }
    assert ask(address, CELLS_PER_WINDOW).status_code == 200
    assert ask(address, CELLS_PER_WINDOW).status_code == 200
    assert "not limited meanwhile" in caplog.text
    assert address not in caplog.text


@pytest.mark.redis
def test_the_count_is_shared_through_redis(minute, address, settings):
    assert settings.CACHES["default"]["BACKEND"].endswith("RedisCache")
    assert ask(address, CELLS_PER_WINDOW).status_code == 200
    assert ask(address, 1).status_code == 429
