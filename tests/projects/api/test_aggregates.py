"""A county's figures: against an independent program over the records, on random filters; and what is not told."""

import uuid
from datetime import UTC, datetime

import duckdb
import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from scipy import stats

from projects.api.throttling import CELLS_PER_WINDOW
from projects.choices import Publicity
from projects.contracts.sites import SiteChange
from projects.models import OutcomeReturn, ReturnRollup
from projects.selectors.aggregates import OF_FUNDERS, OF_GROUPS, OF_WAYS
from projects.selectors.returns import settled_content
from projects.services import rollups, sites
from tests.projects.api.caller import Caller, problem
from tests.projects.county import appoint, person, saltmere
from tests.projects.rollups import LATER, PLANTS, Dice, drawn, granted, meadow, send, third_group

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def in_2029():
    with time_machine.travel(LATER, tick=False):
        yield


@pytest.fixture
def county():
    return saltmere()


def ask(county, caller=None, **query):
    said = {"network": str(county.network.public_id)} | query
    return (caller or Caller()).get("aggregates/?" + "&".join(f"{name}={value}" for name, value in said.items()))


def figures(county, caller=None, **query):
    answer = ask(county, caller, **query)
    assert answer.status_code == 200, answer.content
    return answer.json()


def total(county, measure, caller=None, **query):
    return figures(county, caller, measures=measure, **query)["total"]["figures"][measure]


def squares(*kinds, **more):
    return [
        {"label": str(n), "records": [{"name": name} for name in PLANTS[:count]], **more}
        for n, count in enumerate(kinds)
    ]


def walked(county, name, year, *kinds, **said):
    return send(county, name, year, visits=[{"on": f"{year}-06-20", "quadrats": squares(*kinds)}], **said)


# ------------------------------------------------------------------ an independent computation


def exported():
    """Every quadrat and every return of what is agreed on open sites, read from what was sent and nothing else."""
    quadrats, returns = [], []
    open_ones = OutcomeReturn.objects.filter(agreed__isnull=False).exclude(
        project__site__publicity=Publicity.PRIVATE
    )  # fmt: skip
    for row in open_ones.select_related("project__site__district", "project__group__district", "agreed"):
        site = row.project.site
        said = settled_content(row.agreed)
        district = site.district or row.project.group.district
        told = (
            row.pk, site.pk, row.project.group_id, row.year, site.kind, str(district.public_id) if district else "none",
            row.year - row.project.sown_on.year, site.net_area_dm2 or site.area_dm2,
            None if said.cash_gbp is None else round(said.cash_gbp * 100), said.heads, len(said.gatherings),
        )  # fmt: skip
        returns.append(told)
        quadrats += [
            (row.pk, len({record.taxon for record in quadrat.records}))
            for visit in said.visits
            for quadrat in visit.quadrats
            if quadrat.area_m2 == 1
        ]
    return returns, quadrats


@pytest.fixture
def other(county):
    """The same records in another database, which knows nothing of this program."""
    third_group(county)
    for seed in range(5):
        drawn(county, seed)
    returns, quadrats = exported()
    duck = duckdb.connect()
    duck.execute(
        "CREATE TABLE returns (id INT, site INT, grp INT, year INT, kind TEXT, district TEXT, age INT, area_dm2 BIGINT,"
        " cash BIGINT, heads INT, events INT)"
    )
    duck.execute("CREATE TABLE quadrats (id INT, kinds INT)")
    duck.executemany("INSERT INTO returns VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", returns)
    duck.executemany("INSERT INTO quadrats VALUES (?, ?)", quadrats)
    yield duck
    duck.close()


MEANS = """
WITH sites AS (
    SELECT site, arg_max(area_dm2, year) AS area, AVG(kinds) AS mean, COUNT(*) AS n
    FROM quadrats JOIN returns USING (id) WHERE {where} GROUP BY site
), ratio AS (SELECT SUM(area * mean) / SUM(area) AS r, SUM(area) AS whole FROM sites)
SELECT COUNT(*), SUM(n), AVG(mean), STDDEV_SAMP(mean) / SQRT(COUNT(*)), ANY_VALUE(r),
    SQRT(SUM((area / whole * (mean - r)) * (area / whole * (mean - r))) * COUNT(*) / NULLIF(COUNT(*) - 1, 0))
FROM sites, ratio
"""


