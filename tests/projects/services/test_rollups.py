"""Roll-ups say what their rows say, whatever act came last; and can be made again from nothing."""

import io
import threading
import uuid

import pytest
from django.core.management import call_command
from django.db import connection, connections
from django.db.models import Q

from modelling.reading import read_as
from projects.contracts.meadows import PlanNew, WorkNew, WorkStrike
from projects.contracts.networks import GroupChange
from projects.contracts.returns import NameSettled
from projects.contracts.sites import SiteChange, SoilTestNew
from projects.errors import NotAllowed, RuleBroken, WrongState
from projects.models import MeadowProject, OutcomeReturn, PrivateYear, ReturnRollup, Site
from projects.selectors.rollups import rollups_that_differ
from projects.services import diary, meadows, networks, returns, rollups, sites
from tests.projects.county import saltmere
from tests.projects.rollups import LATER, PLANTS, agree, drawn, meadow, send

pytestmark = pytest.mark.django_db

SQUARES = [
    {"label": "A", "records": [{"name": name} for name in PLANTS[:9]], "rattle_plants": 3},
    {"label": "B", "records": [{"name": name} for name in PLANTS[:12]], "rattle_plants": 4},
]


@pytest.fixture
def county():
    found = saltmere()
    meadow(found, "Glebe")
    return found


def sums(name="Glebe", year=2028):
    return ReturnRollup.objects.get(project__name=name, year=year)


def walked(county, name="Glebe", year=2028, squares=SQUARES, **said):
    return send(county, name, year, visits=[{"on": f"{year}-06-20", "quadrats": squares}], **said)


def test_an_agreed_return_has_its_sums(county):
    row = walked(county, cash_gbp=12.5, person_hours=7.5, heads=6, gatherings=[{"kind": "hay day", "heads": 31}])
    found = sums()
    assert found.outcome == row
    # by hand: 9 and 12 kinds; 81 + 144; 3 and 4 plants of rattle make 3.5
    assert (found.quadrats, found.species_sum, found.species_squares, found.rattle_milli) == (2, 21, 225, 3500)
    assert (found.cash_pence, found.person_minutes, found.machine_minutes, found.heads) == (1250, 450, None, 6)
    assert (found.events, found.event_heads, found.diary_lines) == (1, 31, 0)
    assert (found.network, found.group, found.site) == (county.network, row.group, row.project.site)
    assert (found.open, found.kind, found.area_dm2, found.sown_year, found.soil_band) == (
        True,
        "field",
        10_000,
        2026,
        "",
    )
    assert (found.method, found.seed_source, found.funders) == ("not_told", "not_told", [])
    assert found.counted == row.agreed


def test_a_return_that_is_not_agreed_has_none(county):
    send(county, "Glebe", 2028, answered="nothing_done", agreed=False)
    assert not ReturnRollup.objects.exists()


def test_a_later_version_counts_once_it_is_agreed(county):
    first = walked(county)
    second = send(county, "Glebe", 2028, agreed=False, visits=[{"on": "2028-06-20", "quadrats": SQUARES[:1]}])
    assert (sums().species_sum, sums().counted) == (21, first.agreed)
    agree(county, second)
    assert (sums().species_sum, sums().quadrats) == (9, 1)
    assert ReturnRollup.objects.count() == 1


def test_quadrats_of_other_sizes_count_no_kinds(county):
    walked(county, squares=[square | {"area_m2": 0.25} for square in SQUARES])
    assert (sums().quadrats, sums().species_sum, sums().species_squares) == (0, 0, 0)


