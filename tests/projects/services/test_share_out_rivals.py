"""Two coordinators accept at the same moment: threads with connections of their own, on committed rows."""

import pytest

from projects.models import SeedEntry, SeedPromise
from projects.selectors.lots import lots_that_do_not_add_up
from projects.selectors.share_outs import result_answer
from tests.projects.county import saltmere
from tests.projects.seed import lot, promise
from tests.projects.services.test_lot_rivals import parted, rivals
from tests.projects.share_outs import PADDOCK, YARD, accept, sharing, wish, worked_out

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def county():
    return saltmere(sown=False)


def test_one_of_two_who_accept_at_once_wins_and_the_balances_are_exact(county):
    one, two = lot(county, "One", 600.0), lot(county, "Two", 600.0)
    wish(county, YARD, 700.0)
    wish(county, PADDOCK, 5000.0)
    row = sharing(county)
    result = worked_out(county, row)

    won, lost = parted(rivals(*[lambda: accept(county, row, result)] * 2))

    assert (len(won), [type(error).__name__ for error in lost]) == (1, ["WrongState"])
    shares = result_answer(result)["shares"]
    for sack in (one, two):
        sack.refresh_from_db()
        taken = sum(share["mg"] for share in shares if share["source"] == str(sack.public_id))
        assert (sack.balance_mg, sack.promised_mg) == (600_000, taken)
    assert SeedPromise.objects.count() == len(shares)
    assert SeedEntry.objects.filter(act="promised").count() == len(shares)
    assert lots_that_do_not_add_up() == []


def test_a_promise_at_the_same_moment_comes_before_it_or_after_it_and_never_in_between(county):
    sack = lot(county, "One", 600.0)
    wish(county, YARD, 700.0)
    row = sharing(county)
    result = worked_out(county, row)

    won, lost = parted(rivals(lambda: accept(county, row, result), lambda: promise(county, sack, 600.0)))

    assert (len(won), len(lost)) == (1, 1)
    assert type(lost[0]).__name__ in {"Stale", "RuleBroken"}
    sack.refresh_from_db()
    assert sack.promised_mg == 600_000
    assert lots_that_do_not_add_up() == []
