"""`manage.py load_demo` makes the invented county of Saltmere once, whole, in the sea, and nowhere else."""

import csv
import json
from collections import Counter
from datetime import date, datetime
from io import StringIO
from itertools import pairwise

import pytest
from django.apps import apps
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from modelling.models import ModelRun
from modelling.selectors import run_answer_text
from projects import geography
from projects.choices import (
    Cause,
    GroupRole,
    NetworkRole,
    PermissionState,
    PlaceGiven,
    Publicity,
    ReturnState,
    Stage,
    Work,
)
from projects.models import (
    AuditEntry,
    Award,
    Bid,
    BidAppraisal,
    ChangeRequest,
    Decision,
    District,
    Forecast,
    GrantRound,
    GreenHayDay,
    Group,
    KitBooking,
    KitFault,
    KitHalfDay,
    KitItem,
    MeadowProject,
    Membership,
    MoneyReturned,
    Network,
    NetworkMembership,
    OutcomeReturn,
    PaymentRequest,
    Permission,
    PlugBatch,
    ReturnQuestion,
    ReturnVersion,
    RoundChoice,
    Site,
    SitePlace,
    StageChange,
    User,
    Village,
    WorkEntry,
)
from projects.rules.permissions import obstacles
from projects.rules.rounds import phase
from projects.selectors.actors import actor_of
from projects.selectors.plugs import batches_that_do_not_add_up
from projects.selectors.returns import names_to_settle, read_content, returns_of_year, sown_taxa
from projects.selectors.rounds import pots_that_do_not_add_up
from projects.selectors.sites import permissions_held
from projects.services import demo

KINDS = {"churchyard", "verge", "garden", "school", "field", "orchard", "green"}
#: the 100 km square of the grid that the county lies in, and that no coast reaches
SEA = "TB"


@pytest.fixture(scope="module")
def printed(django_db_setup, django_db_blocker):
    """What the command prints; the county stays for all tests of this file, since making it takes so long."""
    with django_db_blocker.unblock():
        out = StringIO()
        call_command("load_demo", force=True, stdout=out)
        yield out.getvalue()
        call_command("flush", interactive=False, verbosity=0)


@pytest.fixture
def saltmere(printed, db):
    return Network.objects.get(slug="saltmere")


def corners(outline):
    (ring,) = outline
    return geography.Outline.from_pairs(ring)


def all_rows():
    """How many rows each of our tables has, and the latest change of any noun."""
    models = [*apps.get_app_config("projects").get_models(), *apps.get_app_config("modelling").get_models()]
    changed = {
        model.__name__: sorted(model.objects.values_list("pk", "version", "updated_at"))
        for model in models
        if hasattr(model, "version")
    }
    return {model.__name__: model.objects.count() for model in models}, changed


def fixture_text():
    return "".join(path.read_text(encoding="utf-8") for path in sorted(demo.FOLDER.iterdir()))


# ------------------------------------------------------------------ how much there is, and of every kind some


def test_it_holds_a_county_full(saltmere):
    assert Network.objects.count() == 1
    counted = {
        model.__name__: model.objects.count()
        for model in (District, Village, Group, Site, MeadowProject, WorkEntry, Forecast, OutcomeReturn, ReturnVersion)
    }
    assert counted == {
        "District": 5,
        "Village": 41,
        "Group": 9,
        "Site": 46,
        "MeadowProject": 76,
        "WorkEntry": 502,
        "Forecast": 78,
        "OutcomeReturn": 77,
        "ReturnVersion": 79,
    }


