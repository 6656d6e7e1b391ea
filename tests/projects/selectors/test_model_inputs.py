"""Rows into the model's own words: units, soil, distances, seeds."""

from datetime import date

import pytest

from modelling.contracts import EstimateRequest
from modelling.contracts import Site as Ground
from projects.models import MeadowProject, Network, PlanVersion, Site, SitePlace, SoilTest, StageChange
from projects.selectors.model_inputs import request_of, site_facts, soil
from projects.selectors.places import nearest_flower_rich

YARD, GARDEN, PADDOCK = "Churchyard of Gullhaven", "Wenna’s garden", "Long Paddock"
BANK, VERGE = "School bank", "Brackwater verge"
TODAY = date(2026, 9, 1)


def put(county, site, **values):
    """Write the columns of a site, past the services."""
    Site.objects.filter(pk=county.sites[site].pk).update(**values)


def facts(county, name=YARD):
    return site_facts(Site.objects.get(pk=county.sites[name].pk), TODAY)


def test_what_is_known_of_new_ground_is_little(county):
    assert facts(county) == {"area_m2": 180.0, "kind": "churchyard", "sward": "rank_grass"}


@pytest.mark.parametrize(
    ("column", "value", "name", "said"),
    [
        ("area_dm2", 123_45, "area_m2", 123.45),
        ("net_area_dm2", 17_950, "net_area_m2", 179.5),
        ("kind", "orchard", "kind", "orchard"),
        ("wetness", "damp", "wetness", "damp"),
        ("shade", "part_shade", "shade", "part_shade"),
        ("sward", "short_turf", "sward", "short_turf"),
        ("last_use", "hay", "last_use", "hay"),
        ("resident_species_per_m2", 6.5, "resident_species_per_m2", 6.5),
        ("standing_crop_g_per_m2", 312.5, "standing_crop_g_per_m2", 312.5),
        ("existing_interest", ["orchids", "waxcaps"], "existing_interest", ["orchids", "waxcaps"]),
        ("gate_width_cm", 235, "gate_width_m", 2.35),
        ("slope_degrees", 4.5, "slope_degrees", 4.5),
        ("distance_to_flower_rich_m", 250, "distance_to_flower_rich_m", 250.0),
        # nought is something that is known
        ("slope_degrees", 0.0, "slope_degrees", 0.0),
        ("resident_species_per_m2", 0.0, "resident_species_per_m2", 0.0),
        ("distance_to_flower_rich_m", 0, "distance_to_flower_rich_m", 0.0),
    ],
)
def test_each_column_is_told_in_the_units_of_the_contract(county, column, value, name, said):
    before = facts(county)
    put(county, YARD, **{column: value})
    after = facts(county)
    assert after == before | {name: said}
    assert Ground.model_validate(after)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        # where it lies, who may go there and what it is called are none of the model's business
        ("name", "Elsewhere"),
        ("village", "Gullhaven"),
        ("access_note", "By the lych gate."),
        ("resident_species", ["Cock’s-foot"]),
        ("existing_interest", []),
        ("wetness", ""),
    ],
)
def test_what_the_model_does_not_ask_for_is_not_told(county, column, value):
    before = facts(county)
    put(county, YARD, **{column: value})
    assert facts(county) == before


def test_every_fact_is_a_field_of_the_contract_and_every_field_can_come_from_somewhere(county):
    put(
        county, YARD, net_area_dm2=100, wetness="damp", shade="sun", last_use="hay", resident_species_per_m2=1.0,
        standing_crop_g_per_m2=100.0, existing_interest=["none"], gate_width_cm=100, slope_degrees=1.0,
        distance_to_flower_rich_m=1,
    )  # fmt: skip
    SoilTest.objects.create(site=county.sites[YARD], taken_on=TODAY, soil_p_index=1, soil_ph=6.0)
    assert set(facts(county)) | {"olsen_p_mg_per_l"} == set(Ground.model_fields)


# ------------------------------------------------------------------ soil


