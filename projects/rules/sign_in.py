"""How many wrong passwords are borne, and what a password must be."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from datetime import datetime, timedelta
from math import ceil
from typing import Final

from django.utils.crypto import salted_hmac

from modelling.errors import FieldError

#: tries that failed count for so long, and are kept for so long
WINDOW: Final = timedelta(minutes=15)
KEPT: Final = timedelta(hours=1)
#: failures borne within the window: for one name, and from one network address
MOST_BY_NAME: Final = 10
MOST_BY_ADDRESS: Final = 40
#: letters with a way to a new password, for one name within the window
MOST_LETTERS: Final = 3
LEAST_PASSWORD: Final = 10
MOST_PASSWORD: Final = 200
INVITATION_RUNS: Final = timedelta(days=14)
#: how long a new address may be confirmed, as long as a way to a new password is open
EMAIL_RUNS: Final = timedelta(days=1)


def key_of(kind: str, value: str) -> str:
    """A name or an address as it is counted: a keyed hash, from which neither can be read."""
    return salted_hmac(f"forbcast.tries.{kind}", value, algorithm="sha256").hexdigest()


def wait_until(failures: Sequence[datetime], most: int, now: datetime) -> datetime | None:
    """When the next try may be made, given the times of those that failed; None for at once."""
    recent = sorted(at for at in failures if at > now - WINDOW)
    return recent[len(recent) - most] + WINDOW if len(recent) >= most else None


def minutes(seconds: int) -> str:
    """A wait in whole minutes, rounded up: "1 minute"."""
    count = max(1, ceil(seconds / 60))
    return f"{count} minute" if count == 1 else f"{count} minutes"


def password_fault(password: str, pointer: str = "/password") -> FieldError | None:
    """What is wrong with how a password is written; what it says is never repeated."""
    if not password:
        return FieldError(pointer, "missing", "Write the password.", None, "a password")
    if len(password) > MOST_PASSWORD:
        detail = f"This is {len(password)} characters long; at most {MOST_PASSWORD} are taken."
        return FieldError(pointer, "too_many", detail, None, f"at most {MOST_PASSWORD} characters")
    if any(unicodedata.category(letter) in {"Cc", "Cs"} for letter in password):
        detail = "This holds a character that cannot be typed; leave it out."
        return FieldError(pointer, "control_character", detail, None, "characters that can be typed")
    return None