def test_the_network_lends_raises_plants_and_carries_green_hay(saltmere):
    assert KitItem.objects.count() == 5
    states = list(KitBooking.objects.order_by("state").values_list("state", flat=True))
    assert states == ["agreed", "agreed", "asked", "back", "back", "cancelled", "out"]
    # the scarifier on the 6th of December: taken, with the day after it kept free
    taken = KitHalfDay.objects.filter(item__name="The scarifier", on__gte=demo.REFERENCE_DAY).order_by("on", "half")
    assert [(row.on.day, row.is_gap) for row in taken] == [(5, False)] * 2 + [(6, False)] * 2 + [(7, True)] * 2
    assert KitFault.objects.get().mended_on is not None
    assert (PlugBatch.objects.count(), batches_that_do_not_add_up()) == (3, [])
    assert sorted(GreenHayDay.objects.values_list("state", flat=True)) == ["done", "planned"]


def test_every_role_stage_kind_publicity_and_way_of_telling_a_place_is_there(saltmere):
    assert set(Site.objects.values_list("kind", flat=True)) == KINDS
    assert set(MeadowProject.objects.values_list("site__kind", flat=True)) == KINDS
    assert set(Site.objects.values_list("publicity", flat=True)) == set(Publicity.values)
    assert set(SitePlace.objects.values_list("given", flat=True)) == set(PlaceGiven.values)
    assert set(MeadowProject.objects.values_list("stage", flat=True)) == set(Stage.values)
    assert set(Membership.objects.values_list("role", flat=True)) == set(GroupRole.values)
    assert set(NetworkMembership.objects.values_list("role", flat=True)) == set(NetworkRole.values)
    assert User.objects.filter(is_operator=True).count() == 1
    assert set(Permission.objects.values_list("state", flat=True)) == set(PermissionState.values)
    assert set(WorkEntry.objects.values_list("what", flat=True)) == set(Work.values) - {"other"}
    causes = set(StageChange.objects.exclude(cause="").values_list("cause", flat=True))
    assert causes == set(Cause.values) - {"seed", "other", "unknown"}
    sown = MeadowProject.objects.exclude(sown_on=None).values_list("sown_on", flat=True)
    assert {day.year for day in sown} == {2022, 2023, 2024, 2025, 2026}


def test_sites_go_from_less_than_a_square_metre_to_ten_hectares(saltmere):
    areas = sorted(Site.objects.values_list("area_dm2", flat=True))
    assert (areas[0] / 100, areas[-1] / 100) == (0.9, 100_000)


def test_sites_have_zones_plants_soil_tests_and_money_from_elsewhere(saltmere):
    assert Site.objects.filter(zones__isnull=False).distinct().count() == 11
    assert Site.objects.exclude(resident_species=[]).count() == 5
    assert Site.objects.filter(soil_tests__isnull=False).distinct().count() >= 20
    assert Site.objects.filter(other_funding__isnull=False).count() == 8
    ran_out = Permission.objects.filter(expires_on__lt=demo.REFERENCE_DAY)
    assert sorted(ran_out.values_list("site__name", flat=True)) == [
        "Chapel yard", "Damson orchard", "Drove verge, mile one", "Plumstow Old Orchard",
    ]  # fmt: skip
    assert Permission.objects.exclude(label="").get().label == "Common rights holders"


# ------------------------------------------------------------------ where it lies


def test_every_reference_lies_in_a_square_of_the_sea(saltmere):
    box = demo.county()["box_m"]
    rings = [saltmere.outline, *District.objects.values_list("outline", flat=True)]
    points = [tuple(corner) for outline in rings for corner in outline[0]]
    for row in SitePlace.objects.all():
        points += [(row.easting_m, row.northing_m), *map(tuple, row.outline)]
    points += [
        (e + side, n + side) for e, n in Village.objects.values_list("easting_m", "northing_m") for side in (0, 999)
    ]
    assert len(points) > 300
    for easting, northing in points:
        assert box["west"] <= easting < box["east"]
        assert box["south"] <= northing < box["north"]
        point = geography.Point(easting, northing)
        assert geography.square_of(point, 100_000).reference == SEA
        latitude, longitude = geography.latitude_longitude(point)
        assert 53.6 < latitude < 54.2
        assert 1.0 < longitude < 2.0
    assert "100 km square TB" in demo.county()["note"]


