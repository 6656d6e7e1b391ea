"""Reads of sites and of what belongs to them: who sees which, and in which words."""

from datetime import date
from uuid import uuid4

import pytest

from modelling.selectors import parameters, permission_words
from projects.errors import NotAllowed, NotFound
from projects.models import OtherFunding, Permission, SoilTest
from projects.selectors import sites
from projects.selectors.meadows import project_get, project_list
from tests.projects.proof import cast, with_scopes

YARD, GARDEN = "Churchyard of Gullhaven", "Wenna’s garden"
OWN = {"coordinator", "lead", "member"}


def test_no_permission_stands_under_two_kinds_of_place_and_each_has_its_words():
    keys = [row["key"] for row in parameters().nouns["permissions"].values()]
    assert len(keys) == len(set(keys)) == 19
    assert all(permission_words(key)["key"] == key for key in keys)
    assert permission_words("buried_services")["label"] == "Plans of cables and pipes"
    assert permission_words("own_0123456789ab") is None


def test_a_permission_is_called_what_the_table_or_the_group_calls_it(county):
    site = county.sites[GARDEN]
    Permission.objects.create(site=site, key="own_1", label="The neighbour’s word")
    assert [held.label for held in sites.permissions_held(site)] == [
        "Owner's agreement", "Protected site consent", "Scheduled monument consent", "Plans of cables and pipes",
        "Paths and access", "The neighbour’s word",
    ]  # fmt: skip


def test_a_private_site_is_there_for_its_own_people_alone_and_so_is_what_is_made_on_it(county):
    open_sites = {name for name in county.sites if name != GARDEN}
    open_projects = {name for name in county.projects if name != "Behind the house"}
    for who, actor in cast(county).items():
        seen = {site.name for site in sites.site_list(actor)}
        projects = {project.name for project in project_list(actor)}
        for one, what in (
            (lambda a: sites.site_get(a, county.sites[GARDEN].public_id), "site"),
            (lambda a: project_get(a, county.projects["Behind the house"].public_id), "project"),
        ):
            if who in OWN:
                assert one(actor).pk
            else:
                with pytest.raises(NotFound, match=f"There is no {what}"):
                    one(actor)
        assert seen == (set(county.sites) if who in OWN else open_sites)
        assert projects == (set(county.projects) if who in OWN else open_projects)


def test_a_token_that_may_not_read_sees_what_the_public_sees(county):
    for who, actor in cast(county).items():
        token = with_scopes(actor, "write", "exact_places")
        assert {site.name for site in sites.site_list(token)} == {name for name in county.sites if name != GARDEN}, who
        assert not sites.permission_list(token).exists()


def test_what_belongs_to_a_site_is_there_for_its_own_people_alone(county):
    site = county.sites[YARD]
    rows = {
        "permission": Permission.objects.filter(site=site).first(),
        "soil_test": SoilTest.objects.create(site=site, taken_on=date(2026, 8, 1), soil_ph=6.0),
        "other_funding": OtherFunding.objects.create(site=site, funder="Harbour fund", what_for="Hedge"),
    }
    for who, actor in cast(county).items():
        for noun, row in rows.items():
            get = getattr(sites, f"{noun}_get")
            listed = getattr(sites, "permissions_of" if noun == "permission" else
                             "soil_tests_of" if noun == "soil_test" else "other_funding_of")  # fmt: skip
            if who in OWN:
                assert get(actor, row.public_id) == row
                assert row in listed(actor, site)
            else:
                with pytest.raises(NotFound):
                    get(actor, row.public_id)
                with pytest.raises(NotAllowed):
                    listed(actor, site)
    for noun in rows:
        nowhere = uuid4()
        with pytest.raises(NotFound, match=f"{nowhere}, or none that you may see"):
            getattr(sites, f"{noun}_get")(cast(county)["lead"], nowhere)


def test_soil_tests_are_told_the_latest_first(county):
    site = county.sites[YARD]
    for day in (3, 9, 3):
        SoilTest.objects.create(site=site, taken_on=date(2026, 8, day), soil_ph=6.0)
    found = list(sites.soil_tests_of(cast(county)["member"], site))
    assert [test.taken_on.day for test in found] == [9, 3, 3]
    assert found[1].pk > found[2].pk
