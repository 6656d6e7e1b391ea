"""Decisions and the pot: full, part, on conditions, put off, refused; superseded; the sums always add up."""

import pytest

from projects.errors import RuleBroken
from projects.models import GrantRound
from projects.selectors.rounds import pots_that_do_not_add_up
from tests.projects.grants import PANEL, VERGE, YEWS, grants

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants()
    for name in (YEWS, VERGE):
        found.handed_in(name)
    found.move("panel", PANEL)
    return found


def pot(scene):
    row = GrantRound.objects.get(pk=scene.round.pk)
    assert pots_that_do_not_add_up() == []
    return row.committed_pence


def test_a_published_award_takes_its_money_and_the_next_gets_what_is_left(scene):
    scene.decide(scene.bids[YEWS])
    assert pot(scene) == 60_000
    with pytest.raises(RuleBroken) as caught:
        scene.decide(scene.bids[VERGE])
    assert [(fault.pointer, fault.code) for fault in caught.value.errors] == [("/amount_gbp", "over_pot")]
    assert "£400 are left" in caught.value.errors[0].detail
    assert pot(scene) == 60_000