ACTS = {
    "private": lambda c, p: sites.site_change(
        actor=c.as_(c.lead), public_id=p.site.public_id, asked=SiteChange(publicity="private"), if_version=None,
        now=LATER,
    ),
    "area": lambda c, p: sites.site_change(
        actor=c.as_(c.lead), public_id=p.site.public_id, asked=SiteChange(area_m2=250.0), if_version=None,
        now=LATER,
    ),
    "kind and district": lambda c, p: sites.site_change(
        actor=c.as_(c.lead), public_id=p.site.public_id, if_version=None, now=LATER,
        asked=SiteChange(kind="verge", district_id=c.districts["Outer Banks"].public_id),
    ),
    "district of the group": lambda c, p: networks.group_change(
        actor=c.as_(c.lead), public_id=c.groups["Gullhaven Meadow Makers"].public_id, if_version=None, now=LATER,
        asked=GroupChange(district_id=c.districts["Outer Banks"].public_id),
    ),
    "soil": lambda c, p: sites.soil_test_add(
        actor=c.as_(c.lead), site_id=p.site.public_id, now=LATER,
        asked=SoilTestNew(taken_on=LATER.date(), olsen_p_mg_per_l=20.0),
    ),
    "plan": lambda c, p: meadows.plan_create(
        actor=c.as_(c.lead), project_id=p.public_id, now=LATER, if_version=None,
        asked=read_as(
            PlanNew, {"plan": {"preparation": ["strip_turf_hand"], "seed": [{"mix": "neutral_meadow", "kg": 0.4}]}}
        ),
    ),
    "diary": lambda c, p: diary.work_add(
        actor=c.as_(c.lead), project_id=p.public_id, now=LATER,
        asked=WorkNew(on=LATER.date().replace(year=2028), what="cut", heads=2, person_hours=3.0, cash_gbp=5.0,
                      in_kind_gbp=7.25, submission_id=uuid.uuid4()),
    ),
}  # fmt: skip
WANTED = {
    "private": {"open": False},
    "area": {"area_dm2": 25_000},
    "kind and district": {"kind": "verge"},
    "district of the group": {},
    # 16 to 25 mg/l of Olsen phosphorus are index 2 (soil_bands)
    "soil": {"soil_band": "2"},
    "plan": {"method": "stripped", "seed_source": "mix"},
    "diary": {"diary_lines": 1, "diary_person_minutes": 180, "diary_cash_pence": 500, "diary_in_kind_pence": 725},
}


@pytest.mark.parametrize("act", ACTS)
def test_an_act_that_changes_what_sums_rest_on_changes_the_sums(county, act):
    walked(county)
    before = sums()
    ACTS[act](county, county.projects["Glebe"])
    found = sums()
    assert {name: getattr(found, name) for name in WANTED[act]} == WANTED[act]
    if "district" in act:
        assert found.district == county.districts["Outer Banks"] != before.district
    assert found.updated_at >= before.updated_at
    assert rollups_that_differ() == []


def test_a_line_struck_out_and_a_soil_test_taken_away_count_no_more(county):
    walked(county)
    line, _ = ACTS["diary"](county, county.projects["Glebe"])
    test = ACTS["soil"](county, county.projects["Glebe"])
    diary.work_strike(
        actor=county.as_(county.lead), public_id=line.public_id, asked=WorkStrike(because="Twice."), if_version=None,
        now=LATER,
    )  # fmt: skip
    sites.soil_test_remove(actor=county.as_(county.lead), public_id=test.public_id, now=LATER)
    assert (sums().diary_lines, sums().diary_in_kind_pence, sums().soil_band) == (0, 0, "")
    assert rollups_that_differ() == []


def test_a_name_settled_in_what_counts_changes_what_was_counted(county):
    names = ["Centaurea nigra", "knapweed, the common one"]
    row = walked(county, squares=[{"label": "A", "records": [{"name": name} for name in names]}])
    before = sums().species_sum
    returns.name_settle(
        actor=county.as_(county.lead), return_id=row.public_id, now=LATER,
        asked=NameSettled(name="knapweed, the common one", taxon="centaurea_nigra"),
    )  # fmt: skip
    # two names of one plant are one kind
    assert (before, sums().species_sum) == (2, 1)
    assert rollups_that_differ() == []


