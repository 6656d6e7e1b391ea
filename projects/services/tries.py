"""Counting wrong passwords. A try is written down before its password is looked at, so that rivals cannot slip past."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import transaction

from projects.errors import TooOften
from projects.models import SignInFailure
from projects.rules import sign_in as rules


@dataclass(frozen=True)
class Try:
    """One try, counted as failed until somebody says otherwise."""

    name_key: str
    rows: tuple[int, ...] = ()

    def succeeded(self) -> None:
        """Forget what failed for this name, and this try for its address."""
        if self.rows:
            SignInFailure.objects.filter(key=self.name_key).delete()
            self.take_back()

    def take_back(self) -> None:
        """Count this try no longer."""
        SignInFailure.objects.filter(pk__in=self.rows).delete()


def begin(kind: str, name: str, caller: str, now: datetime, *, most_by_name: int = rules.MOST_BY_NAME) -> Try:
    """Write down a try for a name, from a caller.

    Raises
    ------
    TooOften
        If there were too many of late; this one then does not count.
    """
    name_key, address_key = rules.key_of(kind, name), rules.key_of("address", caller)
    if not settings.THROTTLE:
        return Try(name_key)
    with transaction.atomic():
        SignInFailure.objects.filter(at__lte=now - rules.KEPT).delete()
        rows = [SignInFailure.objects.create(key=key, at=now) for key in (name_key, address_key)]
    made = Try(name_key, tuple(row.pk for row in rows))
    # Looked at once this try is committed: of any number of rivals, whoever looks last sees all the others.
    recent = SignInFailure.objects.filter(key__in=[name_key, address_key], at__gt=now - rules.WINDOW)
    times = list(recent.exclude(pk__in=made.rows).values_list("key", "at"))
    ends = [
        end
        for key, most in ((name_key, most_by_name), (address_key, rules.MOST_BY_ADDRESS))
        if (end := rules.wait_until([at for found, at in times if found == key], most, now)) is not None
    ]
    if ends:
        made.take_back()
        wait_s = max(1, round((max(ends) - now).total_seconds()))
        raise TooOften(f"There were too many tries. Wait {rules.minutes(wait_s)}, then try again.", wait_s)
    return made


def tries_forget(*, now: datetime) -> int:
    """Let go of tries older than they are kept; how many."""
    gone, _ = SignInFailure.objects.filter(at__lte=now - rules.KEPT).delete()
    return gone


def forget(kind: str, name: str) -> None:
    """Forget what failed for a name."""
    SignInFailure.objects.filter(key=rules.key_of(kind, name)).delete()
