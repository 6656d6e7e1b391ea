"""Where a site lies, as far as each may know."""

import math

import orjson
import pytest

from projects.choices import NetworkRole
from projects.models import District, Site, SitePlace
from projects.rules.access import PUBLIC_ACTOR
from projects.selectors.geojson import features_of
from projects.selectors.places import lies_outside, may_see_exactly, place_of, places_of
from projects.services.places import SIDES_M
from tests.projects.county import appoint
from tests.projects.proof import cast, with_scopes

YARD, GARDEN, PADDOCK = "Churchyard of Gullhaven", "Wenna’s garden", "Long Paddock"
BANK, VERGE = "School bank", "Brackwater verge"
#: reference, side and way in which it was told, to the group's own people
EXACT = {
    YARD: ("TA 9812 3507", 10, "TA 9812 3507", "grid_reference"),
    PADDOCK: ("TA 98250 35140", 1, "", "outline"),
    GARDEN: ("TA 98456 35789", 1, "TA 98456 35789", "grid_reference"),
    BANK: ("TA 98 35", 1_000, "Gullhaven", "village"),
}
#: reference and side, to everybody else
SHOWN = {YARD: ("TA 98 35", 1_000), GARDEN: ("", 0), BANK: ("TA 93 X", 2_000), VERGE: ("TB 223 412", 100)}


def near(reference):
    """A reference but for its last figure, since an outline's corners are good to 0.1 m."""
    return reference[:7], reference[9:12]


@pytest.mark.parametrize("who", ["coordinator", "lead", "member"])
def test_the_groups_own_people_see_exactly(county, who):
    actor = cast(county)[who]
    for name, (reference, side, said, given) in EXACT.items():
        place = place_of(actor, county.sites[name])
        assert (place.side_m, place.said, place.given, place.exact) == (side, said, given, True)
        if name == PADDOCK:
            assert near(place.reference) == near(reference)
            assert place.geometry["type"] == "Polygon"
            assert len(place.geometry["coordinates"][0]) == 5
        else:
            assert place.reference == reference
            assert place.geometry["type"] == ("Point" if side == 1 else "Polygon")
        assert place.latitude == pytest.approx(53.8, abs=0.3)
        assert place.longitude == pytest.approx(1.0, abs=0.5)


@pytest.mark.parametrize("who", ["operator", "neighbour", "stranger", "public", "assessor", "fund_manager", "analyst"])
def test_all_others_see_the_square_they_may_see_and_nothing_of_how_it_was_told(county, who):
    if who in NetworkRole.values:
        appoint(county.stranger, county.network, who)
        actor = county.as_(county.stranger)
        assert actor.networks == {county.network.pk: frozenset({who})}
    else:
        actor = cast(county)[who]
    for name, (reference, side) in SHOWN.items():
        if name == VERGE and who == "neighbour":
            continue
        place = place_of(actor, county.sites[name])
        assert (place.reference, place.side_m, place.exact, place.said, place.given) == (
            reference, side, False, "", "",
        )  # fmt: skip
        if name == GARDEN:
            assert (place.geometry, place.latitude, place.longitude) == (None, None, None)
    # what may be shown exactly is, to everybody
    assert place_of(actor, county.sites[PADDOCK]) == place_of(county.as_(county.lead), county.sites[PADDOCK])


def test_the_other_groups_lead_sees_their_own_exactly(county):
    place = place_of(county.as_(county.neighbour), county.sites[VERGE])
    assert (place.reference, place.side_m, place.exact) == ("TB 2231 4127", 10, True)


@pytest.mark.parametrize("who", ["coordinator", "lead", "member"])
@pytest.mark.parametrize("scopes", [("read",), ("read", "write"), ("write", "exact_places"), ("exact_places",), ()])
def test_a_token_sees_exactly_only_with_its_scope_even_its_owners_own_ground(county, who, scopes):
    token = with_scopes(cast(county)[who], *scopes)
    for name in (YARD, GARDEN, BANK):
        place = place_of(token, county.sites[name])
        assert (place.reference, place.side_m, place.exact, place.said) == (*SHOWN[name], False, "")
    assert may_see_exactly(token, county.sites[PADDOCK])


@pytest.mark.parametrize("who", ["coordinator", "lead", "member"])
def test_a_token_with_its_scope_sees_what_its_owner_sees(county, who):
    actor = cast(county)[who]
    token = with_scopes(actor, "read", "exact_places")
    everywhere = list(county.sites.values())
    assert places_of(token, everywhere) == places_of(actor, everywhere)


def test_the_square_that_is_shown_is_the_middle_of_nothing_else(county):
    """The square's own middle stands for it, whatever lies in it and where."""
    before = orjson.dumps(places_of(PUBLIC_ACTOR, county.sites.values()), option=orjson.OPT_NON_STR_KEYS)
    SitePlace.objects.filter(site__in=[county.sites[YARD], county.sites[GARDEN]]).update(
        easting_m=598_999, northing_m=435_001, said="TA 98999 35001", outline=[]
    )
    after = orjson.dumps(places_of(PUBLIC_ACTOR, county.sites.values()), option=orjson.OPT_NON_STR_KEYS)
    assert before == after


def test_adding_changing_or_deleting_a_private_site_changes_no_byte_of_what_strangers_get(county):
    def seen():
        found = []
        for who in ("operator", "neighbour", "stranger", "public"):
            actor = cast(county)[who]
            rows = list(Site.objects.order_by("pk").select_related("group"))
            found.append(orjson.dumps(features_of(actor, rows)))
        return found

    before = seen()
    garden = Site.objects.get(pk=county.sites[GARDEN].pk)
    Site.objects.filter(pk=garden.pk).update(name="Renamed", area_dm2=1, sward="flower_rich")
    assert seen() == before
    Site.objects.create(
        network=garden.network, group=garden.group, name="Another", kind="garden", area_dm2=100, publicity="private"
    )
    assert seen() == before


def test_reading_places_costs_one_query_and_none_where_nothing_may_be_seen(county, django_assert_num_queries):
    everywhere = list(Site.objects.all())
    lead = county.as_(county.lead)
    for actor in (lead, PUBLIC_ACTOR):
        with django_assert_num_queries(1):
            places_of(actor, everywhere)
    hidden = [site for site in everywhere if site.name != PADDOCK]
    with django_assert_num_queries(0):
        places_of(PUBLIC_ACTOR, hidden)


def test_each_word_of_publicity_but_private_has_its_square():
    assert {word.value: side for word, side in SIDES_M.items()} == {
        "exact": 1, "square_100_m": 100, "square_1_km": 1_000, "square_2_km": 2_000, "square_10_km": 10_000,
    }  # fmt: skip


def test_a_place_outside_its_county_or_district_is_asked_about_by_those_who_know_it(county):
    yard = county.sites[YARD]
    lead = county.as_(county.lead)
    assert lies_outside(lead, yard) is None
    # two letters of the reference are others, hundreds of kilometres south
    SitePlace.objects.filter(site=yard).update(easting_m=398_125, northing_m=35_075)
    found = lies_outside(lead, yard)
    assert found.of == county.network.name
    # from (398125, 35075) to the corner (590000, 420000) of the outline
    assert found.distance_m == pytest.approx(math.hypot(191_875, 384_925))
    assert lies_outside(PUBLIC_ACTOR, yard) is None


def test_a_place_in_the_other_district_is_asked_about(county):
    yard = county.sites[YARD]
    yard.district = District.objects.get(name="Outer Banks")
    found = lies_outside(county.as_(county.lead), yard)
    assert found.of == "Outer Banks"
