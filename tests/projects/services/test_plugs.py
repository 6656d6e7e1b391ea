"""Plug plants are conserved, never promised twice, and their history is never changed."""

import pytest
from django.db import IntegrityError, transaction

from modelling.errors import RequestRefused
from modelling.models import StoredForGood
from projects.errors import NotAllowed, NotFound, RuleBroken, WrongState
from projects.models import PlugBatch, PlugEvent
from projects.selectors.plugs import batch_get, batches_that_do_not_add_up, plant_note, promise_get
from tests.projects.plugs import GARDEN, VERGE, batch, move, note, promise

pytestmark = pytest.mark.django_db


@pytest.fixture
def grown(county):
    row = batch(county)
    return note(county, row, "pricked_out", 120)


def refusal(act):
    with pytest.raises((RuleBroken, RequestRefused)) as told:
        act()
    return [(error.pointer, error.code, error.detail) for error in told.value.errors]


def sums(row):
    row.refresh_from_db()
    return row.pricked_out, row.lost, row.alive, row.promised, row.handed_over


def test_from_sowing_to_handing_over(county, grown):
    assert sums(grown) == (120, 0, 120, 0, 0)
    note(county, grown, "lost", 20)
    first, second = promise(county, grown, 60), promise(county, grown, 40, VERGE)
    assert sums(grown) == (120, 20, 100, 100, 0)
    first = move(county, first, "handed_over")
    assert (first.state, first.handed_over_on.isoformat()) == ("handed_over", "2026-09-01")
    move(county, second, "withdrawn")
    # sixty of the hundred went; nobody was promised the other forty
    assert sums(grown) == (120, 20, 100, 60, 60)
    with pytest.raises(WrongState):
        move(county, first, "withdrawn")
    assert list(grown.events.values_list("what", "count")) == [
        ("sown", 200), ("pricked_out", 120), ("lost", 20), ("promised", 60), ("promised", 40), ("handed_over", 60),
        ("withdrawn", 40),
    ]  # fmt: skip
    assert batches_that_do_not_add_up() == []


def test_no_more_is_promised_than_lives(county, grown):
    promise(county, grown, 100)
    assert refusal(lambda: promise(county, grown, 21)) == [
        ("/count", "out_of_range", "120 live and 100 of them are promised; 21 more cannot be.")
    ]
    # nor past the service
    for change in ({"promised": 121}, {"alive": 99, "lost": 21}, {"handed_over": 101}, {"lost": 1}):
        with pytest.raises(IntegrityError), transaction.atomic():
            PlugBatch.objects.filter(pk=grown.pk).update(**change)


def test_a_loss_is_a_fact_and_shortens_the_latest_promises(county, grown):
    first, second = promise(county, grown, 80), promise(county, grown, 40, VERGE)
    # 120 less 50 are 70 for 120 promised: all 40 of the second and 10 of the first are taken back
    note(county, grown, "lost", 50)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.count, first.fewer, first.state) == (70, 10, "promised")
    assert (second.count, second.fewer, second.state) == (0, 40, "withdrawn")
    assert sums(grown) == (120, 50, 70, 70, 0)
    assert list(grown.events.filter(what="shortened").values_list("count", flat=True)) == [40, 10]
    assert batches_that_do_not_add_up() == []
    move(county, first, "handed_over")
    assert refusal(lambda: note(county, grown, "lost", 1))[0][2] == "0 are here; 1 cannot have died."


def test_what_cannot_be_is_refused_with_the_figures(county, grown):
    assert refusal(lambda: note(county, grown, "pricked_out", 81)) == [
        ("/count", "out_of_range", "200 were sown and 120 potted on; 81 more cannot be.")
    ]
    assert refusal(lambda: batch(county, taxon="succisa"))[0][:2] == ("/taxon", "unknown_plant")
    assert refusal(lambda: batch(county, sown_on="2027-01-01"))[0][:2] == ("/sown_on", "in_future")
    assert refusal(lambda: batch(county, ready_on="2026-01-01"))[0][:2] == ("/ready_on", "out_of_range")
    assert refusal(lambda: batch(county, seed_from=""))[0][:2] == ("", "missing")
    assert refusal(lambda: batch(county, sown_count=0))[0][0] == "/sown_count"
    other = "00000000-0000-4000-8000-000000000000"
    for field in ("lot_id", "group_id"):
        assert refusal(lambda field=field: batch(county, **{field: other}))[0][:2] == (f"/{field}", "unknown")


def test_the_history_is_never_changed(grown):
    event = grown.events.first()
    event.count = 1
    for act in (event.save, event.delete, PlugEvent.objects.all().delete, lambda: PlugEvent.objects.update(count=1)):
        with pytest.raises(StoredForGood):
            act()


def test_who_may_do_what(county):
    makers = county.groups["Gullhaven Meadow Makers"]
    row = batch(county, group_id=str(makers.public_id))
    note(county, row, "pricked_out", 50, "member")
    with pytest.raises(NotAllowed):
        note(county, row, "lost", 1, "neighbour")
    with pytest.raises(NotAllowed):
        promise(county, row, 1, who="lead")
    held = promise(county, row, 5, GARDEN)
    # another group reads of the batch and not of whom it is promised to
    assert batch_get(county.as_(county.neighbour), row.public_id) == row
    with pytest.raises(NotFound):
        promise_get(county.as_(county.neighbour), held.public_id)
    assert promise_get(county.as_(county.member), held.public_id) == held
    with pytest.raises(NotFound):
        batch_get(county.as_(county.stranger), row.public_id)


def test_the_plant_list_says_what_fails_from_seed():
    assert "plugs far better than seed" in plant_note("succisa_pratensis")