def test_random_returns_say_what_direct_sql_says():
    """The records counted by the database itself: kinds in each quadrat of a square metre of what is agreed."""
    county = saltmere()
    for seed in range(3):
        drawn(county, seed)
    assert rollups_that_differ() == []
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT outcome.id, SUM(kinds), SUM(kinds * kinds) FROM (
                SELECT version_of_id, quadrat, COUNT(DISTINCT taxon) AS kinds FROM projects_taxonrecord
                WHERE taxon <> '' AND quadrat <> '' GROUP BY version_of_id, quadrat
            ) squares JOIN projects_outcomereturn outcome ON outcome.agreed_id = squares.version_of_id
            GROUP BY outcome.id ORDER BY outcome.id
            """
        )
        wanted = cursor.fetchall()
    metre = ReturnRollup.objects.filter(quadrats__gt=0)
    found = list(metre.order_by("outcome").values_list("outcome", "species_sum", "species_squares"))
    counted = {row[0] for row in found}
    assert [tuple(int(value) for value in row) for row in wanted if row[0] in counted] == [
        row for row in found if row[1]
    ]
    assert len(found) > 8
    assert ReturnRollup.objects.count() == OutcomeReturn.objects.filter(agreed__isnull=False).count()


def test_sums_that_are_wrong_missing_or_left_over_are_told_and_made_again(county):
    walked(county)
    walked(county, year=2029)
    walked(county, year=2027)
    ReturnRollup.objects.filter(year=2028).update(species_sum=99)
    ReturnRollup.objects.filter(year=2029).delete()
    left = OutcomeReturn.objects.get(year=2027)
    OutcomeReturn.objects.filter(pk=left.pk).update(agreed=None, state="sent")
    keys = {row.year: row.pk for row in OutcomeReturn.objects.all()}
    assert rollups_that_differ() == [
        (keys[2028], {"species_sum": (99, 21)}),
        (keys[2029], {"outcome": (None, keys[2029])}),
        (keys[2027], {"outcome": (keys[2027], None)}),
    ]
    said = io.StringIO()
    call_command("rebuild_rollups", stdout=said)
    assert said.getvalue() == "2 agreed returns; 3 had other sums or none.\n"
    assert rollups_that_differ() == []
    call_command("rebuild_rollups", stdout=said)
    assert said.getvalue().endswith("2 agreed returns; 0 had other sums or none.\n")


# ------------------------------------------------------------------ private sites


def freeze(county, who="coordinator", year=2028):
    return rollups.private_year_freeze(
        actor=county.as_(getattr(county, who)), network_id=county.network.public_id, year=year, now=LATER
    )


@pytest.mark.parametrize(("count", "told"), [(0, None), (7, None), (8, 10), (12, 10), (13, 15), (17, 15), (18, 20)])
def test_private_sites_are_rounded_to_five_and_not_told_below_eight(count, told):
    assert rollups.rounded(count) == told


def test_private_sites_of_a_year_are_told_once_by_the_network(county):
    for number in range(8):
        meadow(county, f"Garden {number}", publicity="private", kind="garden")
    row = freeze(county)
    assert (row.meadows_rounded, row.released_on) == (10, LATER.date())
    meadow(county, "One more", publicity="private", kind="garden")
    with pytest.raises(WrongState):
        freeze(county)
    assert PrivateYear.objects.get().meadows_rounded == 10


def test_a_year_that_is_not_over_and_somebody_else_are_refused(county):
    with pytest.raises(RuleBroken):
        freeze(county, year=2029)
    with pytest.raises(NotAllowed):
        freeze(county, who="lead")


# ------------------------------------------------------------------ rivals


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_a_return_agreed_while_its_site_becomes_private_has_true_sums():
    county = saltmere()
    for number in range(6):
        name = f"Rival {number}"
        project = meadow(county, name)
        row = send(county, name, 2028, answered="nothing_done", agreed=False)
        barrier = threading.Barrier(2)

        def at_once(act, barrier=barrier):
            try:
                barrier.wait(timeout=10)
                act()
            finally:
                connections.close_all()

        site = Site.objects.get(pk=project.site_id)
        acts = [
            lambda row=row: agree(county, row),
            lambda site=site: sites.site_change(
                actor=county.as_(county.lead), public_id=site.public_id, asked=SiteChange(publicity="private"),
                if_version=None, now=LATER,
            ),
        ]  # fmt: skip
        threads = [threading.Thread(target=at_once, args=(act,)) for act in acts]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert ReturnRollup.objects.filter(~Q(open=False)).count() == 0
    assert ReturnRollup.objects.count() == MeadowProject.objects.filter(name__startswith="Rival").count() == 6
    assert rollups_that_differ() == []