TOLD = """
SELECT COUNT(*), SUM(heads), COUNT(DISTINCT grp) FILTER (heads IS NOT NULL), SUM(cash),
    COUNT(DISTINCT grp) FILTER (cash IS NOT NULL)
FROM returns WHERE {where}
"""


def six(value):
    return None if value is None else float(f"{value:.6g}")


def wanted(duck, where):
    sites, quadrats, mean, se, ratio, ratio_se = duck.execute(MEANS.format(where=where)).fetchone()
    if not sites:
        return None, None, 0
    t = stats.t.ppf(0.975, sites - 1) if sites > 1 else None
    told = []
    for middle, error in ((mean, se), (ratio, ratio_se)):
        ends = (None, None) if t is None else (six(middle - t * error), six(middle + t * error))
        told.append({"estimate": six(middle), "low": ends[0], "high": ends[1], "sites": sites})
    return (*told, quadrats)


def test_another_program_finds_the_same_to_the_last_digit_on_random_filters(county, other):
    dice = Dice("filters")
    districts = [str(row.public_id) for row in county.districts.values()]
    seen = told = 0
    for _ in range(40):
        query, where = {}, ["TRUE"]
        if dice.random() < 0.5:
            query["kind"] = dice.choice(["field", "churchyard", "verge"])
            where.append(f"kind = '{query['kind']}'")
        if dice.random() < 0.5:
            query["year_from"], query["year_to"] = dice.choice([(2027, 2028), (2028, 2028), (2028, 2029)])
            where.append(f"year BETWEEN {query['year_from']} AND {query['year_to']}")
        if dice.random() < 0.3:
            query["years_since_sowing"] = dice.randint(1, 4)
            where.append(f"age = {query['years_since_sowing']}")
        if dice.random() < 0.3:
            query["district"] = dice.choice(districts)
            where.append(f"district = '{query['district']}'")
        found = figures(county, measures="species_per_m2,heads,cash_gbp", **query)["total"]
        unit, area, quadrats = wanted(other, " AND ".join(where))
        species = found["figures"]["species_per_m2"]
        assert (species["site_as_unit"], species["area_weighted"]) == (unit, area), query
        assert species["quadrats"] == quadrats
        returns, heads, groups, cash, payers = other.execute(TOLD.format(where=" AND ".join(where))).fetchone()
        assert found["counts"]["told"] == returns
        # of fewer than three groups, money and heads are told to nobody outside
        assert found["figures"]["heads"]["total"] == (heads if groups >= 3 else None)
        assert found["figures"]["cash_gbp"]["total"] == (round(cash / 100, 2) if payers >= 3 else None)
        told += groups >= 3
        seen += bool(unit)
    assert seen > 20
    assert told > 5


# ------------------------------------------------------------------ one figure at a time


def test_a_large_meadow_weighs_by_its_ground(county):
    meadow(county, "Small", area_m2=100.0)
    meadow(county, "Large", area_m2=300.0)
    walked(county, "Small", 2028, 6, 6)
    walked(county, "Large", 2028, 10, 10, 10, 10)
    found = total(county, "species_per_m2", year=2028)
    # by hand: (100 x 6 + 300 x 10) / 400 = 9, and (6 + 10) / 2 = 8; t of one degree of freedom is 12.7062
    assert (found["area_weighted"]["estimate"], found["site_as_unit"]["estimate"]) == (9.0, 8.0)
    assert found["site_as_unit"]["high"] == six(8 + 12.706204736432095 * 2)
    assert (found["quadrats"], found["sd_within_sites"], found["summers_counted"]) == (6, 0.0, 2)


