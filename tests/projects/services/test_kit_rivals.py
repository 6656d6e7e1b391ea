"""Many at the same moment after one item: no half-day is lent twice, by the service or past it."""

import pytest
from django.db import IntegrityError, transaction

from projects.errors import RuleBroken
from projects.models import KitBooking, KitHalfDay
from tests.projects.county import saltmere
from tests.projects.kit import PADDOCK, SIXTH, VERGE, YEWS, book, days, fault, scarifier
from tests.projects.services.test_job_rivals import side_by_side

pytestmark = pytest.mark.django_db(transaction=True)
RIVALS = 8
REPEATS = 4


@pytest.fixture
def county():
    return saltmere()


def rivals(count, act):
    turns = list(range(count))

    def one():
        try:
            return act(turns.pop())
        except RuleBroken as refusal:
            return refusal

    return side_by_side(count, one)


def test_of_many_who_ask_for_one_day_one_gets_it(county):
    item = scarifier(county, shown_first="")
    who = [("lead", YEWS), ("member", PADDOCK), ("neighbour", VERGE)]
    for repeat in range(REPEATS):
        on = SIXTH + days(7 * repeat)

        def ask(turn, on=on):
            person, project = who[turn % len(who)]
            return book(county, item, person, project, on=on)

        found = rivals(RIVALS, ask)
        won = [one for one in found if isinstance(one, KitBooking)]
        assert len(won) == 1
        assert {one.errors[0].code for one in found if isinstance(one, RuleBroken)} == {"taken"}
        # two half-days and two kept free
        assert KitHalfDay.objects.filter(booking=won[0]).count() == 4
    assert KitHalfDay.objects.count() == 4 * REPEATS
    assert KitBooking.objects.count() == REPEATS


def test_stretches_that_overlap_in_part_leave_no_half_day_twice(county):
    item = scarifier(county, shown_first="", gap_half_days=1)
    found = rivals(
        RIVALS,
        lambda turn: book(county, item, on=SIXTH + days(turn), last_on=(SIXTH + days(turn + 2)).isoformat()),
    )
    won = [one for one in found if isinstance(one, KitBooking)]
    assert won
    held = list(KitHalfDay.objects.values_list("on", "half"))
    assert len(held) == len(set(held)) == sum(row.half_days.count() for row in won)


def test_the_database_itself_refuses_what_goes_past_the_service(county):
    item = scarifier(county, shown_first="")
    rows = [book(county, item, on=SIXTH + days(20 + 7 * turn)) for turn in range(RIVALS)]
    turns = list(rows)

    def take():
        row = turns.pop()
        try:
            with transaction.atomic():
                KitHalfDay.objects.create(item=item, booking=row, on=SIXTH, half=0)
        except IntegrityError as error:
            return error
        return row

    found = side_by_side(RIVALS, take)
    assert sum(isinstance(one, KitBooking) for one in found) == 1
    assert KitHalfDay.objects.filter(item=item, on=SIXTH, half=0).count() == 1


def test_a_fault_and_a_booking_at_once_do_not_miss_each_other(county):
    item = scarifier(county, shown_first="")
    for repeat in range(REPEATS):
        on = SIXTH + days(7 * repeat)
        found = rivals(
            2,
            lambda turn, on=on: book(county, item, on=on) if turn else fault(county, item, out_of_use_from=str(on))[1],
        )
        booked = next(one for one in found if isinstance(one, KitBooking | RuleBroken))
        touched = next(one for one in found if isinstance(one, list))
        # booked first: the fault tells of it; noted first: it cannot be booked
        assert (booked in touched) if isinstance(booked, KitBooking) else booked.errors[0].code == "out_of_use"
        item.faults.update(mended_on=on)
        KitBooking.objects.update(state="cancelled")
        KitHalfDay.objects.all().delete()