@pytest.mark.parametrize(
    ("tests", "found"),
    [
        ([], {}),
        ([(1, None, None, 6.5)], {"soil_ph": 6.5}),
        ([(1, 12.0, None, None)], {"olsen_p_mg_per_l": 12.0}),
        ([(1, None, 2, None)], {"soil_p_index": 2}),
        # of one test, mg/l rather than the index
        ([(1, 12.0, 1, 6.5)], {"olsen_p_mg_per_l": 12.0, "soil_ph": 6.5}),
        # of several, the latest of each measure, and one telling of the phosphorus
        ([(1, 12.0, None, 6.5), (2, None, 3, None)], {"soil_p_index": 3, "soil_ph": 6.5}),
        ([(1, None, 3, 5.5), (2, 12.0, None, None), (3, None, None, 7.0)], {"olsen_p_mg_per_l": 12.0, "soil_ph": 7.0}),
        # the order in which they were noted matters only within a day
        ([(5, 20.0, None, None), (2, 12.0, None, 6.5)], {"olsen_p_mg_per_l": 20.0, "soil_ph": 6.5}),
        ([(2, 20.0, None, None), (2, 12.0, None, None)], {"olsen_p_mg_per_l": 12.0}),
        ([(1, 0.0, 4, None)], {"olsen_p_mg_per_l": 0.0}),
        ([(1, None, 0, None)], {"soil_p_index": 0}),
    ],
)  # fmt: skip
def test_the_soil_is_that_of_the_latest_test_of_each_measure(county, tests, found):
    for day, olsen, index, ph in tests:
        SoilTest.objects.create(
            site=county.sites[YARD], taken_on=date(2026, 8, day), olsen_p_mg_per_l=olsen, soil_p_index=index, soil_ph=ph
        )
    assert soil(county.sites[YARD]) == found
    assert Ground.model_validate(facts(county))


# ------------------------------------------------------------------ the nearest flower-rich land


def move(county, name, east, north, side=1, square=None):
    """Put a site somewhere, shown as some square or, without one, private."""
    SitePlace.objects.filter(site=county.sites[name]).update(easting_m=east, northing_m=north, side_m=side)
    shown = dict(zip(("shown_easting_m", "shown_northing_m", "shown_side_m"), square or (None,) * 3, strict=True))
    shown["shown_degrees"] = {} if square else None
    put(county, name, publicity="square_1_km" if square else "private", **shown)


def nearest(county, name=YARD, today=TODAY):
    found = nearest_flower_rich(Site.objects.get(pk=county.sites[name].pk), today)
    return found and (found.distance_m, found.give_or_take_m, found.name)


def test_where_nothing_is_known_nothing_is_told(county):
    assert nearest(county) is None
    assert "distance_to_flower_rich_m" not in facts(county)


def test_the_groups_own_ground_counts_where_it_is_even_if_it_is_private(county):
    move(county, YARD, 598_000, 435_000, square=(598_000, 435_000, 1_000))
    # 300 m east and 400 m north
    move(county, GARDEN, 598_300, 435_400)
    put(county, GARDEN, sward="flower_rich")
    # each side 1: together two half diagonals of 0.71 m
    assert nearest(county) == (500, 1, GARDEN)
    assert facts(county)["distance_to_flower_rich_m"] == 500.0
    # shown as a square or not, it is the same to the group itself
    move(county, GARDEN, 598_300, 435_400, square=(590_000, 430_000, 10_000))
    assert nearest(county) == (500, 1, GARDEN)


def test_another_groups_open_ground_counts_by_the_middle_of_its_square(county):
    move(county, YARD, 610_500, 440_500, square=(610_000, 440_000, 1_000))
    # it lies 10 m away; its square of 1 km has its middle 3 km east and 4 km north
    move(county, VERGE, 610_510, 440_500, square=(613_000, 444_000, 1_000))
    put(county, VERGE, sward="flower_rich")
    # half diagonals of 1 m and of 1000 m: 0.7 m and 707.1 m
    assert nearest(county) == (5_000, 708, VERGE)


def test_another_groups_private_ground_never_counts(county):
    move(county, YARD, 610_500, 440_500, square=(610_000, 440_000, 1_000))
    move(county, VERGE, 610_510, 440_500)
    put(county, VERGE, sward="flower_rich")
    assert nearest(county) is None
    # nor does it change what is found: byte for byte the same with it and without it
    move(county, PADDOCK, 612_500, 440_500)
    put(county, PADDOCK, sward="flower_rich")
    with_it = nearest(county), facts(county)
    put(county, VERGE, sward="rank_grass")
    assert (nearest(county), facts(county)) == with_it
    assert with_it[0] == (2_000, 1, PADDOCK)