def test_every_site_lies_in_its_district_and_in_the_county(saltmere):
    whole = corners(saltmere.outline)
    assert len(saltmere.outline[0]) == 43
    for row in SitePlace.objects.select_related("site__district"):
        ground = geography.Outline.from_pairs(row.outline).ring if row.outline else ()
        for point in (geography.Point(row.easting_m, row.northing_m), *ground):
            assert geography.contains(whole, point)
            assert geography.contains(corners(row.site.district.outline), point)


def test_the_districts_tile_the_county(saltmere):
    parts = [corners(outline) for outline in District.objects.values_list("outline", flat=True)]
    assert sum(part.area_m2 for part in parts) == pytest.approx(corners(saltmere.outline).area_m2, rel=1e-6)
    for village in Village.objects.select_related("district"):
        square = geography.Square(village.easting_m, village.northing_m, 1_000)
        inside = [
            district.name
            for district in District.objects.all()
            if geography.contains(corners(district.outline), square.centre)
        ]
        assert inside == [village.district.name]


# ------------------------------------------------------------------ its story


def test_what_was_sown_is_held_against_a_forecast_made_before(saltmere):
    sown = MeadowProject.objects.filter(sown_on__isnull=False).select_related("baseline__run")
    assert sown.count() == 41
    for project in sown:
        assert project.baseline.created_at.date() < project.sown_on
        assert project.baseline.run.as_of == project.baseline.created_at.date()
        assert project.baseline.run.draws == 4000
    assert not MeadowProject.objects.filter(sown_on__isnull=True, baseline__isnull=False).exists()
    assert ModelRun.objects.count() == Forecast.objects.count()


def test_steps_follow_one_another_and_end_in_the_present_stage(saltmere):
    for project in MeadowProject.objects.all():
        steps = list(project.stage_changes.order_by("pk"))
        for earlier, later in pairwise(steps):
            assert (earlier.to_stage, earlier.on <= later.on) == (later.from_stage, True)
        if steps:
            assert (steps[-1].to_stage, steps[-1].on) == (project.stage, project.stage_since)
        assert project.stage_since <= demo.REFERENCE_DAY


def test_rows_were_made_when_they_happened(saltmere):
    for line in WorkEntry.objects.select_related("project"):
        assert line.project.created_at.date() <= line.on == line.created_at.date()
    for project in MeadowProject.objects.select_related("site__group"):
        assert project.site.group.created_at <= project.site.created_at <= project.created_at
    for change in StageChange.objects.all():
        assert change.on == change.created_at.date()


def test_every_act_is_in_the_audit(saltmere):
    acts = Counter(AuditEntry.objects.values_list("act", flat=True))
    expected = {
        "network_create": 1, "district_create": 5, "village_create": 41, "group_create": 9, "site_create": 46,
        "project_create": 76, "forecast_create": 78, "work_add": 502, "work_strike": 4, "demo_load": 1,
        "return_send": 79, "return_agreed": 68, "bid_create": 28, "bid_submit": 25, "bid_appraise": 25,
        "decision_publish": 10,
        "operator_make": 1, "account_create": 29, "invitation_create": 29, "invitation_accept": 29,
    }  # fmt: skip
    assert {act: acts[act] for act in expected} == expected
    by_jobs = AuditEntry.objects.filter(via="task").values_list("act", flat=True)
    assert Counter(by_jobs) == {"bid_appraise": 25, "choice_make": 1}
    assert set(AuditEntry.objects.exclude(via="task").values_list("via", flat=True)) == {"command"}


def test_hours_of_the_diary_suit_the_ground(saltmere):
    lines = list(WorkEntry.objects.filter(what__in=["cut", "rake", "prepare", "sow"]).select_related("project__site"))
    assert len(lines) > 250
    for line in lines:
        hours, area = line.person_minutes / 60, line.project.site.area_dm2 / 100
        assert 0.25 <= hours <= 2 + 0.06 * area
        assert 1 <= line.heads <= 14
        assert line.machine_minutes <= line.person_minutes or line.machine.startswith("tractor")
    assert WorkEntry.objects.filter(on__gt=demo.REFERENCE_DAY).count() == 0