def test_what_is_missing_is_told_as_missing(county):
    for name in ("Told", "Silent", "Also silent"):
        meadow(county, name, area_m2=100.0)
    walked(county, "Told", 2028, 12, 12, cash_gbp=30.0)
    found = figures(county, year=2028, measures="species_per_m2,hectares,on_course,species_rich_hectares")["total"]
    # the paddock of the county was sown too, and has no return either
    assert found["counts"] == {
        "summers": 4, "told": 1, "missing": 3, "awaited": 0, "meadows": 4, "sites": 4, "groups": 1
    }  # fmt: skip
    species = found["figures"]["species_per_m2"]
    assert (species["if_missing_were_like_these"], species["if_missing_held_nothing"]) == (12.0, 3.0)
    # 100 m² of each, and the paddock of 8000 m²
    assert found["figures"]["hectares"] == {
        "kind": "ground", "unit": "ha", "total": 0.83, "of_told": 0.01, "of_not_told": 0.82,
        "if_missing_were_like_these": 0.83, "if_missing_had_failed": 0.01,
    }  # fmt: skip
    assert found["figures"]["on_course"]["meadows"]["no_return"] == 3
    money = total(county, "cash_gbp", Caller(county.coordinator), year=2028, sites="all")
    assert (money["total"], money["summers_counted"], money["summers_silent"]) == (30.0, 1, 3)
    assert money["if_missing_were_like_these"] == 120.0


def test_a_summer_whose_returns_may_still_come_is_awaited(county):
    meadow(county, "Told")
    with time_machine.travel(LATER.replace(month=10), tick=False):
        found = figures(county, year=2029)["total"]["counts"]
    assert (found["awaited"], found["missing"]) == (2, 0)


def test_a_return_that_waits_for_the_network_is_not_called_missing(county):
    for name in ("Sent", "Silent"):
        meadow(county, name)
    walked(county, "Sent", 2028, 12, 12, agreed=False)
    found = figures(county, year=2028)["total"]["counts"]
    # the paddock of the county has sent nothing either
    assert (found["told"], found["awaited"], found["missing"]) == (0, 1, 2)
    walked(county, "Silent", 2028, 9, 9)
    found = figures(county, year=2028)["total"]["counts"]
    assert (found["told"], found["awaited"], found["missing"]) == (1, 1, 1)


def test_nothing_fits_is_empty_and_no_error(county):
    found = figures(county, by="year,kind", kind="orchard", district=str(uuid.uuid4()))
    assert found["rows"] == []
    assert found["total"]["counts"]["summers"] == 0
    assert found["total"]["figures"]["species_per_m2"]["site_as_unit"] is None


def test_ground_under_two_grants_is_counted_once(county):
    granted(county, meadow(county, "Twice", area_m2=400.0), ("Sands Trust", "Banks Fund"))
    walked(county, "Twice", 2028, 9, 11)
    found = figures(county, by="funder", measures="hectares", year=2028)
    rows = {row["labels"]["funder"]: row["figures"]["hectares"]["of_told"] for row in found["rows"]}
    assert rows == {"Banks Fund": 0.04, "Sands Trust": 0.04, "No grant through the network": 0.0}
    assert found["total"]["figures"]["hectares"]["of_told"] == 0.04
    assert OF_FUNDERS in found["warnings"]
    assert figures(county, funder="Sands Trust", measures="hectares")["total"]["figures"]["hectares"]["of_told"] == 0.04


# ------------------------------------------------------------------ ways, groups


def test_ways_stand_side_by_side_on_level_ground_only(county):
    found = figures(county, by="method", measures="species_per_m2,on_course,hectares,cash_gbp_per_hectare")
    assert OF_WAYS in found["warnings"]
    for row in found["rows"]:
        for name in ("species_per_m2", "on_course", "cash_gbp_per_hectare"):
            told = row["figures"][name]
            assert told["not_compared"] is True
            assert not {"site_as_unit", "share", "value"} & set(told)
        assert row["figures"]["hectares"]["total"] >= 0


def test_adjusted_ways_come_from_meadows_of_each(county):
    for number in range(16):
        name, way = f"M{number}", "stripped" if number % 2 else "scarified"
        meadow(county, name, area_m2=100.0 + number)
        walked(county, name, 2028, *([7 + number % 3 + 3 * (number % 2)] * 2))
        ReturnRollup.objects.filter(project__name=name).update(method=way)
    found = figures(county, by="method", year=2028)
    levels = {row["key"]["method"]: row["figures"]["species_per_m2"]["adjusted"] for row in found["rows"]}
    # one summer of one age on one kind of ground: what is left is the mean of each way, by hand 8 - and 3 more
    means = {way: levels[way]["estimate"] for way in ("scarified", "stripped")}
    halves = {0: [7 + n % 3 for n in range(0, 16, 2)], 1: [10 + n % 3 for n in range(1, 16, 2)]}
    assert means == {"scarified": six(sum(halves[0]) / 8), "stripped": six(sum(halves[1]) / 8)}
    assert levels["stripped"]["low"] < levels["stripped"]["estimate"] < levels["stripped"]["high"]
    assert (levels["stripped"]["sites"], levels["stripped"]["summers"]) == (8, 8)


