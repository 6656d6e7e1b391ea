"""The checklist of a bid: each rule by the least bid that breaks it, and a whole bid that breaks none."""

from dataclasses import replace
from datetime import date

import pytest

from projects.choices import LineCategory
from projects.rules import bids as rules
from projects.rules.bids import BidFact, LineFact, ProjectFact, RoundFact, checklist, month_later

ROUND = RoundFact(
    pot_pence=100_000,
    group_limit_pence=60_000,
    starts_earliest_on=date(2027, 1, 1),
    longest_months=24,
    must_show=("constitution", "safeguarding"),
    match_percent=20,
    volunteer_match_percent=50,
    categories=("seed",),
    aftercare_years_least=2,
    rates=(("unskilled", date(2026, 1, 1), date(2027, 6, 30), 1_500), ("unskilled", date(2027, 7, 1), None, 1_600)),
)
SEED = LineFact("seed", "grant", "", "", 10_000, 33_334, 6_666, 40_000)
TIME = LineFact("volunteers", "in_kind", "", "", 1_500, 5_000, 0, 5_000)
CASH = LineFact("hire", "match", "Parish council", "", 5_000, 5_000, 0, 5_000)
WHOLE = BidFact(
    round=ROUND,
    summary="Seed and mornings.",
    starts_on=date(2027, 3, 1),
    ends_on=date(2029, 3, 1),
    aftercare_years=2,
    children_come=False,
    vat_recovered=False,
    other_funding_note="",
    projects=(ProjectFact("Yews", True, True, (), (), False),),
    lines=(SEED, TIME, CASH),
    stages=((date(2027, 10, 1), 15_000), (date(2029, 3, 1), 25_000)),
    promises=(("species_per_m2", 10, 2030),),
    proofs={"constitution": True},
    asked_elsewhere_pence=0,
)
YEWS = WHOLE.projects[0]


def found(**changes):
    return [(check.code, check.pointer, check.blocks) for check in checklist(replace(WHOLE, **changes))]


def test_a_whole_bid_has_nothing_to_ask():
    assert found() == []


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"summary": ""}, [("summary_missing", "/summary", True)]),
        ({"projects": ()}, [("no_project", "/project_ids", True)]),
        ({"projects": (replace(YEWS, has_plan=False),)}, [("no_plan", "/project_ids/0", True)]),
        ({"projects": (replace(YEWS, elsewhere=True),)}, [("project_twice", "/project_ids/0", True)]),
        ({"projects": (YEWS, replace(YEWS, has_soil_test=False))}, [("no_soil_test", "/project_ids/1", False)]),
        ({"projects": (replace(YEWS, obstacles=("Faculty: asked.",)),)}, [("permissions", "/project_ids/0", False)]),
        ({"projects": (replace(YEWS, other_funders=("Sands",)),)}, [("other_funding", "/project_ids/0", False)]),
        ({"starts_on": None}, [("dates", "/starts_on", True)]),
        ({"ends_on": date(2029, 3, 2)}, [("dates", "/ends_on", True)]),
        ({"aftercare_years": 1}, [("aftercare_short", "/aftercare_years", True)]),
        ({"proofs": {"constitution": False}}, [("not_shown", "/proofs", True)]),
        ({"children_come": True}, [("not_shown", "/proofs", True)]),
        ({"stages": ()}, [("stages", "/stages", True)]),
        ({"stages": ((date(2027, 10, 1), 39_999),)}, [("stages", "/stages", True)]),
        ({"stages": ((date(2027, 2, 28), 40_000),)}, [("stages", "/stages/0/due_on", True)]),
        ({"promises": ()}, [("no_promise", "/promises", False)]),
        ({"promises": (("species_per_m2", 10, 2027),)}, [("early_promise", "/promises/0/by_year", False)]),
        ({"asked_elsewhere_pence": 20_001}, [("over_limit", "/lines", True)]),
        ({"lines": (SEED, TIME, replace(CASH, source=""))}, [("match_source", "/lines/2/source", False)]),
        (
            {"lines": (SEED, replace(TIME, unit_price_pence=1_501), CASH)},
            [("rate_too_high", "/lines/1/unit_price_gbp", True)],
        ),
        ({"lines": (SEED, replace(TIME, skill="skilled"), CASH)}, [("rate_too_high", "/lines/1/unit_price_gbp", True)]),
        ({"lines": (replace(SEED, category="hire"), TIME, CASH)}, [("category_not_paid", "/lines/0/category", True)]),
    ],
)  # fmt: skip
def test_each_rule_by_the_least_that_breaks_it(changes, expected):
    assert found(**changes) == expected


def test_the_rate_is_that_of_the_day_on_which_work_starts():
    later = {"starts_on": date(2027, 7, 1), "lines": (SEED, replace(TIME, unit_price_pence=1_600), CASH)}
    assert found(**later, ends_on=date(2029, 3, 1)) == []


def test_volunteers_count_for_no_more_than_their_share_of_the_match():
    """Of 50,000 pence 20 % are 10,000; half of that, 5,000, may be time, so that 5,000 in cash are just enough."""
    assert found() == []
    less = replace(CASH, net_pence=4_900, gross_pence=4_900)
    more_time = replace(TIME, net_pence=5_100, gross_pence=5_100)
    assert found(lines=(SEED, more_time, less)) == [("match_short", "/lines", True)]


def test_a_group_that_gets_vat_back_asks_for_net():
    assert rules.asked_pence(WHOLE.lines, vat_recovered=False) == 40_000
    assert rules.asked_pence(WHOLE.lines, vat_recovered=True) == 33_334
    assert found(vat_recovered=True) == [("stages", "/stages", True)]


def test_what_blocks_comes_first():
    codes = found(promises=(), summary="", projects=())
    assert codes == [
        ("summary_missing", "/summary", True), ("no_project", "/project_ids", True), ("no_promise", "/promises", False),
    ]  # fmt: skip


def test_months_end_where_a_month_is_shorter():
    assert month_later(date(2027, 1, 31), 1) == date(2027, 2, 28)
    assert month_later(date(2027, 12, 31), 2) == date(2028, 2, 29)
    assert month_later(date(2027, 6, 15), 36) == date(2030, 6, 15)


def test_every_category_has_words_for_a_refusal():
    for category in LineCategory.values:
        line = replace(SEED, category=category)
        codes = [check.code for check in checklist(replace(WHOLE, lines=(line, TIME, CASH)))]
        assert ("category_not_paid" in codes) == (category != "seed")