# ------------------------------------------------------------------ three years of returns


def test_three_years_are_told_in_every_way(saltmere):
    rows = OutcomeReturn.objects.select_related("current")
    assert Counter(rows.values_list("year", flat=True)) == {2024: 21, 2025: 27, 2026: 29}
    assert set(rows.values_list("state", flat=True)) == set(ReturnState.values)
    contents = [read_content(row.current) for row in rows]
    assert {content.answered for content in contents} == {"surveyed", "nothing_done", "failed"}
    scales = {record.scale for c in contents for v in c.visits for q in v.quadrats for record in q.records}
    assert scales == {"presence", "percent", "domin", "braun_blanquet", "dafor_cover"}
    ways = Counter(
        "quadrats" if any(visit.quadrats for visit in content.visits) else "list" if content.visits else "work"
        for content in contents
    )
    assert min(ways.values()) >= 6
    assert {year.version_of.outcome.year for year in ReturnQuestion.objects.filter(accepted_at__isnull=True)} == {2026}
    assert ReturnQuestion.objects.filter(accepted_at__isnull=True).count() >= 3
    assert ReturnQuestion.objects.filter(accepted_at__isnull=False).count() >= 3


def test_the_latest_year_has_some_waiting_some_with_names_to_settle_and_some_missing(saltmere):
    coordinator = actor_of(User.objects.get(email="maud@example.org"))
    lines = returns_of_year(coordinator, saltmere, 2026, demo.REFERENCE_DAY)
    states = Counter(line.state for line in lines)
    assert set(states) == {*ReturnState.values, "missing"}
    assert sum(line.questions > 0 for line in lines) >= 3
    assert sum(line.names > 0 for line in lines) >= 2
    missing = [line.project.name for line in lines if line.late]
    assert missing == ["The pightle", "Glebe strip", "Howe school meadow", "Sandy Close, first half"]
    ready = [row for row in OutcomeReturn.objects.filter(state="agreed") if names_to_settle(row.agreed)]
    assert ready == []


def test_a_return_is_sent_by_its_group_and_agreed_by_the_coordinator(saltmere):
    for row in OutcomeReturn.objects.select_related("current__created_by", "group"):
        assert row.current.created_by.memberships.filter(group=row.group).exists()
        assert row.created_at.year == row.year
        agreed = row.steps.filter(to_state="agreed").values_list("created_by__email", flat=True)
        assert set(agreed) <= {"maud@example.org"}
        if row.state == "agreed":
            assert row.agreed == row.current


def test_kinds_gather_slowly_and_rattle_with_them(saltmere):
    """As in published sowings: some kinds in the first summer, one or two more a year, rattle up within three years."""
    kinds, rattle, bare = {}, {}, {}
    for row in OutcomeReturn.objects.filter(agreed__isnull=False).select_related("agreed", "project"):
        content, sown_on = read_content(row.agreed), row.project.sown_on
        squares = [square for visit in content.visits for square in visit.quadrats if square.area_m2 == 1]
        if not squares or content.answered != "surveyed":
            continue
        summers = min(3, max(0, row.year - sown_on.year + (sown_on.month < 6)))
        kinds.setdefault(summers, []).extend(len(square.records) for square in squares)
        bare.setdefault(summers, []).extend(s.bare_ground_percent for s in squares if s.bare_ground_percent is not None)
        if "rhinanthus_minor" in sown_taxa(row.project):
            rattle.setdefault(summers, []).extend(square.rattle_plants or 0 for square in squares)
    mean = {age: sum(found) / len(found) for age, found in sorted(kinds.items())}
    assert mean[0] < mean[1] < mean[2] < mean[3] < mean[1] + 4
    assert 5 < mean[0] < 8
    assert 9 < mean[3] < 13
    assert sum(rattle[0]) == 0
    assert sum(rattle[1]) / len(rattle[1]) < sum(rattle[2]) / len(rattle[2])
    assert sum(bare[1]) / len(bare[1]) > 2 * sum(bare[3]) / len(bare[3])


