"""What a kind of place calls for, and what stands in the way of starting."""

from datetime import date, timedelta

import pytest

from projects.choices import Need, PermissionState
from projects.rules.permissions import Held, called_for, obstacles

DAY = date(2026, 9, 1)
ANYWHERE = ["protected_site_consent", "scheduled_monument", "buried_services", "access_rights"]


@pytest.mark.parametrize(
    ("kind", "own"),
    [
        ("churchyard", ["churchyard_body", "churchyard_authority"]),
        ("verge", ["highway_authority", "verge_frontagers"]),
        ("garden", ["garden_owner"]),
        ("school", ["school_head", "playing_field"]),
        ("field", ["field_owner", "field_tenant", "field_scheme", "field_screening"]),
        ("orchard", ["orchard_owner", "orchard_trees"]),
        ("green", ["green_owner", "green_registered"]),
    ],
)
def test_a_kind_of_place_calls_for_its_own_and_then_for_those_of_any_place(kind, own):
    assert called_for(kind) == own + ANYWHERE


#: need, state -> what is said; None for no obstacle
SAID = {
    ("unknown", "not_asked"): "Owner: find out whether it is needed.",
    ("unknown", "asked"): "Owner: asked, no answer yet.",
    ("unknown", "given"): None,
    ("unknown", "refused"): "Owner: refused.",
    ("needed", "not_asked"): "Owner: needed, not asked yet.",
    ("needed", "asked"): "Owner: asked, no answer yet.",
    ("needed", "given"): None,
    ("needed", "refused"): "Owner: refused.",
    ("not_needed", "not_asked"): None,
    ("not_needed", "asked"): None,
    ("not_needed", "given"): None,
    ("not_needed", "refused"): None,
}


def test_the_table_has_every_pair():
    assert set(SAID) == {(need, state) for need in Need.values for state in PermissionState.values}


@pytest.mark.parametrize(("need", "state"), SAID)
def test_what_each_pair_says(need, state):
    said = SAID[need, state]
    assert obstacles([Held("Owner", need, state, None)], DAY) == ([] if said is None else [said])


@pytest.mark.parametrize(
    ("expires_on", "said"),
    [
        (DAY - timedelta(days=1), ["Owner: ran out on 31 August 2026."]),
        (DAY, []),
        (DAY + timedelta(days=1), []),
    ],
)
def test_a_permission_holds_through_its_last_day(expires_on, said):
    assert obstacles([Held("Owner", "needed", "given", expires_on)], DAY) == said
    # one that is not needed may end when it likes
    assert obstacles([Held("Owner", "not_needed", "given", expires_on)], DAY) == []


def test_each_obstacle_is_told_in_the_order_of_the_list():
    held = [
        Held("Owner", "needed", "asked", None),
        Held("Tenant", "needed", "given", DAY),
        Held("Services", "unknown", "not_asked", None),
    ]
    assert obstacles(held, DAY) == [
        "Owner: asked, no answer yet.",
        "Services: find out whether it is needed.",
    ]
    assert obstacles([], DAY) == []
