"""Answers kept for a day: the same key with the same request does nothing twice."""

from datetime import timedelta

import pytest

from projects.models import RememberedAnswer
from projects.services import remembered
from projects.services.remembered import InProgress, OtherRequest
from tests.projects.county import NOW, person
from tests.projects.proof import refused

SECOND = timedelta(seconds=1)


@pytest.fixture
def user(db):
    return person("Wenna Marsh")


def begin(user, key="k1", digest="d1", now=NOW):
    return remembered.remember_begin(user_id=user.pk, key=key, digest=digest, now=now)


def end(row):
    remembered.remember_end(row, status=201, headers={"Location": "/x"}, body='{"a":1}')


def test_a_key_is_claimed_and_its_answer_kept(user):
    row, held = begin(user)
    assert (held, row.status, row.created_at) == (False, None, NOW)
    end(row)
    again, held = begin(user, now=NOW + SECOND)
    assert (again.pk, held) == (row.pk, True)
    assert (again.status, again.headers, again.body) == (201, {"Location": "/x"}, '{"a":1}')


def test_another_request_with_the_key_is_refused_answered_or_not(user):
    row, _ = begin(user)
    with refused(OtherRequest):
        begin(user, digest="d2")
    end(row)
    with refused(OtherRequest):
        begin(user, digest="d2")


def test_while_the_first_is_dealt_with_the_second_waits(user):
    row, _ = begin(user)
    with refused(InProgress):
        begin(user, now=NOW + remembered.CUT_OFF)
    remembered.remember_not(row)
    assert begin(user)[1] is False


def test_an_answer_that_is_kept_is_not_freed(user):
    row, _ = begin(user)
    end(row)
    remembered.remember_not(row)
    assert begin(user)[1] is True


def test_a_key_is_its_owners(user):
    other = person("Jory Lanthorn")
    first, _ = begin(user)
    second, held = begin(other, digest="d2")
    assert (held, first.pk != second.pk, RememberedAnswer.objects.count()) == (False, True, 2)
    assert begin(user, key="k2")[1] is False


def test_a_request_that_was_cut_off_frees_its_key(user):
    first, _ = begin(user)
    row, held = begin(user, now=NOW + remembered.CUT_OFF + SECOND)
    assert (held, row.pk != first.pk, RememberedAnswer.objects.count()) == (False, True, 1)
    # whoever was cut off and comes back late neither frees the key nor answers in the other's place
    remembered.remember_not(first)
    assert RememberedAnswer.objects.get().pk == row.pk


def test_an_answer_is_kept_for_a_day_and_then_forgotten(user):
    row, _ = begin(user)
    end(row)
    assert begin(user, now=NOW + remembered.KEPT)[1] is True
    again, held = begin(user, digest="d2", now=NOW + remembered.KEPT + SECOND)
    assert (held, again.pk != row.pk, RememberedAnswer.objects.count()) == (False, True, 1)


def test_old_answers_go_with_the_next_request_of_their_owner_and_no_other(user):
    other = person("Jory Lanthorn")
    for key in ("k1", "k2"):
        end(begin(user, key=key)[0])
    end(begin(other)[0])
    begin(user, key="k3", now=NOW + remembered.KEPT + SECOND)
    assert sorted(RememberedAnswer.objects.values_list("user_id", "key")) == [(user.pk, "k3"), (other.pk, "k1")]