# ------------------------------------------------------------------ two grant rounds


def codes_of(bid):
    row = BidAppraisal.objects.get(submission=bid.current_id)
    return {flag["code"] for flag in json.loads(row.answer)["flags"]}


def test_one_round_is_settled_and_its_money_adds_up(saltmere):
    settled = GrantRound.objects.get(name="Saltmere Meadow Fund, spring 2025")
    assert pots_that_do_not_add_up() == []
    assert (settled.state, settled.bids.count()) == ("settled", 8)
    states = dict(Award.objects.values_list("bid__title", "state"))
    assert Counter(states.values()) == {"accepted": 4, "finished": 1, "declined": 1, "offered": 1}
    # the declined money went to the first in reserve, what came back to the second
    first, second = (Bid.objects.get(title__startswith=title) for title in ("The Howe school", "Cowslips and betony"))
    for bid, state in ((first, "accepted"), (second, "offered")):
        kinds = list(bid.decisions.order_by("number").values_list("kind", "state"))
        assert kinds == [("deferred", "superseded"), ("full", "published")]
        assert bid.award.state == state
    assert second.award.accept_by == date(2026, 12, 16)
    payments = Counter(PaymentRequest.objects.values_list("state", flat=True))
    assert payments == {"paid": 11, "refused": 1, "asked": 1}
    assert sorted(MoneyReturned.objects.values_list("amount_pence", flat=True)) == [13_440, 64_000]
    assert sorted(ChangeRequest.objects.values_list("kind", "state")) == [("date", "agreed"), ("seed", "asked")]
    refused = Decision.objects.get(kind="refused")
    assert refused.feedback
    assert RoundChoice.objects.get().round == settled


def test_the_other_round_takes_bids_some_good_and_some_with_the_usual_faults(saltmere):
    row = GrantRound.objects.get(name="Saltmere Meadow Fund, autumn 2026")
    evening = datetime.combine(demo.REFERENCE_DAY, demo.EVENING)
    assert phase(row.state, row.opens_at, row.closes_at, evening) == "open"
    assert row.pot_pence == 6_000_000
    assert Counter(row.bids.values_list("state", flat=True)) == {"submitted": 17, "draft": 2, "checked": 1}
    asked = sum(row.bids.filter(state="submitted").values_list("asked_pence", flat=True))
    assert asked > row.pot_pence
    faults = {
        "Station approach": "arisings_forgotten", "Orchids for Ferry Lane": "promise_unlikely",
        "Poppies": "annuals_only", "The old bus turn": "rattle_in_spring", "Long Leas": "rich_soil_not_stripped",
        "Sluice bank": "vat_missing", "Cold Ings": "no_aftercare", "The south edge": "money_after_season",
        "Hundred Roods": "ground_paid_for", "More flowers for Staithe": "sown_on_interest",
        "Between the rows": "seed_rate_high", "Perry Piece": "line_low",
    }  # fmt: skip
    for title, code in faults.items():
        assert code in codes_of(row.bids.get(title__startswith=title)), title
    # superb and small: at what such work costs, and nothing to ask but who walks the ground in June
    superb = row.bids.get(title__startswith="The west side of Howe")
    assert (codes_of(superb), superb.asked_pence) == ({"nobody_looked"}, 32_580)


# ------------------------------------------------------------------ walks to be possible on it


