"""Many at the same moment on the same sacks: threads with connections of their own, on committed rows."""

import pytest

from modelling.core.sampling import stream
from projects.errors import RuleBroken, Stale, WrongState
from projects.models import SeedEntry, SeedLot, SeedPromise
from projects.selectors.lots import lots_that_do_not_add_up
from tests.projects.county import saltmere
from tests.projects.seed import blend, lot, move, promise, promise_move, split
from tests.projects.services.test_job_rivals import side_by_side

pytestmark = pytest.mark.django_db(transaction=True)
REFUSALS = (RuleBroken, Stale, WrongState)


@pytest.fixture
def county():
    return saltmere(sown=False)


def rivals(*turns):
    waiting = list(turns)

    def one():
        try:
            return waiting.pop()()
        except REFUSALS as refusal:
            return refusal

    return side_by_side(len(turns), one)


def parted(found):
    return [one for one in found if not isinstance(one, Exception)], [
        one for one in found if isinstance(one, Exception)
    ]


def test_twelve_promises_of_a_third_each_are_three(county):
    row = lot(county, grams=90.0)
    rows, lost = parted(rivals(*[lambda: promise(county, row, 30.0)] * 12))
    assert (len(rows), {error.errors[0].code for error in lost}) == (3, {"not_enough"})
    row.refresh_from_db()
    assert (row.balance_mg, row.promised_mg, row.entries_numbered) == (90_000, 90_000, 4)
    assert lots_that_do_not_add_up() == []


def test_a_promise_handed_over_by_eight_goes_out_once(county):
    row = lot(county, grams=90.0)
    owed = promise(county, row, 30.0)
    rows, lost = parted(rivals(*[lambda: promise_move(county, owed, "handed_over")] * 8))
    assert (len(rows), {type(error) for error in lost}) == (1, {WrongState})
    row.refresh_from_db()
    assert (row.balance_mg, row.promised_mg) == (60_000, 0)


def test_blends_that_cross_do_not_stand_in_each_others_way(county):
    one, two = lot(county, "One", 10.0), lot(county, "Two", 10.0)
    turns = [
        lambda n=n: blend(county, f"Blend {n}", *((one, 3.0), (two, 3.0))[:: 1 if n % 2 else -1]) for n in range(8)
    ]
    rows, lost = parted(rivals(*turns))
    assert (len(rows), len(lost)) == (3, 5)
    assert {SeedLot.objects.get(pk=row.pk).balance_mg for row in (one, two)} == {1_000}
    assert lots_that_do_not_add_up() == []


def test_everything_at_once_and_no_milligram_is_lost(county):
    chance = stream(7, "rivals")
    sacks = [lot(county, f"Sack {n}", 100.0) for n in range(3)]
    owed = [promise(county, sack, 20.0) for sack in sacks]

    def turn(number):
        which, grams = int(chance.integers(3)), int(chance.integers(1, 30_000)) / 1000
        sack, due, other = sacks[which], owed[which], sacks[which - 1]
        to = ("handed_over", "released", "returned", "sown")[int(chance.integers(4))]
        return (
            lambda: promise(county, sack, grams),
            lambda: promise(county, sack, grams, handed_over=True),
            lambda: promise_move(county, due, to),
            lambda: move(county, sack, "spilt", grams, reason="Wind."),
            lambda: move(county, sack, "used", grams),
            lambda: split(county, sack, f"Part {number}", grams),
            lambda: blend(county, f"Blend {number}", (sack, grams), (other, grams)),
        )[int(chance.integers(7))]

    for batch in range(4):
        rivals(*(turn(batch * 10 + n) for n in range(10)))
    gone = sum(-line.balance_change_mg for line in SeedEntry.objects.filter(act__in=["used", "spilt"]))
    out = sum(row.out_mg + row.sown_mg for row in SeedPromise.objects.all())
    assert sum(row.balance_mg for row in SeedLot.objects.all()) + gone + out == 300_000
    assert lots_that_do_not_add_up() == []
