"""Sites: registering, changing and removing them; soil tests and money from elsewhere."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction

from projects import geography
from projects.contracts.base import read_as
from projects.contracts.networks import NetworkNew
from projects.contracts.sites import OtherFundingNew, SiteChange, SiteNew, SoilTestNew
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale, WrongState
from projects.models import (
    AuditEntry,
    Group,
    OtherFunding,
    Permission,
    Site,
    SitePlace,
    SiteZone,
    SoilTest,
    User,
)
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors.places import place_of, shown_square
from projects.services import networks, sites
from tests.projects.county import NOW, polygon
from tests.projects.proof import all_audit_text, audited, cast, refused, with_scopes

LATER = NOW + timedelta(days=1)
MAKERS, GARDEN, YARD, PADDOCK = "Gullhaven Meadow Makers", "Wenna’s garden", "Churchyard of Gullhaven", "Long Paddock"
BANK, VERGE = "School bank", "Brackwater verge"


def create(county, actor=None, **more):
    asked = {
        "group_id": county.groups[MAKERS].public_id, "name": "Glebe", "kind": "field", "area_m2": 400.0,
        "place": {"grid_reference": "TA 9876 3543"},
    }  # fmt: skip
    return sites.site_create(actor=actor or county.as_(county.lead), asked=read_as(SiteNew, asked | more), now=NOW)


def change(county, site, actor=None, if_version=None, **more):
    return sites.site_change(
        actor=actor or county.as_(county.lead),
        public_id=county.sites[site].public_id,
        asked=read_as(SiteChange, more),
        if_version=if_version,
        now=LATER,
    )


def shown(site):
    """The square that may be shown; its degrees must be those of the square."""
    site = Site.objects.get(pk=site.pk)
    square = shown_square(site)
    assert site.shown_degrees == (square and geography.in_degrees(square, square.centre))
    return site.shown_easting_m, site.shown_northing_m, site.shown_side_m


def test_degrees_are_worked_out_when_a_place_is_told_and_not_when_it_is_read(county, monkeypatch):
    found = {}

    def look():
        for name, site in county.sites.items():
            for actor in (PUBLIC_ACTOR, county.as_(county.lead)):
                place = place_of(actor, Site.objects.get(pk=site.pk))
                found.setdefault((name, actor.user_id), []).append(place)

    look()
    Site.objects.filter(shown_side_m__isnull=False).update(shown_degrees={})
    SitePlace.objects.update(degrees={})
    import_module("projects.migrations.0005_degrees_of_places").fill(apps, None)
    outline = polygon(*SitePlace.objects.get(site=county.sites["Long Paddock"]).outline)
    # from here on nothing could be worked out
    monkeypatch.setattr(geography, "grid_to_ll", None)
    look()
    assert all(first == second for first, second in found.values())
    paddock = found["Long Paddock", None][0]
    assert paddock.geometry == outline
    garden = found["Wenna’s garden", None][0]
    assert (garden.latitude, garden.geometry) == (None, None)
    # another group's people know the churchyard by its kilometre alone
    near = found["Churchyard of Gullhaven", None][0]
    exact = found["Churchyard of Gullhaven", county.lead.pk][0]
    assert (near.side_m, exact.side_m) == (1000, 10)
    assert near.geometry != exact.geometry


# ------------------------------------------------------------------ registering


def test_everything_said_of_a_new_site_is_kept_in_whole_numbers(county):
    lead = county.as_(county.lead)
    with audited("site_create", "site", lead) as seen:
        row = create(
            county,
            area_m2=400.25,
            net_area_m2=300.4,
            gate_width_m=2.346,
            access_note="By the lych gate.",
            slope_degrees=3.5,
            wetness="damp",
            shade="part_shade",
            sward="rank_grass",
            last_use="grazing",
            resident_species_per_m2=6.5,
            standing_crop_g_per_m2=320.0,
            existing_interest=["waxcaps", "orchids"],
            resident_species=["Cock’s-foot", "Urtica dioica"],
            distance_to_flower_rich_m=1234.4,
            district_id=county.districts["Inner Sands"].public_id,
            publicity="square_2_km",
            zones=[{"name": "North", "area_m2": 100.0, "sward": "bare_or_arable", "note": "Dug over."}],
        )
    row = Site.objects.get(pk=row.pk)
    assert (row.area_dm2, row.net_area_dm2, row.gate_width_cm) == (40025, 30040, 235)
    assert (row.access_note, row.slope_degrees, row.wetness, row.shade) == (
        "By the lych gate.", 3.5, "damp", "part_shade",
    )  # fmt: skip
    assert (row.sward, row.last_use, row.kind) == ("rank_grass", "grazing", "field")
    assert (row.resident_species_per_m2, row.standing_crop_g_per_m2) == (6.5, 320.0)
    assert (row.existing_interest, row.resident_species) == (["waxcaps", "orchids"], ["Cock’s-foot", "Urtica dioica"])
    assert (row.distance_to_flower_rich_m, row.district, row.village) == (1234, county.districts["Inner Sands"], "")
    assert (row.network, row.group, row.version, row.created_at) == (county.network, county.groups[MAKERS], 1, NOW)
    assert list(row.zones.values_list("name", "area_dm2", "sward", "note")) == [
        ("North", 10_000, "bare_or_arable", "Dug over.")
    ]
    assert (seen.entry.network, seen.entry.group, seen.entry.object_id) == (row.network, row.group, row.public_id)
    assert seen.entry.after["area_dm2"] == 40025


def test_what_is_left_out_of_a_new_site_is_not_known(county):
    row = Site.objects.get(pk=create(county).pk)
    assert (row.area_dm2, row.net_area_dm2, row.gate_width_cm, row.slope_degrees) == (40_000, None, None, None)
    assert (row.wetness, row.shade, row.sward, row.last_use, row.access_note) == ("", "", "", "", "")
    assert (row.existing_interest, row.resident_species, row.distance_to_flower_rich_m) == ([], [], None)
    assert (row.publicity, row.district, row.zones.count()) == ("square_1_km", None, 0)


def test_a_new_site_has_the_permissions_its_kind_calls_for_none_of_them_looked_into(county):
    row = create(county, kind="churchyard")
    assert list(row.permissions.values_list("key", "label", "need", "state", "version")) == [
        (key, "", "unknown", "not_asked", 1)
        for key in (
            "churchyard_body", "churchyard_authority", "protected_site_consent", "scheduled_monument",
            "buried_services", "access_rights",
        )
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("place", "publicity", "exact", "square"),
    [
        # a reference of 8 figures is a square of 10 m
        ({"grid_reference": "TA 9876 3543"}, "exact", (598_765, 435_435, 10), (598_760, 435_430, 10)),
        ({"grid_reference": "TA 9876 3543"}, "square_100_m", (598_765, 435_435, 10), (598_700, 435_400, 100)),
        ({"grid_reference": "TA 9876 3543"}, "square_1_km", (598_765, 435_435, 10), (598_000, 435_000, 1_000)),
        ({"grid_reference": "TA 9876 3543"}, "square_2_km", (598_765, 435_435, 10), (598_000, 434_000, 2_000)),
        ({"grid_reference": "TA 9876 3543"}, "square_10_km", (598_765, 435_435, 10), (590_000, 430_000, 10_000)),
        ({"grid_reference": "TA 9876 3543"}, "private", (598_765, 435_435, 10), (None, None, None)),
        # cut off, never rounded, at the very edge of every square
        ({"grid_reference": "TA 99999 39999"}, "square_100_m", (599_999.5, 439_999.5, 1), (599_900, 439_900, 100)),
        ({"grid_reference": "TA 99999 39999"}, "square_1_km", (599_999.5, 439_999.5, 1), (599_000, 439_000, 1_000)),
        ({"grid_reference": "TA 99999 39999"}, "square_2_km", (599_999.5, 439_999.5, 1), (598_000, 438_000, 2_000)),
        ({"grid_reference": "TA 99999 39999"}, "square_10_km", (599_999.5, 439_999.5, 1), (590_000, 430_000, 10_000)),
        # never finer than it is known
        ({"grid_reference": "TA 98 35"}, "exact", (598_500, 435_500, 1_000), (598_000, 435_000, 1_000)),
        ({"grid_reference": "TA 98 35"}, "square_100_m", (598_500, 435_500, 1_000), (598_000, 435_000, 1_000)),
        ({"grid_reference": "TA 93 C"}, "square_1_km", (591_000, 435_000, 2_000), (590_000, 434_000, 2_000)),
        ({"grid_reference": "TA 93"}, "square_2_km", (595_000, 435_000, 10_000), (590_000, 430_000, 10_000)),
    ],
)  # fmt: skip
def test_a_place_is_kept_exactly_and_shown_as_a_square(county, place, publicity, exact, square):
    row = create(county, place=place, publicity=publicity)
    kept = SitePlace.objects.get(site=row)
    assert (kept.easting_m, kept.northing_m, kept.side_m) == exact
    assert (kept.given, kept.said, kept.outline) == ("grid_reference", place["grid_reference"], [])
    assert shown(row) == square


def test_a_village_alone_is_a_place_known_to_the_kilometre(county):
    row = create(county, place={"village_id": str(county.villages["Gullhaven"].public_id)}, publicity="exact")
    kept = SitePlace.objects.get(site=row)
    assert (kept.given, kept.said, kept.easting_m, kept.northing_m, kept.side_m) == (
        "village", "Gullhaven", 598_500, 435_500, 1_000,
    )  # fmt: skip
    assert (row.village, shown(row)) == ("Gullhaven", (598_000, 435_000, 1_000))
    # which village is a place too: whoever may read the audit may still not be let read exact places
    assert "Gullhaven" not in AuditEntry.objects.get(object_id=row.public_id).after.values()


def test_an_outline_gives_the_area_and_a_point_inside(county):
    ring = [(598_200, 436_000), (598_250, 436_000), (598_250, 436_040), (598_200, 436_040), (598_200, 436_000)]
    row = create(county, place={"outline": polygon(*ring)}, area_m2=None)
    kept = SitePlace.objects.get(site=row)
    # six decimals of a degree are 0.1 m: 50 m x 40 m, give or take
    assert row.area_dm2 == pytest.approx(200_000, abs=1_000)
    assert (kept.given, kept.side_m, kept.said) == ("outline", 1, "")
    assert (kept.easting_m, kept.northing_m) == (pytest.approx(598_225, abs=1), pytest.approx(436_020, abs=1))
    assert [[round(x) for x in corner] for corner in kept.outline[:2]] == [[598_200, 436_000], [598_250, 436_000]]
    assert shown(row) == (598_000, 436_000, 1_000)


def test_latitude_and_longitude_are_a_point(county):
    # OSTN15 guide, annexe A: Caister water tower, E 651409.804, N 313177.450
    row = create(county, place={"latitude": 52.658008, "longitude": 1.716074}, publicity="square_100_m")
    kept = SitePlace.objects.get(site=row)
    assert (kept.easting_m, kept.northing_m) == (pytest.approx(651_409.8, abs=0.2), pytest.approx(313_177.4, abs=0.2))
    assert (kept.given, kept.said, kept.side_m) == ("coordinates", "52.658008, 1.716074", 1)
    assert shown(row) == (651_400, 313_100, 100)


PADDOCK_RING = [(598_200, 436_000), (598_250, 436_000), (598_250, 436_040), (598_200, 436_040), (598_200, 436_000)]


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"area_m2": None}, ("/area_m2", "missing")),
        ({"place": {"outline": polygon(*PADDOCK_RING)}, "area_m2": 4000.0}, ("/area_m2", "area_differs")),
        ({"place": {"outline": {"type": "Point", "coordinates": [1, 2]}}}, ("/place/outline", "wrong_type")),
        ({"place": {"grid_reference": "ZZ 98 35"}}, ("/place/grid_reference", "unknown_letters")),
        ({"place": {"grid_reference": "TA"}}, ("/place/grid_reference", "too_coarse")),
        ({"place": {"latitude": 48.9, "longitude": 0.5}}, ("/place/latitude", "outside_great_britain")),
        ({"place": {"village_id": str(uuid4())}}, ("/place/village_id", "unknown")),
        ({"district_id": str(uuid4())}, ("/district_id", "unknown")),
        ({"net_area_m2": 400.1}, ("/net_area_m2", "out_of_range")),
        ({"name": "LONG paddock"}, ("/name", "taken")),
        (
            {"zones": [{"name": "North", "area_m2": 200.0}, {"name": "South", "area_m2": 200.1}]},
            ("/zones", "out_of_range"),
        ),
        ({"zones": [{"name": "North", "area_m2": 2.0}, {"name": "NORTH", "area_m2": 2.0}]}, ("/zones", "taken")),
    ],
)
def test_a_site_that_cannot_be_is_refused_by_its_field(county, more, fault):
    with refused(RuleBroken, fault):
        create(county, **more)


def test_a_village_of_another_network_is_none_of_this_one(county):
    village = county.villages["Gullhaven"]
    other = networks.network_create(
        actor=county.as_(county.operator), asked=NetworkNew(name="Farshore", slug="farshore"), now=NOW
    )
    type(village).objects.filter(pk=village.pk).update(network=other)
    with refused(RuleBroken, ("/place/village_id", "unknown")):
        create(county, place={"village_id": str(village.public_id)})


def test_a_group_has_so_many_sites_and_no_more(county, monkeypatch):
    monkeypatch.setattr(sites, "MOST_SITES", 5)
    create(county)
    with refused(RuleBroken, ("/group_id", "too_many")):
        create(county, name="One more")


def test_sites_are_registered_by_leads_and_coordinators_in_a_group_that_is_there(county):
    for who, actor in cast(county).items():
        if who in {"lead", "coordinator"}:
            create(county, actor, name=f"Glebe of the {who}")
        else:
            with refused(NotAllowed):
                create(county, actor)
    with refused(NotFound):
        create(county, group_id=str(uuid4()))
    Group.objects.filter(pk=county.groups[MAKERS].pk).update(closed_at=NOW)
    with refused(NotFound):
        create(county, county.as_(county.coordinator))


# ------------------------------------------------------------------ changing


def test_a_change_leaves_what_it_does_not_say(county):
    before = Site.objects.values().get(pk=county.sites[YARD].pk)
    lead = county.as_(county.lead)
    with audited("site_change", "site", lead) as seen:
        change(county, YARD, if_version=1, gate_width_m=1.2, wetness="damp")
    after = Site.objects.values().get(pk=county.sites[YARD].pk)
    differs = {name for name in after if after[name] != before[name]}
    assert differs == {"gate_width_cm", "wetness", "version", "updated_at"}
    assert (after["gate_width_cm"], after["wetness"], after["version"], after["updated_at"]) == (120, "damp", 2, LATER)
    assert seen.entry.before == {"gate_width_cm": None, "wetness": ""}
    assert seen.entry.after == {"gate_width_cm": 120, "wetness": "damp"}


def test_what_is_taken_back_is_not_known_any_more(county):
    change(county, YARD, gate_width_m=1.2, net_area_m2=100.0, wetness="damp", distance_to_flower_rich_m=5.0,
           district_id=str(county.districts["Outer Banks"].public_id))  # fmt: skip
    change(county, YARD, gate_width_m=None, net_area_m2=None, wetness=None, sward=None, distance_to_flower_rich_m=None,
           district_id=None)  # fmt: skip
    row = Site.objects.get(pk=county.sites[YARD].pk)
    assert (row.gate_width_cm, row.net_area_dm2, row.wetness, row.sward) == (None, None, "", "")
    assert (row.distance_to_flower_rich_m, row.district, row.version) == (None, None, 3)


def test_somebody_elses_change_in_between_is_stale(county):
    change(county, YARD, if_version=1, shade="sun")
    with refused(Stale, match="you saw version 1, it is now 2"):
        change(county, YARD, if_version=1, shade="shade")


def test_a_place_moves_and_the_audit_tells_that_and_not_where_to(county):
    lead = county.as_(county.lead)
    with audited("site_change", "site", lead) as seen:
        change(county, GARDEN, place={"grid_reference": "TA 95123 34321"})
    kept = SitePlace.objects.get(site=county.sites[GARDEN])
    assert (kept.easting_m, kept.northing_m) == (595_123.5, 434_321.5)
    assert seen.entry.before == {"place": "as it was"}
    assert seen.entry.after == {"place": "changed"}
    assert shown(county.sites[GARDEN]) == (None, None, None)


@pytest.mark.parametrize(
    ("publicity", "square"),
    [
        ("exact", (598_456, 435_789, 1)),
        ("square_100_m", (598_400, 435_700, 100)),
        ("square_1_km", (598_000, 435_000, 1_000)),
        ("square_2_km", (598_000, 434_000, 2_000)),
        ("square_10_km", (590_000, 430_000, 10_000)),
    ],
)
def test_a_garden_is_shown_as_soon_as_it_may_be_and_hidden_again(county, publicity, square):
    change(county, GARDEN, publicity=publicity)
    assert shown(county.sites[GARDEN]) == square
    change(county, GARDEN, publicity="private")
    assert shown(county.sites[GARDEN]) == (None, None, None)
    assert SitePlace.objects.get(site=county.sites[GARDEN]).easting_m == 598_456.5


def test_a_village_forgotten_when_the_place_is_told_better(county):
    change(county, BANK, place={"grid_reference": "TA 9812 3544"})
    row = Site.objects.get(pk=county.sites[BANK].pk)
    assert (row.village, shown(row)) == ("", (598_000, 434_000, 2_000))


def test_a_new_outline_brings_its_area_unless_one_is_said_that_fits(county):
    outline = {"outline": polygon(*PADDOCK_RING)}
    assert change(county, YARD, place=outline).area_dm2 == pytest.approx(200_000, abs=1_000)
    assert change(county, YARD, place=outline, area_m2=2100.0).area_dm2 == 210_000
    with refused(RuleBroken, ("/area_m2", "area_differs")):
        change(county, YARD, place=outline, area_m2=2300.0)
    # an area alone is held against the outline there is
    with refused(RuleBroken, ("/area_m2", "area_differs")):
        change(county, YARD, area_m2=2300.0)
    assert change(county, YARD, area_m2=1900.0).area_dm2 == 190_000


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"place": None}, ("/place", "missing")),
        ({"name": "long paddock"}, ("/name", "taken")),
        ({"net_area_m2": 181.0}, ("/net_area_m2", "out_of_range")),
        ({"place": {"grid_reference": "51409 13177"}}, ("/place/grid_reference", "no_letters")),
        ({"district_id": str(uuid4())}, ("/district_id", "unknown")),
        ({"zones": [{"name": "All", "area_m2": 181.0}]}, ("/zones", "out_of_range")),
    ],
)
def test_a_change_that_cannot_be_is_refused_by_its_field(county, more, fault):
    with refused(RuleBroken, fault):
        change(county, YARD, **more)


def test_a_site_cannot_shrink_below_its_zones_or_what_is_to_be_meadow(county):
    change(county, YARD, zones=[{"name": "North", "area_m2": 100.0}, {"name": "South", "area_m2": 80.0}])
    with refused(RuleBroken, ("/zones", "out_of_range"), match="add up to 180 m², the site has 179 m²"):
        change(county, YARD, area_m2=179.0)
    change(county, YARD, zones=[], net_area_m2=150.0)
    with refused(RuleBroken, ("/net_area_m2", "out_of_range")):
        change(county, YARD, area_m2=149.0)
    assert SiteZone.objects.count() == 0


def test_zones_are_replaced_as_a_whole(county):
    change(county, YARD, zones=[{"name": "North", "area_m2": 100.0}])
    change(county, YARD, zones=[{"name": "north", "area_m2": 90.0}, {"name": "South", "area_m2": 90.0}])
    assert list(SiteZone.objects.order_by("pk").values_list("name", "area_dm2")) == [("north", 9000), ("South", 9000)]


def test_another_kind_calls_for_its_own_permissions_and_drops_what_nobody_touched(county):
    touched = Permission.objects.get(site=county.sites[YARD], key="churchyard_authority")
    Permission.objects.filter(pk=touched.pk).update(version=2, state="asked")
    own = Permission.objects.create(site=county.sites[YARD], key="own_1", label="The bell-ringers")
    change(county, YARD, kind="orchard")
    assert set(county.sites[YARD].permissions.values_list("key", flat=True)) == {
        "churchyard_authority", "own_1", "orchard_owner", "orchard_trees", "protected_site_consent",
        "scheduled_monument", "buried_services", "access_rights",
    }  # fmt: skip
    assert Permission.objects.get(pk=own.pk).label == "The bell-ringers"
    # and back again: nothing twice
    change(county, YARD, kind="churchyard")
    keys = list(county.sites[YARD].permissions.values_list("key", flat=True))
    assert sorted(keys) == sorted(
        ["churchyard_body", "churchyard_authority", "own_1", "protected_site_consent", "scheduled_monument",
         "buried_services", "access_rights"]
    )  # fmt: skip


def test_a_site_is_changed_by_those_of_the_table_and_a_private_one_is_there_for_them_alone(county):
    for who, actor in cast(county).items():
        for name, unseen in ((YARD, NotAllowed), (GARDEN, NotFound)):
            if who in {"lead", "coordinator"}:
                change(county, name, actor, shade="sun")
            else:
                kind = NotAllowed if who == "member" else unseen
                with refused(kind):
                    change(county, name, actor, shade="shade")
                with refused(kind):
                    sites.site_remove(actor=actor, public_id=county.sites[name].public_id, if_version=None, now=LATER)
    lead = county.as_(county.lead)
    with refused(NotAllowed, match="write"):
        change(county, GARDEN, with_scopes(lead, "read", "exact_places"), shade="shade")
    # a token that may not read does not see what only its owner sees
    with refused(NotFound):
        change(county, GARDEN, with_scopes(lead, "write"), shade="shade")
    with refused(NotFound, match="There is no site"):
        sites.site_change(actor=lead, public_id=uuid4(), asked=SiteChange(shade="sun"), if_version=None, now=LATER)


# ------------------------------------------------------------------ removing


def test_a_site_nothing_was_built_on_goes_with_all_that_belongs_to_it(county):
    lead, site = county.as_(county.lead), county.sites[BANK]
    change(county, BANK, zones=[{"name": "North", "area_m2": 10.0}])
    sites.soil_test_add(
        actor=lead, site_id=site.public_id, asked=SoilTestNew(taken_on=date(2026, 8, 1), soil_ph=6.5), now=LATER
    )
    version = Site.objects.get(pk=site.pk).version
    with refused(Stale):
        sites.site_remove(actor=lead, public_id=site.public_id, if_version=version - 1, now=LATER)
    with audited("site_remove", "site", lead) as seen:
        sites.site_remove(actor=lead, public_id=site.public_id, if_version=version, now=LATER)
    assert not Site.objects.filter(pk=site.pk).exists()
    for model in (SitePlace, SiteZone, SoilTest, Permission):
        assert not model.objects.filter(site_id=site.pk).exists()
    assert (seen.entry.object_id, seen.entry.before["name"], seen.entry.after) == (site.public_id, BANK, None)
    assert (seen.entry.network, seen.entry.group) == (county.network, county.groups[MAKERS])


def test_a_site_with_a_project_stays(county):
    with refused(WrongState, match="whose record stays"):
        sites.site_remove(
            actor=county.as_(county.lead), public_id=county.sites[YARD].public_id, if_version=None, now=LATER
        )


# ------------------------------------------------------------------ soil tests, money from elsewhere


def soil(county, actor=None, name=YARD, now=LATER, **more):
    asked = read_as(SoilTestNew, {"taken_on": "2026-08-01"} | more)
    return sites.soil_test_add(
        actor=actor or county.as_(county.lead), site_id=county.sites[name].public_id, asked=asked, now=now
    )


def funding(county, actor=None, name=YARD, **more):
    asked = read_as(OtherFundingNew, {"funder": "Harbour fund", "what_for": "Hedge"} | more)
    return sites.other_funding_add(
        actor=actor or county.as_(county.lead), site_id=county.sites[name].public_id, asked=asked, now=LATER
    )


def test_a_soil_test_is_kept_and_can_be_taken_away(county):
    lead, site = county.as_(county.lead), county.sites[YARD]
    with audited("soil_test_add", "soil_test", lead) as seen:
        row = soil(county, olsen_p_mg_per_l=12.5, soil_p_index=1, soil_ph=6.8, laboratory="Quay Lab", note="Ten cores.")
    row.refresh_from_db()
    assert (row.site, row.taken_on, row.olsen_p_mg_per_l, row.soil_p_index, row.soil_ph) == (
        site, date(2026, 8, 1), 12.5, 1, 6.8,
    )  # fmt: skip
    assert (row.laboratory, row.note, row.version) == ("Quay Lab", "Ten cores.", 1)
    assert seen.entry.after["olsen_p_mg_per_l"] == 12.5
    # the site's own version tells of it
    assert Site.objects.get(pk=site.pk).version == 2
    with audited("soil_test_remove", "soil_test", lead) as seen:
        sites.soil_test_remove(actor=lead, public_id=row.public_id, now=LATER)
    assert (SoilTest.objects.count(), Site.objects.get(pk=site.pk).version) == (0, 3)
    assert (seen.entry.object_id, seen.entry.before["soil_ph"]) == (row.public_id, 6.8)
    with refused(NotFound, match="There is no soil test"):
        sites.soil_test_remove(actor=lead, public_id=row.public_id, now=LATER)


def test_today_is_the_day_in_britain(county):
    # half an hour before midnight by the world's clock is the next day here in summer
    now = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)
    assert soil(county, now=now, taken_on="2026-07-01", soil_ph=6.0).taken_on == date(2026, 7, 1)
    with refused(RuleBroken, ("/taken_on", "in_future"), match="2026-07-02 is still to come"):
        soil(county, now=now, taken_on="2026-07-02", soil_ph=6.0)


def test_money_from_elsewhere_is_kept_in_pence_and_can_be_taken_away(county):
    lead, site = county.as_(county.lead), county.sites[YARD]
    with audited("other_funding_add", "other_funding", lead):
        row = funding(county, amount_gbp=1234.56, starts_on="2026-01-01", ends_on="2026-12-31")
    row.refresh_from_db()
    assert (row.site, row.funder, row.what_for, row.amount_pence) == (site, "Harbour fund", "Hedge", 123_456)
    assert (row.starts_on, row.ends_on) == (date(2026, 1, 1), date(2026, 12, 31))
    assert funding(county).amount_pence is None
    assert funding(county, amount_gbp=0.0).amount_pence == 0
    assert Site.objects.get(pk=site.pk).version == 4
    with audited("other_funding_remove", "other_funding", lead) as seen:
        sites.other_funding_remove(actor=lead, public_id=row.public_id, now=LATER)
    assert (OtherFunding.objects.count(), Site.objects.get(pk=site.pk).version) == (2, 5)
    assert seen.entry.before["amount_pence"] == 123_456
    with refused(NotFound, match="There is no entry"):
        sites.other_funding_remove(actor=lead, public_id=row.public_id, now=LATER)


def test_notes_on_a_site_are_for_those_of_the_table(county):
    test = soil(county, soil_ph=6.0)
    money = funding(county)
    hidden = soil(county, name=GARDEN, soil_ph=6.0)
    for who, actor in cast(county).items():
        if who in {"lead", "coordinator"}:
            soil(county, actor, soil_ph=6.0)
            funding(county, actor)
            continue
        for act in (soil, funding):
            with refused(NotAllowed):
                act(county, actor, **({"soil_ph": 6.0} if act is soil else {}))
        with refused(NotAllowed if who == "member" else NotFound):
            soil(county, actor, name=GARDEN, soil_ph=6.0)
        # what is inside exists for the group's own people only, on open ground too
        kind = NotAllowed if who == "member" else NotFound
        for row in (test, hidden):
            with refused(kind):
                sites.soil_test_remove(actor=actor, public_id=row.public_id, now=LATER)
        with refused(kind):
            sites.other_funding_remove(actor=actor, public_id=money.public_id, now=LATER)


def test_a_site_has_so_many_notes_and_no_more(county, monkeypatch):
    monkeypatch.setattr(sites, "MOST_NOTES", 1)
    soil(county, soil_ph=6.0)
    funding(county)
    with refused(RuleBroken, ("", "too_many"), match="1 soil tests"):
        soil(county, soil_ph=6.0)
    with refused(RuleBroken, ("", "too_many")):
        funding(county)


# ------------------------------------------------------------------ the audit, and what no service could


def test_the_audit_holds_no_exact_place_and_no_person(county):
    ring = [(598_211, 436_017), (598_261, 436_017), (598_261, 436_057), (598_211, 436_057), (598_211, 436_017)]
    create(county, name="By reference", place={"grid_reference": "TA 97531 36428"}, publicity="exact")
    create(county, name="By outline", place={"outline": polygon(*ring)}, area_m2=None, publicity="exact")
    create(county, name="By degrees", place={"latitude": 52.658008, "longitude": 1.716074}, publicity="exact")
    change(county, GARDEN, publicity="exact")
    change(county, GARDEN, place={"grid_reference": "TA 94208 31975"})
    change(county, GARDEN, publicity="private")
    gone = Site.objects.get(name="By reference")
    sites.site_remove(actor=county.as_(county.lead), public_id=gone.public_id, if_version=None, now=LATER)
    text = all_audit_text()
    places = [
        "97531", "36428", "597531", "436428", "94208", "31975", "594208", "431975", "98456", "35789", "598456",
        "435789", "59821", "59826", "43601", "43605", "598236", "52.65", "1.716", "651409", "313177", "TA 9", "5982",
    ]  # fmt: skip
    assert [word for word in places if word in text] == []
    # told are how widely it is shown, and that it moved
    assert '"publicity":"private"' in text
    assert '"place":"changed"' in text
    for user in User.objects.all():
        assert user.name not in text
    assert "@" not in text
    assert AuditEntry.objects.filter(act="site_change").count() == 3


def test_an_act_that_fails_after_its_entry_leaves_neither(county):
    def act():
        with transaction.atomic():
            create(county)
            raise ZeroDivisionError

    with refused(ZeroDivisionError):
        act()


CASES = 26


def rows_that_cannot_be(county):
    """For each constraint: a row that breaks it, or a row, its fields and what to put there."""
    site, place = county.sites[YARD], SitePlace.objects.get(site=county.sites[YARD])
    verge = county.sites[VERGE]
    one = {"network": county.network, "kind": "field", "area_dm2": 100, "publicity": "private"}
    zone = SiteZone.objects.create(site=site, name="North", area_dm2=100)
    soil_test = SoilTest.objects.create(site=site, taken_on=date(2026, 8, 1), soil_ph=6.0)
    money = OtherFunding.objects.create(site=site, funder="A", what_for="B", starts_on=date(2026, 8, 1))
    hidden = county.sites[GARDEN]
    return [
        ("site_name_once_per_group", Site(group=county.groups[MAKERS], name="SCHOOL BANK", **one), {}),
        ("site_name_once_per_group", site, {"name": "long paddock"}),
        ("site_area_positive", Site(group=county.groups[MAKERS], name="A", **one | {"area_dm2": 0}), {}),
        ("site_area_positive|site_net_area_within_area", site, {"area_dm2": 0}),
        ("site_net_area_within_area", site, {"net_area_dm2": site.area_dm2 + 1}),
        ("site_net_area_within_area", site, {"net_area_dm2": 0}),
        ("site_publicity_known|site_shown_unless_private", site, {"publicity": "secret"}),
        ("site_shown_unless_private", site, {"publicity": "private"}),
        ("site_shown_unless_private", site, {"shown_side_m": None}),
        ("site_shown_unless_private", site, {"shown_easting_m": None}),
        ("site_shown_unless_private", verge, {"shown_northing_m": None}),
        ("site_shown_unless_private", hidden, {"publicity": "square_1_km"}),
        ("site_shown_unless_private", hidden, {"shown_easting_m": 598_000}),
        ("site_shown_unless_private", hidden, {"shown_side_m": 1_000}),
        ("zone_name_once_per_site", SiteZone(site=site, name="NORTH", area_dm2=1), {}),
        ("zone_area_positive", zone, {"area_dm2": 0}),
        ("soil_test_found_something", SoilTest(site=site, taken_on=date(2026, 8, 1)), {}),
        ("soil_test_found_something", soil_test, {"soil_ph": None}),
        ("other_funding_ends_after_start", money, {"ends_on": date(2026, 7, 31)}),
        ("place_given_known", place, {"given": "guess"}),
        ("place_on_the_grid", place, {"easting_m": -0.1}),
        ("place_on_the_grid", place, {"easting_m": 700_000.1}),
        ("place_on_the_grid", place, {"northing_m": -1.0}),
        ("place_on_the_grid", place, {"northing_m": 1_300_001.0}),
        ("place_on_the_grid|NOT NULL", place, {"easting_m": float("nan")}),
        ("projects_siteplace.site_id|projects_siteplace_site_id", SitePlace(
            site=site, given="village", easting_m=0, northing_m=0, degrees={}), {}),
    ]  # fmt: skip


@pytest.mark.parametrize("number", range(CASES))
def test_the_database_refuses_what_cannot_be(county, number):
    rows = rows_that_cannot_be(county)
    assert len(rows) == CASES
    names, row, fields = rows[number]
    for field, value in fields.items():
        setattr(row, field, value)
    with refused(IntegrityError, match=names), transaction.atomic():
        if fields:
            type(row).objects.bulk_update([row], list(fields))
        else:
            type(row).objects.bulk_create([row])


def test_a_token_that_may_not_read_the_place_may_not_show_it_either(county):
    actor = replace(county.as_(county.lead), scopes=frozenset({"read", "write"}))
    with pytest.raises(NotAllowed):
        change(county, GARDEN, actor, publicity="exact")
    garden = Site.objects.get(pk=county.sites[GARDEN].pk)
    assert (garden.publicity, garden.shown_side_m) == ("private", None)
    change(county, GARDEN, actor, shade="sun")