def test_wenna_has_a_churchyard_in_rank_grass_whose_permissions_are_partly_asked(saltmere):
    site = Site.objects.get(name="Churchyard, north side")
    assert (site.kind, site.area_dm2, site.sward, site.soil_tests.count()) == ("churchyard", 18_000, "rank_grass", 0)
    assert Membership.objects.filter(group=site.group, user__email="wenna@example.org", role="lead").exists()
    assert site.projects.get().forecasts.count() == 1
    missing = obstacles(permissions_held(site), demo.REFERENCE_DAY)
    assert "Agreement of the churchyard's keepers: asked, no answer yet." in missing
    assert "Permission of the licensing authority: needed, not asked yet." in missing
    assert "Plans of cables and pipes: find out whether it is needed." in missing
    assert not any(text.startswith("Scheduled monument") for text in missing)


def sentence(forecast):
    return json.loads(run_answer_text(forecast.run.public_id))["sentence"]


def test_tobias_sees_that_the_field_next_door_does_better_for_less(saltmere):
    rich, poor = Site.objects.get(name="Long Leas"), Site.objects.get(name="Small Leas")
    assert (rich.area_dm2, rich.last_use) == (2_000_000, "grazing")
    assert [site.soil_tests.get().olsen_p_mg_per_l for site in (rich, poor)] == [31, 12]
    shared = set(map(tuple, SitePlace.objects.get(site=rich).outline)) & set(
        map(tuple, SitePlace.objects.get(site=poor).outline)
    )
    assert len(shared) == 2
    forecasts = MeadowProject.objects.get(name="Long Leas to meadow").forecasts.order_by("pk")
    assert [forecast.plan.note for forecast in forecasts] == [
        "", "Strip the turf and topsoil instead: what would that change, and cost?",
    ]  # fmt: skip
    assert all(sentence(forecast).startswith("Your 2 ha will need ") for forecast in forecasts)
    next_door = MeadowProject.objects.get(name="Small Leas instead").forecasts.order_by("pk").first()
    assert sentence(next_door).startswith("Your 6,500 m² will need 7.8 kg of seed, ")


def test_a_patch_of_less_than_a_square_metre_is_sown_by_the_gram(saltmere):
    site = Site.objects.get(name="Patch by the back door")
    assert (site.kind, site.publicity, site.shown_easting_m) == ("garden", "private", None)
    assert SitePlace.objects.get(site=site).given == "village"
    first = site.projects.get().forecasts.order_by("pk").first()
    assert sentence(first).startswith("Your 0.9 m² will need 3 g of seed, ")


# ------------------------------------------------------------------ signing in


def test_the_command_says_who_can_sign_in_and_they_can(printed, saltmere):
    lines = [line.split() for line in printed.splitlines() if line.startswith("  ")]
    assert [line[0].partition("@")[0] for line in lines] == [
        "wenna", "tobias", "ines", "petroc", "ottilie", "maud", "perpetua", "cuthbert", "roz",
    ]  # fmt: skip
    assert f"“{demo.PASSWORD}”" in printed
    assert "9 groups, 46 sites, 76 meadow projects" in printed
    for email, *_ in lines:
        client = Client()
        client.post(reverse("sign-in"), {"email": email, "password": demo.PASSWORD})
        assert client.session["_auth_user_id"] == str(User.objects.get(email=email).pk)


def test_nobody_has_an_address_elsewhere(saltmere):
    assert User.objects.count() == 30
    assert not User.objects.exclude(email__endswith="@example.org").exists()
    text = fixture_text()
    assert text.count("@") == text.count("@example.org") == 9
    with (demo.FOLDER / "people.csv").open(encoding="utf-8") as table:
        names = [row["name"] for row in csv.DictReader(table)]
    assert len(set(names)) == 30


# ------------------------------------------------------------------ again


def test_loading_it_again_changes_nothing(printed, saltmere):
    before = all_rows()
    out = StringIO()
    call_command("load_demo", stdout=out)
    assert all_rows() == before
    assert out.getvalue() == printed


def test_the_demo_shows_who_can_sign_in(printed, saltmere):
    out = StringIO()
    call_command("demo", no_serve=True, stdout=out)
    assert out.getvalue().endswith(f"\n{printed}\n")
    assert "once" not in out.getvalue()