def test_the_nearest_of_several_counts_and_never_the_ground_itself(county):
    move(county, YARD, 600_000, 440_000, square=(600_000, 440_000, 1_000))
    put(county, YARD, sward="flower_rich")
    assert nearest(county) is None
    for name, east in ((GARDEN, 603_000), (PADDOCK, 601_000), (BANK, 602_000)):
        move(county, name, east, 440_000)
        put(county, name, sward="flower_rich")
    assert nearest(county) == (1_000, 1, PADDOCK)
    # known to the kilometre, it may be out by as much
    move(county, PADDOCK, 601_000, 440_000, side=1_000)
    assert nearest(county) == (1_000, 708, PADDOCK)


def test_a_stated_distance_goes_before_a_found_one(county):
    move(county, YARD, 598_000, 435_000, square=(598_000, 435_000, 1_000))
    move(county, GARDEN, 598_300, 435_400)
    put(county, GARDEN, sward="flower_rich")
    put(county, YARD, distance_to_flower_rich_m=90)
    assert facts(county)["distance_to_flower_rich_m"] == 90.0
    put(county, YARD, distance_to_flower_rich_m=None)
    assert facts(county)["distance_to_flower_rich_m"] == 500.0


@pytest.mark.parametrize(
    ("stage", "sown_on", "counts"),
    [
        ("aftercare", date(2023, 9, 1), True),
        ("aftercare", date(2023, 9, 2), False),
        ("aftercare", date(2020, 5, 1), True),
        ("sown", date(2020, 5, 1), False),
        ("failed", date(2020, 5, 1), False),
        ("lapsed", date(2020, 5, 1), False),
        ("handed_over", date(2020, 5, 1), False),
    ],
)
def test_a_meadow_counts_once_it_has_been_kept_for_three_years(county, stage, sown_on, counts):
    values = {"stage": stage, "sown_on": sown_on, "cause": "other", "handed_to": "Scouts"}
    MeadowProject.objects.filter(site=county.sites[PADDOCK]).update(**values)
    assert (nearest(county) is not None) is counts


@pytest.mark.parametrize(
    ("stage", "changes", "counts"),
    [
        # sown again, it counts from then, whatever it is called since
        ("resown", [("aftercare", "resown", date(2023, 9, 1))], True),
        ("resown", [("aftercare", "resown", date(2023, 9, 2))], False),
        ("aftercare", [("sown", "resown", date(2025, 9, 20)), ("resown", "aftercare", date(2026, 8, 1))], False),
        # handed over as a meadow it goes on; as one that failed it does not
        ("handed_over", [("aftercare", "handed_over", date(2026, 1, 1))], True),
        ("handed_over", [("failed", "handed_over", date(2026, 1, 1))], False),
    ],
)
def test_a_meadow_sown_again_or_handed_over_counts_by_what_became_of_it(county, stage, changes, counts):
    values = {"stage": stage, "sown_on": date(2019, 9, 1), "handed_to": "Scouts"}
    MeadowProject.objects.filter(site=county.sites[PADDOCK]).update(**values)
    for before, after, on in changes:
        StageChange.objects.create(project=county.projects["Paddock to hay"], from_stage=before, to_stage=after, on=on)
    assert (nearest(county) is not None) is counts


def test_ground_of_another_network_does_not_count(county):
    other = Network.objects.create(name="Farshore", slug="farshore")
    put(county, PADDOCK, sward="flower_rich", network=other)
    assert nearest(county) is None


def test_ground_without_a_place_has_no_distance(county):
    put(county, PADDOCK, sward="flower_rich")
    assert nearest(county) is not None
    SitePlace.objects.filter(site=county.sites[YARD]).delete()
    assert nearest(county) is None


# ------------------------------------------------------------------ the request


def test_a_request_has_the_projects_seed_the_networks_world_and_the_day(county):
    project = county.projects["Under the yews"]
    Network.objects.filter(pk=county.network.pk).update(world_seed=2**62)
    project = MeadowProject.objects.select_related("site", "network").get(pk=project.pk)
    request = request_of(project, PlanVersion.objects.get(project=project), date(2026, 10, 5))
    assert isinstance(request, EstimateRequest)
    assert (request.world_seed, request.as_of, request.draws) == (2**62, date(2026, 10, 5), None)
    assert 0 <= request.random_seed < 2**63
    assert (request.site.area_m2, request.site.kind, request.plan.crew.volunteers) == (180.0, "churchyard", 8)
    others = MeadowProject.objects.select_related("site", "network").exclude(pk=project.pk)
    seeds = {request_of(one, one.plans.first(), date(2026, 10, 5)).random_seed for one in others}
    assert len(seeds | {request.random_seed}) == 4
