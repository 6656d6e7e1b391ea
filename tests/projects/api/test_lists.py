"""What the address of a list can say that no calendar and no database can follow."""

import base64

import pytest

from projects.api.errors import Problem
from projects.api.lists import Filter
from tests.projects.api.caller import Caller, problem
from tests.projects.county import saltmere

ID = "12345678-1234-1234-1234-123456789012"
pytestmark = pytest.mark.django_db


def cursor(text):
    return base64.urlsafe_b64encode(text.encode()).decode()


@pytest.fixture
def coordinator():
    return Caller(saltmere().coordinator)


@pytest.mark.parametrize(
    ("query", "code"),
    [
        # the first six figures alone would pass
        ("limit=0000509999999999", "out_of_range"),
        ("limit=000050" + "9" * 5000, "out_of_range"),
        # in UTC these are the year 0 and the year 10000
        ("changed_since=0001-01-01T00:00:00%2B14:00", "bad_date"),
        ("changed_since=9999-12-31T23:59:59-14:00", "bad_date"),
        (f"cursor={cursor(f'0001-01-01T00:00:00+14:00 {ID}')}", "bad_cursor"),
        (f"cursor={cursor(f'2026-01-01T00:00:00 {ID}')}", "bad_cursor"),
    ],
)
def test_what_leads_past_numbers_and_years_is_refused(query, code):
    (error,) = problem(Caller().get(f"sites/?{query}"), 422, "invalid_request")["errors"]
    assert (error["parameter"], error["code"]) == (query.partition("=")[0], code)


def test_the_record_of_acts_refuses_the_same(coordinator):
    for query, code in [
        ("since=0001-01-01T00:00:00%2B14:00", "bad_date"),
        (f"cursor={cursor('0001-01-01T00:00:00+14:00 5')}", "bad_cursor"),
        (f"cursor={cursor('2026-01-01T00:00:00+00:00 ' + '9' * 30)}", "bad_cursor"),
    ]:
        (error,) = problem(coordinator.get(f"audit/?{query}"), 422, "invalid_request")["errors"]
        assert error["code"] == code


def test_a_moment_of_any_zone_is_read():
    assert Caller().get("sites/?changed_since=0001-01-01T00:00:00Z").status_code == 200
    assert Caller().get("sites/?changed_since=9999-12-31T23:59:59%2B14:00").json()["results"] == []


def test_a_year_has_four_figures_and_no_more():
    year = Filter("year", "year")
    assert year.read("year", "2026") == 2026
    for text in ("0000020269999999999999", "02026", "20", "1899", "2201"):
        with pytest.raises(Problem) as refusal:
            year.read("year", text)
        assert refusal.value.errors[0].code == "out_of_range"
