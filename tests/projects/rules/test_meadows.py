"""Which stage may follow which, against a table written by hand."""

import pytest

from projects.choices import Stage
from projects.rules import meadows as rules

#: what may follow while nothing has been sown, and once it has
UNSOWN = {
    "idea": "planned lapsed handed_over",
    "planned": "ready idea lapsed handed_over",
    "ready": "prepared sown planned lapsed handed_over",
    "prepared": "sown planned failed lapsed handed_over",
    "sown": "failed lapsed handed_over",
    "aftercare": "failed lapsed handed_over",
    "resown": "failed lapsed handed_over",
    "failed": "planned handed_over",
    "lapsed": "planned handed_over",
    "handed_over": "",
}
SOWN = {
    "idea": "lapsed handed_over",
    "planned": "lapsed handed_over",
    "ready": "lapsed handed_over",
    "prepared": "failed lapsed handed_over",
    "sown": "aftercare resown failed lapsed handed_over",
    "aftercare": "resown failed lapsed handed_over",
    "resown": "aftercare failed lapsed handed_over",
    "failed": "resown handed_over",
    "lapsed": "resown aftercare handed_over",
    "handed_over": "",
}


def test_the_table_has_every_stage():
    assert set(UNSOWN) == set(SOWN) == set(rules.FOLLOWS) == set(Stage.values)


@pytest.mark.parametrize("sown", [False, True])
@pytest.mark.parametrize("to", Stage.values)
@pytest.mark.parametrize("stage", Stage.values)
def test_a_step_is_allowed_exactly_where_the_table_has_it(stage, to, sown):
    table = SOWN if sown else UNSOWN
    assert rules.may_follow(stage, to, sown=sown) is (to in table[stage].split())


@pytest.mark.parametrize("sown", [False, True])
@pytest.mark.parametrize("stage", Stage.values)
def test_what_may_follow_is_told_in_the_usual_order(stage, sown):
    assert rules.following(stage, sown=sown) == (SOWN if sown else UNSOWN)[stage].split()


def test_no_stage_follows_itself_and_a_handover_ends_it():
    for table in (UNSOWN, SOWN):
        assert all(stage not in steps.split() for stage, steps in table.items())
    assert rules.following("handed_over", sown=True) == rules.following("handed_over", sown=False) == []


def test_kinds_of_stages():
    assert set(Stage.values) - rules.LIVE == {"failed", "lapsed", "handed_over"}
    assert {"failed", "lapsed"} == rules.NEEDS_CAUSE
    assert {"ready", "prepared", "sown", "resown"} == rules.NEEDS_PERMISSIONS
    assert {"sown", "aftercare", "resown"} == rules.GROWING