def test_groups_side_by_side_are_for_coordinators_by_name_and_with_a_warning(county):
    for caller in (Caller(), Caller(county.lead), Caller(county.stranger)):
        for query in ({"by": "group"}, {"group": str(county.groups["Brackwater Verges"].public_id)}):
            problem(ask(county, caller, **query), 403, "forbidden")
    found = figures(county, Caller(county.coordinator), by="group", sites="all")
    assert [row["labels"]["group"] for row in found["rows"]] == sorted(row["labels"]["group"] for row in found["rows"])
    assert OF_GROUPS in found["warnings"]
    assert all(row["counts"]["summers"] for row in found["rows"])


def test_money_of_few_groups_is_for_coordinators(county):
    meadow(county, "Told")
    walked(county, "Told", 2028, 9, cash_gbp=80.0, person_hours=4.0, heads=2)
    assert total(county, "cash_gbp") == {
        "kind": "total", "unit": "GBP", "total": None, "withheld": True, "summers_counted": 1,
        "summers_silent": total(county, "cash_gbp")["summers_silent"], "if_missing_were_like_these": None,
    }  # fmt: skip
    assert total(county, "cash_gbp", Caller(county.coordinator), sites="all")["total"] == 80.0
    assert total(county, "cash_gbp_per_hectare", Caller(county.coordinator), sites="all")["value"] == 8000.0


# ------------------------------------------------------------------ who is told what


def test_all_sites_are_for_coordinators_whose_token_may_read(county):
    for user in (None, county.lead, county.stranger):
        problem(ask(county, Caller(user) if user else Caller(), sites="all"), 403, "forbidden")
    problem(ask(county, Caller(county.coordinator, scopes=("write",)), sites="all"), 403, "forbidden")
    assert ask(county, Caller(county.coordinator, scopes=("read",)), sites="all").status_code == 200
    analyst = person("Una Teasel")
    appoint(analyst, county.network, "analyst")
    problem(ask(county, Caller(analyst), sites="all"), 403, "forbidden")


EVERY = (
    "measures=species_per_m2,rattle_per_m2,hectares,species_rich_hectares,sward_classes,on_course,cash_gbp,in_kind_gbp,"
    "person_hours,machine_hours,heads,events,event_heads,cash_gbp_per_hectare,cash_gbp_per_species_rich_hectare"
)


def test_a_private_site_changes_no_byte_of_what_others_are_told(county):
    meadow(county, "Open")
    walked(county, "Open", 2028, 8, 9)
    analyst = person("Una Teasel")
    appoint(analyst, county.network, "analyst")
    callers = [Caller(), Caller(analyst), Caller(county.stranger), Caller(county.neighbour)]
    network = county.network.public_id
    paths = [
        f"aggregates/?network={network}&{EVERY}&by={by}"
        for by in (
            "year",
            "district,kind",
            "stage,method",
            "soil_band,seed_source",
            "funder",
            "years_since_sowing,year",
        )
    ]
    paths.append(f"networks/{network}/private-years/")

    def told():
        return [caller.get(path).content for caller in callers for path in paths]

    before = told()
    project = meadow(county, "Garden", publicity="private", kind="garden", area_m2=50.0)
    assert told() == before
    row = walked(county, "Garden", 2028, 14, 15, cash_gbp=99.0, heads=3)
    assert told() == before
    walked(county, "Garden", 2028, 3)
    assert told() == before
    sites.site_change(
        actor=county.as_(county.lead), public_id=project.site.public_id, asked=SiteChange(area_m2=900.0),
        if_version=None, now=LATER,
    )  # fmt: skip
    assert told() == before
    ReturnRollup.objects.filter(outcome=row).delete()
    OutcomeReturn.objects.filter(pk=row.pk).update(agreed=None, state="sent")
    assert told() == before
    # and the reading itself can tell
    walked(county, "Open", 2029, 8, 9)
    assert told() != before


