"""What is kept for a while only goes when its time is over, and one that fails holds up no other."""

from datetime import timedelta

import pytest

from projects.models import RememberedAnswer, SignInFailure
from projects.services import chores
from projects.services.remembered import KEPT
from tests.projects.county import NOW, person

pytestmark = pytest.mark.django_db


def test_what_is_over_goes_and_what_is_not_stays():
    somebody = person("Ada Keeper")
    for age in (KEPT, KEPT + timedelta(seconds=1)):
        RememberedAnswer.objects.create(user=somebody, key=f"after {age}", digest="0" * 64, created_at=NOW - age)
    for minutes in (1, 24 * 60):
        SignInFailure.objects.create(key="0" * 64, at=NOW - timedelta(minutes=minutes))
    assert chores.what_is_over_forget(now=NOW) == {
        "uploads_forget": 0, "exports_forget": 0, "answers_forget": 1, "tries_forget": 1,
        "invitations_forget_expired": 0,
    }  # fmt: skip
    assert RememberedAnswer.objects.get().created_at == NOW - KEPT
    assert SignInFailure.objects.get().at == NOW - timedelta(minutes=1)
    assert not any(chores.what_is_over_forget(now=NOW).values())


def test_one_that_fails_holds_up_no_other_and_is_heard_of(monkeypatch):
    turns = []

    def broken(*, now):
        raise ValueError("no such table")

    def whole(*, now):
        turns.append(now)
        return 0

    monkeypatch.setattr(chores, "FORGETTING", (broken, whole))
    with pytest.raises(ValueError, match="no such table"):
        chores.what_is_over_forget(now=NOW)
    assert turns == [NOW]
