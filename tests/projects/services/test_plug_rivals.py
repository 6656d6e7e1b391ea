"""Many ask for the same young plants at once; in a file of its own, since it commits what others must not find."""

import pytest

from projects.errors import RuleBroken
from projects.models import PlugPromise
from projects.selectors.plugs import batches_that_do_not_add_up
from tests.projects.county import saltmere
from tests.projects.plugs import VERGE, batch, note, promise
from tests.projects.services.test_job_rivals import side_by_side


@pytest.mark.django_db(transaction=True)
def test_rivals_never_promise_a_plant_twice():
    county = saltmere()
    row = note(county, batch(county), "pricked_out", 100)
    turns = list(range(8))

    def one():
        try:
            return promise(county, row, 30, VERGE if turns.pop() % 2 else "Under the yews")
        except RuleBroken as refused:
            return refused

    found = side_by_side(8, one)
    # three times thirty of a hundred
    assert sum(isinstance(one, PlugPromise) for one in found) == 3
    row.refresh_from_db()
    sums = row.pricked_out, row.lost, row.alive, row.promised, row.handed_over
    assert sums == (100, 0, 100, 90, 0)
    assert batches_that_do_not_add_up() == []