def test_private_sites_are_told_in_one_frozen_number(county):
    for number in range(9):
        meadow(county, f"Garden {number}", publicity="private", kind="garden")
    coordinator = Caller(county.coordinator)
    path = f"networks/{county.network.public_id}/private-years/"
    made = coordinator.post(path, {"year": 2028})
    assert (made.status_code, made.json()) == (201, {"year": 2028, "meadows": 10, "released_on": "2029-12-01"})
    meadow(county, "One more", publicity="private", kind="garden")
    assert Caller().get(path).json() == {"results": [made.json()]}
    assert figures(county)["private_sites"] == [made.json()]
    problem(coordinator.post(path, {"year": 2028}), 409, "wrong_state")
    problem(Caller(county.lead).post(path, {"year": 2027}), 403, "forbidden")
    few = rollups.private_year_freeze(
        actor=county.as_(county.coordinator), network_id=county.network.public_id, year=2026, now=LATER
    )
    assert few.meadows_rounded is None


# ------------------------------------------------------------------ what cannot be read


@pytest.mark.parametrize(
    ("query", "parameter", "code"),
    [
        ({"measures": "speces_per_m2"}, "measures", "unknown_word"),
        ({"measures": "hectares,hectares"}, "measures", "given_twice"),
        ({"measures": ""}, "measures", "unknown_word"),
        ({"by": "village"}, "by", "unknown_word"),
        ({"by": "year,kind,stage,method"}, "by", "too_many"),
        ({"sites": "private"}, "sites", "unknown_word"),
        ({"kind": "moon"}, "kind", "unknown_word"),
        ({"year": "29"}, "year", "out_of_range"),
        ({"year": "2028", "year_to": "2029"}, "year", "contradiction"),
        ({"years_since_sowing": "-1"}, "years_since_sowing", "out_of_range"),
        ({"years_since_sowing": "٣"}, "years_since_sowing", "out_of_range"),
        ({"funder": ""}, "funder", "out_of_range"),
        ({"district": "here"}, "district", "bad_id"),
        ({"soil_band": "10"}, "soil_band", "unknown_word"),
        ({"colour": "green"}, "colour", "unknown_key"),
        ({"network": "here"}, "network", "bad_id"),
    ],
)
def test_what_cannot_be_read_is_named_with_what_would_be_right(county, query, parameter, code):
    found = problem(ask(county, **query), 422, "invalid_request")["errors"]
    assert [(fault["parameter"], fault["code"]) for fault in found] == [(parameter, code)]


def test_unknown_words_list_the_known_ones(county):
    fault = problem(ask(county, measures="speces_per_m2"), 422, "invalid_request")["errors"][0]
    assert "species_per_m2, rattle_per_m2, hectares" in fault["detail"]
    assert fault["suggestions"] == ["species_per_m2"]
    fault = problem(ask(county, by="yer"), 422, "invalid_request")["errors"][0]
    assert "year, district, group" in fault["detail"]


def test_no_network_and_an_unknown_one(county):
    found = problem(Caller().get("aggregates/"), 422, "invalid_request")["errors"][0]
    assert (found["parameter"], found["code"]) == ("network", "missing")
    problem(Caller().get(f"aggregates/?network={uuid.uuid4()}"), 404, "not_found")


def test_too_much_in_a_minute_waits(county, settings):
    settings.THROTTLE = True
    path = f"/api/v1/aggregates/?network={county.network.public_id}"
    with time_machine.travel(datetime(2029, 12, 1, 12, 0, 50, tzinfo=UTC), tick=False):
        answers = [Client().get(path, REMOTE_ADDR="10.9.9.9") for _ in range(61)]
    assert {answer.status_code for answer in answers[:60]} == {200}
    problem(answers[60], 429, "too_many_requests")
    assert int(answers[60].headers["Retry-After"]) >= 10
    assert CELLS_PER_WINDOW == 60 * 3_200_000


def test_as_many_queries_for_many_returns_as_for_few(county):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            figures(county, by="year,kind", measures="species_per_m2,hectares,on_course")
        return len(queries)

    drawn(county, "few", 3)
    asked()
    few = asked()
    drawn(county, "many", 12)
    asked()
    assert asked() == few


def test_when_the_sums_last_changed(county):
    assert figures(county)["as_of"] is None
    meadow(county, "Told")
    walked(county, "Told", 2028, 9)
    assert figures(county)["as_of"] == "2029-12-01T10:00:00Z"
